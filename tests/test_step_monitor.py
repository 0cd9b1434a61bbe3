"""The monitor one reading at a time, as somebody uses it who gets them so; `test_monitor` holds it to all at once."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.catalogue.acceptance import Acceptance
from spc.errors import InputError
from spc.monitor import monitor_stream
from spc.records import StreamKey
from spc.results import Signal
from spc.step_monitor import MonitorState, monitor_event, monitor_next, monitor_start, one_by_one
from tests.made import START, cut, made_check, made_event, made_readings

STEADY = [0.19, 0.21] * 10
AMMETER = made_check(
    charted="deviation",
    chart_unit="%",
    unit_label="A",
    acceptance=Acceptance(rule="percent_or_amperes", percent=10, amperes=50),
    baseline=5,
)


def at_reading(i: float):
    return START + timedelta(hours=8 * i)


def one_at_a_time(state: MonitorState, readings):
    signals: list[Signal] = []
    for reading in one_by_one(readings):
        state, new = monitor_next(state, reading)
        signals += new
    return state, tuple(signals)


def test_readings_one_by_one_are_the_readings_of_the_stream():
    columns = {"technician": ["ktl", "", "mb"], "note": ["", "rinsed twice", ""]}
    readings = made_readings([0.2, 0.05, np.nan], bounds=[0, -1, 0], words=["", "", "not run"], columns=columns)
    readings = replace(readings, other={"tube": np.array(["1", "", "2"], dtype=object)})

    first, second, third = one_by_one(readings)

    assert (first.taken_at, first.row, first.value, first.technician, first.other) == (
        START,
        2,
        0.2,
        "ktl",
        {"tube": "1"},
    )
    assert (second.bound, second.note) == (-1, "rinsed twice")
    assert (third.word, third.other) == ("not run", {"tube": "2"})


def test_history_first_and_then_what_comes():
    readings, check = made_readings([*STEADY, 0.2, 0.3, 0.2]), made_check(early_warning=True)
    state = monitor_start(cut(readings, 21), (), check)
    _, _, *later = list(one_by_one(readings))[19:]
    state, signals = monitor_next(state, later[0])

    assert signals == monitor_stream(cut(readings, 22), (), check).signals
    assert next((signal.position, signal.rule) for signal in signals) == (21, "beyond_limits")


def test_a_state_is_never_changed():
    readings, check = made_readings([*STEADY, 0.3]), made_check()
    state = monitor_start(cut(readings, 20), (), check)
    (*_, last) = one_by_one(readings)

    first, again = monitor_next(state, last), monitor_next(state, last)

    assert first[1] == again[1] != ()
    assert (first[0].n, again[0].n, state.n) == (21, 21, 20)


def test_an_event_joins_for_the_readings_to_come():
    readings, check = made_readings([*STEADY, *STEADY]), made_check(baseline=5)
    changed = made_event("bath_changed", at_reading(30.5))
    early = monitor_event(monitor_start(cut(readings, 30), (), check), changed)
    state, signals = one_at_a_time(early, replace_first(readings, 30))
    whole = monitor_stream(readings, (changed,), check)

    assert (state.first, state.because) == (31, "bath_changed")
    assert signals == tuple(signal for signal in whole.signals if signal.position >= 30)
    assert state.limits == whole.segments[-1].limits
    for says_nothing in (made_event("lamp_replaced", at_reading(30.5)), replace(changed, line="Line Q")):
        assert monitor_event(early, says_nothing) is early


def replace_first(readings, n):
    """Return the readings from place `n` on."""
    rows = {name: getattr(readings, name)[n:] for name in ("taken_at", "offset", "row", "value", "bound", "word")}
    more = {name: getattr(readings, name)[n:] for name in ("reference", "instrument", "technician", "shift", "note")}
    return replace(readings, **rows, **more)


def test_what_came_too_late_is_refused_with_what_to_do():
    readings, check = made_readings(STEADY), made_check()
    first, *_ = one_by_one(readings)
    state = monitor_start(readings, (), check)

    with pytest.raises(InputError, match=r"was taken before the latest one, of 2025-03-09T14:00.*start anew"):
        monitor_next(state, first)
    with pytest.raises(InputError, match=r"bath_changed of 2025-03-09T14:00.* happened before the latest.*start anew"):
        monitor_event(state, made_event("bath_changed", at_reading(19)))
    with pytest.raises(InputError, match=r"a reading of Line A · bath_concentration · sump, but .* a state a stream"):
        monitor_next(state, replace(first, key=StreamKey("Line A", "bath_concentration", "sump")))


@given(st.lists(st.sampled_from([np.nan, 0.0, 1000.0]), min_size=1, max_size=12), st.lists(st.booleans(), min_size=12))
def test_the_first_number_settles_how_an_ammeter_is_charted(references, stood):
    n = len(references)
    words = ["not run" if stood[i] else "" for i in range(n)]
    values = [np.nan if stood[i] else 1010.0 + 40.0 * (i % 3) + 200.0 * (i > 9) for i in range(n)]
    readings = made_readings(values, words=words, references=references)
    whole = monitor_stream(readings, (), AMMETER)

    state, signals = one_at_a_time(monitor_start(cut(readings, 0), (), AMMETER), readings)

    assert (state.check.charted, state.check.chart_unit, state.n) == (
        whole.check.charted,
        whole.check.chart_unit,
        len(whole.charted.x),
    )
    assert signals == whole.signals
    if whole.segments:
        assert state.limits == whole.segments[-1].limits
