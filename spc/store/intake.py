"""Readings into the store: what is new of a log, a bounded number in each transaction.

An import is not one transaction but many small ones, each whole with its entry of the trail: other writers get in
between, and an import that was cut off is simply run again. That is safe because a reading is known by its stream, its
time and what it says: what is there already is not taken twice.
"""

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from sqlalchemy import Connection, Engine, func, insert, select

from spc.errors import StoreError
from spc.records import QuarantinedRow, Readings, StreamKey
from spc.store.tables import readings as table
from spc.store.tables import streams, trail
from spc.store.trail import Trail, appending, canonical, printable

AT_ONCE = 20_000
"""Readings in one transaction: about half a second in which other writers wait."""

ROWS_AT_ONCE = 500
"""Quarantined rows in one entry."""

TEXTS = ("instrument", "technician", "shift", "note")

Part = tuple[StreamKey, Readings, slice]
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class SourceFile:
    """The file that readings come from."""

    path: str
    digest: str  # SHA-256 of its bytes, hexadecimal; "" for one that is followed as it grows

    def body(self) -> dict[str, str]:
        """Return what the trail keeps of it."""
        return {"path": self.path, "digest": self.digest}


def row_digest(previous: bytes, number: int, place: Sequence[str], row: Sequence[Any]) -> bytes:
    """Return the digest of reading `number` after the one with digest `previous`.

    Args:
        previous: digest of the reading before it in its entry; of the entry before, for the first.
        number: its id.
        place: line, check, position and unit of its stream.
        row: its columns from taken_at to other, then the sequence number of its entry.
    """
    return hashlib.sha256(previous + canonical([number, place, row]).encode("ascii")).digest()


def parts(logged: Mapping[StreamKey, Readings]) -> Iterator[list[Part]]:
    """Yield the readings in lists of at most AT_ONCE."""
    waiting: list[Part] = []
    room = AT_ONCE
    for key, readings in logged.items():
        first = 0
        while first < len(readings):
            stop = min(first + room, len(readings))
            waiting.append((key, readings, slice(first, stop)))
            room -= stop - first
            first = stop
            if room == 0:
                yield waiting
                waiting, room = [], AT_ONCE
    if waiting:
        yield waiting


def add_readings(
    engine: Engine,
    logged: Mapping[StreamKey, Readings],
    units: Mapping[str, str],
    file: SourceFile,
    *,
    who: str,
    now: datetime,
    progress: Progress | None = None,
) -> int:
    """Add what is new of `logged`; return how many readings that were.

    Args:
        engine: the store.
        logged: readings of a file, by stream.
        units: unit of each check.
        file: where they come from.
        who: who adds them.
        now: when.
        progress: told how many readings have been looked at, and of how many.

    Raises:
        StoreError: a stream is kept in another unit, or the database refuses; what was added before stays.
    """
    added = looked = 0
    total = sum(map(len, logged.values()))
    for some in parts(logged):
        with appending(engine) as end:
            added += add_some(end, some, units, file, who=who, now=now)
        looked += sum(part.stop - part.start for _, _, part in some)
        if progress is not None:
            progress(looked, total)
    return added


def add_some(
    end: Trail, some: Sequence[Part], units: Mapping[str, str], file: SourceFile, *, who: str, now: datetime
) -> int:
    """Add what is new of some readings in one transaction; return how many that were."""
    connection = end.connection
    known = {
        key: _kept(connection, stream, readings, part)
        for key, readings, part in some
        if (stream := stream_number(connection, key, units[key.check])) is not None
    }
    fresh = [
        (key, readings, places)
        for key, readings, part in some
        if (places := _new_places(readings, part, known.get(key, frozenset())))
    ]
    if not fresh:
        return 0
    source = file_entry(end, file, who=who, now=now)
    entry, start, digest = end.sequence + 1, end.reading + 1, end.digest
    values: list[tuple[Any, ...]] = []
    touched = []
    for key, readings, places in fresh:
        unit = units[key.check]
        stream = stream_number(connection, key, unit) or _new_stream(connection, key, unit)
        touched.append(stream)
        place = (key.line, key.check, key.position, unit)
        for row in _rows(readings, places, source):
            number = start + len(values)
            digest = row_digest(digest, number, place, (*row, entry))
            values.append((number, stream, *row, entry, digest))
    _insert(connection, values)
    end.reading += len(values)
    body = {"file": source, "first": start, "last": end.reading, "streams": touched, "digest": digest.hex()}
    end.append("readings", file.path, body, who=who, at=now)
    return len(values)


COLUMNS = tuple(column.name for column in table.columns)


def _insert(connection: Connection, values: list[tuple[Any, ...]]) -> None:
    """Insert readings by the driver itself, a third faster than statement by statement."""
    compiled = insert(table).compile(dialect=connection.dialect)
    if connection.dialect.positional:
        connection.exec_driver_sql(str(compiled), values)
    else:
        named = [dict(zip(COLUMNS, row, strict=True)) for row in values]
        connection.exec_driver_sql(str(compiled), named)


