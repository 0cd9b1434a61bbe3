"""The model of a stream: what it says of hand-made readings, and its parts against other ways to the same number."""

import dataclasses
import math
import time
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from spc.drift import DriftOutcome, DriftReading, StreamModel, start, update, watch
from spc.drift.evidence import SCORE, evidence, no_onsets, with_reading
from spc.drift.inputs import Move
from spc.drift.level import DISTURBED_SD, LEVEL_WANDER, corrected, level_from, predicted
from spc.drift.noise import BLOCK, EXCESS_OF_WANDER, HISTORY, MEMORY, Noise
from spc.drift.reading import Known, known, scored, written_step
from spc.drift.step import HELD
from spc.errors import InputError
from spc.records import Bound

AMMETER = StreamModel(log=False, sigma=1.0)
LAMP = StreamModel(log=True, sigma=0.025, ages=True)


def said(x: Any, model: StreamModel = AMMETER, *, restart: Any = (), **limits: Any) -> list[DriftOutcome]:
    """Return the outcomes of readings `x` within limits of ±10, unless others are given."""
    given = {"lower": -10.0, "upper": 10.0, "resolution": 0.1} | limits
    readings = [DriftReading(float(v), restart=i in restart, **given) for i, v in enumerate(x)]
    return watch(model, readings)[1]


def noise(n: int, seed: int = 1, sigma: float = 1.0) -> Any:
    return np.round(sigma * np.random.default_rng(seed).standard_normal(n), 1)


def signals(outcomes: list[DriftOutcome]) -> list[tuple[int, str]]:
    return [(i, o.signal) for i, o in enumerate(outcomes) if o.signal]


def test_a_drift_towards_the_limit_is_signalled_long_before_it():
    x = noise(100)
    x[60:] -= 0.3 * np.arange(1, 41)  # passes -10 at reading 93

    found = signals(said(x))

    assert found[0][1] == "drift_low"
    assert 60 < found[0][0] < 80


def test_a_step_is_signalled_with_its_side_and_onset():
    x = noise(80)
    x[50:] += 4.0

    outcomes = said(x)
    found = signals(outcomes)
    first = found[0][0]

    assert 51 <= first <= 55
    assert {kind[-4:] for _, kind in found} == {"high"}
    assert found[-1][1] == "step_high"  # at first a quick drift would look the same
    span = outcomes[found[-1][0]].since_span
    assert span is not None
    assert span[0] <= 50 <= span[1]


def test_slope_level_and_onset_of_a_clear_drift_are_estimated():
    x = noise(80)
    x[60:] -= 0.3 * np.arange(1, 21)

    outcomes = said(x)
    last = max(i for i, _ in signals(outcomes))
    found = outcomes[last]

    assert found.signal == "drift_low"
    assert found.slope == pytest.approx(-0.3, abs=3 * found.slope_sd)
    assert found.slope_sd < 0.2
    assert found.level == pytest.approx(-0.3 * (last - 59), abs=3 * found.level_sd)
    assert found.since is not None
    assert abs(found.since - 60) <= 5


@pytest.mark.parametrize("off", [-50.0, -8.0, 8.0, 50.0])
def test_a_single_misread_never_signals(off):
    x = noise(100)
    x[50] += off

    assert [i for i, _ in signals(said(x))] == [i for i, _ in signals(said(noise(100)))]


def test_a_recorded_change_starts_anew_and_is_no_signal():
    x = noise(80)
    x[40:] += 6.0

    assert signals(said(x)) != []
    assert signals(said(x, restart=[40])) == []


def test_monitoring_is_useful_from_the_third_reading_after_a_recorded_change():
    x = noise(60)
    x[43:] += 5.0  # three readings after the change

    found = signals(said(x, restart=[40]))

    assert 43 <= found[0][0] <= 48
    assert found[0][1] == "step_high"


def test_a_held_step_is_taken_for_the_new_level():
    x = noise(140)
    x[60:] += 5.0

    found = [i for i, _ in signals(said(x))]

    assert max(found) < 60 + 5 + 2 * HELD
    assert said(x)[-1].level == pytest.approx(5.0, abs=0.7)


