"""Readings out of the store: as they were first written, and as they stand with all corrections."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from sqlalchemy import Connection, Row, Select, select

from spc.arrays import frozen
from spc.errors import StoreError
from spc.records import Bound, Readings, StreamKey
from spc.store.entries import Correction, Identity, Said
from spc.store.tables import readings as table
from spc.store.tables import streams
from spc.times import from_microseconds, to_microseconds

TEXTS = ("instrument", "technician", "shift", "note")
COLUMNS = ("taken_at", "offset", "row", "value", "bound", "word", "reference", *TEXTS, "other")

Key = tuple[int, float, int, str]


@dataclass(frozen=True, slots=True)
class KeptStream:
    """A stream of the store."""

    number: int
    key: StreamKey
    unit: str


def kept_streams(connection: Connection) -> tuple[KeptStream, ...]:
    """Return all streams, in the order in which they first came."""
    rows = connection.execute(select(streams).order_by(streams.c.id))
    return tuple(KeptStream(row.id, StreamKey(row.line, row.check, row.position), row.unit) for row in rows)


def readings_of(connection: Connection, stream: KeptStream) -> Readings | None:
    """Return all readings of a stream as first written, in time order; None where it has none."""
    query = _of(stream).order_by(table.c.taken_at, table.c.id)
    return _readings(stream.key, connection.execute(query).all())


def last_readings_of(connection: Connection, stream: KeptStream, n: int) -> Readings | None:
    """Return the last `n` readings of a stream as first written, in time order; None where it has none."""
    query = _of(stream).order_by(table.c.taken_at.desc(), table.c.id.desc()).limit(n)
    return _readings(stream.key, connection.execute(query).all()[::-1])


def _of(stream: KeptStream) -> Select[Any]:
    return select(*(table.c[name] for name in COLUMNS)).where(table.c.stream == stream.number)


def _readings(key: StreamKey, rows: Sequence[Row[Any]]) -> Readings | None:
    if not rows:
        return None
    at, offset, row, value, bound, word, reference, instrument, technician, shift, note, other = zip(*rows, strict=True)
    return Readings(
        key=key,
        taken_at=frozen(np.array(at, dtype=np.int64)),
        offset=frozen(np.array(offset, dtype=np.int16)),
        row=frozen(np.array(row, dtype=np.int64)),
        value=frozen(np.array(value, dtype=np.float64)),
        bound=frozen(np.array(bound, dtype=np.int8)),
        word=_texts(word),
        reference=frozen(np.array(reference, dtype=np.float64)),
        instrument=_texts(instrument),
        technician=_texts(technician),
        shift=_texts(shift),
        note=_texts(note),
        other=_other(other),
    )


def _texts(column: Iterable[str]) -> Any:
    """Return a column of texts in which equal ones are one object: names and shifts come again in every row."""
    seen: dict[str, str] = {}
    return frozen(np.array([seen.setdefault(text, text) for text in column], dtype=np.object_))


def _other(column: Sequence[str]) -> dict[str, Any]:
    cells = [json.loads(text) if text else {} for text in column]
    names = list(dict.fromkeys(name for row in cells for name in row))
    return {name: _texts(row.get(name, "") for row in cells) for name in names}


def identity_key(identity: Identity) -> Key:
    """Return an identity in the form in which it is compared."""
    at = to_microseconds(identity.taken_at)
    return at, 0.0 if identity.word else float(identity.value), int(identity.bound), identity.word


def identities(readings: Readings) -> list[Key]:
    """Return the identity of each reading, shape (n,)."""
    columns = (readings.taken_at, np.nan_to_num(readings.value), readings.bound, readings.word)
    return list(zip(*(column.tolist() for column in columns), strict=True))


def identity_of(readings: Readings, place: int) -> Identity:
    """Return what tells the reading at `place` from all others of its stream."""
    at = from_microseconds(int(readings.taken_at[place]))
    return Identity(at, float(readings.value[place]), Bound(int(readings.bound[place])), str(readings.word[place]))


def corrected(readings: Readings, corrections: Sequence[Correction]) -> Readings | None:
    """Return the readings as they stand: each as the last of its corrections says; None where none is left.

    Args:
        readings: as first written.
        corrections: of this stream, in the order in which they were written.
    """
    last = {identity_key(each.reading): each.said for each in corrections}
    if not last:
        return readings
    places = {key: place for place, key in enumerate(identities(readings)) if key in last}
    missing = [key for key in last if key not in places]
    if missing:
        at = from_microseconds(missing[0][0]).isoformat()
        raise StoreError(f"{readings.key}: a correction names a reading at {at} that is not there; run spc verify")
    columns = {name: getattr(readings, name).copy() for name in COLUMNS[:-1]}
    keep = np.ones(len(readings), dtype=np.bool_)
    for key, place in places.items():
        said = last[key]
        if said is None:
            keep[place] = False
        else:
            for name, value in _columns_of(said).items():
                columns[name][place] = value
    kept = np.flatnonzero(keep)
    if len(kept) == 0:
        return None
    order = kept[np.argsort(columns["taken_at"][kept], kind="stable")]
    ordered: dict[str, Any] = {name: frozen(column[order]) for name, column in columns.items()}
    return replace(readings, **ordered, other={name: frozen(column[order]) for name, column in readings.other.items()})


def _columns_of(said: Said) -> dict[str, Any]:
    names = ("offset", "value", "bound", "word", "reference", *TEXTS)
    return {"taken_at": to_microseconds(said.taken_at), **{name: getattr(said, name) for name in names}}
