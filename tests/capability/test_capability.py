import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from spc.arrays import FloatArray
from spc.capability.fraction_outside import (
    counted_fraction_outside,
    normal_fraction_outside,
    normal_fraction_share_below,
)
from spc.capability.indices import (
    STABLE,
    UNEXAMINED,
    UNSTABLE,
    Capability,
    Specification,
    capability,
    level_index_limits,
    resolution_effect,
    spread_index_limits,
)
from spc.errors import InputError
from spc.pivots import SigmaEstimate, moving_range_df, overall_sigma, within_sigma


def with_moments(n: int, mean: float, sd: float) -> FloatArray:
    """Readings whose mean and standard deviation are as given."""
    x = np.random.default_rng(n).normal(size=n)
    return np.asarray(mean + sd * (x - x.mean()) / x.std(ddof=1))


def test_handbook_indices():
    """NIST/SEMATECH e-Handbook 6.1.6 (seen second-hand): mean 16, sigma 2, limits 8 and 20."""
    result = capability(with_moments(50, 16.0, 2.0), Specification(8, 20))

    assert result.pp is not None
    assert result.ppl is not None
    assert result.ppu is not None
    values = [index.value for index in (result.pp, result.ppl, result.ppu, result.ppk)]
    assert values == pytest.approx([1.0, 4 / 3, 2 / 3, 2 / 3], rel=1e-9)
    assert 1 - result.ppk.value / result.pp.value == pytest.approx(0.3333, abs=5e-5)  # the page's k: off the middle
    assert (result.mean, result.sigma_overall) == pytest.approx((16.0, 2.0), rel=1e-12)


def test_cp_interval_of_a_textbook():
    """Montgomery, Statistical Quality Control: n = 20, s = 1.75, limits 38 and 62: Cp 2.29, 1.57 to 3.01 (from memory).

    The book starts from the rounded 2.29; unrounded, 2.2857 gives 1.5649 to 3.0056.
    """
    result = capability(with_moments(20, 50.0, 1.75), Specification(38, 62))

    assert result.pp is not None
    assert (result.pp.value, result.pp.lower, result.pp.upper) == pytest.approx((2.2857, 1.5649, 3.0056), abs=5e-5)
    assert (2.29 * result.pp.lower / result.pp.value) == pytest.approx(1.57, abs=0.005)


def test_share_outside_of_a_centred_process():
    """Limits 3, 4, 5, 6 sigma off: 0.27 %, 64 ppm (63.3 unrounded), 0.6 ppm, 2 ppb: e-Handbook 6.1.6, from memory."""
    x = with_moments(40, 0.0, 1.0)
    ppm = [1e6 * normal_fraction_outside(x, Specification(-k, k)).outside for k in (3, 4, 5, 6)]

    assert ppm == pytest.approx([2699.796063, 63.342484, 0.573303144, 0.001973175], rel=1e-6)


def test_one_sided_limits_are_the_noncentral_t():
    """Second way: invert scipy's noncentral t distribution."""
    for n, index in ((5, 0.4), (12, 1.1), (60, 1.7), (9, -0.3)):
        root = 3 * math.sqrt(n)
        found = level_index_limits(None, index, sigma=overall_sigma(1.0, n), n=n, confidence=0.9)

        for limit, tail in zip(found, (0.95, 0.05), strict=True):
            assert stats.nct.cdf(root * index, n - 1, root * limit) == pytest.approx(tail, abs=1e-8)


def test_one_sided_limit_against_a_tolerance_table():
    """ISO 16269-6, n = 10: mean + 2.910963 s holds 95 % with confidence 95 %: an index so far proves z(0.95)/3."""
    k, z = 2.910963, 1.644853627
    low, _ = level_index_limits(k / 3, None, sigma=overall_sigma(1.0, 10), n=10, confidence=0.90)
    x = with_moments(10, 0.0, 1.0)
    outside = normal_fraction_outside(x, Specification(upper=k), confidence=0.90)

    assert low == pytest.approx(z / 3, abs=1e-6)
    assert outside.upper == pytest.approx(0.05, abs=1e-6)


