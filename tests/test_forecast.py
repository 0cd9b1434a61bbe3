"""What comes next if nothing is done."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from spc.drift import DriftReading, StreamModel, watch
from spc.drift.ahead import Course, courses
from spc.drift.noise import MEMORY
from spc.errors import InputError
from spc.forecast import (
    HORIZON,
    SUDDEN_PER_READING,
    TAIL_FACTORS,
    TAIL_SHARES,
    model_forecast,
    straight_line_forecast,
    survival_of,
)

FALLING = [0.300, 0.297, 0.288, 0.284, 0.283, 0.272, 0.271, 0.266, 0.259, 0.256, 0.249, 0.246, 0.238, 0.236, 0.228]


def test_risk_of_the_next_reading_is_the_student_prediction():
    # NIST/SEMATECH e-Handbook 4.5.2.1: a new observation follows Student's t around the fitted line; scipy's fit and t
    x = np.array(FALLING)
    time = np.arange(len(x))
    fit = stats.linregress(time, x)
    residual = x - fit.intercept - fit.slope * time
    s = np.sqrt(residual @ residual / (len(x) - 2))
    at = len(x)
    spread = s * np.sqrt(1 + 1 / len(x) + (at - time.mean()) ** 2 / ((time - time.mean()) ** 2).sum())
    expected = fit.intercept + fit.slope * at

    for limit in (expected - spread, expected, expected + spread):
        outside = stats.t.cdf((limit - expected) / spread, len(x) - 2)
        # 9 equal-probability nodes for the scatter leave an error of at most about half a percent
        assert straight_line_forecast(x, lower=limit).risk_next == pytest.approx(outside, abs=0.006)


def test_the_risks_agree_with_simulation():
    # second way: draw line, scatter and coming readings from the same posterior; 40,000 draws, error about 0.0025
    rng = np.random.default_rng(20250304)
    x = np.array(FALLING)
    n, time = len(x), np.arange(len(x)) - (len(x) - 1) / 2
    slope = time @ x / (time @ time)
    residual = x - x.mean() - slope * time
    draws = 40_000
    s = np.sqrt(residual @ residual / rng.chisquare(n - 2, draws))
    level = x.mean() + s / np.sqrt(n) * rng.standard_normal(draws)
    rate = slope + s / np.sqrt(time @ time) * rng.standard_normal(draws)
    ahead = (n + 1) / 2 + np.arange(HORIZON)
    coming = level[:, None] + rate[:, None] * ahead + s[:, None] * rng.standard_normal((draws, HORIZON))
    lower = 0.2
    outside = coming < lower
    first = np.where(outside.any(axis=1), outside.argmax(axis=1) + 1, HORIZON + 1)

    forecast = straight_line_forecast(x, lower=lower)

    assert forecast.risk_next == pytest.approx((first <= 1).mean(), abs=0.012)
    assert forecast.risk_next_5 == pytest.approx((first <= 5).mean(), abs=0.015)
    assert forecast.readings_p50 == pytest.approx(np.quantile(first, 0.5), abs=1)
    assert forecast.readings_p10 == pytest.approx(np.quantile(first, 0.1), abs=1)
    assert forecast.readings_p90 == pytest.approx(np.quantile(first, 0.9), abs=1)


def test_not_on_this_trend_is_an_answer():
    rising = straight_line_forecast(FALLING[::-1], lower=0.1)

    assert rising.risk_next == pytest.approx(0, abs=1e-9)
    assert (rising.readings_p10, rising.readings_p50, rising.readings_p90) == (None, None, None)


def test_readings_that_never_changed_foretell_no_change():
    forecast = straight_line_forecast([0.2] * 20, lower=0.1, upper=0.4)

    assert forecast.risk_next_5 == pytest.approx(0, abs=1e-12)
    assert forecast.readings_p50 is None


@pytest.mark.parametrize("x", [[], [0.2], FALLING[:4]])
def test_too_few_readings_say_nothing(x):
    assert straight_line_forecast(x, lower=0.1).risk_next is None


def test_without_a_limit_nothing_can_fail():
    assert straight_line_forecast(FALLING).risk_next is None


def test_refuses_a_missing_reading():
    with pytest.raises(InputError, match="reading 2 is nan"):
        straight_line_forecast([0.2, 0.2, float("nan"), 0.2, 0.2, 0.2], lower=0.1)


READINGS = st.lists(st.floats(-5, 5).map(lambda value: round(value, 3)), min_size=5, max_size=20)


@given(READINGS, st.floats(0.1, 10), st.floats(-100, 100))
def test_a_change_of_unit_changes_no_risk(x, scale, shift):
    if np.ptp(x) < 0.01:
        return  # rounding of the unit change itself would be all the scatter there is
    before = straight_line_forecast(x, lower=-6, upper=6)
    after = straight_line_forecast(np.array(x) * scale + shift, lower=-6 * scale + shift, upper=6 * scale + shift)

    assert after.risk_next == pytest.approx(before.risk_next, abs=1e-6)
    assert after.risk_next_5 == pytest.approx(before.risk_next_5, abs=1e-6)


@given(READINGS)
def test_risks_are_probabilities_in_order(x):
    forecast = straight_line_forecast(x, lower=-1, upper=1)

    assert forecast.risk_next is not None
    assert forecast.risk_next_5 is not None
    assert 0 <= forecast.risk_next <= forecast.risk_next_5 <= 1
    quantiles = [q for q in (forecast.readings_p10, forecast.readings_p50, forecast.readings_p90) if q is not None]
    assert quantiles == sorted(quantiles)


# ---- the model of a stream

METER = StreamModel(log=False, sigma=1.0)


def state_after(x, *, model=METER, lower=-10.0, upper=10.0, resolution=0.1):
    return watch(model, [DriftReading(float(v), 0, resolution, lower, upper) for v in x])[0]


def risk_after(x):
    risk = model_forecast(state_after(x)).risk_next
    assert risk is not None
    return risk


def meter_noise(n, seed=5):
    return np.round(np.random.default_rng(seed).standard_normal(n), 1)


def test_a_quiet_stream_is_not_expected_to_fail():
    forecast = model_forecast(state_after(meter_noise(80)))

    # nothing but what may fail out of the blue, once in 5000 readings
    assert forecast.risk_next == pytest.approx(SUDDEN_PER_READING, abs=1e-4)
    assert forecast.risk_next_5 == pytest.approx(5 * SUDDEN_PER_READING, abs=1e-3)
    assert (forecast.readings_p10, forecast.readings_p50, forecast.readings_p90) == (None, None, None)


def test_a_drift_is_foretold_to_reach_the_limit_when_it_does():
    # the true level passes -10 at the 33rd reading of a drift of 0.3, 13 after the last one given
    x = meter_noise(80)
    x[60:] -= 0.3 * np.arange(1, 21)

    forecast = model_forecast(state_after(x))

    p10, p50, p90 = forecast.readings_p10, forecast.readings_p50, forecast.readings_p90
    assert p10 is not None
    assert p50 is not None
    assert p90 is not None
    assert p10 < 13 < p90
    assert 7 < p50 < 19


def test_readings_that_went_far_are_believed_once_they_repeat():
    quiet = meter_noise(60)
    risks = [risk_after([*quiet, *[-15.0, -15.3, -14.8][:n]]) for n in (0, 1, 2, 3)]

    assert risks == sorted(risks)
    assert risks[0] < 0.001
    assert 0.1 < risks[1] < 0.5
    assert risks[3] > 0.85


def test_the_risk_of_the_next_reading_is_that_of_what_would_be_written():
    # second way: a level known to be steady at 0.11, read with sigma 0.02 to 0.05; 0.10 passes, so only below 0.075
    x = np.round(np.round((0.11 + 0.02 * np.random.default_rng(2).standard_normal(400)) / 0.05) * 0.05, 2)
    model = StreamModel(log=False, sigma=0.02, wander=0.0)
    came = (x < 0.1).mean()

    forecast = model_forecast(state_after(x, model=model, lower=0.1, upper=0.4, resolution=0.05))

    assert forecast.risk_next == pytest.approx(came, abs=0.05)


@pytest.mark.parametrize("n", [0, 1, 2])
def test_the_model_says_nothing_before_the_third_reading(n):
    assert model_forecast(state_after(meter_noise(n))).risk_next is None


def test_the_model_says_nothing_without_a_limit():
    nan = float("nan")

    assert model_forecast(state_after(meter_noise(30), lower=nan, upper=nan)).risk_next is None


@given(READINGS, st.floats(-3, 3))
def test_risks_of_the_model_are_probabilities_in_order(x, last):
    forecast = model_forecast(state_after([*x, last], lower=-3.0, upper=3.0))

    assert forecast.risk_next is not None
    assert forecast.risk_next_5 is not None
    assert 0 <= forecast.risk_next <= forecast.risk_next_5 <= 1
    quantiles = [q for q in (forecast.readings_p10, forecast.readings_p50, forecast.readings_p90) if q is not None]
    assert quantiles == sorted(quantiles)


@pytest.mark.parametrize("onset", [30, 55, 90])
def test_the_weights_of_all_courses_are_one(onset):
    x = meter_noise(90)
    x[onset:] -= 0.4 * np.arange(1, 91 - onset)

    course = courses(state_after(x))

    assert course.weight.sum() == pytest.approx(1)
    assert (course.weight >= 0).all()
    assert np.isfinite(course.level).all()


def test_no_course_before_the_first_reading():
    with pytest.raises(InputError, match="no reading yet"):
        courses(state_after([]))


def steady(*, noise_sd, swing_sd):
    one, none = np.ones(1), np.zeros(1)
    return Course(one, none, none, none, 0.0, 0.0, noise_sd, swing_sd)


def test_readings_that_swing_together_fail_together_as_simulation_says():
    # second way: 100,000 draws of a steady level, an AR(1) swing and tailed noise; error at most 0.0016, nodes 0.01
    rng, draws, limit = np.random.default_rng(20250304), 100_000, 1.5
    swing, inside, expected = rng.standard_normal(draws), np.ones(draws, dtype=np.bool_), []
    for _ in range(20):
        swing = MEMORY * swing + np.sqrt(1 - MEMORY**2) * rng.standard_normal(draws)
        factor = rng.choice(TAIL_FACTORS, draws, p=TAIL_SHARES)
        inside &= 0.8 * swing + 0.6 * factor * rng.standard_normal(draws) < limit
        expected.append(inside.mean())

    together = survival_of(steady(noise_sd=0.6, swing_sd=0.8), float("nan"), limit)
    apart = survival_of(steady(noise_sd=1.0, swing_sd=0.0), float("nan"), limit)

    assert together[:20] == pytest.approx(np.array(expected), abs=0.012)
    assert 1 - apart[4] > 1 - together[4] + 0.03


def test_a_reading_that_never_changes_is_no_step_to_round_to():
    # 0.25 read again and again in steps of 0.05: no reason to expect 0.10, let alone every second time in five
    forecast = model_forecast(
        state_after([0.25] * 25, model=StreamModel(log=False, sigma=0.012), lower=0.1, upper=0.4, resolution=0.05)
    )

    assert forecast.risk_next_5 is not None
    assert forecast.risk_next_5 < 0.01
