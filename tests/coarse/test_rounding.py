"""Readings coarser than their scatter."""

import math

import numpy as np
import pytest

from spc.coarse.rounding import COARSEST, sigma_rounded
from spc.errors import InputError
from spc.records import Bound
from spc.sigma import sigma_within


def test_moving_ranges_are_not_biased_by_rounding_up_to_one_sigma():
    rng = np.random.default_rng(11)
    found = [sigma_within(np.round(rng.normal(offset, 1, 5000))) for offset in np.linspace(0, 0.9, 10)]

    assert np.mean(found) == pytest.approx(1, abs=0.01)


def test_a_tube_too_coarse_for_the_bath():
    # Settled volume of sigma 0.02 mL on a tube with 0.05 mL divisions.
    x = np.round(np.random.default_rng(4).normal(0.21, 0.02, 60) / 0.05) * 0.05

    found = sigma_rounded(x, 0.05)

    assert found.lower < 0.02 < found.upper
    assert found.sigma == found.fit.sigma
    assert found.as_written == pytest.approx(math.hypot(found.sigma, 0.05 / math.sqrt(12)))
    assert found.warning is not None
    assert found.warning.in_sigmas == pytest.approx(0.05 / found.sigma)
    assert str(found.warning).startswith("read in steps of 0.05, ")
    assert f"{found.warning.levels} different numbers" in str(found.warning)


def test_a_tube_fine_enough_draws_no_warning():
    x = np.round(np.random.default_rng(4).normal(0.21, 0.02, 60) / 0.01) * 0.01

    found = sigma_rounded(x, 0.01)

    assert found.warning is None
    assert found.sigma == pytest.approx(np.std(x), rel=0.05)


def test_rounded_likelihood_is_nearly_unbiased_where_deviations_are_not():
    rng = np.random.default_rng(8)
    baselines = [np.round(rng.normal(offset, 1, 60) / 2) * 2 for offset in rng.uniform(0, 2, 80)]
    by_likelihood = np.mean([sigma_rounded(x, 2.0).sigma for x in baselines])
    by_deviation = np.mean([np.std(x, ddof=1) for x in baselines])

    assert by_likelihood == pytest.approx(1, abs=0.05)
    assert by_deviation == pytest.approx(1.15, abs=0.04)


@pytest.mark.parametrize(
    ("x", "says"),
    [([0.2] * 20, "only a single number written"), ([0.2, 0.25] * 10, "only 2 different numbers written")],
)
def test_one_or_two_numbers_give_the_floor_and_say_so(x, says):
    found = sigma_rounded(x, 0.05)

    assert found.sigma == found.as_written == pytest.approx(0.05 / math.sqrt(12))
    assert found.lower == 0
    assert found.warning is not None
    assert says in str(found.warning)


def test_censored_and_missing_readings_are_used_for_what_they_say():
    found = sigma_rounded([0.2, 0.3, math.nan, 0.1, 0.4], 0.1, bound=[0, 0, 0, Bound.BELOW, Bound.ABOVE])

    assert found.n == 4
    assert found.fit.n_censored == 2
    assert found.fit.n_rounded == 2


def test_the_coarsest_step_leaves_four_ranges_within_their_limit():
    # Three steps just fit under the limit 3.686 sigma: 3.686 / 3.
    assert pytest.approx(3.686 / 3, abs=2e-4) == COARSEST


@pytest.mark.parametrize(
    ("x", "resolution", "says"),
    [([0.2], 0.05, "at least 2"), ([0.2, 0.3], 0.0, "resolution is 0"), ([math.nan, 0.2], 0.05, "at least 2")],
)
def test_refuses(x, resolution, says):
    with pytest.raises(InputError, match=says):
        sigma_rounded(x, resolution)
