"""The yardstick of early warning: hand-made cases for the scorer, and what the simulated lines promise."""

from typing import Any

import numpy as np
import pytest

from tests.bench.lines.comparators import all_eight_rules, self_starting_cusum, three_sigma
from tests.bench.lines.score import (
    ANY,
    HIGH,
    LOW,
    SideArray,
    Tally,
    alarm_positions,
    lead_of,
    tally_stream,
    together,
    with_uncertainty,
)
from tests.bench.lines.simulate import REPORT_SEEDS, TUNE_SEEDS, simulate_line
from tests.bench.lines.truth import FailingDrift, HarmlessStep, NoiseLaw, SimulatedStream, State


def made(
    n: int = 100, *, state: Any = (), drifts: Any = (), steps: Any = (), value: Any = None, reset: Any = ()
) -> SimulatedStream:
    """A stream of n quiet readings, but for `state`: pairs of a slice and a State."""
    states = np.zeros(n, dtype=np.int8)
    for where, what in state:
        states[where] = what
    resets = np.zeros(n, dtype=np.bool_)
    resets[list(reset)] = True
    return SimulatedStream(
        name="made",
        check="ammeter",
        line=0,
        lower=-10.0,
        upper=10.0,
        hours=np.arange(0, 24.0 * n, 24.0, dtype=np.float64),
        value=np.zeros(n) if value is None else np.asarray(value, dtype=np.float64),
        bound=np.zeros(n, dtype=np.int8),
        reset=resets,
        fed=np.zeros(n, dtype=np.int64),
        amount=np.full(n, np.nan),
        level=np.zeros(n),
        quiet=np.zeros(n),
        began=resets,
        law=NoiseLaw(1.0, False, 0.1, np.inf, 0.0, 0.0, 0.0, 0.0),
        state=states,
        copied=np.zeros(n, dtype=np.bool_),
        fails_in=np.full(n, np.inf),
        drifts=tuple(drifts),
        steps=tuple(steps),
    )


def signals(n: int, **sides: Any) -> SideArray:
    side = np.zeros(n, dtype=np.int8)
    for way, where in sides.items():
        side[where] = {"low": LOW, "high": HIGH, "any": ANY}[way]
    return side


@pytest.mark.parametrize(
    ("at", "counted"),
    [
        ([], []),
        ([7], [7]),
        ([7, 8, 9], [7]),
        ([7, 13], [7]),  # five readings without a signal between them
        ([7, 14], [7, 14]),  # six
        (range(10, 31), [10, 30]),  # counts again at the 20th reading after it counted
        (range(10, 30), [10]),
        (range(10, 60, 5), [10, 30, 50]),
    ],
)
def test_an_alarm_is_a_run_of_signals_that_counts_again_every_20(at, counted):
    flags = np.zeros(80, dtype=np.bool_)
    flags[list(at)] = True

    assert alarm_positions(flags).tolist() == counted


@pytest.mark.parametrize(
    ("low", "lead"),
    [(39, 0), (40, 30), (55, 15), (67, 3), (68, 0), (70, 0)],
    ids=["before the onset", "at the onset", "between", "three ahead", "two ahead", "too late"],
)
def test_lead_counts_from_a_signal_at_least_three_readings_ahead(low, lead):
    assert lead_of(signals(100, low=[low]), 40, 70, LOW) == lead


def test_a_drift_is_signalled_by_its_own_side_or_by_a_signal_without_one():
    assert lead_of(signals(100, high=[50]), 40, 70, LOW) == 0
    assert lead_of(signals(100, any=[50]), 40, 70, LOW) == 20


def test_only_alarms_that_count_at_a_quiet_reading_are_false():
    stream = made(
        state=[(slice(20, 40), State.DRIFT), (slice(50, 60), State.STEP), (slice(70, 71), State.SLIP)],
        drifts=[FailingDrift(20, 35, LOW, "linear")],
        steps=[HarmlessStep(50, 60, HIGH)],
    )

    tally = tally_stream(stream, signals(100, low=[5, 25, 26, 70, 90], high=[52]))

    assert tally == Tally(leads=(10,), steps=1, seen=1, false=2, quiet=69)
    assert tally.false_per_1000 == pytest.approx(2000 / 69)


def test_an_alarm_that_goes_on_after_the_fault_was_put_right_becomes_false():
    stream = made(state=[(slice(20, 40), State.DRIFT)])

    assert tally_stream(stream, signals(100, low=slice(30, 45))).false == 0
    assert tally_stream(stream, signals(100, low=slice(30, 60))).false == 1  # counts again at 50


