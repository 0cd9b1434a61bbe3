"""Sigma from moving ranges and overall."""

import itertools
import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from spc.errors import InputError
from spc.sigma import (
    D2_FOR_PAIRS,
    D3_FOR_PAIRS,
    D4_FOR_PAIRS,
    MEDIAN_FOR_PAIRS,
    mean,
    mean_moving_range,
    moving_ranges,
    resolution_floor,
    sigma_from_median_range,
    sigma_overall,
    sigma_with_floor,
    sigma_within,
)
from tests.strategies import READINGS, READINGS_WITH_GAPS

# NIST StRD, univariate summary statistics, set Mavro: 50 readings of filter transmittance; certified to 15 digits.
MAVRO = [
    *(2.0018, 2.0017, 2.0018, 2.0019, 2.0018, 2.0017, 2.0015, 2.0014, 2.0015, 2.0015),
    *(2.0017, 2.0018, 2.0018, 2.0019, 2.0019, 2.0021, 2.0020, 2.0016, 2.0014, 2.0013),
    *(2.0013, 2.0015, 2.0015, 2.0016, 2.0015, 2.0014, 2.0013, 2.0014, 2.0015, 2.0014),
    *(2.0015, 2.0016, 2.0015, 2.0016, 2.0019, 2.0020, 2.0020, 2.0021, 2.0022, 2.0023),
    *(2.0024, 2.0025, 2.0027, 2.0026, 2.0026, 2.0026, 2.0027, 2.0026, 2.0025, 2.0024),
]


def test_constants_for_pairs_are_the_published_ones():
    # ASTM MNL 7 and NIST/SEMATECH e-Handbook 6.3.2.2, n = 2, from memory: 1.128, 0.853, 3.267; median range 0.954.
    assert pytest.approx(1.128, abs=5e-4) == D2_FOR_PAIRS
    assert pytest.approx(0.853, abs=6e-4) == D3_FOR_PAIRS
    assert pytest.approx(3.267, abs=6e-4) == D4_FOR_PAIRS
    assert pytest.approx(0.954, abs=5e-4) == MEDIAN_FOR_PAIRS


def test_constants_for_pairs_by_integration():
    density = norm(scale=math.sqrt(2)).pdf  # of a difference of two readings
    first = 2 * quad(lambda d: d * density(d), 0, np.inf)[0]
    second = 2 * quad(lambda d: d * d * density(d), 0, np.inf)[0]

    assert pytest.approx(first, rel=1e-10) == D2_FOR_PAIRS
    assert pytest.approx(math.sqrt(second - first**2), rel=1e-9) == D3_FOR_PAIRS
    assert 2 * quad(density, 0, MEDIAN_FOR_PAIRS)[0] == pytest.approx(0.5, abs=1e-12)


def test_certified_mean_and_deviation():
    assert mean(np.array(MAVRO)) == pytest.approx(2.001856, rel=1e-15)
    assert sigma_overall(MAVRO) == pytest.approx(0.000429123454003053, rel=1e-12)


@pytest.mark.parametrize(
    ("readings", "certified"),
    [
        # NIST StRD NumAcc1 to NumAcc4: certified mean and deviation are exact; the sets are made by rule.
        ([10000001.0, 10000003.0, 10000002.0], 1.0),
        ([1.2, *([1.1, 1.3] * 500)], 0.1),
        ([1000000.2, *([1000000.1, 1000000.3] * 500)], 0.1),
        ([10000000.2, *([10000000.1, 10000000.3] * 500)], 0.1),
    ],
    ids=["NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4"],
)
def test_certified_deviation_far_from_zero(readings, certified):
    # The readings themselves are rounded to a double: 1e7 + 0.1 is held to 2e-9, so 8 digits of 0.1 is all they carry.
    exact = [Fraction(x) for x in readings]
    centre = sum(exact) / len(exact)
    held = math.sqrt(sum((x - centre) ** 2 for x in exact) / (len(exact) - 1))

    assert sigma_overall(readings) == pytest.approx(held, rel=1e-14)
    assert held == pytest.approx(certified, rel=2e-8)


