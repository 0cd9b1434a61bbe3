"""The drift room on a made line that is kept in a store: what tests of it share."""

from dataclasses import replace
from pathlib import Path
from typing import Any

from dashboard.queries import Queries, watch
from dashboard.queries.drift import Room
from dashboard.urls import StreamView
from spc.records import StreamKey
from spc.store.store import Store
from tests.dashboard.made_line import NOW, write_line


def view_of(key: StreamKey, **more: Any) -> StreamView:
    """Return the address of a stream."""
    return StreamView(key.line, key.check, key.position, **more)


def stored(folder: Path) -> Queries:
    """Return queries on the made line, kept in a store of its own; whoever asks closes it."""
    settings = replace(write_line(folder), store=str(folder / "line.db"))
    return Queries(watch(settings), settings, clock=lambda: NOW)


def in_depth(queries: Queries, view: StreamView) -> Room:
    """Return one stream in depth."""
    found = queries.room(view)
    assert found is not None
    return found


def store_of(queries: Queries) -> Store:
    """Return the store behind the queries."""
    assert queries.store is not None
    return queries.store


def kept(queries: Queries, kind: Any) -> list[Any]:
    """Return the records of a kind, in the order written."""
    return [entry.record for entry in store_of(queries).records(kind)]