def test_ageing_is_no_signal_but_faster_ageing_is():
    rng = np.random.default_rng(3)
    steady = 4000 * np.exp(-0.0004 * np.arange(200) + 0.02 * rng.standard_normal(200))
    failing = steady * np.exp(-np.where(np.arange(200) >= 150, 0.02 * (np.arange(200) - 149), 0.0))
    limits = {"lower": 1000.0, "upper": math.nan, "resolution": 10.0}

    assert signals(said(np.round(steady, -1), LAMP, **limits)) == []
    first, kind = signals(said(np.round(failing, -1), LAMP, **limits))[0]
    assert (150 < first < 170, kind) == (True, "drift_low")


def test_a_limit_on_one_side_leaves_no_drift_to_the_other():
    x = noise(100)
    x[60:] += 0.3 * np.arange(1, 41)

    kinds = {kind for _, kind in signals(said(x, upper=math.nan))}

    assert kinds == {"step_high"}


def test_readings_coarser_than_their_noise_are_quiet():
    level = 0.22 + 0.01 * np.random.default_rng(7).standard_normal(400)
    x = np.round(np.round(level / 0.05) * 0.05, 2)

    assert signals(said(x, StreamModel(log=False, sigma=0.012), lower=0.1, upper=0.4, resolution=0.05)) == []


def test_readings_that_never_change_are_quiet_and_finite():
    outcomes = said([0.2] * 200, StreamModel(log=False, sigma=0.012), lower=0.1, upper=0.4, resolution=0.05)

    assert signals(outcomes) == []
    assert outcomes[-1].level == pytest.approx(0.2, abs=0.025)


@pytest.mark.parametrize("seed", range(6))
def test_nothing_looks_ahead(seed):
    x = noise(90, seed)
    x[50:] += np.random.default_rng(seed).uniform(-4, 4)
    whole = said(x, restart=[20])

    for cut in (1, 19, 20, 21, 55, 60, 89):
        assert said(x[:cut], restart=[20]) == whole[:cut]


def test_a_state_is_not_changed_by_the_reading_that_follows():
    state, _ = watch(AMMETER, [DriftReading(v, resolution=0.1, lower=-10, upper=10) for v in noise(40)])
    before = {field.name: np.array(getattr(state, field.name), dtype=object) for field in dataclasses.fields(state)}

    update(state, DriftReading(9.0, resolution=0.1, lower=-10, upper=10))

    for name, value in before.items():
        assert np.array_equal(value, np.array(getattr(state, name), dtype=object)), name


SHORT = st.lists(st.floats(-5, 5).map(lambda v: round(v, 1)), min_size=10, max_size=40)


@settings(max_examples=30)
@given(SHORT, st.sampled_from([0.01, 0.5, 4.0, 1000.0]))
def test_a_change_of_unit_changes_no_evidence(x, scale):
    before = said(x)
    after = said(
        np.array(x) * scale,
        StreamModel(log=False, sigma=scale),
        lower=-10 * scale,
        upper=10 * scale,
        resolution=0.1 * scale,
    )

    assert [o.signal for o in after] == [o.signal for o in before]
    assert after[-1].evidence_low == pytest.approx(before[-1].evidence_low, abs=1e-4)
    assert after[-1].level == pytest.approx(scale * before[-1].level, abs=1e-6 * scale)


@settings(max_examples=30)
@given(SHORT)
def test_a_mirror_image_signals_on_the_other_side(x):
    before, after = said(x), said([-v for v in x])

    assert after[-1].evidence_high == pytest.approx(before[-1].evidence_low, abs=1e-6)
    assert after[-1].level == pytest.approx(-before[-1].level, abs=1e-9)


def test_false_alarms_in_normal_noise_are_rare():
    # 40 streams of 250 readings; the rate is about 0.2 in 1000, and 10 in 10,000 would be far out
    first = [len([i for i, _ in signals(said(noise(250, 1000 + seed))) if i]) > 0 for seed in range(40)]

    assert sum(first) <= 6


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_refuses_what_is_no_reading(value):
    state, _ = update(start(AMMETER), DriftReading(0.0, resolution=0.1))

    with pytest.raises(InputError, match="the reading is"):
        update(state, DriftReading(value, resolution=0.1))


@pytest.mark.parametrize(("sigma", "wander", "says"), [(0.0, 0.2, "sigma is 0"), (1.0, -1.0, "wander is -1")])
def test_refuses_settings_that_cannot_be(sigma, wander, says):
    with pytest.raises(InputError, match=says):
        StreamModel(log=False, sigma=sigma, wander=wander)