def test_a_moving_range_spans_no_missing_reading():
    ranges = moving_ranges([1.0, 3.0, math.nan, 10.0, 11.0])

    np.testing.assert_array_equal(ranges, [2.0, math.nan, math.nan, 1.0])
    assert mean_moving_range([1.0, 3.0, math.nan, 10.0, 11.0]) == 1.5
    assert sigma_from_median_range([1.0, 3.0, math.nan, 10.0, 11.0]) == pytest.approx(1.5 / 0.9538725524)


@given(READINGS, st.floats(1e-3, 1e3), st.floats(-1e3, 1e3))
def test_sigmas_follow_a_change_of_unit(x, scale, shift):
    changed = [scale * reading + shift for reading in x]
    near = 1e-9 * scale * max(1.0, *map(abs, x)) + 1e-9 * abs(shift)

    for sigma in (sigma_within, sigma_from_median_range, sigma_overall):
        assert sigma(changed) == pytest.approx(scale * sigma(x), rel=1e-9, abs=near)


@given(READINGS)
def test_sigma_does_not_depend_on_the_direction_of_time(x):
    assert sigma_within(x) == sigma_within(x[::-1])


@given(READINGS, st.randoms(use_true_random=False))
def test_the_mean_does_not_depend_on_the_order_of_summation(x, random):
    shuffled = list(x)
    random.shuffle(shuffled)

    assert mean(np.array(x)) == mean(np.array(shuffled))
    assert min(x) <= mean(np.array(x)) <= max(x)


@given(READINGS_WITH_GAPS)
def test_every_stream_gets_a_sigma_or_a_reason(x):
    if any(math.isfinite(after - before) for before, after in itertools.pairwise(x)):
        assert sigma_within(x) >= 0
    else:
        with pytest.raises(InputError, match="at least"):
            sigma_within(x)


def test_sigma_within_is_unbiased_for_normal_readings():
    x = np.random.default_rng(20).normal(5, 2, (4000, 20))
    found = np.array([sigma_within(row) for row in x])

    assert found.mean() == pytest.approx(2, abs=4 * found.std() / math.sqrt(len(found)))


def test_constant_readings_scatter_not_at_all():
    for constant in (0.1, 1e9 + 0.1):
        assert sigma_within([constant] * 30) == 0
        assert sigma_overall([constant] * 30) == 0
        assert mean(np.full(3, constant)) == constant


def test_the_floor_is_the_scatter_of_rounding():
    # JCGM 100:2008, F.2.2.1: a resolution of dx has standard uncertainty 0.29 dx.
    assert resolution_floor(1.0) == pytest.approx(0.29, abs=0.002)
    rounding = np.random.default_rng(3).uniform(-0.5, 0.5, 200_000)
    assert resolution_floor(1.0) == pytest.approx(rounding.std(), rel=0.005)


@pytest.mark.parametrize(
    ("readings", "resolution", "floored"),
    [([1.0, 1.0, 1.0], 0.1, True), ([1.0, 2.0, 1.0], 0.1, False), ([1.0, 1.0, 1.0], None, False)],
)
def test_the_floor_holds_where_it_is_larger(readings, resolution, floored):
    found = sigma_with_floor(readings, resolution)

    assert found.floored is floored
    assert found.value == max(sigma_within(readings), 0.0 if resolution is None else resolution_floor(resolution))


@pytest.mark.parametrize("sigma", [sigma_within, sigma_from_median_range, sigma_overall])
@pytest.mark.parametrize("readings", [[], [1.0], [math.nan, 1.0, math.nan], [1.0, math.inf]])
def test_refuses(sigma, readings):
    with pytest.raises(InputError, match=r"at least|successive|is inf"):
        sigma(readings)
