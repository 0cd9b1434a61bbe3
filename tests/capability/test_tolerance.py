import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.capability.tolerance import (
    howe_factor,
    normal_bound,
    normal_interval,
    one_sided_factor,
    ordered_bound,
    ordered_interval,
    readings_needed,
    two_sided_factor,
)
from spc.errors import InputError

# Factors for n, coverage, confidence: one-sided exact, two-sided exact, two-sided by Howe. Recomputed independently
# (noncentral t; 80-point Gauss-Legendre); the published ones are ISO 16269-6 and Odeh and Owen (1980): n = 10, 0.95,
# 0.95: 2.911 and 3.393 (from memory). Old tables print 3.379 for the latter: an approximation, not the exact value.
FACTORS = {
    (2, 0.90, 0.95): (20.581468, 31.092226, 32.126129),
    (2, 0.95, 0.95): (26.259674, 36.519215, 38.280644),
    (2, 0.99, 0.95): (37.093581, 46.944403, 50.309294),
    (2, 0.95, 0.99): (131.426288, 182.720098, 191.523651),
    (2, 0.99, 0.99): (185.616959, 234.877460, 251.704744),
    (2, 0.90, 0.90): (10.252714, 15.512326, 16.031390),
    (3, 0.90, 0.95): (6.155281, 8.305945, 8.386221),
    (3, 0.95, 0.95): (7.655900, 9.788752, 9.992799),
    (3, 0.99, 0.95): (10.552730, 12.647106, 13.132764),
    (3, 0.95, 0.99): (17.370196, 22.130773, 22.574969),
    (3, 0.99, 0.99): (23.895563, 28.585695, 29.668539),
    (3, 0.90, 0.90): (4.258165, 5.788074, 5.851372),
    (4, 0.90, 0.95): (4.161933, 5.368071, 5.369902),
    (4, 0.95, 0.95): (5.143875, 6.341083, 6.398633),
    (4, 0.99, 0.95): (7.042363, 8.220655, 8.409230),
    (4, 0.95, 0.99): (9.083451, 11.117799, 11.200377),
    (4, 0.99, 0.99): (12.387284, 14.405355, 14.719790),
    (4, 0.90, 0.90): (3.187844, 4.157084, 4.166749),
    (5, 0.90, 0.95): (3.406633, 4.290604, 4.274622),
    (5, 0.95, 0.95): (4.202681, 5.076875, 5.093526),
    (5, 0.99, 0.95): (5.741085, 6.597977, 6.694028),
    (5, 0.95, 0.99): (6.578337, 7.869731, 7.877900),
    (5, 0.99, 0.99): (8.939025, 10.220090, 10.353315),
    (5, 0.90, 0.90): (2.742348, 3.499263, 3.494250),
    (6, 0.90, 0.95): (3.006257, 3.732570, 3.711869),
    (6, 0.95, 0.95): (3.707684, 4.422150, 4.422964),
    (6, 0.99, 0.95): (5.061989, 5.757747, 5.812761),
    (6, 0.95, 0.99): (5.405545, 6.373474, 6.358209),
    (6, 0.99, 0.99): (7.334566, 8.291530, 8.356103),
    (6, 0.90, 0.90): (2.493690, 3.140579, 3.130626),
    (8, 0.90, 0.95): (2.581909, 3.156033, 3.135364),
    (8, 0.95, 0.95): (3.187294, 3.745507, 3.736017),
    (8, 0.99, 0.95): (4.353856, 4.889222, 4.909959),
    (8, 0.95, 0.99): (4.285252, 4.967665, 4.941176),
    (8, 0.99, 0.99): (5.811798, 6.479007, 6.493806),
    (8, 0.90, 0.90): (2.218594, 2.754144, 2.742338),
    (10, 0.90, 0.95): (2.354640, 2.856311, 2.838191),
    (10, 0.95, 0.95): (2.910963, 3.393429, 3.381913),
    (10, 0.99, 0.95): (3.981118, 4.436909, 4.444588),
    (10, 0.95, 0.99): (3.738315, 4.294172, 4.267866),
    (10, 0.99, 0.99): (5.073725, 5.610168, 5.608927),
    (10, 0.90, 0.90): (2.065668, 2.545942, 2.534969),
    (15, 0.90, 0.95): (2.068372, 2.492193, 2.479717),
    (15, 0.95, 0.95): (2.566000, 2.964941, 2.954765),
    (15, 0.99, 0.95): (3.520127, 3.885281, 3.883219),
    (15, 0.95, 0.99): (3.102372, 3.528546, 3.508437),
    (15, 0.99, 0.99): (4.222364, 4.621173, 4.610868),
    (15, 0.90, 0.90): (1.866841, 2.285476, 2.277456),
    (20, 0.90, 0.95): (1.925991, 2.318791, 2.309790),
    (20, 0.95, 0.95): (2.396002, 2.760346, 2.752285),
    (20, 0.99, 0.95): (3.295157, 3.620986, 3.617115),
    (20, 0.95, 0.99): (2.807866, 3.183781, 3.168689),
    (20, 0.99, 0.99): (3.831558, 4.174746, 4.164363),
    (20, 0.90, 0.90): (1.765206, 2.158328, 2.152379),
    (25, 0.90, 0.95): (1.838100, 2.215085, 2.208256),
    (25, 0.95, 0.95): (2.291675, 2.637740, 2.631299),
    (25, 0.99, 0.95): (3.157955, 3.462149, 3.458113),
    (25, 0.95, 0.99): (2.633166, 2.983549, 2.971859),
    (25, 0.99, 0.99): (3.601088, 3.914893, 3.905685),
    (25, 0.90, 0.90): (1.701524, 2.081285, 2.076691),
    (30, 0.90, 0.95): (1.777329, 2.145111, 2.139721),
    (30, 0.95, 0.95): (2.219838, 2.554893, 2.549635),
    (30, 0.99, 0.95): (3.063901, 3.354576, 3.350789),
    (30, 0.95, 0.99): (2.515486, 2.850930, 2.841591),
    (30, 0.99, 0.99): (3.446506, 3.742463, 3.734483),
    (30, 0.90, 0.90): (1.657065, 2.028871, 2.025200),
    (50, 0.90, 0.95): (1.645565, 1.999000, 1.996326),
    (50, 0.95, 0.95): (2.064993, 2.381560, 2.378769),
    (50, 0.99, 0.95): (2.862449, 3.128769, 3.126233),
    (50, 0.95, 0.99): (2.268898, 2.580401, 2.575681),
    (50, 0.99, 0.99): (3.124607, 3.389722, 3.385019),
    (50, 0.90, 0.90): (1.559468, 1.918311, 1.916435),
    (100, 0.90, 0.95): (1.526749, 1.874808, 1.873827),
    (100, 0.95, 0.95): (1.926539, 2.233882, 2.232803),
    (100, 0.99, 0.95): (2.683958, 2.935549, 2.934400),
    (100, 0.95, 0.99): (2.056286, 2.357216, 2.355481),
    (100, 0.99, 0.99): (2.849648, 3.097570, 3.095626),
    (100, 0.90, 0.90): (1.470062, 1.823186, 1.822477),
}