def test_nothing_needs_to_be_known_of_resolution_or_limits():
    x = noise(80)
    x[50:] += 5.0

    found = signals(said(x, resolution=math.nan, lower=math.nan, upper=math.nan))

    assert found[0][1] == "step_high"


def test_a_quantity_of_ratios_may_be_written_as_zero_or_below_a_step():
    model = StreamModel(log=True, sigma=0.17)
    values = [0.1, 0.0, 0.1, 0.2, 0.1, 0.0] * 10
    readings = [DriftReading(v, Bound.BELOW if i % 5 == 0 else 0, 0.1, upper=2.0) for i, v in enumerate(values)]

    _, outcomes = watch(model, readings)

    assert all(math.isfinite(o.level) and math.isfinite(o.evidence_high) for o in outcomes)


def test_a_step_takes_well_under_a_millisecond():
    state, _ = watch(AMMETER, [DriftReading(v, resolution=0.1, lower=-10, upper=10) for v in noise(100)])
    started = time.process_time()
    for v in noise(300, 2):
        state, _ = update(state, DriftReading(v, resolution=0.1, lower=-10, upper=10))

    assert (time.process_time() - started) / 300 < 1e-3


# ---- the parts


@pytest.mark.parametrize(
    ("recent", "resolution", "step"),
    [
        ([0.2, 0.25, 0.2, 0.15] * 3, 0.05, 0.05),
        ([0.21, 0.25, 0.2, 0.15] * 3, 0.05, 0.01),
        ([0.225, 0.25, 0.2, 0.15] * 3, 0.05, 0.025),
        ([2450.0, 2500.0, 2400.0] * 4, 10.0, 50.0),
        ([2400.0, 2500.0], 10.0, 10.0),  # too few to show that people round to 50
        ([0.25] * 12, 0.05, 0.05),  # one value again and again shows no step of its own size
        ([0.25] * 23 + [0.2, 0.3], 0.05, 0.05),  # nor do it with two others that are no multiples of it
        ([0.0] * 12, 0.1, 0.1),
        ([0.25] * 20 + [0.5] * 5, 0.05, 0.25),  # on two of its multiples: people read to the quarter
        ([0.123456, 0.234567] * 6, 1.0, 1.0),  # a deviation in %: no step shows
    ],
)
def test_the_written_step_is_seen_from_the_readings(recent, resolution, step):
    assert written_step(np.array(recent), resolution) == pytest.approx(step)


def _log_inside(mean: float, low: float, high: float, sd: float) -> float:
    return math.log(stats.norm.cdf(high, mean, sd) - stats.norm.cdf(low, mean, sd))


@pytest.mark.parametrize(
    ("low", "high", "mean", "sd"),
    [(0.175, 0.225, 0.23, 0.02), (0.175, 0.225, 0.15, 0.012), (-math.inf, 0.1, 0.12, 0.03), (0.5, math.inf, 0.3, 0.1)],
)
def test_score_and_information_of_a_wide_interval_are_derivatives_of_its_likelihood(low, high, mean, sd):
    # second way: numerical derivatives of log(Phi(b) - Phi(a)) by scipy
    h = 1e-4 * sd
    up, at, down = (_log_inside(mean + d, low, high, sd) for d in (h, 0.0, -h))

    distance, information = scored(Known(low, high, 0.2, 0.05), mean, sd**2)

    assert distance * math.sqrt(information) == pytest.approx((up - down) / (2 * h), rel=1e-5)
    assert information == pytest.approx(-(up - 2 * at + down) / h**2, rel=1e-3)


def test_a_narrow_interval_is_a_normal_reading_with_the_variance_of_rounding():
    distance, information = scored(Known(0.99, 1.01, 1.0, 0.02), 0.5, 0.04)

    assert information == pytest.approx(1 / (0.04 + 0.02**2 / 12))
    assert distance == pytest.approx(0.5 * math.sqrt(information))


