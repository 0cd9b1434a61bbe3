"""Readings parted by what they share."""

import numpy as np
import pytest
from scipy.stats import kruskal

from spc.monitor import monitor_stream
from spc.records import StreamKey
from spc.splits import DOUBT, split, ways_of
from tests.made import made_check, made_readings

WHOLE = slice(None)


def stream(x, key=None, **columns):
    readings = made_readings(list(x), columns=columns, **({"key": key} if key else {}))
    return monitor_stream(readings, (), made_check())


def normal(n, seed=3, level=0.2):
    return np.random.default_rng(seed).normal(level, 0.01, n)


def test_groups_have_their_readings_medians_and_quartiles():
    x = normal(40)
    found = split(stream(x, instrument=["a", "b"] * 20), "instrument", WHOLE)

    assert [(group.name, group.n) for group in found.groups] == [("a", 20), ("b", 20)]
    assert found.groups[0].median == np.median(x[::2])
    assert (found.groups[1].low, found.groups[1].high) == tuple(np.quantile(x[1::2], (0.25, 0.75)))


def test_groups_without_a_difference_are_not_asked_about():
    x = normal(40)
    found = split(stream(x, shift=["A", "B"] * 20), "shift", WHOLE)

    # scipy's own test on the same groups; a common centre line does not change ranks
    assert found.chance == pytest.approx(kruskal(x[::2], x[1::2]).pvalue)
    assert found.chance is not None
    assert found.chance > DOUBT
    assert "no more than readings of one group" in found.question


def test_a_difference_is_a_question_that_blames_nobody():
    x = normal(40)
    x[1::2] += 0.03
    found = split(stream(x, technician=["k", "m"] * 20), "technician", WHOLE)

    assert found.chance is not None
    assert found.chance < 1e-6
    assert found.question.startswith("Readings of k lie 0.0")
    assert "Compare the way it is done" in found.question
    assert "fault" not in found.question


def test_a_group_that_measured_another_segment_is_compared_with_its_own_centre_line():
    from datetime import UTC, datetime

    from spc.records import Event

    x = np.concatenate([normal(40), normal(40, seed=4, level=0.3)])
    readings = made_readings(list(x), columns={"instrument": ["old"] * 40 + ["new"] * 40})
    event = Event(datetime.fromtimestamp(readings.taken_at[40] / 1e6, UTC), 0, 1, "Line A", "bath_changed")
    found = split(monitor_stream(readings, [event], made_check()), "instrument", WHOLE)

    assert found.chance is not None
    assert found.chance > DOUBT


def test_names_that_differ_in_capitals_alone_are_one():
    found = split(stream(normal(30), technician=["T1", "t1", "T1 ", "T2", "T1", ""] * 5), "technician", WHOLE)

    assert {group.name: group.n for group in found.groups} == {"T1": 20, "T2": 5, "not written down": 5}


def test_only_ways_with_two_groups_are_offered():
    one = stream(normal(30), instrument=["a"] * 30, shift=["A", "B"] * 15)
    sister = stream(normal(30), key=StreamKey("Line A", "bath_concentration", "tank 2"))

    assert ways_of(one) == ("shift",)
    assert ways_of(one, [one, sister]) == ("shift", "position")


def test_positions_stand_side_by_side_in_the_same_stretch_of_time():
    one, other = stream(normal(30)), stream(normal(60), key=StreamKey("Line A", "bath_concentration", "tank 2"))
    elsewhere = stream(normal(60), key=StreamKey("Line B", "bath_concentration", "tank"))
    found = split(one, "position", WHOLE, [one, other, elsewhere])

    assert [(group.name, group.n) for group in found.groups] == [("tank", 30), ("tank 2", 30)]
    assert found.chance is None


def test_too_few_readings_are_not_compared():
    found = split(stream(normal(8), shift=["A", "B"] * 4), "shift", slice(0, 4))

    assert found.chance is None
    assert "nothing is compared" in found.question


def test_equal_readings_are_not_compared():
    found = split(stream([0.2] * 30, shift=["A", "B"] * 15), "shift", WHOLE)

    assert found.chance is None
