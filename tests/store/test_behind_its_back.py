"""Every column of every table, changed behind the program's back in every way tried, and whole records swapped in.

What cannot be told from the store alone, because all of it is consistent again, is told beside a digest that was
written down elsewhere: `spc verify --digest`, the last line of `spc backup`, the head of the trail in an evidence pack.
"""

import shutil
from itertools import pairwise
from pathlib import Path

import pytest
from sqlalchemy import Column, Connection, Table, select, text
from sqlalchemy.exc import DBAPIError
from typer.testing import CliRunner

from spc.cli import app
from spc.store.store import Store
from spc.store.tables import head, metadata, readings, streams, trail
from spc.store.trail import entry_digest
from spc.store.verify import verify
from tests.store.made_store import NOW, changed_bath, take_triggers_away

OF_THE_STEPS = "alembic_version"


def test_all_tables_of_the_store_are_tried(unguarded):
    """A table that is added has to be part of the chain, or this list says why not."""
    from sqlalchemy import inspect

    there = set(inspect(unguarded.engine).get_table_names())

    assert there == {table.name for table in metadata.sorted_tables} | {OF_THE_STEPS}


def others(table: Table, column: Column[object], connection: Connection) -> list[object]:
    """Return what somebody might put into a column instead."""
    kept = list(dict.fromkeys(connection.execute(select(column)).scalars()))
    numbers = [value for value in kept if isinstance(value, int | float)]
    made = ["", "x", b"x", 0, 1.5, 1e999, None, 2**62]
    return [*kept[:3], *(number + 1 for number in numbers[:2]), *made]


def cell(connection: Connection, table: Table, column: Column[object], number: int) -> object:
    """Return what stands in a column of a row, as it lies there."""
    (key,) = table.primary_key.columns
    words = f'SELECT "{column.name}" FROM {table.name} WHERE {key.name} = :number'
    return connection.execute(text(words), {"number": number}).scalar()


def alike(a: object, b: object) -> bool:
    return a == b and (type(a) is type(b) or {type(a), type(b)} <= {int, float})


@pytest.mark.parametrize("table", metadata.sorted_tables, ids=lambda table: table.name)
def test_a_change_of_any_cell_is_found(unguarded, table):
    with unguarded.engine.connect() as connection, connection.begin():
        for column in table.columns:
            assert changes_found(connection, table, column) > 0, column
        assert verify(connection).misfit is None


def changes_found(connection: Connection, table: Table, column: Column[object]) -> int:
    """Change every cell of a column, one at a time and taken back again; return how many changes there were."""
    (key,) = table.primary_key.columns
    words = f'UPDATE {table.name} SET "{column.name}" = :value WHERE {key.name} = :number'
    tried = 0
    for number in connection.execute(select(key)).scalars().all():
        before = cell(connection, table, column, number)
        for value in others(table, column, connection):
            if alike(before, value):
                continue
            point = connection.begin_nested()
            try:
                connection.execute(text(words), {"value": value, "number": number})
                stands = cell(connection, table, column, number)
            except DBAPIError:  # the database takes no such value
                point.rollback()
                continue
            if not alike(before, stands):  # a text that is a number becomes one
                tried += 1
                assert verify(connection).misfit is not None, (column, number, before, value)
            point.rollback()
    return tried


@pytest.mark.parametrize("table", metadata.sorted_tables, ids=lambda table: table.name)
def test_a_loss_of_any_row_and_a_row_twice_is_found(unguarded, table):
    (key,) = table.primary_key.columns
    with unguarded.engine.connect() as connection, connection.begin():
        rows = connection.execute(select(table).order_by(key)).mappings().all()
        for row in rows:
            point = connection.begin_nested()
            connection.execute(table.delete().where(key == row[key.name]))
            assert verify(connection).misfit is not None, dict(row)
            point.rollback()
        new = {**rows[-1], key.name: rows[-1][key.name] + 1}
        if table is readings:
            new["taken_at"] += 1
        if table is streams:
            new["line"] += "2"
        connection.execute(table.insert().values(new))
        assert verify(connection).misfit is not None


