"""A store on each database: a file of SQLite, and a PostgreSQL that the tests start themselves."""

import glob
import itertools
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import text

from spc.store.engine import address, open_engine
from spc.store.store import Store
from tests.store.made_store import LOG, NOW, add, changed_bath, read_text, take_triggers_away

if TYPE_CHECKING:
    import pwd

DATABASES = ("sqlite",) if os.name == "nt" else ("sqlite", "postgresql")
NUMBERS = itertools.count(1)
MISSING = "PostgreSQL is not on this machine; on Debian: sudo apt-get install postgresql"


def program(name: str) -> str:
    """Return the path of one of PostgreSQL's programs, the newest where there are several."""
    places = sorted(glob.glob(f"/usr/lib/postgresql/*/bin/{name}")) + sorted(glob.glob(f"/usr/pgsql-*/bin/{name}"))
    found = shutil.which(name) or (places[-1] if places else None)
    assert found, MISSING
    return found


def unprivileged() -> "pwd.struct_passwd | None":
    """Return the user under which PostgreSQL runs, which refuses root; None for the user of the tests."""
    import pwd

    if os.geteuid() != 0:
        return None
    names = [each.pw_name for each in pwd.getpwall()]
    return pwd.getpwnam("postgres" if "postgres" in names else "nobody")


@contextmanager
def server() -> Iterator[str]:
    """Give the address of a running server of our own, reached through a socket file alone."""
    memory = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None  # many small files
    folder, user = Path(tempfile.mkdtemp(prefix="spc-pg-", dir=memory)), unprivileged()
    if user is not None:
        os.chown(folder, user.pw_uid, user.pw_gid)
    how = {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []} if user is not None else {}

    def run(*command: str) -> None:
        subprocess.run(command, check=True, cwd=folder, stdout=subprocess.DEVNULL, timeout=120, **how)  # type: ignore[call-overload]  # a mapping of settings

    data = str(folder / "data")
    run(program("initdb"), "-D", data, "-U", "spc", "-A", "trust", "-E", "UTF8", "--locale", "C", "--no-sync")
    settings = f"-c listen_addresses='' -c unix_socket_directories={folder} -c fsync=off -c max_connections=50"
    run(program("pg_ctl"), "-D", data, "-w", "-l", str(folder / "log"), "-o", settings, "start")
    try:
        yield f"postgresql://spc@/{{}}?host={folder}"
    finally:
        run(program("pg_ctl"), "-D", data, "-w", "-m", "immediate", "stop")
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def postgresql() -> Iterator[str]:
    """Return the address of a running server of our own."""
    with server() as where:
        yield where


@pytest.fixture(params=DATABASES)
def fresh(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Return the address of an empty database, once for each kind."""
    if request.param == "sqlite":
        yield str(tmp_path / "store.db")
        return
    yield fresh_postgresql(request.getfixturevalue("postgresql"))


def fresh_postgresql(server: str, template: str = "template1") -> str:
    """Return the address of a database on `server` that is empty, or a copy of `template`."""
    name = f"store_{next(NUMBERS)}"
    engine = open_engine(address(server.format("postgres")))
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text(f"CREATE DATABASE {name} TEMPLATE {template} STRATEGY file_copy"))
    engine.dispose()
    return server.format(name)


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an SQLite store without entries, to be copied."""
    path = tmp_path_factory.mktemp("made") / "store.db"
    Store.open(path).close()
    return path


@pytest.fixture(scope="session")
def made_postgresql(postgresql: str) -> str:
    """Return the name of a PostgreSQL store without entries, to be copied."""
    where = fresh_postgresql(postgresql)
    Store.open(where).close()
    return str(address(where).database)


@pytest.fixture(params=DATABASES)
def empty(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Return the address of a store without entries, once for each kind of database."""
    if request.param == "sqlite":
        return str(shutil.copy(request.getfixturevalue("made"), tmp_path / "store.db"))
    template = request.getfixturevalue("made_postgresql")
    return fresh_postgresql(request.getfixturevalue("postgresql"), template)


@pytest.fixture
def store(empty: str) -> Iterator[Store]:
    """Return an open store without entries, once for each kind of database."""
    with Store.open(empty) as opened:
        yield opened


@pytest.fixture
def unguarded(store: Store, tmp_path: Path) -> Store:
    """Return a store of a few entries whose triggers somebody took away."""
    add(store, read_text(tmp_path, LOG))
    day = NOW.replace(month=3, day=4)
    store.append(changed_bath(day), changed_bath(day.replace(day=9)), who="ktl", now=NOW)
    with store.engine.begin() as connection:
        take_triggers_away(connection)
    assert store.verify().misfit is None
    return store