def test_a_far_second_limit_changes_the_upper_confidence_limit_alone():
    x = with_moments(15, 10.0, 1.0)
    one, two = capability(x, Specification(upper=12)), capability(x, Specification(-500, 12))
    at_half_the_chance = capability(x, Specification(upper=12), confidence=0.975)

    assert (two.ppk.value, two.ppk.lower) == (one.ppk.value, one.ppk.lower)
    assert (two.cpk.value, two.cpk.lower) == (one.cpk.value, one.cpk.lower)
    assert two.ppk.upper == pytest.approx(at_half_the_chance.ppk.upper, rel=1e-12)
    assert one.cp is one.pp is one.cpl is one.ppl is None
    assert [index.name for index in one.indices] == ["Cpu", "Cpk", "Ppu", "Ppk"]
    assert one.ppk.method.startswith("noncentral t, ")
    assert two.ppk.method.startswith("noncentral t on either side, ")
    assert [index.name for index in two.indices] == ["Cp", "Cpl", "Cpu", "Cpk", "Pp", "Ppl", "Ppu", "Ppk"]


def test_many_readings_agree_with_the_normal_approximation():
    """Bissell (1990): Cpk (1 -/+ z sqrt(1/(9 n Cpk^2) + 1/(2 (n - 1)))), good for many readings off the middle."""
    n, index = 2000, 1.2
    low, high = level_index_limits(index, None, sigma=overall_sigma(1.0, n), n=n, confidence=0.95)
    half = 1.959964 * math.sqrt(1 / (9 * n * index**2) + 1 / (2 * (n - 1)))

    assert (low, high) == pytest.approx((index * (1 - half), index * (1 + half)), abs=0.002)


def tails(
    true: float,
    mean: FloatArray,
    sd: FloatArray,
    sigma: Callable[[float, int], SigmaEstimate],
    n: int,
    confidence: float,
) -> tuple[float, float]:
    """Return how often the interval of the index lies above and below the true one, for limits -3.5 and 3.5."""
    limits = np.array([
        level_index_limits((c + 3.5) / (3 * s), (3.5 - c) / (3 * s), sigma=sigma(s, n), n=n, confidence=confidence)
        for c, s in zip(mean.tolist(), sd.tolist(), strict=True)
    ])  # fmt: skip
    return float(np.mean(limits[:, 0] > true)), float(np.mean(limits[:, 1] < true))


@pytest.mark.parametrize(("mean", "n"), [(0.0, 8), (0.1, 30), (1.5, 8)])
def test_ppk_limits_miss_no_more_often_than_stated(mean, n):
    """500 seeded samples: each tail's standard error 0.01 for a stated 0.05."""
    x = np.random.default_rng(n).normal(mean, 1.0, (500, n))
    above, below = tails((3.5 - mean) / 3, x.mean(axis=1), x.std(axis=1, ddof=1), overall_sigma, n, 0.9)

    assert above <= 0.075
    assert below <= 0.075
    if mean == 1.5:  # one limit matters: the lower tail is exact
        assert above == pytest.approx(0.05, abs=0.025)


@pytest.mark.parametrize("n", [5, 20])
def test_cpk_limits_from_moving_ranges_hold_their_confidence(n):
    """500 seeded samples; the moving range's chi distribution is an approximation."""
    x = np.random.default_rng(n).normal(1.5, 1.0, (500, n))
    within = np.abs(np.diff(x, axis=1)).mean(axis=1) * math.sqrt(math.pi) / 2
    above, below = tails(2 / 3, x.mean(axis=1), within, within_sigma, n, 0.9)

    assert above == pytest.approx(0.05, abs=0.028)
    assert below == pytest.approx(0.025, abs=0.018)  # two limits: half the chance


def test_degrees_of_freedom_of_the_mean_moving_range():
    """Second way: the variance of 200,000 simulated mean moving ranges; relative standard error 0.3 %."""
    rng = np.random.default_rng(11)
    for n in (3, 10):
        means = np.abs(np.diff(rng.normal(size=(200_000, n)), axis=1)).mean(axis=1)
        df = moving_range_df(n)
        chi = stats.chi(df)

        assert means.std() / means.mean() == pytest.approx(chi.std() / chi.mean(), rel=0.01)
    assert moving_range_df(2) == 1.0
    assert moving_range_df(500) / 499 == pytest.approx(0.605, abs=0.002)