@pytest.mark.parametrize(
    ("reading", "log", "low", "high"),
    [
        (DriftReading(0.2), False, 0.175, 0.225),
        (DriftReading(0.05, Bound.BELOW), False, -math.inf, 0.05),
        (DriftReading(5000.0, Bound.ABOVE), False, 5000.0, math.inf),
        (DriftReading(1.0), True, math.log(0.975), math.log(1.025)),
        (DriftReading(0.02), True, -math.inf, math.log(0.045)),
        (DriftReading(0.1, Bound.BELOW), True, -math.inf, math.log(0.1)),
    ],
)
def test_what_a_reading_says_is_an_interval(reading, log, low, high):
    seen = known(reading, 0.05, log=log)

    assert (seen.low, seen.high) == pytest.approx((low, high))


def test_the_filter_of_a_steady_level_is_the_mean():
    # without wander, ageing and movement of the level, a Kalman filter is the mean of the readings
    x, sigma = noise(30, 4), 1.0
    level = level_from(x[0], n=1, white=sigma**2, slow=0.0, rounding=0.0, ages=False)._replace(p_ageing=0.0)
    for value in x[1:]:
        whole = level.variance + sigma**2
        level = corrected(level, (value - level.now) / whole, 1 / whole)

    assert level.mean == pytest.approx(x.mean())
    assert level.variance == pytest.approx(sigma**2 / len(x))


def test_the_filter_agrees_with_the_joint_normal_distribution():
    # second way: mean and covariance of level, wander, ageing and the lift of a top-up given all readings, by
    # conditioning one normal vector
    white, slow, f, n = 0.7, 0.5, MEMORY, 8
    y = np.array([0.3, -0.2, 0.9, 1.4, 0.1, -0.6, 0.8, 0.5])
    first = level_from(y[0], n=1, white=white, slow=slow, rounding=0.0, ages=True)
    moves = [
        Move(),
        Move(0.8, 0.01, 0.02),
        Move(-0.2),
        Move(-0.2, pause=9.0),
        Move(disturbed=1.0),
        Move(1.7),
        Move(-0.3),
    ]
    mean = np.array([first.mean, 0.0, 0.0, 0.0])
    cov = np.diag([first.p_mean, first.p_slow, first.p_ageing, first.p_lift])
    cov[0, 1] = cov[1, 0] = first.p_mean_slow
    seen = np.array([1.0, 1.0, 0.0, 0.0])
    level, total = first, white + slow
    for value, move in zip(y[1:n], moves, strict=True):
        step = np.array([[1, 0, 1, move.lift], [0, f, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1.0]])
        lifted = mean[3] ** 2 + cov[3, 3]
        wider = (LEVEL_WANDER**2 * move.pause + DISTURBED_SD**2 * move.disturbed) * total
        pushed = np.diag([wider + move.lasting * lifted, slow * (1 - f**2) + move.passing * lifted, 0.0, 0.0])
        mean, cov = step @ mean, step @ cov @ step.T + pushed
        whole = seen @ cov @ seen + white
        gain = cov @ seen / whole
        mean, cov = mean + gain * (value - seen @ mean), cov - np.outer(gain, seen @ cov)
        level = predicted(level, slow, total, move)
        variance = level.variance + white
        level = corrected(level, (value - level.now) / variance, 1 / variance)

    assert (level.mean, level.slow, level.ageing, level.lift) == pytest.approx(tuple(mean))
    assert level.variance == pytest.approx(seen @ cov @ seen)
    assert level.p_ageing == pytest.approx(cov[2, 2])
    assert level.gain() == pytest.approx(tuple(cov @ seen))


