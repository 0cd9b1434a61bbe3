"""Killed at any instant, a transaction is there whole or not at all: over 300 at moments from a seed."""

import os

import pytest
from sqlalchemy import inspect, text

from spc.store.backup import backup
from spc.store.engine import address, open_engine
from spc.store.intake import SourceFile
from spc.store.migrations import LAST
from spc.store.store import Store
from spc.store.tables import metadata
from tests.store import killed
from tests.store.killed import PER_TRANSACTION, RECORDS_AT_ONCE, Killer
from tests.store.made_store import add, long_log, read_text

ROWS = 160

pytestmark = pytest.mark.skipif(os.name == "nt", reason="Windows ends a process in another way")


def kept(store: Store) -> int:
    return sum(map(len, store.first_written().values()))


def test_an_import(empty, tmp_path):
    killer, cut_off = Killer(1), 0
    logs = [read_text(tmp_path, long_log(ROWS, first=ROWS * i)) for i in range(41)]
    files = [SourceFile(f"/logs/{i}.csv", str(i)) for i in range(41)]
    killer.left_alone(killed.import_log, empty, logs[0], files[0])
    with Store.open(empty) as store:
        for i in range(1, 41):
            killer.kill(killed.import_log, empty, logs[i], files[i])
            there = kept(store) - ROWS * i
            assert there % PER_TRANSACTION == 0
            assert store.verify().misfit is None
            again = add(store, logs[i], files[i])
            assert (again.accepted, again.present) == (ROWS - there, there)
            cut_off += 0 < there < ROWS

        assert kept(store) == 41 * ROWS
        assert store.verify().misfit is None
    assert killer.kills > 20
    assert cut_off > 5


def test_a_commit(empty):
    killer, written = Killer(2), []
    with Store.open(empty) as store:
        for _ in range(60):
            killer.kill(killed.write_records, empty, within=0.08)
            written.append(store.sequence())
            assert written[-1] % RECORDS_AT_ONCE == 0
            assert store.verify().misfit is None

    assert killer.kills == 60
    assert len(set(written)) > 20


def test_a_migration(fresh):
    killer, engine = Killer(3), open_engine(address(fresh))
    outcomes = []
    killer.left_alone(killed.migrate, fresh)
    for _ in range(25):
        remove_tables(engine)
        killer.kill(killed.migrate, fresh)
        with engine.begin() as connection:
            names = set(inspect(connection).get_table_names()) - {"alembic_version"}
            step = connection.execute(text("SELECT version_num FROM alembic_version")).scalar() if names else None
        assert names in (set(), set(metadata.tables))
        assert step == (LAST if names else None)
        outcomes.append(step)
        with Store.open(fresh) as store:
            assert store.verify().misfit is None
    engine.dispose()
    assert killer.kills > 8
    assert None in outcomes


def remove_tables(engine):
    """Empty a database of all that a store makes."""
    if engine.dialect.name == "sqlite":
        with engine.begin() as connection:
            for name in ("readings", "streams", "trail", "head", "alembic_version"):
                connection.execute(text(f"DROP TABLE {name}"))
    else:
        with engine.begin() as connection:
            connection.execute(text("DROP SCHEMA public CASCADE"))
            connection.execute(text("CREATE SCHEMA public"))


def test_a_backup(store, empty, tmp_path):
    killer, whole = Killer(4), 0
    add(store, read_text(tmp_path, long_log(1500)))
    before = store.verify()
    killer.left_alone(killed.back_up, empty, tmp_path / "first.db")
    for n in range(25):
        file = tmp_path / f"{n}.db"
        killer.kill(killed.back_up, empty, file)
        if file.exists():
            whole += 1
            with Store.open(file) as copy:
                assert copy.verify() == before
        else:
            assert backup(store, file) == before
        file.unlink()
    assert store.verify() == before
    assert killer.kills > 8
    assert whole < 25


def test_a_restore(empty, tmp_path):
    killer, outcomes = Killer(5), []
    with Store.open(tmp_path / "source.db") as source:
        add(source, read_text(tmp_path, long_log(1500)))
        before = backup(source, tmp_path / "kept.db")
    killer.left_alone(killed.restore, tmp_path / "kept.db", str(tmp_path / "target.db"))
    for _ in range(20):
        killer.kill(killed.restore, tmp_path / "kept.db", empty)
        with Store.open(empty) as into:
            verified = into.verify()
            assert verified.misfit is None
            assert verified.entries in (0, before.entries)
            outcomes.append(verified.entries)
            if not verified.entries:
                continue
            remove_tables(into.engine)

    assert killer.kills > 6
    assert 0 in outcomes