def test_cp_limits_from_moving_ranges_hold_their_confidence():
    rng = np.random.default_rng(8)
    n = 12
    within = np.abs(np.diff(rng.normal(size=(20_000, n)), axis=1)).mean(axis=1) * math.sqrt(math.pi) / 2
    low, high = spread_index_limits(1.0, within_sigma(1.0, n), 0.9)  # true Cp is the estimate times within

    assert np.mean(low / within > 1) == pytest.approx(0.05, abs=0.012)
    assert np.mean(high / within < 1) == pytest.approx(0.05, abs=0.012)


def lower_of_sides(x: FloatArray, limits: Specification, confidence: float) -> float:
    """Return what either side alone proves at half the chance."""
    half = 1 - (1 - confidence) / 2
    below = normal_fraction_outside(x, Specification(lower=limits.lower), confidence=half)
    above = normal_fraction_outside(x, Specification(upper=limits.upper), confidence=half)
    return max(below.lower, above.lower)


@pytest.mark.parametrize("mean", [0.0, 0.8, -6.0])
def test_limits_of_the_share_outside_two_limits(mean):
    x, limits = with_moments(10, mean, 1.0), Specification(-2.5, 2.5)
    found = normal_fraction_outside(x, limits, confidence=0.9)

    assert found.lower == pytest.approx(lower_of_sides(x, limits, 0.9), rel=1e-9)
    assert normal_fraction_share_below(found.upper, mean + 2.5, 2.5 - mean, 10) == pytest.approx(0.95, abs=1e-6)
    assert found.lower < found.outside < found.upper


@pytest.mark.parametrize(("mean", "n"), [(0.0, 10), (0.8, 10), (0.1, 40)])
def test_limits_of_the_share_outside_miss_no_more_often_than_stated(mean, n):
    """250 seeded samples: each tail's standard error 0.014 for a stated 0.05."""
    true = float(stats.norm.sf(2.5 - mean) + stats.norm.cdf(-2.5 - mean))
    x = np.random.default_rng(n).normal(mean, 1.0, (250, n))
    centre, sd = x.mean(axis=1), x.std(axis=1, ddof=1)
    upper_is_below = [
        normal_fraction_share_below(true, (c + 2.5) / s, (2.5 - c) / s, n) > 0.95
        for c, s in zip(centre.tolist(), sd.tolist(), strict=True)
    ]
    lower_is_above = [lower_of_sides(row, Specification(-2.5, 2.5), 0.9) > true for row in x]

    assert np.mean(upper_is_below) <= 0.085
    assert np.mean(lower_is_above) <= 0.085


def test_share_outside_by_drawing():
    """Second way to the pivot: 400,000 draws of sigma and mean; standard error of a share 0.0008."""
    rng = np.random.default_rng(6)
    n, to_lower, to_upper = 9, 2.0, 2.6
    stretch = np.sqrt(rng.chisquare(n - 1, 400_000) / (n - 1))
    score = rng.normal(size=400_000) / math.sqrt(n)
    drawn = stats.norm.cdf(-to_lower * stretch + score) + stats.norm.cdf(-to_upper * stretch - score)

    for fraction in (0.003, 0.02, 0.1):
        assert normal_fraction_share_below(fraction, to_lower, to_upper, n) == pytest.approx(
            np.mean(drawn <= fraction), abs=0.003
        )


def test_share_outside_when_nearly_all_or_nothing_is():
    far = normal_fraction_outside(with_moments(30, 25.0, 1.0), Specification(-3, 3))
    wide = normal_fraction_outside(with_moments(30, 0.0, 1.0), Specification(-900, 900))

    assert (far.outside, far.upper) == (1.0, 1.0)
    assert far.lower > 0.999
    assert (wide.outside, wide.lower, wide.upper) == (0.0, 0.0, 0.0)


