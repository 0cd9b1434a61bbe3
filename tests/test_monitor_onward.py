"""A stream that grew is told of from where it stood: to the bit what is told from its start."""

from dataclasses import fields, is_dataclass, replace
from datetime import timedelta

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.drift import update
from spc.monitor import monitor_onward
from tests.made import START, cut, made_check, made_event, made_readings
from tests.test_monitor import streams


def same(one, other) -> bool:
    """Return whether two results are equal to the bit, arrays in them too."""
    if isinstance(one, np.ndarray):
        return bool(one.dtype == other.dtype and np.array_equal(one, other, equal_nan=one.dtype.kind == "f"))
    if is_dataclass(one):
        return type(one) is type(other) and all(same(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
    if isinstance(one, dict):
        return one.keys() == other.keys() and all(same(one[key], other[key]) for key in one)
    if isinstance(one, tuple | list):
        return len(one) == len(other) and all(map(same, one, other))
    return bool(one == other or (one != one and other != other))


@given(streams(), st.lists(st.integers(0, 60), min_size=1, max_size=4))
@settings(deadline=None)
def test_a_stream_that_grows_is_told_of_as_from_its_start(case, cuts):
    readings, events, check = case
    check, behind = replace(check, early_warning=True), None
    for n in [*sorted(min(each, len(readings)) for each in cuts), len(readings)]:
        onward, behind = monitor_onward(cut(readings, n), events, check, behind)
        whole, from_start = monitor_onward(cut(readings, n), events, check, None)

        assert same(onward, whole)
        assert same(behind, from_start)


@given(streams(), st.data())
@settings(deadline=None)
def test_whatever_is_changed_behind_it_is_told_of_as_from_its_start(case, data):
    readings, events, check = case
    check = replace(check, early_warning=True)
    _, behind = monitor_onward(cut(readings, data.draw(st.integers(0, len(readings)))), events, check, None)
    match data.draw(st.sampled_from(["value", "left out", "event", "event gone", "limits", "bound", "resolution"])):
        case "value" if len(readings):
            value = readings.value.copy()
            value[data.draw(st.integers(0, len(value) - 1))] += 0.05
            readings = replace(readings, value=value)
        case "bound" if len(readings):
            bound = readings.bound.copy()
            bound[data.draw(st.integers(0, len(bound) - 1))] = 1
            readings = replace(readings, bound=bound)
        case "left out":
            readings = cut(readings, data.draw(st.integers(0, len(readings))))
        case "event":
            kind = data.draw(st.sampled_from(["bath_changed", "bath_topped_up"]))
            hours = data.draw(st.integers(-5, 24 * 60))
            events = [*events, made_event(kind, START + timedelta(hours=hours))]
        case "event gone":
            events = events[1:]
        case "limits":
            check = replace(check, acceptance=replace(check.acceptance, lower=0.15))
        case "resolution":
            check = replace(check, resolution=0.01)
    onward, _ = monitor_onward(readings, events, check, behind)
    whole, _ = monitor_onward(readings, events, check, None)

    assert same(onward, whole)


def test_only_what_is_new_is_worked_out(monkeypatch):
    rng = np.random.default_rng(3)
    readings, check = made_readings(rng.normal(0.2, 0.01, 60).tolist()), made_check(early_warning=True)
    _, behind = monitor_onward(cut(readings, 59), (), check, None)
    steps = []

    def counted(state, reading):
        steps.append(reading.value)
        return update(state, reading)

    monkeypatch.setattr("spc.early_warning.update", counted)
    monitor_onward(readings, (), check, behind)

    assert steps == [readings.value[59]]
    assert monitor_onward(readings, (), replace(check, early_warning=False), None)[1] is None
