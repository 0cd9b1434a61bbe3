"""A baseline that was signed off sets the limits from its day on, until a newer one, a withdrawal or a reset."""

from dataclasses import replace
from datetime import UTC, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.change_words import change_start
from spc.monitor import MOVING_RANGE_RULE, monitor_stream
from spc.results import SIGNED_OFF, WITHDRAWN, Signal, since_reset
from spc.rules import ALL_EIGHT
from spc.signals import episodes
from spc.signed_baseline import SignedBaseline, in_force, moments
from spc.step_monitor import limits_for, monitor_next, monitor_start, one_by_one
from spc.stream_facts import awaited, baseline_facts
from spc.times import to_microseconds
from tests.made import START as FIRST_READING
from tests.made import cut, made_check, made_event, made_readings

STEADY = [0.19, 0.21] * 10


def at_reading(i: float):
    return FIRST_READING + timedelta(hours=8 * i)


def version(number=1, *, first=0.0, last=19.0, valid_from=22.0, until=None, centre=0.25, sigma=0.01, unit=""):
    """Return a baseline whose times are given in readings."""
    return SignedBaseline(
        version=number,
        first=at_reading(first),
        last=at_reading(last),
        n=20,
        centre_line=centre,
        sigma=sigma,
        lower=centre - 3 * sigma,
        upper=centre + 3 * sigma,
        valid_from=at_reading(valid_from),
        signed_by="anna",
        signed_at=at_reading(valid_from),
        valid_until=None if until is None else at_reading(until),
        unit=unit,
    )


def parts(result):
    return [(segment.first, segment.stop, segment.because) for segment in result.segments]


def test_the_limits_change_with_the_first_reading_of_its_day():
    check = made_check(signed_baselines=(version(),), moving_range=False)
    result = monitor_stream(made_readings([*STEADY, 0.20, 0.20, 0.20, 0.25]), (), check)

    assert parts(result) == [(0, 22, "start_of_log"), (22, 24, SIGNED_OFF)]
    assert result.segments[1].limits is not None
    assert result.segments[1].limits.upper == pytest.approx(0.28)
    assert [signal.position for signal in result.signals] == [22]  # 0.20 is usual before, and 5 sigmas low after


def test_a_moving_range_and_a_run_go_on_across_the_change():
    high = [0.215] * 8
    signed = version(valid_from=24, centre=0.2, sigma=0.02)
    check = made_check(signed_baselines=(signed,), rules_signal=True)
    result = monitor_stream(made_readings([*STEADY, *high]), (), check)
    jumped = monitor_stream(made_readings([*STEADY, *[0.2] * 4, 0.29]), (), check)

    # the last baseline reading is high too: nine in a row at the eighth after it, four judged by either version
    assert ("one_side", 27) in [(signal.rule, signal.position) for signal in result.signals]
    assert (MOVING_RANGE_RULE, 24) in [(signal.rule, signal.position) for signal in jumped.signals]


@pytest.mark.parametrize(
    ("versions", "events", "expected"),
    [
        ((version(valid_from=5),), (), [(0, 20, "start_of_log"), (20, 40, SIGNED_OFF)]),  # not before its own are whole
        ((version(valid_from=50),), (), [(0, 40, "start_of_log")]),
        (
            (version(), version(2, valid_from=30, centre=0.2)),
            (),
            [(0, 22, "start_of_log"), (22, 30, SIGNED_OFF), (30, 40, SIGNED_OFF)],
        ),
        (
            (version(), version(2, valid_from=30, until=35)),
            (),
            [(0, 22, "start_of_log"), (22, 30, SIGNED_OFF), (30, 35, SIGNED_OFF), (35, 40, WITHDRAWN)],
        ),
        ((version(until=30),), (), [(0, 22, "start_of_log"), (22, 30, SIGNED_OFF), (30, 40, WITHDRAWN)]),
        (
            (version(),),
            (25,),
            [(0, 22, "start_of_log"), (22, 25, SIGNED_OFF), (25, 40, "bath_changed")],  # a new bath: its own limits
        ),
        ((version(valid_from=22, last=30),), (), [(0, 31, "start_of_log"), (31, 40, SIGNED_OFF)]),  # no look-ahead
        ((version(unit="%"),), (), [(0, 40, "start_of_log")]),  # drawn from another chart
    ],
)
def test_what_holds_when(versions, events, expected):
    changed = tuple(made_event("bath_changed", at_reading(each)) for each in events)
    check = made_check(signed_baselines=versions, baseline=20)

    result = monitor_stream(made_readings([*STEADY, *STEADY]), changed, check)

    assert parts(result) == expected


