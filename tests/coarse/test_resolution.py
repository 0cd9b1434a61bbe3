import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.coarse.resolution import (
    probability_all_equal,
    rounding_effect,
    sigma_from_equal_repeats,
    sigma_without_rounding,
)
from spc.errors import InputError

# Exact sums over the steps, recomputed independently, at 11 levels from on a step to halfway: least, mean and largest
# factor of the moving range's sigma, mean factor of the standard deviation, Sheppard's factor, mean share of equal
# pairs. Their means count both ends in full, so they differ a little from the mean over all levels given here. The step
# above one sigma as where measuring units are inadequate: Wheeler and Lyday, Evaluating the Measurement Process.
ROUNDING = {
    0.25: (1.0, 1.0, 1.0, 1.002601, 1.002601, 0.070341),
    0.5: (1.0, 1.0, 1.0, 1.010363, 1.010363, 0.139596),
    1.0: (0.999994, 1.0, 1.000006, 1.040833, 1.040833, 0.270903),
    1.5: (0.996638, 1.0, 1.003362, 1.089725, 1.089725, 0.387524),
    2.0: (0.955935, 1.000001, 1.044076, 1.154652, 1.154701, 0.486065),
    3.0: (0.663047, 1.000306, 1.343677, 1.311863, 1.322876, 0.629514),
}


@pytest.mark.parametrize("step", ROUNDING)
def test_effect_of_rounding(step):
    low, mean, high, overall, sheppard, equal = ROUNDING[step]
    found = rounding_effect(step)

    assert (found.within_low, found.within_high) == pytest.approx((low, high), abs=6e-7)
    assert found.within_mean == pytest.approx(mean, abs=4e-4)
    assert found.within_mean == pytest.approx(1.0, abs=1e-9)  # over all levels the moving range is unbiased
    assert found.overall_mean == pytest.approx(overall, abs=6e-4)
    assert found.sheppard == pytest.approx(sheppard, abs=6e-7)
    assert found.equal_pairs == pytest.approx(equal, abs=2e-4)


def test_up_to_one_sigma_only_the_standard_deviation_grows():
    found = rounding_effect(1.0)

    assert found.overall_low == pytest.approx(found.overall_high, abs=2e-8)
    assert found.overall_mean == pytest.approx(math.sqrt(13 / 12), abs=1e-8)
    assert abs(found.within_high - 1) < 6e-6


@pytest.mark.parametrize("level", [0.0, 0.37, 1.0])
def test_effect_of_rounding_by_drawing(level):
    """Second way: 400,000 readings rounded to steps of 2 sigma; standard errors under 0.003."""
    x = np.random.default_rng(4).normal(level, 1.0, 400_000)
    read = np.round(x / 2.0) * 2.0
    found = rounding_effect(2.0)
    within = float(np.abs(np.diff(read)).mean()) * math.sqrt(math.pi) / 2

    assert found.within_low - 0.006 <= within <= found.within_high + 0.006
    assert found.overall_low - 0.004 <= read.std() <= found.overall_high + 0.004
    if level == 0.0:
        assert within == pytest.approx(found.within_low, abs=0.006)
        assert read.std() == pytest.approx(found.overall_low, abs=0.004)
    if level == 1.0:
        assert within == pytest.approx(found.within_high, abs=0.006)
        assert read.std() == pytest.approx(found.overall_high, abs=0.004)


def test_sheppards_correction():
    """A step of 6 and a variance of 28 leave 28 - 36/12 = 25."""
    assert sigma_without_rounding(math.sqrt(28), 6.0) == pytest.approx(5.0, rel=1e-15)
    assert sigma_without_rounding(1.0, 4.0) == 0.0


@pytest.mark.parametrize(("sigma", "repeats"), [(0.2, 2), (0.5, 3), (1.3, 2)])
def test_how_often_repeats_are_all_equal(sigma, repeats):
    """Second way: 300,000 draws of a level and its repeats; standard error under 0.001."""
    rng = np.random.default_rng(9)
    read = np.round(rng.uniform(size=(300_000, 1)) + sigma * rng.normal(size=(300_000, repeats)))

    assert probability_all_equal(sigma, repeats) == pytest.approx(np.mean(np.ptp(read, axis=1) == 0), abs=0.004)


def test_pairs_are_equal_as_often_by_either_sum():
    assert probability_all_equal(0.5, 2) == pytest.approx(rounding_effect(2.0).equal_pairs, rel=1e-6)


@settings(max_examples=25)
@given(st.floats(0.02, 2.9), st.integers(2, 5))
def test_sigma_is_found_again_from_the_share_of_equal_repeats(sigma, repeats):
    assert sigma_from_equal_repeats(probability_all_equal(sigma, repeats), repeats) == pytest.approx(sigma, rel=1e-6)


def test_all_or_no_equal_repeats_leave_sigma_open_at_one_end():
    assert sigma_from_equal_repeats(1.0, 3) == 0.0
    assert sigma_from_equal_repeats(0.0, 3) == math.inf


@pytest.mark.parametrize("step", [0.0, -1.0, float("nan"), 51.0])
def test_refuses_a_step(step):
    with pytest.raises(InputError, match="must lie above 0"):
        rounding_effect(step)


def test_a_very_fine_step_does_nothing():
    found = rounding_effect(1e-200)

    assert (found.within_low, found.within_high, found.overall_mean) == pytest.approx((1.0, 1.0, 1.0), abs=1e-5)


def test_fine_steps_without_a_sum_agree_with_the_sum():
    """Second way: the sums just above the step where they end."""
    below, above = rounding_effect(0.0499999999), rounding_effect(0.0500000001)

    assert above.overall_low == pytest.approx(below.overall_low, abs=1e-10)
    assert above.within_high == pytest.approx(below.within_high, abs=1e-10)
    assert above.equal_pairs == pytest.approx(below.equal_pairs, rel=1e-3)  # the sum has a small term in step cubed
