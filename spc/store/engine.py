"""The way to a database: its address, its connections, and transactions that read or write."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from platformdirs import user_data_path
from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError

from spc.errors import SetupError, StoreError

WAITS_SECONDS = 60
"""How long a writer waits for the one before it."""

WRITES = "spc_writes"


def default_store() -> str:
    """Return the address of the store when none is given: `$SPC_STORE`, else `spc.db` in the user's data folder."""
    return os.environ.get("SPC_STORE") or str(user_data_path("spc", appauthor=False) / "spc.db")


def address(store: str) -> URL:
    """Return the address that `store` means: a URL, or the path of an SQLite file.

    Raises:
        StoreError: it is neither.
    """
    if "://" not in store:
        return URL.create("sqlite", database=str(Path(store).expanduser()))
    try:
        url = make_url(store)
    except ArgumentError:
        url = None
    if url is None or url.get_backend_name() not in ("sqlite", "postgresql"):
        raise StoreError(f"{store}: no store; give the path of a file, sqlite:///FILE or postgresql://USER@HOST/NAME")
    if url.get_backend_name() == "postgresql":
        return url.set(drivername="postgresql+psycopg")
    if not url.database or url.database == ":memory:":
        raise StoreError(f"{store}: names no file; give sqlite:///FILE")
    return url


def open_engine(url: URL) -> Engine:
    """Return an engine on `url`; nothing is connected yet.

    Raises:
        SetupError: the driver is not installed.
    """
    try:
        if url.get_backend_name() == "sqlite":
            engine = create_engine(url, connect_args={"timeout": WAITS_SECONDS})
            event.listen(engine, "connect", _set_up_sqlite)
            event.listen(engine, "begin", _begin_sqlite)
            return engine
        return create_engine(url, isolation_level="READ COMMITTED", connect_args={"connect_timeout": WAITS_SECONDS})
    except (ImportError, NoSuchModuleError):
        raise SetupError(
            "PostgreSQL needs its driver; install it: pip install 'mt-process-control[postgres]'"
        ) from None


def _set_up_sqlite(connection: Any, _: Any) -> None:
    connection.isolation_level = None  # begin is said here, not by the driver, which would begin too late
    for pragma in (f"busy_timeout = {WAITS_SECONDS * 1000}", "journal_mode = WAL", "synchronous = FULL"):
        connection.execute(f"PRAGMA {pragma}").fetchall()


def _begin_sqlite(connection: Connection) -> None:
    """Begin; a writer takes the lock at once, as one that read first could not wait for it."""
    writes = connection.get_execution_options().get(WRITES, False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """Give a connection that sees one state of the store throughout."""
    level = (
        {} if engine.dialect.name == "sqlite" else {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
    )
    with refusing(engine), engine.connect() as raw:
        connection = raw.execution_options(**level)
        with connection.begin():
            yield connection


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """Give a connection whose changes are kept together, or not at all."""
    with refusing(engine), engine.connect() as raw:
        connection = raw.execution_options(**{WRITES: True})
        with connection.begin():
            yield connection


@contextmanager
def refusing(engine: Engine) -> Iterator[None]:
    """Say what a database refuses in one line, the password left out."""
    try:
        yield
    except DBAPIError as error:
        why = " ".join(str(error.orig).split())
        raise StoreError(f"{shown(engine)}: the database refuses: {why}; see that it runs and may be written") from None
    except UnicodeDecodeError:  # SQLite names what is wrong in the damaged file's own letters, which the driver reads
        raise StoreError(f"{shown(engine)}: is damaged, or no store; go back to a backup") from None


def shown(engine: Engine) -> str:
    """Return the address of the store as it may be printed."""
    url = engine.url
    if url.get_backend_name() == "sqlite":
        return str(url.database)
    return url.set(drivername="postgresql").render_as_string(hide_password=True)
