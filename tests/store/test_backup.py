"""A backup is whole and of one moment, while people work; restored, the store is what it was."""

import sqlite3
import threading
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from spc.errors import StoreError
from spc.store.backup import backup, restore
from spc.store.store import Store
from tests.store.conftest import fresh_postgresql
from tests.store.made_store import LOG, NOW, add, changed_bath, long_log, read_text, said
from tests.store.test_store import DAY


def everything(store):
    return {key: said(kept) for key, kept in store.streams().items()}, store.since(0)


@pytest.mark.parametrize("into", ["sqlite", "postgresql"])
def test_a_restored_store_is_what_it_was(store, tmp_path, into, postgresql):
    add(store, read_text(tmp_path, LOG))
    store.append(changed_bath(DAY), who="ktl", now=NOW)

    backup(store, tmp_path / "kept.db")

    where = str(tmp_path / "again.db") if into == "sqlite" else fresh_postgresql(postgresql)
    with Store.open(where) as again:
        restore(tmp_path / "kept.db", again)
        assert everything(again) == everything(store)
        assert again.verify() == store.verify()
        again.append(changed_bath(DAY + timedelta(days=1)), who="ktl", now=NOW)
        assert again.verify().misfit is None


def test_a_backup_is_one_file_that_is_a_store(store, tmp_path):
    add(store, read_text(tmp_path, LOG))
    (tmp_path / "kept").mkdir()

    verified = backup(store, tmp_path / "kept" / "kept.db")

    assert [path.name for path in (tmp_path / "kept").iterdir()] == ["kept.db"]
    assert verified == store.verify()


def test_writers_go_on_during_a_backup(store, tmp_path):
    add(store, read_text(tmp_path, long_log(3000)))
    stop = threading.Event()
    written: list[int] = []

    def write() -> None:
        with Store.open(store.engine.url.render_as_string(hide_password=False)) as mine:
            while not stop.is_set():
                mine.append(changed_bath(DAY + timedelta(minutes=len(written))), who="ktl", now=NOW)
                written.append(1)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        kept = [backup(store, tmp_path / f"{n}.db").entries for n in range(3)]
    finally:
        stop.set()
        writer.join()

    assert kept == sorted(kept)
    assert len(written) > 3
    assert store.verify().misfit is None


def test_a_backup_overwrites_nothing(store, tmp_path):
    (tmp_path / "kept.db").write_text("mine")

    with pytest.raises(StoreError, match="is there already"):
        backup(store, tmp_path / "kept.db")

    assert (tmp_path / "kept.db").read_text() == "mine"


def test_only_an_empty_store_takes_a_backup(store, tmp_path):
    store.append(changed_bath(DAY), who="ktl", now=NOW)
    backup(store, tmp_path / "kept.db")
    before = store.verify()

    with pytest.raises(StoreError, match="holds 1 entries already"):
        restore(tmp_path / "kept.db", store)
    with pytest.raises(StoreError, match="there is no such file"):
        restore(tmp_path / "none.db", store)

    assert store.verify() == before


def test_a_damaged_backup_is_not_restored(made, tmp_path):
    with Store.open(tmp_path / "one.db") as one:
        add(one, read_text(tmp_path, LOG))
        backup(one, tmp_path / "kept.db")
    with Store.open(tmp_path / "kept.db") as kept, kept.engine.begin() as connection:
        connection.exec_driver_sql("DROP TRIGGER readings_only_grows_update")
        connection.exec_driver_sql("UPDATE readings SET value = 0.5 WHERE id = 1")

    with Store.open(tmp_path / "two.db") as two:
        with pytest.raises(StoreError, match="is not what was written, so nothing was restored"):
            restore(tmp_path / "kept.db", two)
        assert two.sequence() == 0


DAMAGED = (Path(__file__).parents[1] / "fuzz" / "seeds" / "backup_file" / "schema-in-no-utf-8").read_bytes()[1:]
"""An SQLite file whose schema names a column that it has not, in letters that are no UTF-8."""


def another_database(file):
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("CREATE TABLE parts (number)")


@pytest.mark.parametrize(
    ("write", "says"),
    [
        (lambda file: file.touch(), "holds no entry, so nothing was restored"),
        (another_database, "holds no entry, so nothing was restored"),
        (lambda file: file.write_bytes(DAMAGED), "is damaged, or no store"),
        (lambda file: file.write_bytes(b"SQLite format 3\0" + bytes(200)), "the database refuses"),
    ],
)
def test_what_is_no_backup_is_not_restored(made, tmp_path, write, says):
    write(tmp_path / "sent.db")

    with Store.open(tmp_path / "two.db") as two:
        with pytest.raises(StoreError, match=says) as refused:
            restore(tmp_path / "sent.db", two)
        assert two.sequence() == 0
    assert "sent.db" in str(refused.value)
