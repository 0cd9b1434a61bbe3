"""Readings written down by hand: each kept once, on both databases."""

from dataclasses import replace
from datetime import timedelta
from threading import Thread

import numpy as np
import pytest

from spc.entry import Written, as_readings
from spc.errors import StoreError
from spc.records import Bound
from spc.store.written import ENTRY, add_written, find_written
from tests.made import made_readings
from tests.store.made_store import BATH, LOG, NOW, add, read_text

UNIT = "mL/100mL"
ONE = Written(BATH, NOW - timedelta(minutes=5), 0.21, instrument="tube-03", technician="ktl", shift="A", note="clear")


def keep(store, entry=ONE, name="a" * 32, who="ktl", now=NOW):
    return add_written(store.engine, as_readings(entry, 0), UNIT, name=name, who=who, now=now)


def test_an_entry_is_kept_with_all_that_was_written(store):
    assert keep(store) == "kept"

    (readings,) = store.streams().values()
    assert readings.value.tolist() == [0.21]
    assert (readings.instrument[0], readings.technician[0], readings.note[0]) == ("tube-03", "ktl", "clear")
    assert readings.other[ENTRY].tolist() == ["a" * 32]
    assert store.since(0)[-1].who == "ktl"
    assert store.verify().misfit is None


def test_an_entry_that_arrives_again_is_kept_once_though_its_time_differs(store):
    keep(store)

    assert keep(store, replace(ONE, taken_at=ONE.taken_at + timedelta(seconds=3))) == "kept before"
    assert keep(store) == "kept before"
    assert [len(readings) for readings in store.streams().values()] == [1]


@pytest.mark.parametrize("alike", ["abx1", "Ab_1", "Ab%"])
def test_a_name_that_is_merely_alike_is_another_entry(store, alike):
    keep(store, name="AbX1")

    assert keep(store, replace(ONE, value=0.22), name=alike) == "kept"
    assert keep(store, replace(ONE, value=0.22), name=alike) == "kept before"
    assert find_written(store.engine, BATH, "abX1") is None


def test_the_same_reading_under_another_name_is_told_apart_from_a_new_one(store):
    keep(store)

    assert keep(store, name="b" * 32) == "written before"
    assert keep(store, replace(ONE, value=0.22), name="c" * 32) == "kept"


def test_entries_go_among_the_readings_of_a_log_and_have_rows_of_their_own(store, tmp_path):
    add(store, read_text(tmp_path, LOG))
    keep(store)
    keep(store, replace(ONE, taken_at=NOW), name="b" * 32)

    readings = store.streams()[BATH]
    assert readings.taken_at.tolist() == sorted(readings.taken_at.tolist())
    assert len(set(readings.row.tolist())) == len(readings)
    assert store.verify().misfit is None


def test_an_entry_is_found_with_who_wrote_it_and_whether_another_came_since(store):
    keep(store, replace(ONE, bound=Bound.BELOW))
    found = find_written(store.engine, BATH, "a" * 32)

    assert found is not None
    assert (found.who, found.kept_at, found.newest) == ("ktl", NOW, True)
    assert (found.identity.value, found.identity.bound) == (0.21, Bound.BELOW)
    keep(store, replace(ONE, taken_at=NOW), name="b" * 32)
    again = find_written(store.engine, BATH, "a" * 32)
    assert again is not None
    assert not again.newest


def test_what_was_never_written_is_not_found(store):
    assert find_written(store.engine, BATH, "a" * 32) is None
    keep(store)
    assert find_written(store.engine, BATH, "b" * 32) is None


def test_many_tablets_at_once_lose_nothing_and_double_nothing(store):
    """Eight threads send the same forty entries, each in an order of its own."""
    entries = [(replace(ONE, taken_at=ONE.taken_at - timedelta(hours=i)), f"{i:032x}") for i in range(40)]
    told: list[str] = []

    def send(seed: int) -> None:
        for place in np.random.default_rng(seed).permutation(len(entries)):
            entry, name = entries[place]
            told.append(keep(store, entry, name))

    threads = [Thread(target=send, args=(seed,)) for seed in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=120)

    assert told.count("kept") == 40
    assert told.count("kept before") == 7 * 40
    assert [len(readings) for readings in store.streams().values()] == [40]
    assert store.verify().misfit is None


def test_refuses_more_than_one_reading_and_another_unit(store):
    with pytest.raises(StoreError, match="2 readings in one entry"):
        add_written(store.engine, made_readings([0.2, 0.3], key=BATH), UNIT, name="a" * 32, who="ktl", now=NOW)
    keep(store)
    with pytest.raises(StoreError, match="keeps it in"):
        add_written(store.engine, as_readings(ONE, 0), "%", name="b" * 32, who="ktl", now=NOW)