def test_the_newest_version_that_holds_counts_in_whatever_order_they_stand():
    at = to_microseconds(at_reading(31))
    first, second = version(), version(2, valid_from=30)

    assert in_force((second, first), at) == in_force((first, second), at) == second
    assert in_force((first, second), to_microseconds(at_reading(29))) == first
    assert in_force((first,), at, since=to_microseconds(at_reading(1))) is None
    assert moments((first,)) == (to_microseconds(at_reading(19)) + 1, to_microseconds(at_reading(22)))


VERSIONS = st.lists(
    st.tuples(st.floats(-2, 60), st.none() | st.floats(0, 60), st.floats(0.15, 0.25), st.sampled_from([0.01, 0.03])),
    max_size=3,
)


@settings(max_examples=40)
@given(
    values=st.lists(st.sampled_from([0.12, 0.17, 0.19, 0.2, 0.21, 0.24, 0.3]), min_size=25, max_size=60),
    resets=st.lists(st.floats(0, 60), max_size=2),
    versions=VERSIONS,
)
def test_one_reading_at_a_time_says_the_same_at_every_prefix(values, resets, versions):
    signed = tuple(
        version(number, last=11, valid_from=begins, until=ends, centre=centre, sigma=sigma)
        for number, (begins, ends, centre, sigma) in enumerate(versions, start=1)
    )
    events = tuple(made_event("bath_changed", at_reading(each)) for each in resets)
    check = made_check(rules=ALL_EIGHT, rules_signal=True, early_warning=False, baseline=12, signed_baselines=signed)
    readings = made_readings(values)
    state = monitor_start(cut(readings, 0), events, check)
    signals: list[Signal] = []

    for i, reading in enumerate(one_by_one(readings)):
        state, fired = monitor_next(state, reading)
        signals += fired
        batch = monitor_stream(cut(readings, i + 1), events, check)
        assert tuple(signals) == batch.signals
        assert (
            limits_for(state, int(readings.taken_at[i])) == batch.segments[-1].limits
            or not state.n > since_reset(batch.segments).first + 12
        )


def test_the_page_says_which_baseline_the_chart_uses_and_which_comes_next():
    check = made_check(signed_baselines=(version(), version(2, valid_from=60)))
    used = monitor_stream(made_readings([*STEADY, *STEADY]), (), check)
    own = monitor_stream(made_readings([*STEADY, 0.2]), (), check)
    without = monitor_stream(made_readings([*STEADY, 0.2]), (), made_check())

    said, before = (dict(baseline_facts(result, UTC)) for result in (used, own))

    assert said["Baseline"].startswith("version 1, signed off by anna on ")
    assert said["Next baseline"].startswith("version 2, signed off by anna, for readings from ")
    assert before["Baseline"] == "the segment's own readings; not signed off"
    assert "Baseline" not in dict(baseline_facts(without, UTC))
    assert (awaited(used), awaited(without)) == (check.signed_baselines[1], None)


def test_a_change_that_began_before_the_sign_off_is_dated_where_it_began():
    rng = np.random.default_rng(3)
    falling = 0.2 - 0.004 * np.arange(30) + rng.normal(0, 0.004, 30)
    values = [*(0.2 + rng.normal(0, 0.004, 30)), *falling]
    learning = made_check(early_warning=True, rules_signal=False)
    signed = version(valid_from=45, centre=0.2, sigma=0.004)
    with_sign_off = monitor_stream(made_readings(values), (), replace(learning, signed_baselines=(signed,)))
    without = monitor_stream(made_readings(values), (), learning)

    told, plain = episodes(with_sign_off, UTC), episodes(without, UTC)

    warned = [signal for signal in with_sign_off.signals if signal.chart == "early_warning"]
    assert warned
    assert told[-1].since == plain[-1].since < at_reading(45)
    assert change_start(warned, since_reset(with_sign_off.segments), with_sign_off) < 45
    assert with_sign_off.forecast == without.forecast
