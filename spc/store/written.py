"""Readings that people write down one by one: each kept once, however often it arrives.

A tablet that was offline sends an entry again when it does not know whether it arrived. Each entry carries a name of
its own, made where it was written; the reading keeps it in the column ENTRY, and the same name is never kept twice.
"""

import json
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

import numpy as np
from sqlalchemy import ColumnElement, Connection, Engine, func, select

from spc.arrays import frozen
from spc.errors import StoreError
from spc.records import Bound, Readings, StreamKey
from spc.store.engine import reading
from spc.store.entries import Identity
from spc.store.intake import SourceFile, add_some, stream_number
from spc.store.tables import readings as table
from spc.store.tables import streams, trail
from spc.store.trail import appending, canonical
from spc.times import from_microseconds

ENTRY = "written_as"
"""The column in which a reading keeps the name of the entry that it was written down as."""

BY_HAND = SourceFile("written down by hand", "")
"""What stands where other readings name their file; their row is the one after the last of their stream."""


@dataclass(frozen=True, slots=True)
class FoundEntry:
    """A reading that was written down by hand."""

    identity: Identity  # as first written
    kept_at: datetime  # aware, UTC
    who: str
    newest: bool  # whether nothing was written down by hand in this stream since


def add_written(
    engine: Engine, one: Readings, unit: str, *, name: str, who: str, now: datetime
) -> Literal["kept", "kept before", "written before"]:
    """Keep a reading that somebody wrote down; say so where it was kept before.

    Args:
        engine: the store.
        one: the reading; its row is set here.
        unit: of its check.
        name: of the entry, made where it was written.
        who: who wrote it.
        now: when it arrives.

    Returns:
        "kept before" where this very entry was; "written before" where a reading of this stream, time and value stands.

    Raises:
        StoreError: there is not exactly one reading, or the stream is kept in another unit.
    """
    if len(one) != 1:
        raise StoreError(f"{one.key}: {len(one)} readings in one entry; write them down one by one")
    with appending(engine) as end:
        stream = stream_number(end.connection, one.key, unit)
        if stream is not None and _number_of(end.connection, stream, name) is not None:
            return "kept before"
        row = frozen(np.array([_last_row(end.connection, stream) + 1], dtype=np.int64))
        named = {**one.other, ENTRY: frozen(np.array([name], dtype=np.object_))}
        whole = [(one.key, replace(one, row=row, other=named), slice(0, 1))]
        added = add_some(end, whole, {one.key.check: unit}, BY_HAND, who=who, now=now)
    return "kept" if added else "written before"


def find_written(engine: Engine, key: StreamKey, name: str) -> FoundEntry | None:
    """Return the reading that an entry was kept as; None where there is none in the stream."""
    with reading(engine) as connection:
        named = (streams.c.line == key.line) & (streams.c.check == key.check) & (streams.c.position == key.position)
        stream = connection.execute(select(streams.c.id).where(named)).scalar()
        number = _number_of(connection, stream, name) if stream is not None else None
        if number is None:
            return None
        columns = (table.c.taken_at, table.c.value, table.c.bound, table.c.word, trail.c.at, trail.c.who)
        query = select(*columns).join(trail, trail.c.sequence == table.c.entry).where(table.c.id == number)
        row = connection.execute(query).one()
        later = select(table.c.id).where((table.c.stream == stream) & (table.c.id > number) & _by_hand("%"))
        newest = connection.execute(later.limit(1)).first() is None
    value = float("nan") if row.value is None else float(row.value)
    identity = Identity(from_microseconds(row.taken_at), value, Bound(row.bound), row.word)
    return FoundEntry(identity, from_microseconds(row.at), row.who, newest)


def _by_hand(name: str) -> ColumnElement[bool]:
    """Return the condition that a reading was written down by hand, as an entry of this name ("%": any)."""
    return table.c.other.like(f'%"{ENTRY}":{canonical(name)}%')


def _number_of(connection: Connection, stream: int, name: str) -> int | None:
    """Return the number of the reading that an entry was kept as; a name that is merely alike is another entry."""
    alike = select(table.c.id, table.c.other).where((table.c.stream == stream) & _by_hand(name))
    exactly = (int(row.id) for row in connection.execute(alike) if json.loads(row.other).get(ENTRY) == name)
    return next(exactly, None)


def _last_row(connection: Connection, stream: int | None) -> int:
    """Return the largest row of a stream, so that each of its readings can be told by its own; 0 without any."""
    found = connection.execute(select(func.max(table.c.row)).where(table.c.stream == stream)).scalar()
    return int(found or 0)
