"""Segments, baselines, signals and failures of one stream."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.catalogue.acceptance import Acceptance
from spc.change_words import dated_by
from spc.monitor import MOVING_RANGE_RULE, monitor_stream
from spc.records import Bound
from spc.results import Signal, StreamResult
from spc.rules import ALL_EIGHT
from spc.step_monitor import monitor_next, monitor_start, one_by_one
from tests.made import KEY, START, cut, made_check, made_event, made_readings

# Readings 21 and later of this stream are judged by limits from the first 20: mean 0.2, moving ranges all 0.02.
STEADY = [0.19, 0.21] * 10


def at_reading(i: float):
    return START + timedelta(hours=8 * i)


def rules_fired(result: StreamResult) -> list[tuple[int, str, str | None]]:
    return [(signal.position, signal.rule, signal.side) for signal in result.signals]


def test_limits_come_from_the_baseline_alone():
    result = monitor_stream(made_readings([*STEADY, 0.3, 0.1]), (), made_check())

    (segment,) = result.segments
    assert segment.limits is not None
    assert segment.limits.complete
    assert segment.limits.n_baseline == 20
    assert segment.limits.centre_line == pytest.approx(0.2)
    # mean moving range 0.02 over d2 = 2 / sqrt(pi): closed form, by hand
    assert segment.limits.sigma == pytest.approx(0.02 * np.sqrt(np.pi) / 2)
    assert segment.limits.upper == pytest.approx(0.2 + 3 * 0.02 * np.sqrt(np.pi) / 2)


def test_nothing_signals_before_the_baseline_is_complete():
    result = monitor_stream(made_readings([*STEADY[:18], 0.9, 0.9]), (), made_check(rules=ALL_EIGHT))

    assert result.signals == ()
    assert [failure.value for failure in result.failures] == [0.9, 0.9]


def test_a_jump_signals_on_both_charts():
    result = monitor_stream(made_readings([*STEADY, 0.3]), (), made_check())

    assert rules_fired(result) == [(20, "beyond_limits", "high"), (20, MOVING_RANGE_RULE, "high")]
    assert result.signals[0].row == 22


def test_a_reading_on_the_control_limit_is_not_a_signal():
    limits = monitor_stream(made_readings(STEADY), (), made_check()).segments[0].limits
    assert limits is not None

    on = monitor_stream(made_readings([*STEADY, limits.upper]), (), made_check(moving_range=False))
    above = monitor_stream(made_readings([*STEADY, limits.upper + 1e-6]), (), made_check(moving_range=False))

    assert on.signals == ()
    assert rules_fired(above) == [(20, "beyond_limits", "high")]


def test_a_run_that_began_in_the_baseline_counts():
    # the centre line is 0.196; the last eight of the baseline lie below it, one more makes nine in a row
    baseline = [0.15, 0.25] * 6 + [0.19] * 8
    result = monitor_stream(made_readings([*baseline, 0.19]), (), made_check(moving_range=False))

    assert rules_fired(result) == [(20, "one_side", "low")]


def test_a_resetting_event_starts_a_segment_at_the_first_reading_not_before_it():
    changed = made_event("bath_changed", at_reading(21), check="bath_concentration", position="tank")
    result = monitor_stream(made_readings([*STEADY, 0.2, 0.3, 0.3]), (changed,), made_check())

    assert [(s.first, s.stop, s.because) for s in result.segments] == [
        (0, 21, "start_of_log"),
        (21, 23, "bath_changed"),
    ]
    assert result.signals == ()  # the rules do not reach across, and the new baseline is incomplete


def test_an_event_before_the_first_reading_names_the_first_segment():
    result = monitor_stream(made_readings(STEADY), (made_event("bath_changed", at_reading(-1)),), made_check())

    assert [(s.first, s.because) for s in result.segments] == [(0, "bath_changed")]


def test_an_event_after_the_last_reading_starts_no_empty_segment():
    result = monitor_stream(made_readings(STEADY), (made_event("bath_changed", at_reading(30)),), made_check())

    assert [(s.first, s.stop) for s in result.segments] == [(0, 20)]


@pytest.mark.parametrize(
    ("parts", "segments"),
    [
        ({"kind": "bath_changed"}, 2),  # every stream the kind can touch
        ({"kind": "bath_changed", "position": "sump"}, 1),
        ({"kind": "bath_changed", "check": "viscosity"}, 1),
        ({"kind": "lamp_replaced"}, 1),  # cannot touch a bath
        ({"kind": "lamp_replaced", "check": "bath_concentration"}, 2),  # unless it names the stream
        ({"kind": "bath_topped_up"}, 1),  # explains, resets nothing
        ({"kind": "line_idle"}, 1),
    ],
)
def test_which_events_start_a_segment(parts, segments):
    event = made_event(at=at_reading(10), **parts)

    assert len(monitor_stream(made_readings(STEADY), (event,), made_check()).segments) == segments


def test_an_event_of_another_line_says_nothing():
    event = replace(made_event("bath_changed", at_reading(10)), line="Line B")

    assert monitor_stream(made_readings(STEADY), (event,), made_check()).events == ()


def test_the_floor_of_a_coarse_reading_holds_the_limits_open():
    result = monitor_stream(made_readings([0.2] * 20), (), made_check(resolution=0.05))

    limits = result.segments[0].limits
    assert limits is not None
    assert limits.floored
    assert limits.sigma == pytest.approx(0.05 / np.sqrt(12))


def test_a_line_that_did_not_run_breaks_no_run():
    values = [*STEADY, 0.21, 0.21, 0.21, 0.21, np.nan, 0.21, 0.21, 0.21, 0.21]
    words = [""] * 24 + ["not run"] + [""] * 4
    result = monitor_stream(made_readings(values, words=words), (), made_check(moving_range=False))

    # the last baseline reading is high too: nine in a row at the eighth high one after it
    assert rules_fired(result) == [(27, "one_side", "high")]
    assert result.signals[0].row == 30


def test_a_censored_reading_counts_only_where_it_is_certain():
    low = monitor_stream(made_readings([*STEADY, 0.05], bounds=[0] * 20 + [Bound.BELOW]), (), made_check())
    unsure = monitor_stream(made_readings([*STEADY, 0.3], bounds=[0] * 20 + [Bound.BELOW]), (), made_check())

    assert rules_fired(low) == [(20, "beyond_limits", "low")]
    assert [failure.value for failure in low.failures] == [0.05]
    assert unsure.signals == ()
    assert unsure.failures == ()


def test_a_reading_on_the_acceptance_limit_passes():
    result = monitor_stream(made_readings([0.1, 0.4, 0.0999, 0.4001]), (), made_check())

    assert [failure.value for failure in result.failures] == [0.0999, 0.4001]


def test_an_ammeter_is_charted_as_its_deviation_and_judged_by_the_greater_limb():
    ammeter = made_check(
        key="ammeter",
        charted="deviation",
        chart_unit="%",
        unit="A",
        unit_label="A",
        acceptance=Acceptance(rule="percent_or_amperes", percent=10, amperes=50),
    )
    readings = made_readings([1010.0, 1101.0, 251.0, 249.0], references=[1000.0, 1000.0, 200.0, 200.0])

    result = monitor_stream(readings, (), ammeter)

    assert result.charted.x == pytest.approx([1.0, 10.1, 25.5, 24.5])
    assert result.charted.upper == pytest.approx([10, 10, 25, 25])  # 50 A at 200 A is 25 %
    assert [failure.row for failure in result.failures] == [3, 4]


def test_an_ammeter_stream_without_a_reference_is_charted_in_amperes_and_not_judged():
    ammeter = made_check(
        charted="deviation",
        chart_unit="%",
        unit_label="A",
        acceptance=Acceptance(rule="percent_or_amperes", percent=10, amperes=50),
    )

    result = monitor_stream(made_readings([1010.0, 1500.0]), (), ammeter)

    assert result.check.chart_unit == "A"
    assert result.charted.x == pytest.approx([1010.0, 1500.0])
    assert result.failures == ()


def test_an_ammeter_stream_that_lacked_its_first_reference_is_still_judged_where_it_has_one():
    ammeter = made_check(
        charted="deviation",
        chart_unit="%",
        unit_label="A",
        acceptance=Acceptance(rule="percent_or_amperes", percent=10, amperes=50),
    )
    nan = float("nan")
    readings = made_readings([1010.0, 1100.0, 1101.0, 149.0, 700.0], references=[nan, 1000.0, 1000.0, 200.0, nan])

    result = monitor_stream(readings, (), ammeter)

    assert result.charted.x == pytest.approx([1010.0, 1100.0, 1101.0, 149.0, 700.0])
    assert result.charted.lower == pytest.approx([nan, 900.0, 900.0, 150.0, nan], nan_ok=True)
    assert [failure.row for failure in result.failures] == [4, 5]


def test_judged_checks_fail_by_their_words():
    shim = made_check(
        kind="judged",
        charted="none",
        acceptance=Acceptance(rule="words", good=("shown",), bad=("partly", "not shown")),
        rules=(),
    )
    words = ["shown", "partly", "not run", "not shown", "shown"]

    result = monitor_stream(made_readings([np.nan] * 5, words=words), (), shim)

    assert [(failure.index, failure.value) for failure in result.failures] == [(1, "partly"), (3, "not shown")]
    assert result.segments == ()


def test_run_rules_are_listed_and_warn_only_where_the_catalogue_lets_them():
    quiet = monitor_stream(made_readings([*STEADY, 0.3]), (), made_check(rules_signal=False))
    loud = monitor_stream(made_readings([*STEADY, 0.3]), (), made_check(rules_signal=True))

    assert quiet.signals == ()
    assert quiet.rule_signals == loud.rule_signals == loud.signals
    assert len(loud.signals) == 2


def falling_stream(n_quiet: int = 30, slope: float = 0.006) -> list[float]:
    rng = np.random.default_rng(20250303)
    level = np.concatenate((np.full(n_quiet, 0.25), 0.25 - slope * np.arange(1, 21)))
    return list(np.round(level + rng.normal(0, 0.008, len(level)), 3))


def test_a_drift_warns_before_the_check_fails_and_is_dated():
    values = falling_stream()
    result = monitor_stream(made_readings(values), (), made_check(early_warning=True, rules_signal=False))

    first = result.signals[0]
    assert (first.chart, first.side) == ("early_warning", "low")
    assert 30 <= first.position < next(i for i, value in enumerate(values) if value < 0.14)
    dated = dated_by(result.signals, result)
    assert dated.since == pytest.approx(30, abs=5)
    assert dated.since_span is not None
    assert dated.since_span[0] - 2 <= 30 <= dated.since_span[1] + 2
    assert result.forecast.method == "model of the stream"


def test_a_single_misread_warns_of_nothing():
    values = falling_stream(n_quiet=60, slope=0.0)
    values[70] = 0.35
    result = monitor_stream(made_readings(values), (), made_check(early_warning=True, rules_signal=False))

    assert result.signals == ()
    assert any(signal.position == 70 for signal in result.rule_signals)


LEVELS = st.lists(st.sampled_from([0.0, 0.05, 0.1, 0.17, 0.19, 0.2, 0.21, 0.23, 0.3, 0.5]), max_size=60)
KINDS = st.sampled_from(["bath_changed", "bath_topped_up", "line_idle"])


@st.composite
def streams(draw):
    values = draw(LEVELS)
    n = len(values)
    bounds = draw(st.lists(st.sampled_from([0, 0, 0, 0, -1, 1]), min_size=n, max_size=n))
    # equal times happen: two readings in the same minute
    gaps = draw(st.lists(st.sampled_from([0, 4, 8, 24]), min_size=n, max_size=n))
    times = [START + timedelta(hours=int(h)) for h in np.cumsum(gaps)]
    hours = st.integers(-5, 24 * 60)
    happened = draw(st.lists(st.tuples(KINDS, hours), max_size=4))
    events = [made_event(kind, START + timedelta(hours=h)) for kind, h in happened]
    check = made_check(
        baseline=draw(st.sampled_from([2, 5, 20])),
        rules=ALL_EIGHT,
        resolution=draw(st.sampled_from([None, 0.05])),
        early_warning=draw(st.booleans()),
        rules_signal=draw(st.booleans()),
    )
    return made_readings(values, times=times, bounds=bounds), events, check


@given(streams())
def test_a_cut_log_gives_the_same_signals_up_to_the_cut(case):
    readings, events, check = case
    whole = monitor_stream(readings, events, check)

    for n in range(len(readings)):
        part = monitor_stream(cut(readings, n), events, check)
        assert part.signals == tuple(s for s in whole.signals if s.position < n)
        assert part.rule_signals == tuple(s for s in whole.rule_signals if s.position < n)
        assert part.failures == tuple(f for f in whole.failures if f.index < n)


@given(streams())
def test_step_and_batch_agree_at_every_prefix(case):
    readings, events, check = case
    state = monitor_start(cut(readings, 0), events, check)
    signals: list[Signal] = []

    for n, reading in enumerate(one_by_one(readings), start=1):
        state, new = monitor_next(state, reading)
        signals.extend(new)
        batch = monitor_stream(cut(readings, n), events, check)
        assert tuple(signals) == batch.signals
        assert state.limits == batch.segments[-1].limits
        assert (state.first, state.because) == (batch.segments[-1].first, batch.segments[-1].because)


@given(streams(), st.integers(1, 59))
def test_later_events_change_nothing_before_them(case, n):
    readings, events, check = case
    n = min(n, len(readings))
    later = made_event("bath_changed", START + timedelta(days=400))

    assert monitor_stream(readings, [*events, later], check).signals == monitor_stream(readings, events, check).signals


def test_the_key_names_the_stream():
    assert str(KEY) == "Line A · bath_concentration · tank"


def test_nothing_is_forecast_of_a_segment_without_a_reading():
    falling = [0.4 - 0.01 * i for i in range(25)]
    last = START + timedelta(hours=8 * 24)
    changed = made_event("bath_changed", last + timedelta(minutes=1))

    before = monitor_stream(made_readings(falling), (), made_check())
    after = monitor_stream(made_readings(falling), (changed,), made_check())

    assert before.forecast.risk_next_5 is not None
    assert before.forecast.readings_p50 is not None
    assert after.forecast.risk_next is None
    assert after.forecast.date_of_limit is None
    assert after.signals == before.signals


def test_readings_off_the_scale_count_in_the_forecast():
    # the last ten surely failed; the twenty before them were far inside
    values = [*[0.19, 0.21] * 10, *[0.05] * 10]
    bounds = [*[Bound.EXACT] * 20, *[Bound.BELOW] * 10]

    result = monitor_stream(made_readings(values, bounds=bounds), (), made_check())

    assert len(result.failures) == 10
    assert result.forecast.risk_next is not None
    assert result.forecast.risk_next > 0.5
