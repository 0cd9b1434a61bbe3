"""A store that an earlier version wrote opens with the same answers, on both databases, whole or not at all.

The stores in `old/` are dumps of what earlier versions of the program really wrote, with what they answered.
"""

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic import op
from sqlalchemy import text

from spc.errors import StoreError
from spc.store.backup import backup, restore
from spc.store.engine import address, open_engine, reading
from spc.store.entries import KINDS, body_of, record_from
from spc.store.migrations import KNOWN, LAST, current
from spc.store.store import Store
from tests.store.made_store import NOW, changed_bath
from tests.store.old.make import HERE, answers
from tests.store.test_store import DAY

OLD = sorted(path.stem for path in HERE.glob("*.json"))


def old_answers(name: str) -> dict[str, object]:
    return dict(json.loads((HERE / f"{name}.json").read_text(encoding="utf-8")))


def old_file(name: str, path: Path) -> Path:
    """Make the SQLite store that an earlier version left."""
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript((HERE / f"{name}.sqlite.sql").read_text(encoding="utf-8"))
    return path


@pytest.fixture(params=OLD)
def old(request, fresh, tmp_path) -> tuple[str, str]:
    """Return the name of an old store and where it is, once for each kind of database."""
    if "://" not in fresh:
        old_file(request.param, Path(fresh))
        return request.param, fresh
    engine = open_engine(address(fresh))
    with engine.begin() as connection:
        words = (HERE / f"{request.param}.postgresql.sql").read_text(encoding="utf-8")
        connection.exec_driver_sql(words.replace("%", "%%"))
    engine.dispose()
    return request.param, fresh


def step_of(where: str) -> str | None:
    engine = open_engine(address(where))
    with reading(engine) as connection:
        found = current(connection)
    engine.dispose()
    return found


def test_every_step_of_the_tables_and_every_kind_of_record_stands_in_an_old_store(tmp_path):
    steps, kinds = set(), set()
    for name in OLD:
        steps.add(step_of(str(old_file(name, tmp_path / f"{name}.db"))))
        kinds |= {entry[3] for entry in old_answers(name)["trail"]}  # type: ignore[attr-defined]  # a list, as written

    assert steps == set(KNOWN)
    assert set(KINDS) <= kinds


def test_an_old_store_answers_as_it_did(old):
    name, where = old

    with Store.open(where) as store:
        assert answers(store) == old_answers(name)
        assert step_of(where) == LAST
        store.append(changed_bath(DAY.replace(day=20)), who="ktl", now=NOW)
        assert store.verify().misfit is None
        with pytest.raises(Exception, match="only grows"), store.engine.begin() as connection:
            connection.execute(text("UPDATE trail SET who = 'x'"))


def test_every_record_of_an_old_store_can_be_read_and_says_what_was_written(old):
    _, where = old

    with Store.open(where) as store:
        kept = [entry for entry in store.since(0) if entry.kind in KINDS]
    assert len(kept) > 5
    for entry in kept:
        said = body_of(record_from(entry.kind, entry.record))
        assert isinstance(said, dict)
        assert {key: said[key] for key in json.loads(entry.record)} == json.loads(entry.record)


@pytest.mark.parametrize("name", OLD)
def test_an_old_backup_is_restored_and_itself_left_as_it_was(name, fresh, tmp_path):
    kept = old_file(name, tmp_path / "kept.db")
    before = kept.read_bytes()

    with Store.open(fresh) as store:
        restore(kept, store)
        assert answers(store) == old_answers(name)
    assert kept.read_bytes() == before


@pytest.mark.parametrize("old", [name for name in OLD if name.startswith("m0001")], indirect=True)
def test_a_migration_cut_off_in_the_middle_changed_nothing(old, monkeypatch):
    name, where = old
    done: list[str] = []
    run = op.execute

    def cut_off(statement: str) -> None:
        done.append(statement)
        if len(done) == 4:
            raise KeyboardInterrupt
        run(statement)

    monkeypatch.setattr(op, "execute", cut_off)
    with pytest.raises(KeyboardInterrupt):
        Store.open(where)
    monkeypatch.undo()

    assert len(done) == 4
    assert step_of(where) == "m0001"
    with Store.open(where) as store:  # and goes through when tried again
        assert answers(store) == old_answers(name)
    assert step_of(where) == LAST


def test_a_newer_store_is_refused_in_one_line_and_left_alone(fresh, tmp_path):
    with Store.open(fresh) as store:
        store.append(changed_bath(DAY), who="ktl", now=NOW)
        backup(store, tmp_path / "kept.db")
    for where in (fresh, str(tmp_path / "kept.db")):
        engine = open_engine(address(where))
        with engine.begin() as connection:
            connection.execute(text("UPDATE alembic_version SET version_num = 'm9999'"))
        engine.dispose()

    with pytest.raises(
        StoreError, match=r"made by a newer version of this program \(step m9999\); update it"
    ) as refused:
        Store.open(fresh)
    assert "\n" not in str(refused.value)
    assert step_of(fresh) == "m9999"
    with Store.open(tmp_path / "empty.db") as into, pytest.raises(StoreError, match=r"kept\.db: was made by a newer"):
        restore(tmp_path / "kept.db", into)