def stream_number(connection: Connection, key: StreamKey, unit: str) -> int | None:
    """Return the number of a stream; None where it has none yet.

    Raises:
        StoreError: its readings are kept in another unit.
    """
    named = (streams.c.line == key.line) & (streams.c.check == key.check) & (streams.c.position == key.position)
    found = connection.execute(select(streams.c.id, streams.c.unit).where(named)).one_or_none()
    if found is None:
        return None
    if found.unit != unit:
        raise StoreError(
            f"{key}: the store keeps it in {found.unit!r}, the catalogue says {unit!r}; "
            "set the catalogue's unit back, or give the check a new key"
        )
    return int(found.id)


def _new_stream(connection: Connection, key: StreamKey, unit: str) -> int:
    number = (connection.execute(select(func.max(streams.c.id))).scalar() or 0) + 1
    for name in (key.line, key.check, key.position):
        printable(name, "stream")
    values = {"line": key.line, "check": key.check, "position": key.position, "unit": unit}
    connection.execute(insert(streams).values(id=number, **values))
    return int(number)


def _kept(connection: Connection, stream: int, readings: Readings, part: slice) -> frozenset[tuple[Any, ...]]:
    """Return what the stream holds already between the first and the last of these readings."""
    between = table.c.taken_at.between(int(readings.taken_at[part.start]), int(readings.taken_at[part.stop - 1]))
    query = select(table.c.taken_at, table.c.value, table.c.bound, table.c.word)
    rows = connection.execute(query.where((table.c.stream == stream) & between))
    return frozenset((at, value or 0.0, bound, word) for at, value, bound, word in rows)


def _new_places(readings: Readings, part: slice, kept: frozenset[tuple[Any, ...]]) -> list[int]:
    """Return which readings of a part are not kept yet."""
    if not kept:
        return list(range(part.start, part.stop))
    columns = (readings.taken_at[part], np.nan_to_num(readings.value[part]), readings.bound[part], readings.word[part])
    said = zip(*(column.tolist() for column in columns), strict=True)
    return [part.start + at for at, identity in enumerate(said) if identity not in kept]


def _rows(readings: Readings, places: Sequence[int], source: int) -> Iterator[tuple[Any, ...]]:
    """Yield the columns from taken_at to other of the readings at `places`."""
    n = len(places)
    columns: list[Sequence[Any]] = [
        readings.taken_at[places].tolist(),
        readings.offset[places].tolist(),
        [source] * n,
        readings.row[places].tolist(),
        _numbers(readings.value[places]),
        readings.bound[places].tolist(),
        readings.word[places].tolist(),
        _numbers(readings.reference[places]),
        *(getattr(readings, name)[places].tolist() for name in TEXTS),
        _other(readings, places),
    ]
    return zip(*columns, strict=True)


def _numbers(column: np.ndarray[Any, np.dtype[np.float64]]) -> list[float | None]:
    return [None if number != number else number for number in column.tolist()]


def _other(readings: Readings, places: Sequence[int]) -> list[str]:
    """Return the columns that the contract does not name as JSON; "" where all are empty."""
    if not readings.other:
        return [""] * len(places)
    names = list(readings.other)
    cells = zip(*(readings.other[name][places].tolist() for name in names), strict=True)
    filled = ({name: cell for name, cell in zip(names, row, strict=True) if cell} for row in cells)
    return [canonical(row) if row else "" for row in filled]


def file_entry(end: Trail, file: SourceFile, *, who: str, now: datetime) -> int:
    """Return the entry that names a file, made now unless it stands."""
    known = find_file(end.connection, file)
    return known if known is not None else end.append("file", file.path, file.body(), who=who, at=now)


def find_file(connection: Connection, file: SourceFile) -> int | None:
    """Return the entry that names a file; None where there is none."""
    same = (trail.c.kind == "file") & (trail.c.subject == file.path) & (trail.c.body == canonical(file.body()))
    return connection.execute(select(trail.c.sequence).where(same)).scalars().first()


def add_quarantined(
    engine: Engine, rows: Sequence[QuarantinedRow], file: SourceFile, *, who: str, now: datetime
) -> int:
    """Add the rows that could not be read and are not kept yet; return how many those were."""
    with appending(engine) as end:
        about = (trail.c.kind == "quarantined") & (trail.c.subject == file.path)
        bodies = end.connection.execute(select(trail.c.body).where(about)).scalars()
        kept = {tuple(row) for body in bodies for row in json.loads(body)["rows"]}
        new = [
            row for row in ([each.row, each.column, each.text, each.reason] for each in rows) if tuple(row) not in kept
        ]
        if new:
            source = file_entry(end, file, who=who, now=now)
            for first in range(0, len(new), ROWS_AT_ONCE):
                body = {"file": source, "rows": new[first : first + ROWS_AT_ONCE]}
                end.append("quarantined", file.path, body, who=who, at=now)
    return len(new)