def test_a_step_is_seen_within_15_readings():
    stream = made(steps=[HarmlessStep(50, 90, HIGH)], state=[(slice(50, 90), State.STEP)])

    assert tally_stream(stream, signals(100, high=[64])).seen == 1
    assert tally_stream(stream, signals(100, high=[65])).seen == 0
    assert tally_stream(stream, signals(100, low=[64])).seen == 0


def test_a_method_that_never_signals_and_one_that_always_does():
    stream = made(200, drifts=[FailingDrift(100, 150, LOW, "linear")], state=[(slice(100, 155), State.DRIFT)])

    silent, shouting = tally_stream(stream, signals(200)), tally_stream(stream, signals(200, any=slice(0, 200)))

    assert (silent.ahead, silent.lead, silent.false) == (0.0, 0.0, 0)
    assert (shouting.ahead, shouting.lead) == (1.0, 50.0)
    assert shouting.false == 7  # ten alarms, one in 20 readings, of which those at 100, 120 and 140 are true


def test_uncertainty_is_that_of_drawing_whole_lines():
    # second way: a share of 0 or 1 per line, equal lines: the standard error is that of a binomial share
    lines = [Tally(leads=(10,), steps=1, seen=seen, false=0, quiet=100) for seen in [1] * 15 + [0] * 5]

    figures = with_uncertainty(lines, np.random.default_rng(5), draws=4000)

    assert together(lines).steps_seen == 0.75
    assert figures[2] == pytest.approx((75.0, 100 * np.sqrt(0.75 * 0.25 / 20)), rel=0.05)
    assert figures[0] == (100.0, 0.0)


def test_the_halves_share_no_seed():
    assert set(TUNE_SEEDS).isdisjoint(REPORT_SEEDS)


@pytest.fixture(scope="module")
def lines():
    """One tidy and one rough line, of a seed that no half has."""
    return {rough: simulate_line(31, rough=rough) for rough in (False, True)}


@pytest.mark.parametrize("rough", [False, True], ids=["tidy", "rough"])
def test_a_line_is_120_streams_of_consistent_truth(lines, rough):
    streams = lines[rough]

    assert len(streams) == 120
    assert len({stream.check for stream in streams}) == 6
    for stream in streams:
        outside = (stream.level < stream.lower) | (stream.level > stream.upper)
        assert not outside[stream.state == State.QUIET].any()
        assert (np.diff(stream.hours) > 0).all()
        assert np.isfinite(stream.value).all()
        for drift in stream.drifts:
            assert outside[drift.first_failing]
            assert not outside[drift.onset : drift.first_failing].any()
        for step in stream.steps:
            assert not outside[step.onset : step.resolved].any()


def test_tidy_lines_write_every_change_down_and_rough_ones_do_not(lines):
    changes = {rough: sum(int(stream.reset.sum()) for stream in streams) for rough, streams in lines.items()}
    slips = {rough: sum(int((s.state == State.SLIP).sum()) for s in streams) for rough, streams in lines.items()}

    assert changes[True] < 0.8 * changes[False]
    assert slips[True] > 10 * slips[False]
    assert sum(int(stream.copied.sum()) for stream in lines[False]) == 0


def test_a_seed_draws_the_same_line_again(lines):
    again = simulate_line(31, rough=True)

    assert all(np.array_equal(a.value, b.value) for a, b in zip(lines[True], again, strict=True))
    assert not np.array_equal(again[0].value[:20], simulate_line(32, rough=True)[0].value[:20])


def test_fails_in_counts_to_the_first_reading_written_outside(lines):
    stream = next(stream for stream in lines[False] if stream.drifts and stream.check == "ammeter")
    drift = stream.drifts[0]

    ahead = stream.fails_in[drift.onset]
    first = next(i for i in range(drift.onset + 1, len(stream)) if abs(stream.value[i]) > 10)

    assert ahead == first - drift.onset


@pytest.mark.parametrize("method", [three_sigma, all_eight_rules, self_starting_cusum])
def test_the_comparators_see_a_plain_step_and_look_not_ahead(method):
    rng = np.random.default_rng(11)
    value = np.round(rng.standard_normal(120), 2)
    value[70:] += 5.0
    stream = made(120, value=value)

    side = method(stream)
    cut = method(made(80, value=value[:80]))

    assert (side[70:76] != 0).any()
    assert np.array_equal(side[:80], cut)


def test_three_sigma_limits_need_their_baseline_anew_after_a_reset():
    rng = np.random.default_rng(12)
    value = np.round(rng.standard_normal(100), 2)
    value[55:] += 20.0

    assert three_sigma(made(value=value, reset=[50]))[50:70].tolist() == [0] * 20
    assert (three_sigma(made(value=value))[55:] == HIGH).all()
