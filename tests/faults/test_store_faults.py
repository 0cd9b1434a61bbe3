"""A store that cannot be written for a while: it is said, and what arrived meanwhile is kept once afterwards."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC

import pytest
from sqlalchemy import event, text

from spc.errors import StoreError
from spc.store import engine as store_engine
from spc.store.engine import address, open_engine
from spc.store.store import Store
from spc.store.watch import StoreWatch
from tests.store.made_store import NOW, changed_bath, long_log

LONG = "x" * 3000
"""A note that needs a page of its own in the database's file."""

ROWS = [row.replace(",ktl,A,,", f",ktl,A,{LONG},") for row in long_log(60).splitlines(keepends=True)]


@contextmanager
def told_at_begin(engine, pragma: str, afterwards: str) -> Iterator[None]:
    """Give a time in which every transaction of SQLite begins with a setting."""

    def before(connection) -> None:
        connection.exec_driver_sql(pragma)

    event.listen(engine, "begin", before, insert=True)
    try:
        yield
    finally:
        event.remove(engine, "begin", before)
        with engine.connect() as connection:
            connection.exec_driver_sql(afterwards)


@contextmanager
def disk_full(where: str, engine) -> Iterator[None]:
    """SQLite itself says that the disk is full once its file may not grow."""
    with told_at_begin(engine, "PRAGMA max_page_count = 1", "PRAGMA max_page_count = 1073741823"):
        yield


@contextmanager
def read_only(where: str, engine) -> Iterator[None]:
    with told_at_begin(engine, "PRAGMA query_only = ON", "PRAGMA query_only = OFF"):
        yield


@contextmanager
def locked(where: str, engine) -> Iterator[None]:
    other = sqlite3.connect(where, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        yield
    finally:
        other.execute("ROLLBACK")
        other.close()


@contextmanager
def gone(where: str, engine) -> Iterator[None]:
    """Every connection is cut, and none is let in: a server that restarts, or a network that is gone."""
    name = address(where).database
    admin = open_engine(address(where).set(database="postgres"))
    with admin.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text(f"ALTER DATABASE {name} ALLOW_CONNECTIONS false"))
        connection.execute(text(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{name}'"))
        try:
            yield
        finally:
            connection.execute(text(f"ALTER DATABASE {name} ALLOW_CONNECTIONS true"))
    admin.dispose()


@pytest.fixture(autouse=True)
def waits_for_nobody(request, monkeypatch):
    """Let a writer say at once that the store is locked; it waits a minute otherwise."""
    if request.node.callspec.params["fault"] is locked:
        monkeypatch.setattr(store_engine, "WAITS_SECONDS", 0)


FAULTS = [
    pytest.param("sqlite", disk_full, "full", id="disk full"),
    pytest.param("sqlite", read_only, "readonly", id="read-only"),
    pytest.param("sqlite", locked, "locked", id="locked"),
    pytest.param(
        "postgresql", gone, "the database refuses", id="server restarted or network gone",
        marks=pytest.mark.skipif(os.name == "nt", reason="no such server is started on Windows"),
    ),
]  # fmt: skip


@pytest.mark.parametrize(("empty", "fault", "says"), FAULTS, indirect=["empty"])
def test_rows_that_arrive_meanwhile_are_kept_once_when_it_is_over(empty, fault, says, tmp_path):
    log = tmp_path / "followed.csv"
    log.write_text("".join(ROWS[:31]), encoding="utf-8")
    watch = StoreWatch(empty, follow=log, zone=UTC)
    shown = watch.snapshot.scan.log.rows.accepted
    with fault(empty, watch.store.engine):
        with log.open("a", encoding="utf-8") as file:
            file.writelines(ROWS[31:46])
        changed, problem = watch.poll(), watch.snapshot.problem
        still, again = watch.snapshot.scan.log.rows.accepted, watch.poll()
        later = watch.snapshot.problem
    for _ in range(2):  # cut connections are noticed at the first use
        watch.poll()
    over, after = watch.snapshot.problem, watch.snapshot.scan.log.rows.accepted
    with log.open("a", encoding="utf-8") as file:
        file.writelines(ROWS[46:])
    watch.poll()
    last = watch.snapshot.scan.log.rows
    watch.close()

    assert shown == still == 30
    assert changed
    assert problem is not None
    assert says in problem
    assert not again or later != problem
    assert later is not None  # said for as long as it lasts
    assert over is None
    assert after == 45  # without another row having come
    assert (last.accepted, last.duplicate, last.quarantined) == (60, 0, 0)
    with Store.open(empty) as store:
        assert sum(map(len, store.first_written().values())) == 60
        assert store.verify().misfit is None


@pytest.mark.parametrize(("empty", "fault", "says"), FAULTS, indirect=["empty"])
def test_a_decision_is_refused_in_words_and_kept_when_it_is_made_again(empty, fault, says):
    with Store.open(empty) as store:
        with fault(empty, store.engine), pytest.raises(StoreError, match=says) as refused:
            store.append(changed_bath(NOW, LONG * 5), who="a", now=NOW)
        with suppress(StoreError):  # a connection that was cut is noticed at its first use
            store.sequence()
        assert len(str(refused.value).splitlines()) == 1
        assert store.events() == ()

        store.append(changed_bath(NOW), who="a", now=NOW)

        assert len(store.events()) == 1
        assert store.verify().misfit is None