def test_counted_share_outside():
    """Clopper and Pearson (1934): 0 of 59 gives at most 1 - 0.025**(1/59); 2 of 20 is tabled as 0.0123 to 0.3170."""
    none = counted_fraction_outside(np.zeros(59), Specification(-1, 1))
    two = counted_fraction_outside([0.0] * 17 + [1.0, 2.0, -3.0], Specification(-1, 1))

    assert none.lower == 0.0
    assert none.upper == pytest.approx(1 - 0.025 ** (1 / 59), rel=1e-9)
    assert (two.below, two.above, two.outside) == (0.05, 0.05, 0.1)  # the reading on the limit is inside
    assert (two.lower, two.upper) == pytest.approx((0.0123, 0.3170), abs=5e-5)


@pytest.mark.parametrize(("stable", "says"), [(True, STABLE), (False, UNSTABLE), (None, UNEXAMINED)])
def test_indices_come_with_what_they_may_be_read_as(stable, says):
    x, limits = with_moments(20, 0.0, 1.0), Specification(-4, 4)

    assert capability(x, limits, stable=stable).statement == says
    assert capability(x, limits, stable=stable).stable is stable
    assert normal_fraction_outside(x, limits, stable=stable).statement == says
    assert counted_fraction_outside(x, limits, stable=stable).statement == says
    assert "no stable process" in UNSTABLE


@pytest.mark.parametrize(
    ("sigma", "step", "decides", "says"),
    [
        (1.0, 0.1, False, "Cpu and Cpk read as without rounding"),
        (1.0, 0.1, False, "Ppu and Ppk read 0.0 % low because"),
        (math.sqrt(1 + 4 / 12), 2.0, True, "Ppu and Ppk read 13.4 % low because"),  # Sheppard: sqrt(4/3) = 1.1547
        (math.sqrt(1 + 4 / 12), 2.0, True, "up to 4 % low or 5 % high"),
        (math.sqrt(1 + 5.5**2 / 12), 5.5, True, "5.5 times sigma"),
        (math.sqrt(1 + 6.5**2 / 12), 6.5, True, "rounding alone could make this spread"),
        (0.0144, 0.05, True, "rounding alone could make this spread"),  # 0.05 / sqrt(12) = 0.01443
    ],
)
def test_the_step_of_the_readings_is_judged(sigma, step, decides, says):
    found = resolution_effect(sigma, step)

    assert found.decides is decides
    assert says in found.statement
    assert f"step by {step:g}" in found.statement
    assert ("ecides" in found.statement) is decides


def test_a_settling_tube_read_in_coarse_divisions_is_told_so():
    x = [0.2, 0.2, 0.25, 0.2, 0.15, 0.2, 0.2, 0.25, 0.2, 0.2, 0.15, 0.2]
    result = capability(x, Specification(0.1, 0.4), resolution=0.05)

    assert result.resolution is not None
    assert result.resolution.decides
    assert result.resolution.step_over_sigma > 1
    assert capability(x, Specification(0.1, 0.4)).resolution is None


def test_two_readings_give_an_answer_as_wide_as_it_must_be():
    result = capability([9.9, 10.1], Specification(8, 12))

    assert result.cpk.value == pytest.approx(result.ppk.value * math.sqrt(2 / math.pi))  # d2 against divisor n - 1
    assert (result.cpk.lower, result.cpk.upper) == pytest.approx((result.ppk.lower, result.ppk.upper), abs=1e-6)
    assert result.ppk.lower < 0.2 < 8 < result.ppk.upper


def test_an_offset_of_a_billion_changes_no_digit():
    x = np.array([0.1, 0.4, 0.2, 0.6, 0.3, 0.3, 0.5])
    near = capability(x, Specification(-1, 2))
    far = capability([1e9 + v for v in (0.1, 0.4, 0.2, 0.6, 0.3, 0.3, 0.5)], Specification(1e9 - 1, 1e9 + 2))

    for a, b in zip(near.indices, far.indices, strict=True):
        assert (a.value, a.lower, a.upper) == pytest.approx((b.value, b.lower, b.upper), rel=1e-6)


