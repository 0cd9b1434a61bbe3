"""What comes next if nothing is done."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from spc.errors import InputError
from spc.forecast import HORIZON, straight_line_forecast

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