@pytest.mark.parametrize("table", [trail, readings], ids=lambda table: table.name)
def test_two_rows_that_changed_places_are_found(unguarded, table):
    (key,) = table.primary_key.columns
    with unguarded.engine.connect() as connection, connection.begin():
        numbers = connection.execute(select(key).order_by(key)).scalars().all()
        for first, second in pairwise(numbers):
            point = connection.begin_nested()
            for here, there in ((first, -1), (second, first), (-1, second)):
                connection.execute(table.update().where(key == here).values({key.name: there}))
            misfit = verify(connection).misfit
            assert misfit is not None
            assert (misfit.reading or misfit.entry) == first
            point.rollback()


def test_an_entry_reckoned_anew_is_found_at_the_next(unguarded):
    """Whoever knows how digests are made and makes that of one entry anew."""
    with unguarded.engine.connect() as connection, connection.begin():
        entries = connection.execute(select(trail).order_by(trail.c.sequence)).all()
        before, entry = entries[-3], entries[-2]
        said = (entry.sequence, entry.at, "somebody", entry.kind, entry.subject, entry.body)
        digest = entry_digest(bytes(before.digest), *said)
        changed = trail.update().where(trail.c.sequence == entry.sequence)
        connection.execute(changed.values(who="somebody", digest=digest))
        misfit = verify(connection).misfit

    assert misfit is not None
    assert misfit.entry == entries[-1].sequence


def reckon_anew(connection: Connection, upto: int) -> None:
    """Make the chain of the entries up to one consistent again, and its head, as one who knows the program can."""
    digest, last = bytes(32), 0
    for row in connection.execute(select(trail).order_by(trail.c.sequence)).all():
        if row.sequence > upto:
            connection.execute(trail.delete().where(trail.c.sequence == row.sequence))
            continue
        digest = entry_digest(digest, row.sequence, row.at, row.who, row.kind, row.subject, row.body)
        connection.execute(trail.update().where(trail.c.sequence == row.sequence).values(digest=digest))
        last = row.sequence
    connection.execute(head.update().values(sequence=last, digest=digest))


def told(store: Store, digest: str) -> tuple[int, str]:
    where = store.engine.url.render_as_string(hide_password=False).replace("+psycopg", "")
    done = CliRunner().invoke(app, ["verify", "--store", where, "--digest", digest], prog_name="spc")
    return done.exit_code, str(done.exception or "") + done.output


def test_a_cut_end_and_a_chain_all_made_anew_show_beside_a_digest_written_down(store):
    """What the store alone cannot tell, and says so: the head was moved too."""
    day = NOW.replace(month=3)
    store.append(*(changed_bath(day.replace(day=n), str(n)) for n in range(1, 6)), who="ktl", now=NOW)
    noted = store.verify().digest
    assert told(store, noted)[0] == 0
    with store.engine.begin() as connection:
        take_triggers_away(connection)
        reckon_anew(connection, upto=4)

    assert store.verify().misfit is None  # consistent in itself
    status, words = told(store, noted)
    assert status != 0
    assert "cut off or written anew" in words

    with store.engine.begin() as connection:
        connection.execute(trail.update().where(trail.c.sequence == 2).values(who="somebody"))
        reckon_anew(connection, upto=4)
    assert store.verify().misfit is None
    assert told(store, noted)[0] != 0


def test_an_old_backup_put_in_the_place_of_the_store_shows_beside_a_digest_written_down(made, tmp_path):
    file, kept = tmp_path / "store.db", tmp_path / "kept.db"
    shutil.copy(made, file)
    with Store.open(file) as store:
        store.append(changed_bath(NOW), who="ktl", now=NOW)
    _copy(file, kept)
    with Store.open(file) as store:
        store.append(changed_bath(NOW, "later"), who="ktl", now=NOW)
        noted = store.verify().digest
    _copy(kept, file)

    with Store.open(file) as store:
        assert store.verify().misfit is None
        status, words = told(store, noted)
    assert status != 0
    assert "no entry has the digest" in words


def _copy(file: Path, to: Path) -> None:
    to.unlink(missing_ok=True)
    shutil.copy(file, to)
    for beside in ("-wal", "-shm"):
        to.with_name(to.name + beside).unlink(missing_ok=True)
