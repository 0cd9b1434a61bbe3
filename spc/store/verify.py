"""Whether the record is what was written: the whole chain reckoned anew, entry by entry, reading by reading."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, func, select

from spc.store.intake import row_digest
from spc.store.tables import head, readings, streams, trail
from spc.store.trail import FIRST, entry_digest

AT_ONCE = 10_000
COLUMNS = (
    "taken_at", "offset", "file", "row", "value", "bound", "word", "reference", "instrument", "technician", "shift",
    "note", "other", "entry",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Misfit:
    """The first thing in the record that is not what was written."""

    entry: int  # sequence number in the trail
    reading: int | None  # id, where a reading is at fault
    words: str


@dataclass(frozen=True, slots=True)
class Verified:
    """What going through the whole record showed."""

    entries: int
    readings: int
    sequence: int  # of the last entry
    digest: str  # of it, hexadecimal: to be written down elsewhere
    misfit: Misfit | None


def verify(connection: Connection) -> Verified:
    """Go through the whole record in one state of the store.

    The chain shows any change, addition or loss inside it. That its end was cut off, or all of it written anew, shows
    only beside a digest that was written down elsewhere: `spc verify --digest`.
    """
    end = connection.execute(select(head)).one_or_none()
    count = connection.execute(select(func.count()).select_from(readings)).scalar() or 0
    misfit, entries, digest = _first_misfit(connection, end)
    return Verified(entries, count, entries, digest.hex(), misfit)


def digest_at(connection: Connection, digest: str) -> int | None:
    """Return the entry that has this digest (hexadecimal); None where there is none."""
    try:
        wanted = bytes.fromhex(digest)
    except ValueError:
        return None
    return connection.execute(select(trail.c.sequence).where(trail.c.digest == wanted)).scalars().first()


def _first_misfit(connection: Connection, end: Row[Any] | None) -> tuple[Misfit | None, int, bytes]:
    streaming = connection.execution_options(yield_per=AT_ONCE)
    with (
        streaming.execute(select(readings).order_by(readings.c.id)) as rows,
        streaming.execute(select(trail).order_by(trail.c.sequence)) as entries,
    ):
        return _misfit_of(iter(rows), iter(entries), _places(connection), end)


def _places(connection: Connection) -> dict[int, tuple[str, ...]]:
    rows = connection.execute(select(streams)).all()
    return {row.id: (row.line, row.check, row.position, row.unit) for row in rows}


def _misfit_of(
    kept: Iterator[Row[Any]], entries: Iterator[Row[Any]], places: dict[int, tuple[str, ...]], end: Row[Any] | None
) -> tuple[Misfit | None, int, bytes]:
    """Return the first misfit, and the last entry before it with its digest."""
    digest, sequence, reading = FIRST, 0, 0
    for entry in entries:
        if entry.sequence != sequence + 1:
            return Misfit(sequence + 1, None, f"entry {sequence + 1} is missing"), sequence, digest
        found = entry_digest(digest, entry.sequence, entry.at, entry.who, entry.kind, entry.subject, entry.body)
        if found != bytes(entry.digest):
            return Misfit(entry.sequence, None, f"entry {entry.sequence} is not what was written"), sequence, digest
        if entry.kind == "readings":
            body = json.loads(entry.body)
            misfit = _misfit_in_rows(kept, places, digest, entry.sequence, body)
            if misfit is not None:
                return misfit, sequence, digest
            reading = body["last"]
        digest, sequence = found, entry.sequence
    left = next(kept, None)
    if left is not None:
        return Misfit(left.entry, left.id, f"reading {left.id} belongs to no entry"), sequence, digest
    if end is None or (end.sequence, bytes(end.digest), end.reading) != (sequence, digest, reading):
        words = "the trail does not end where the head says: what stood at its end is missing"
        return Misfit(sequence + 1, None, words), sequence, digest
    return None, sequence, digest


def _misfit_in_rows(
    kept: Iterator[Row[Any]], places: dict[int, tuple[str, ...]], start: bytes, entry: int, body: dict[str, Any]
) -> Misfit | None:
    """Return the first reading of an entry that is not what was written."""
    digest = start
    for number in range(body["first"], body["last"] + 1):
        row = next(kept, None)
        if row is None or row.id != number:
            return Misfit(entry, number, f"reading {number} is missing")
        columns = row._mapping
        place = places.get(row.stream, ())
        digest = row_digest(digest, row.id, place, [columns[name] for name in COLUMNS])
        if digest != bytes(row.digest):
            where = " · ".join(part for part in place[:3] if part) or "no stream"
            return Misfit(entry, number, f"reading {number} ({where}, row {row.row}) is not what was written")
    if digest.hex() != body["digest"]:
        return Misfit(entry, body["last"], "the readings of the entry are not those that were written")
    return None
