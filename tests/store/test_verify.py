"""Whoever changes the record behind the program's back is found, and the first place named."""

import pytest
from sqlalchemy import text

from spc.store.tables import readings, trail
from tests.store.made_store import NOW, add, changed_bath, long_log, read_text
from tests.store.test_store import DAY


@pytest.mark.parametrize(
    ("change", "entry", "reading"),
    [
        ("UPDATE readings SET value = 0.25 WHERE id = 2", 2, 2),
        ("UPDATE readings SET taken_at = taken_at + 1 WHERE id = 1", 2, 1),
        ("UPDATE readings SET note = 'x' WHERE id = 6", 2, 6),
        ("UPDATE readings SET file = 3 WHERE id = 4", 2, 4),
        ("UPDATE readings SET word = 'partly' WHERE word = 'shown'", 2, 6),
        ("UPDATE readings SET digest = (SELECT digest FROM readings WHERE id = 1) WHERE id = 3", 2, 3),
        ("DELETE FROM readings WHERE id = 3", 2, 3),
        ("DELETE FROM readings WHERE id = 6", 2, 6),
        ("UPDATE streams SET line = 'Line B' WHERE id = 2", 2, 5),
        ("UPDATE streams SET unit = '%' WHERE id = 1", 2, 1),
        ("UPDATE trail SET who = 'somebody' WHERE sequence = 4", 4, None),
        ("UPDATE trail SET at = at + 1 WHERE sequence = 1", 1, None),
        ("UPDATE trail SET subject = 'Line B' WHERE sequence = 5", 5, None),
        ("UPDATE trail SET body = '{}' WHERE sequence = 3", 3, None),
        ("DELETE FROM trail WHERE sequence = 4", 4, None),
        ("DELETE FROM trail WHERE sequence = 6", 6, None),
        ("UPDATE head SET sequence = 5, digest = (SELECT digest FROM trail WHERE sequence = 5)", 7, None),
        ("DELETE FROM head", 7, None),
    ],
)
def test_a_change_is_named(unguarded, change, entry, reading):
    with unguarded.engine.begin() as connection:
        connection.execute(text(change))

    misfit = unguarded.verify().misfit

    assert misfit is not None
    assert (misfit.entry, misfit.reading) == (entry, reading)


def test_an_added_reading_is_named(unguarded):
    with unguarded.engine.begin() as connection:
        row = dict(connection.execute(readings.select().where(readings.c.id == 1)).one()._mapping)
        connection.execute(readings.insert().values({**row, "id": 7, "value": 0.3}))

    misfit = unguarded.verify().misfit

    assert misfit is not None
    assert misfit.reading == 7
    assert "belongs to no entry" in misfit.words


def test_an_added_entry_is_named(unguarded):
    with unguarded.engine.begin() as connection:
        row = dict(connection.execute(trail.select().where(trail.c.sequence == 6)).one()._mapping)
        connection.execute(trail.insert().values({**row, "sequence": 7}))

    assert unguarded.verify().misfit.entry == 7


def test_a_digest_written_down_elsewhere_is_found_again(store, tmp_path):
    add(store, read_text(tmp_path, long_log(30)))
    noted = store.verify()
    store.append(changed_bath(DAY), who="ktl", now=NOW)

    assert store.digest_at(noted.digest) == noted.sequence
    assert store.digest_at("00" * 32) is None
    assert store.digest_at("no digest") is None
