"""Charts of skewed positive readings."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from spc.charts.individuals import individuals_limits
from spc.charts.skewed import (
    CHI_SQUARE_95,
    LOGARITHM,
    SkewedState,
    likeliest_power,
    powered,
    skewed_limits,
    skewed_plot,
    time_between_limits,
    unpowered,
    update,
)
from spc.errors import InputError
from spc.sigma import D2_FOR_PAIRS

# Montgomery, Introduction to Statistical Quality Control, hours between valve failures and their power 0.2777; from
# memory (the transformed values as printed), limits by plain arithmetic with d2 = 1.128.
HOURS = [286, 948, 536, 124, 816, 729, 4, 143, 431, 8, 2837, 596, 81, 227, 603, 492, 1199, 1214, 2831, 96]
POWERS = [4.80986, 6.70903, 5.7265, 3.81367, 6.43541, 6.23705, 1.46958, 3.96768, 5.39007, 1.78151, 9.09618, 5.89774]
POWERS += [3.38833, 4.51095, 5.9169, 5.59189, 7.16124, 7.18601, 9.09083, 3.55203]


def test_textbook_times_between_failures():
    limits = skewed_limits(HOURS, power=0.2777)
    exact = time_between_limits(HOURS)

    assert powered(np.array(HOURS, dtype=float), 0.2777) == pytest.approx(POWERS, abs=6e-5)
    assert limits.centre_of_power == pytest.approx(5.38662, abs=1e-5)
    assert limits.sigma_of_power * D2_FOR_PAIRS == pytest.approx(2.35921, abs=1e-5)
    assert limits.centre_of_power + 3 * limits.sigma_of_power * D2_FOR_PAIRS / 1.128 == pytest.approx(11.6611, abs=1e-4)
    assert limits.centre_of_power - 3 * limits.sigma_of_power * D2_FOR_PAIRS / 1.128 == pytest.approx(-0.8879, abs=1e-4)
    assert limits.lower == exact.lower == 0
    assert exact.power == pytest.approx(0.2777, abs=1e-4)
    assert exact.upper == pytest.approx(limits.upper, rel=5e-3)
    assert not skewed_plot(HOURS, limits).side.any()


def test_random_failures_pass_the_upper_limit_about_as_often_as_three_sigmas():
    # Nelson (1994): the power 1 / 3.6 makes exponential times nearly normal.
    times = np.random.default_rng(1).exponential(40, 200_000)
    power = times ** (1 / 3.6)
    upper = power.mean() + 3 * power.std()

    assert abs(float(stats.skew(power))) < 0.05
    assert np.mean(power > upper) == pytest.approx(0.0006, abs=0.0004)


def test_ambient_light_has_limits_in_its_own_unit():
    # Lognormal readings of 0.4 fc with a spread of a third: limits are those of the logarithm.
    x = np.random.default_rng(2).lognormal(math.log(0.4), 0.35, 400)
    limits = skewed_limits(x)
    logs = individuals_limits(np.log(x))

    assert (limits.lower, limits.centre_line, limits.upper) == pytest.approx(
        tuple(math.exp(v) for v in (logs.lower, logs.centre_line, logs.upper))
    )
    assert limits.centre_line == pytest.approx(0.4, rel=0.05)
    assert limits.upper == pytest.approx(0.4 * math.exp(3 * 0.35), rel=0.15)


def test_limits_on_the_logarithm_are_probability_limits():
    baseline = np.random.default_rng(3).lognormal(0, 0.6, 20_000)
    after = np.random.default_rng(4).lognormal(0, 0.6, 100_000)
    side = skewed_plot(after, skewed_limits(baseline)).side
    plain = np.abs(after - np.mean(baseline)) > 3 * np.std(baseline)

    assert np.mean(side == 1) == pytest.approx(stats.norm.sf(3), abs=0.0006)
    assert np.mean(side == -1) == pytest.approx(stats.norm.sf(3), abs=0.0006)
    assert plain.mean() > 0.01  # what three sigmas of the readings themselves would do


@given(st.lists(st.floats(0.01, 100), min_size=2, max_size=30), st.sampled_from([1e-3, 10.764, 1000.0]))
def test_limits_follow_a_change_of_unit(x, scale):
    before, after = skewed_limits(x), skewed_limits([scale * reading for reading in x])

    assert (after.lower, after.centre_line, after.upper) == pytest.approx(
        (scale * before.lower, scale * before.centre_line, scale * before.upper), rel=1e-6
    )


def test_a_power_of_one_is_the_individuals_chart():
    x = [1.0, 9.0, 2.0, 12.0]
    limits, plain = skewed_limits(x, power=1.0), individuals_limits(x)

    assert (limits.lower, limits.centre_line, limits.upper) == pytest.approx((0.0, plain.centre_line, plain.upper))
    assert plain.lower < 0


def test_sigma_is_never_less_than_rounding_scatters():
    limits = skewed_limits([0.4] * 20, resolution=0.1)

    assert limits.sigma_of_power == pytest.approx(0.1 / math.sqrt(12) / 0.4)
    assert limits.lower < 0.4 < limits.upper


def test_a_reading_on_a_limit_is_not_a_signal():
    limits = skewed_limits([0.3, 0.5, 0.4, 0.6])
    readings = [limits.upper, limits.lower, limits.upper * (1 + 1e-8), 0.0, math.nan]

    assert skewed_plot(readings, limits).side.tolist() == [0, 0, 1, -1, 0]


def test_with_a_power_zero_is_a_reading():
    limits = skewed_limits([0.0, 0.1, 0.4, 0.2], power=0.5)

    assert limits.centre_line > 0
    assert skewed_plot([0.0], limits).side.tolist() == [0]


@pytest.mark.parametrize(("true", "seed"), [(0.0, 1), (0.5, 2), (1.0, 3)])
def test_the_likeliest_power_is_found(true, seed):
    normal = np.random.default_rng(seed).normal(10, 1.5, 2000)
    x = np.exp(normal / 10) if true == 0 else normal ** (1 / true)
    best, low, high = likeliest_power(x)

    assert low < true < high
    assert low < best < high


def test_the_likeliest_power_agrees_with_a_general_library():
    x = np.random.default_rng(5).gamma(2.0, 1.0, 60)
    _, power, interval = stats.boxcox(x, alpha=0.05)

    assert likeliest_power(x) == pytest.approx((power, *interval), abs=1e-4)
    assert pytest.approx(stats.chi2(1).ppf(0.95), rel=1e-14) == CHI_SQUARE_95


def test_the_likeliest_power_has_no_unit():
    x = np.random.default_rng(6).lognormal(0, 0.5, 50)

    assert likeliest_power(x) == pytest.approx(likeliest_power(1000 * x), abs=1e-4)


def test_powers_turn_back():
    assert unpowered(math.log(3.0), LOGARITHM) == pytest.approx(3.0)
    assert unpowered(3.0**0.25, 0.25) == pytest.approx(3.0)
    assert unpowered(-1.0, 0.5) == 0.0


@pytest.mark.parametrize(
    ("readings", "options", "says"),
    [
        ([0.4], {}, "at least 2"),
        ([0.4, 0.0], {}, "reading 1 is 0, which has no logarithm"),
        ([0.4, -0.1], {}, "reading 1 is -0.1, which has no logarithm"),
        ([0.4, -0.1], {"power": 0.5}, "reading 1 is -0.1, which has no power 0.5"),
        ([0.4, 0.5], {"power": 1.5}, "power is 1.5"),
        ([0.4, 0.5], {"power": -0.1}, "power is -0.1"),
        ([0.4, 0.5], {"width": 0.0}, "is 0.0"),
        ([0.4, 0.5], {"resolution": 0.0}, "resolution is 0.0"),
    ],
)
def test_refuses(readings, options, says):
    with pytest.raises(InputError, match=says):
        skewed_limits(readings, **options)


def test_a_step_refuses_a_negative_reading():
    with pytest.raises(InputError, match="takes none below 0"):
        update(SkewedState(skewed_limits([0.4, 0.5])), -0.1)


@pytest.mark.parametrize("x", [[1.0, 2.0, 3.0], [1.0, 1.0, 1.0, 1.0], [1.0, 2.0, 0.0, 3.0]])
def test_no_power_without_readings_that_differ(x):
    with pytest.raises(InputError):
        likeliest_power(x)
