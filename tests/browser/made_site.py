"""A board on the store of the made line, on a port of its own."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from dashboard import server
from dashboard.app import create_app
from dashboard.queries import Queries
from dashboard.settings import Settings
from spc.store.store import Store
from tests.dashboard.made_entry import stored_queries, stored_settings


@dataclass(slots=True)
class Site:
    """A board that can be written into, and the store behind it."""

    address: str
    queries: Queries

    @property
    def store(self) -> Store:
        """The store."""
        assert self.queries.store is not None
        return self.queries.store


@contextmanager
def running_site(folder: Path, *, calendar: bool = True) -> Iterator[Site]:
    """Serve the store of the made line until the end."""
    with serving(stored_queries(stored_settings(folder, calendar=calendar))) as running:
        yield running


@contextmanager
def serving(queries: Queries) -> Iterator[Site]:
    """Serve a board until the end."""
    listener = server.bound(Settings(port=0))
    running = server.create_server(listener, create_app(queries).server)
    thread = threading.Thread(target=running.run, daemon=True)
    thread.start()
    try:
        yield Site(f"http://127.0.0.1:{running.effective_port}", queries)
    finally:
        running.task_dispatcher.shutdown(timeout=1)
        for channel in list(running.active_channels.values()):
            channel.handle_close()
        running.close()
        thread.join(timeout=5)