@pytest.mark.parametrize(
    ("readings", "says"),
    [
        ([0.2] * 8, "all 8 readings are 0.2"),
        ([0.2], "1 readings given; at least 2"),
        ([0.2, float("nan")], "reading 1 is nan"),
        ([0.2, float("inf")], "reading 1 is inf"),
        (["pass", "fail"], "must be numbers"),
    ],
)
def test_refuses_readings(readings, says):
    with pytest.raises(InputError, match=says):
        capability(readings, Specification(0, 1))


def test_refuses_a_share_outside_of_constant_readings():
    with pytest.raises(InputError, match="all 3 readings are 7"):
        normal_fraction_outside([7.0, 7.0, 7.0], Specification(upper=8))


@pytest.mark.parametrize(
    ("limits", "says"),
    [
        ((None, None), "no specification limit"),
        ((2, 1), "swap them"),
        ((1, 1), "swap them"),
        ((float("nan"), None), "lower specification limit is nan"),
        ((None, float("inf")), "upper specification limit is inf"),
    ],
)
def test_refuses_limits(limits, says):
    with pytest.raises(InputError, match=says):
        Specification(*limits)


@pytest.mark.parametrize("confidence", [0.0, 1.0, 95])
def test_refuses_a_confidence_that_is_none(confidence):
    with pytest.raises(InputError, match=r"95 % as 0\.95"):
        capability([1, 2, 3], Specification(0, 4), confidence=confidence)
    with pytest.raises(InputError, match=r"95 % as 0\.95"):
        normal_fraction_outside([1, 2, 3], Specification(0, 4), confidence=confidence)
    with pytest.raises(InputError, match=r"95 % as 0\.95"):
        counted_fraction_outside([1, 2, 3], Specification(0, 4), confidence=confidence)


READINGS = st.lists(st.integers(-400, 400), min_size=3, max_size=20).filter(lambda x: len(set(x)) > 1)


def numbers(result: Capability) -> list[tuple[float, float, float]]:
    return [(index.value, index.lower, index.upper) for index in result.indices]


@settings(max_examples=40)
@given(READINGS, st.integers(-1000, 1000), st.sampled_from([0.25, 4.0, 100.0]))
def test_a_change_of_unit_changes_no_index(steps, shift, scale):
    x = np.array(steps, float)
    before = numbers(capability(x, Specification(-500, 450)))
    after = numbers(capability(scale * x + shift, Specification(-500 * scale + shift, 450 * scale + shift)))

    assert np.array(after) == pytest.approx(np.array(before), rel=1e-7, abs=1e-9)


@settings(max_examples=30)
@given(READINGS)
def test_a_mirrored_stream_swaps_the_sides(steps):
    x = np.array(steps, float)
    one, other = capability(x, Specification(-500, 450)), capability(-x, Specification(-450, 500))
    assert one.ppl is not None
    assert other.ppu is not None

    assert (other.ppu.value, other.ppu.lower) == pytest.approx((one.ppl.value, one.ppl.lower), rel=1e-9, abs=1e-12)
    assert (other.ppk.value, other.ppk.lower) == pytest.approx((one.ppk.value, one.ppk.lower), rel=1e-7, abs=1e-9)


@settings(max_examples=30)
@given(READINGS, st.randoms(use_true_random=False))
def test_order_matters_to_the_short_term_indices_alone(steps, random):
    mixed = list(steps)
    random.shuffle(mixed)
    one, other = capability(steps, Specification(-500, 450)), capability(mixed, Specification(-500, 450))

    assert (one.pp, one.ppl, one.ppu, one.ppk) == (other.pp, other.ppl, other.ppu, other.ppk)
    assert one.mean == other.mean


@settings(max_examples=40)
@given(READINGS, st.floats(0.5, 0.99))
def test_limits_enclose_and_widen_with_confidence(steps, confidence):
    narrow = capability(steps, Specification(-500, 450), confidence=confidence / 2)
    wide = capability(steps, Specification(-500, 450), confidence=confidence)

    for inner, outer in zip(narrow.indices, wide.indices, strict=True):
        assert outer.lower < inner.lower < inner.upper < outer.upper
    assert wide.confidence == wide.ppk.confidence == confidence
