"""Fits to rounded and censored readings."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from spc.arrays import FloatArray
from spc.coarse.censored import CHI_SQUARE_95, fit_normal, fit_weibull, intervals
from spc.errors import InputError
from spc.records import Bound

# Gupta (1952), Biometrika 39: ten mice, seven inoculations seen, the rest censored at the largest. Printed 1.742 and
# 0.079, from memory; six digits by direct maximisation.
GUPTA = [1.613, 1.644, 1.663, 1.732, 1.740, 1.763, 1.778]

# NIST/SEMATECH e-Handbook 8.4.1.2: ten failures of twenty units in a test of 500 hours. Printed shape 1.7208 and scale
# 606.5280, from memory; recomputed 606.52755, so the page's last digit is not exact.
FAILED = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]


def reference(low: FloatArray, high: FloatArray) -> tuple[float, float]:
    """Return scipy's maximum of the same likelihood, from a search of its own."""
    exact = low == high
    data = stats.CensoredData(
        uncensored=low[exact],
        left=high[np.isinf(low)],
        right=low[np.isinf(high)],
        interval=np.column_stack([low, high])[~exact & np.isfinite(low) & np.isfinite(high)],
    )
    centre, sigma = stats.norm.fit(data)
    return float(centre), float(sigma)


def test_censored_at_the_largest():
    low, high = intervals([*GUPTA, 1.778, 1.778, 1.778], bound=[Bound.EXACT] * 7 + [Bound.ABOVE] * 3)

    fit = fit_normal(low, high)

    assert fit.centre == pytest.approx(1.742231, abs=5e-7)
    assert fit.sigma == pytest.approx(0.07914, abs=5e-7)
    assert (fit.n, fit.n_exact, fit.n_censored) == (10, 7, 3)