@pytest.mark.parametrize(("case", "expected"), FACTORS.items())
def test_normal_factors(case, expected):
    factors = (one_sided_factor(*case), two_sided_factor(*case), howe_factor(*case))

    assert factors == pytest.approx(expected, abs=6e-7)


def test_one_sided_factor_agrees_with_the_noncentral_t_of_a_library():
    from scipy.stats import nct, norm

    for n, coverage, confidence in ((7, 0.9, 0.8), (40, 0.999, 0.95), (12, 0.6, 0.3)):
        expected = nct.ppf(confidence, n - 1, norm.ppf(coverage) * math.sqrt(n)) / math.sqrt(n)

        assert one_sided_factor(n, coverage, confidence) == pytest.approx(expected, rel=1e-8)


def test_two_sided_factor_holds_its_confidence_by_simulation():
    """200,000 draws: standard error of a 90 % confidence 0.0007."""
    from scipy.special import ndtr

    rng = np.random.default_rng(5)
    n, k = 6, two_sided_factor(6, 0.8, 0.9)
    mean = rng.normal(size=200_000) / math.sqrt(n)
    s = np.sqrt(rng.chisquare(n - 1, 200_000) / (n - 1))
    held = ndtr(mean + k * s) - ndtr(mean - k * s) >= 0.8

    assert held.mean() == pytest.approx(0.9, abs=0.0025)


def test_factors_approach_the_normal_quantile():
    assert one_sided_factor(1_000_000, 0.975, 0.5) == pytest.approx(1.959964, abs=1e-4)
    assert two_sided_factor(1_000_000, 0.95, 0.5) == pytest.approx(1.959964, abs=1e-4)


# Wilks (1941), printed in many handbooks (from memory): fewest readings for 95/95, 99/95 and 90/90.
@pytest.mark.parametrize(
    ("coverage", "confidence", "ends", "n"),
    [(0.95, 0.95, 2, 93), (0.95, 0.95, 1, 59), (0.99, 0.95, 1, 299), (0.99, 0.95, 2, 473), (0.9, 0.9, 1, 22),
     (0.9, 0.9, 2, 38), (0.9, 0.95, 2, 46)],
)  # fmt: skip
def test_readings_needed(coverage, confidence, ends, n):
    assert readings_needed(coverage, confidence, ends=ends) == n


def test_readings_needed_one_sided_closed_form():
    """One end: the largest reading exceeds the coverage with probability 1 - coverage**n."""
    for coverage in (0.8, 0.97, 0.9999):
        n = readings_needed(coverage, 0.95, ends=1)

        assert 1 - coverage**n >= 0.95 > 1 - coverage ** (n - 1)