@pytest.mark.parametrize(("row", "size"), [(0, 1.7), (1, 0.4)], ids=["step", "drift"])
def test_the_likelihood_ratio_of_a_change_is_that_of_two_filters(row, size):
    # second way: filter the readings less the change, and compare the log likelihoods of the innovations
    x, white, slow, onset = noise(24, 9), 0.8, 0.6, 14
    shape = np.where(np.arange(24) >= onset, 1.0 if row == 0 else np.arange(24) - onset + 1.0, 0.0)
    moves = [Move(0.75 if i % 4 == 3 else -0.25) for i in range(23)]  # topped up after every fourth reading

    def log_likelihood(y):
        level = level_from(y[0], n=1, white=white, slow=slow, rounding=0.0, ages=False)
        total = 0.0
        for value, move in zip(y[1:], moves, strict=True):
            level = predicted(level, slow, white + slow, move)
            variance = level.variance + white
            total += stats.norm.logpdf(value, level.now, math.sqrt(variance))
            level = corrected(level, (value - level.now) / variance, 1 / variance)
        return total

    level, bank = level_from(x[0], n=1, white=white, slow=slow, rounding=0.0, ages=False), no_onsets()
    for value, move in zip(x[1:], moves, strict=True):
        level = predicted(level, slow, white + slow, move)
        gain, variance = level.gain(), level.variance + white
        score = (value - level.now) / variance
        bank = with_reading(bank, gain, score, 1 / variance, move.lift)
        level = corrected(level, score, 1 / variance)
    column = onset - 1  # the first reading has none
    ratio = bank[SCORE, row, column] * size - bank[1, row, column] * size**2 / 2

    assert ratio == pytest.approx(log_likelihood(x - size * shape) - log_likelihood(x), abs=1e-9)


def test_evidence_without_readings_is_none():
    found = evidence(no_onsets(), sigma=1.0, to_lower=-10.0, to_upper=10.0)

    assert found.log_odds(-1) < -20


def test_excess_of_wander_agrees_with_simulation():
    # second way: 40,000 courses; the error of the mean square is about 1 %
    rng = np.random.default_rng(6)
    kicks = rng.standard_normal((40_000, 2 * BLOCK)) * math.sqrt(1 - MEMORY**2)
    course = np.empty_like(kicks)
    course[:, 0] = rng.standard_normal(40_000)
    for i in range(1, 2 * BLOCK):
        course[:, i] = MEMORY * course[:, i - 1] + kicks[:, i]
    means = BLOCK * 0.5 * np.mean((course[:, :BLOCK].mean(axis=1) - course[:, BLOCK:].mean(axis=1)) ** 2)

    assert pytest.approx(means - 0.5 * np.mean(np.diff(course, axis=1) ** 2), rel=0.03) == EXCESS_OF_WANDER


@pytest.mark.parametrize(("white", "slow"), [(1.0, 0.0), (0.5, 0.5), (0.3, 1.5)])
def test_the_noise_is_learnt_from_the_readings(white, slow):
    rng = np.random.default_rng(8)
    x = math.sqrt(white) * rng.standard_normal(3000)
    wander = np.zeros(3000)
    for i in range(1, 3000):
        wander[i] = MEMORY * wander[i - 1] + math.sqrt(slow * (1 - MEMORY**2)) * rng.standard_normal()
    x = x + wander
    found, variances = Noise.start(AMMETER), []
    for i in range(HISTORY, 3000):
        found = found.learnt_short(float(x[i] - x[i - 1])).learnt_wander(x[i - HISTORY + 1 : i + 1])
        variances.append(found.variances(0.0, AMMETER))

    mean_white, mean_slow = np.mean(variances[300:], axis=0)
    # large squares are cut off, which takes a few per cent, more where the wander is most of it
    assert mean_white == pytest.approx(white, rel=0.35, abs=0.1)
    assert mean_slow == pytest.approx(slow, rel=0.4, abs=0.12)


def test_a_normal_integral_is_what_scipy_says():
    # the interval's probability is left implicit in `scored`; its mean is checked by quadrature
    low, high, mean, sd = 0.175, 0.225, 0.19, 0.02
    weight = integrate.quad(lambda v: stats.norm.pdf(v, mean, sd), low, high)[0]
    first = integrate.quad(lambda v: (v - mean) * stats.norm.pdf(v, mean, sd), low, high)[0] / weight

    distance, information = scored(Known(low, high, 0.2, 0.05), mean, sd**2)

    assert distance * math.sqrt(information) == pytest.approx(first / sd**2, rel=1e-6)


def test_a_number_that_stays_off_the_level_is_no_copy():
    model = StreamModel(log=False, sigma=0.012)
    values = [0.19, 0.21] * 10 + [0.15] * 12

    _, outcomes = watch(
        model,
        [DriftReading(value=x, bound=0, resolution=0.05, lower=0.1, upper=0.4, restart=False) for x in values],
    )

    signalled = [i for i, outcome in enumerate(outcomes) if outcome.signal is not None]
    assert signalled
    assert 21 < signalled[0] <= 26
    assert all(str(outcomes[i].signal).endswith("low") for i in signalled)