def test_exact_readings_give_mean_and_deviation():
    fit = fit_normal(GUPTA, GUPTA)

    assert fit.centre == pytest.approx(np.mean(GUPTA), rel=1e-12)
    assert fit.sigma == pytest.approx(np.std(GUPTA), rel=1e-9)
    assert fit.log_likelihood == pytest.approx(stats.norm(fit.centre, fit.sigma).logpdf(GUPTA).sum(), rel=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_agrees_with_a_general_library(seed):
    rng = np.random.default_rng(seed)
    x = rng.normal(0.21, 0.06, 40)
    written = np.round(x / 0.05) * 0.05 if seed % 2 else x
    bound = np.where(x < 0.15, Bound.BELOW, np.where(x > 0.30, Bound.ABOVE, Bound.EXACT))
    written = np.where(bound == Bound.BELOW, 0.15, np.where(bound == Bound.ABOVE, 0.30, written))
    low, high = intervals(written, bound=bound, resolution=0.05 if seed % 2 else None)

    fit = fit_normal(low, high)
    centre, sigma = reference(low, high)

    assert fit.centre == pytest.approx(centre, abs=2e-3 * sigma)  # scipy's simplex stops within 1e-4 of the unit
    assert fit.sigma == pytest.approx(sigma, rel=2e-3)
    assert fit.log_likelihood >= log_likelihood(low, high, centre, sigma) - 1e-12


def log_likelihood(low: FloatArray, high: FloatArray, centre: float, sigma: float) -> float:
    normal = stats.norm(centre, sigma)
    exact = low == high
    with np.errstate(divide="ignore"):
        between = np.log(normal.cdf(high) - normal.cdf(low))
    return float(np.where(exact, normal.logpdf(low), between).sum())


@settings(max_examples=50)
@given(st.integers(0, 10_000))
def test_no_neighbour_is_likelier(seed):
    rng = np.random.default_rng(seed)
    step = float(rng.choice([0.3, 1.0, 2.0]))
    x = np.round(rng.normal(0, 1, 15) / step) * step
    bound = rng.choice([Bound.BELOW, Bound.EXACT, Bound.EXACT, Bound.EXACT, Bound.ABOVE], 15)
    bound[0] = Bound.EXACT
    low, high = intervals(x, bound=bound, resolution=step)
    fit = fit_normal(low, high)
    if fit.one_value_explains_all:
        assert low.max() <= high.min() + 1e-9
        return
    best = log_likelihood(low, high, fit.centre, fit.sigma)

    assert fit.log_likelihood == pytest.approx(best, abs=1e-8)
    for nudge in (-0.01, 0.01):
        assert log_likelihood(low, high, fit.centre + nudge * fit.sigma, fit.sigma) <= best + 1e-10
        assert log_likelihood(low, high, fit.centre, fit.sigma * (1 + nudge)) <= best + 1e-10


@settings(max_examples=30)
@given(st.integers(0, 1000), st.sampled_from([1e-3, 1.8, 1000.0]), st.sampled_from([0.0, 32.0, -1e4]))
def test_the_fit_follows_a_change_of_unit(seed, scale, shift):
    x = np.random.default_rng(seed).normal(20, 3, 12)
    bound = np.where(x > 22, Bound.ABOVE, Bound.EXACT)
    before = fit_normal(*intervals(x, bound=bound))
    after = fit_normal(*intervals(scale * x + shift, bound=bound))

    assert after.centre == pytest.approx(scale * before.centre + shift, rel=1e-7, abs=1e-7 * scale)
    assert after.sigma == pytest.approx(scale * before.sigma, rel=1e-6)
    assert after.sigma_upper == pytest.approx(scale * before.sigma_upper, rel=1e-4)


def test_the_interval_of_sigma_is_the_likelihood_ratio_one():
    fit = fit_normal(GUPTA, GUPTA)
    n, x = len(GUPTA), np.array(GUPTA)

    for end in (fit.sigma_lower, fit.sigma_upper):  # of exact readings the best level is the mean, whatever sigma
        value = -n * math.log(end * math.sqrt(2 * math.pi)) - ((x - x.mean()) ** 2).sum() / (2 * end**2)
        assert 2 * (fit.log_likelihood - value) == pytest.approx(CHI_SQUARE_95, abs=1e-6)
    assert pytest.approx(stats.chi2(1).ppf(0.95), rel=1e-15) == CHI_SQUARE_95


def test_the_interval_of_sigma_covers():
    # 95 % nominal; profile likelihood from 30 readings in steps of one sigma covers a little less; 200 baselines.
    rng = np.random.default_rng(5)
    fits = [fit_normal(*intervals(np.round(rng.normal(0.3, 1, 30)), resolution=1.0)) for _ in range(200)]
    covered = np.mean([fit.sigma_lower <= 1 <= fit.sigma_upper for fit in fits])

    assert covered == pytest.approx(0.94, abs=0.05)  # 3 standard errors of a share of 200


def test_one_value_that_explains_all_bounds_sigma_from_above_alone():
    fit = fit_normal(*intervals([0.20] * 20, resolution=0.05))
    low, high = intervals([0.20] * 20, resolution=0.05)

    assert fit.sigma == fit.sigma_lower == 0
    assert fit.centre == pytest.approx(0.20)
    assert 0.008 < fit.sigma_upper < 0.05
    # at that sigma the best level is the middle, by symmetry
    assert -2 * log_likelihood(low, high, 0.20, fit.sigma_upper) == pytest.approx(CHI_SQUARE_95, abs=1e-5)


def test_two_neighbouring_divisions_are_explained_by_one_value_between_them():
    fit = fit_normal(*intervals([0.20] * 15 + [0.25] * 5, resolution=0.05))

    assert fit.one_value_explains_all
    assert fit.centre == pytest.approx(0.225)
    assert fit.log_likelihood == pytest.approx(15 * math.log(0.75) + 5 * math.log(0.25))
    assert 0 < fit.sigma_upper < 0.1


def test_constant_exact_readings_have_sigma_zero():
    fit = fit_normal([3.0] * 5, [3.0] * 5)

    assert (fit.centre, fit.sigma) == (3.0, 0.0)


def test_missing_readings_are_left_out():
    with_gap = fit_normal(*intervals([1.0, math.nan, 2.0, 4.0]))
    without = fit_normal(*intervals([1.0, 2.0, 4.0]))

    assert with_gap == without


def test_far_from_zero():
    x = np.random.default_rng(1).normal(size=20)
    near, far = fit_normal(x, x), fit_normal(x + 1e8, x + 1e8)

    assert far.sigma == pytest.approx(near.sigma, rel=1e-6)


@pytest.mark.parametrize(
    ("low", "high", "says"),
    [
        ([1.0], [1.0], "1 readings given; at least 2"),
        ([], [], "0 readings given"),
        ([1.0, 2.0], [1.0], "same length"),
        ([1.0, 3.0], [1.0, 2.0], "interval 1 runs from 3.0 to 2.0"),
        ([1.0, math.nan], [1.0, 2.0], "interval 1 runs from nan to 2.0"),
        ([1.0, math.inf], [1.0, math.inf], "interval 1 runs from inf"),
        ([-math.inf] * 3, [0.05] * 3, "every reading is censored"),
        ([-math.inf, 5.0], [0.05, math.inf], "every reading is censored"),
    ],
)
def test_refuses(low, high, says):
    with pytest.raises(InputError, match=says):
        fit_normal(low, high)


def test_refuses_bounds_and_steps_that_cannot_be():
    with pytest.raises(InputError, match="one for each of the 2 readings"):
        intervals([1.0, 2.0], bound=[0])
    with pytest.raises(InputError, match="resolution is 0"):
        intervals([1.0, 2.0], resolution=0.0)


def test_weibull_of_a_handbook_life_test():
    fit = fit_weibull(FAILED, [500] * 10)

    assert fit.shape == pytest.approx(1.7208, abs=5e-5)
    assert fit.scale == pytest.approx(606.5280, abs=0.001)
    assert (fit.shape, fit.scale) == pytest.approx((1.720797, 606.52755), abs=1e-5)
    assert (fit.n_failed, fit.n_running) == (10, 10)


def test_weibull_of_published_remissions():
    """Freireich and others (1963), Blood 21: weeks in remission, 9 ended and 12 not, 359 weeks in all.

    Data and the fit as textbooks print it, shape 1.354 and scale 33.77, from memory.
    """
    ended = [6, 6, 6, 7, 10, 13, 16, 22, 23]
    lasting = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
    fit = fit_weibull(ended, lasting)

    assert sum(ended) + sum(lasting) == 359
    assert fit.shape == pytest.approx(1.354, abs=5e-4)
    assert fit.scale == pytest.approx(33.77, abs=5e-3)


@given(st.integers(0, 200), st.sampled_from([1e-3, 24.0, 3600.0]))
def test_weibull_lives_follow_a_change_of_unit(seed, scale):
    rng = np.random.default_rng(seed)
    lives = rng.weibull(1.7, 12) * 600
    failed, running = lives[lives < 700], np.minimum(lives[lives >= 700], 700)
    before, after = fit_weibull(failed, running), fit_weibull(scale * failed, scale * running)

    assert after.shape == pytest.approx(before.shape, rel=1e-9)
    assert after.scale == pytest.approx(scale * before.scale, rel=1e-9)


def test_weibull_agrees_with_a_general_library():
    lives = np.random.default_rng(2).weibull(2.5, 50) * 900
    shape, _, scale = stats.weibull_min.fit(lives, floc=0)
    fit = fit_weibull(lives)

    assert (fit.shape, fit.scale) == pytest.approx((shape, scale), rel=1e-3)


@pytest.mark.parametrize(
    ("failed", "running", "says"),
    [
        ([100.0], [500.0], "1 readings given"),
        ([100.0, 0.0], [], "an age is 0"),
        ([100.0, 200.0], [-5.0], "an age is -5"),
        ([100.0, 100.0], [50.0], "all failures came at one age"),
    ],
)
def test_weibull_refuses(failed, running, says):
    with pytest.raises(InputError, match=says):
        fit_weibull(failed, running)