def test_ordered_interval_counts_readings_outside():
    """Fewest-needed sizes leave none outside; 93 readings end at the extremes, 59 at the largest."""
    x = np.random.default_rng(2).permutation(93.0 * np.arange(93))
    interval = ordered_interval(x)

    assert (interval.lower, interval.upper) == (0.0, 93.0 * 92)
    assert 0.95 <= interval.achieved_confidence < 0.951
    assert ordered_bound(x[:59], "upper").upper == x[:59].max()
    assert ordered_bound(x[:59], "lower").lower == x[:59].min()


def test_ordered_interval_by_counting_in_simulation():
    """4,000 uniform samples of 120: the coverage of the interval is its length; standard error 0.005."""
    rng = np.random.default_rng(3)
    held = []
    for _ in range(4000):
        interval = ordered_interval(rng.random(120), coverage=0.9, confidence=0.9)
        assert interval.lower is not None
        assert interval.upper is not None
        held.append(interval.upper - interval.lower >= 0.9)

    assert np.mean(held) == pytest.approx(interval.achieved_confidence, abs=0.02)
    assert np.mean(held) >= 0.88  # choosing the shorter side costs a little at most


@pytest.mark.parametrize("side", ["lower", "upper"])
def test_an_odd_reading_is_left_out_where_it_shortens_most(side):
    x = np.arange(200.0)
    x[0 if side == "lower" else -1] += -500 if side == "lower" else 500
    interval = ordered_interval(x, coverage=0.97, confidence=0.9)

    ends = (interval.lower, interval.upper)
    assert ends == ((1.0, 199.0) if side == "lower" else (0.0, 198.0))


def test_normal_intervals_of_ten_readings():
    """0 to 9: mean 4.5, s = 3.0276504; factors 2.910963 and 3.393429 from the table above."""
    x = np.arange(10.0)
    both, lower, upper = normal_interval(x), normal_bound(x, "lower"), normal_bound(x, "upper")

    assert (both.lower, both.upper) == pytest.approx((4.5 - 10.274117, 4.5 + 10.274117), abs=1e-5)
    assert lower.lower == pytest.approx(4.5 - 8.813378, abs=1e-5)
    assert upper.upper == pytest.approx(4.5 + 8.813378, abs=1e-5)
    assert lower.upper is upper.lower is None
    assert (both.n, both.coverage, both.confidence) == (10, 0.95, 0.95)


def test_refusals_say_what_is_needed():
    with pytest.raises(InputError, match="93 are needed"):
        ordered_interval(np.arange(92.0))
    with pytest.raises(InputError, match="59 are needed"):
        ordered_bound(np.arange(58.0), "lower")
    with pytest.raises(InputError, match="no spread"):
        normal_interval([3.0, 3.0, 3.0])
    with pytest.raises(InputError, match="coverage is 95"):
        normal_interval([3.0, 4.0], coverage=95)
    with pytest.raises(InputError, match="confidence is 95"):
        normal_bound([3.0, 4.0], "upper", confidence=95)
    with pytest.raises(InputError, match="reading 1 is nan"):
        normal_interval([3.0, float("nan")])
    with pytest.raises(InputError, match="at least 2"):
        two_sided_factor(1, 0.9, 0.9)


READINGS = st.lists(st.integers(-500, 500), min_size=3, max_size=25).filter(lambda x: len(set(x)) > 1)


@settings(max_examples=30)
@given(READINGS, st.integers(-1000, 1000), st.sampled_from([0.5, 2.0, 10.0]))
def test_intervals_follow_a_change_of_unit(steps, shift, scale):
    x = np.array(steps, float)
    before, after = normal_interval(x), normal_interval(scale * x + shift)
    assert before.lower is not None
    assert after.lower is not None

    assert after.lower == pytest.approx(scale * before.lower + shift, abs=1e-6 * scale)
    assert after.factor == before.factor


@settings(max_examples=30)
@given(READINGS, st.randoms(use_true_random=False))
def test_the_order_of_readings_does_not_matter(steps, random):
    x = [float(v) for v in steps]
    mixed = list(x)
    random.shuffle(mixed)

    assert normal_interval(mixed) == normal_interval(x)
    assert ordered_interval(mixed, coverage=0.2, confidence=0.5) == ordered_interval(x, coverage=0.2, confidence=0.5)


@settings(max_examples=30)
@given(st.integers(2, 60), st.floats(0.05, 0.99), st.floats(0.05, 0.99))
def test_more_coverage_or_confidence_widens(n, coverage, confidence):
    k = two_sided_factor(n, coverage, confidence)

    assert two_sided_factor(n, (1 + coverage) / 2, confidence) > k
    assert two_sided_factor(n, coverage, (1 + confidence) / 2) > k
    assert normal_bound([0.0, 1.0, 2.0], "lower").upper is None
