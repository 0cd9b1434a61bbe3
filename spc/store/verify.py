"""Whether the record is what was written: the whole chain reckoned anew, entry by entry, reading by reading."""

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, Select, Table, func, select, type_coerce
from sqlalchemy.types import NullType

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
    ends = connection.execute(_as_kept(head)).all()
    count = connection.execute(select(func.count()).select_from(readings)).scalar() or 0
    misfit, entries, digest = _first_misfit(connection, ends)
    return Verified(entries, count, entries, digest.hex(), misfit)


def digest_at(connection: Connection, digest: str) -> int | None:
    """Return the entry that has this digest (hexadecimal); None where there is none."""
    try:
        wanted = bytes.fromhex(digest)
    except ValueError:
        return None
    return connection.execute(select(trail.c.sequence).where(trail.c.digest == wanted)).scalars().first()


def _first_misfit(connection: Connection, ends: Sequence[Row[Any]]) -> tuple[Misfit | None, int, bytes]:
    streaming = {"yield_per": AT_ONCE}
    with (
        connection.execute(_as_kept(readings).order_by(readings.c.id), execution_options=streaming) as rows,
        connection.execute(_as_kept(trail).order_by(trail.c.sequence), execution_options=streaming) as entries,
    ):
        return _misfit_of(iter(rows), iter(entries), _Places(connection), ends)


def _as_kept(table: Table) -> Select[Any]:
    """Return a query of a whole table whose digests come as they lie there, be they bytes or not."""
    return select(*(type_coerce(c, NullType()).label(c.name) if c.name == "digest" else c for c in table.columns))


class _Places:
    """Line, check, position and unit of the streams, and which of them have a reading."""

    def __init__(self, connection: Connection) -> None:
        rows = connection.execute(select(streams)).all()
        self.named = {row.id: (row.line, row.check, row.position, row.unit) for row in rows}
        self.used: set[int] = set()

    def of(self, stream: int) -> tuple[Any, ...]:
        """Return the place of a stream that a reading names."""
        self.used.add(stream)
        return self.named.get(stream, ())

    def without_readings(self) -> int | None:
        """Return a stream that no reading names: the program writes none down before its first reading."""
        return min(self.named.keys() - self.used, default=None)


def _fits(kept: object, reckoned: Callable[..., bytes], *what: Any) -> bytes | None:
    """Return the digest reckoned anew where it is the one kept; None where it is not, or cannot be reckoned."""
    try:
        found = reckoned(*what)
    except (TypeError, ValueError):  # SQLite keeps any type in any column: what was written can always be reckoned
        return None
    return found if isinstance(kept, bytes | memoryview) and found == bytes(kept) else None


def _misfit_of(
    kept: Iterator[Row[Any]], entries: Iterator[Row[Any]], places: _Places, ends: Sequence[Row[Any]]
) -> tuple[Misfit | None, int, bytes]:
    """Return the first misfit, and the last entry before it with its digest."""
    digest, sequence, reading = FIRST, 0, 0
    for entry in entries:
        if entry.sequence != sequence + 1:
            return Misfit(sequence + 1, None, f"entry {sequence + 1} is missing"), sequence, digest
        said = (entry.sequence, entry.at, entry.who, entry.kind, entry.subject, entry.body)
        found = _fits(entry.digest, entry_digest, digest, *said)
        if found is None:
            return Misfit(entry.sequence, None, f"entry {entry.sequence} is not what was written"), sequence, digest
        if entry.kind == "readings":
            body = _span(entry.body, reading)
            if body is None:
                return Misfit(entry.sequence, None, f"entry {entry.sequence} names no readings"), sequence, digest
            misfit = _misfit_in_rows(kept, places, digest, entry.sequence, body)
            if misfit is not None:
                return misfit, sequence, digest
            reading = body.last
        digest, sequence = found, entry.sequence
    left = next(kept, None)
    if left is not None:
        return Misfit(left.entry, left.id, f"reading {left.id} belongs to no entry"), sequence, digest
    extra = places.without_readings()
    if extra is not None:
        return Misfit(sequence + 1, None, f"stream {extra} belongs to no reading"), sequence, digest
    if [tuple(end) for end in ends] != [(1, sequence, digest, reading)]:
        words = "the trail does not end where the head says: what stood at its end is missing"
        return Misfit(sequence + 1, None, words), sequence, digest
    return None, sequence, digest


@dataclass(frozen=True, slots=True)
class _Span:
    """Which readings an entry added."""

    first: int
    last: int
    digest: str


def _span(text: str, before: int) -> _Span | None:
    """Return which readings an entry says it added after reading `before`; None where it does not say it."""
    try:
        body = json.loads(text)
        found = _Span(int(body["first"]), int(body["last"]), str(body["digest"]))
    except (ValueError, TypeError, KeyError, RecursionError):
        return None
    return found if found.first == before + 1 and found.last >= found.first else None


def _misfit_in_rows(kept: Iterator[Row[Any]], places: _Places, start: bytes, entry: int, body: _Span) -> Misfit | None:
    """Return the first reading of an entry that is not what was written."""
    digest = start
    for number in range(body.first, body.last + 1):
        row = next(kept, None)
        if row is None or row.id != number:
            return Misfit(entry, number, f"reading {number} is missing")
        columns = row._mapping
        place = places.of(row.stream)
        found = _fits(row.digest, row_digest, digest, row.id, place, [columns[name] for name in COLUMNS])
        if found is None:
            where = " · ".join(str(part) for part in place[:3] if part) or "no stream"
            return Misfit(entry, number, f"reading {number} ({where}, row {row.row}) is not what was written")
        digest = found
    if digest.hex() != body.digest:
        return Misfit(entry, body.last, "the readings of the entry are not those that were written")
    return None
