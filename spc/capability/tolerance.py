"""Tolerance intervals: where a stated share of all readings lies, with a stated confidence.

Normal intervals are mean -/+ k s. The one-sided k is exact (noncentral t), the two-sided k exact by integration; Howe's
is kept as the approximation it is, for comparison with other people's tables. Distribution-free intervals run from one
ordered reading to another and suppose only independence.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from spc import decimals
from spc.arrays import FloatArray, as_readings
from spc.errors import InputError
from spc.pivots import check_confidence, chi_spread, quantile
from spc.told import Told

OneSide = Literal["lower", "upper"]


@dataclass(frozen=True, slots=True)
class ToleranceInterval(Told):
    """An interval that holds at least `coverage` of all readings with `confidence`; None where it has no end."""

    method: str
    n: int
    coverage: float
    confidence: float  # asked for
    achieved_confidence: float  # more than asked where the interval can only end at a reading
    lower: float | None
    upper: float | None
    factor: float | None  # k, in standard deviations; None for ordered readings


def one_sided_factor(n: int, coverage: float, confidence: float) -> float:
    """Return k such that mean + k s exceeds `coverage` of a normal with `confidence`: exact.

    k is a quantile of the noncentral t: k = t'(confidence; n - 1, z sqrt n) / sqrt n. It is found by summing over chi,
    which holds for any n and for negative k, where library routines for that distribution give out.

    Source:
        Owen (1968), Technometrics 10; ISO 16269-6.
    """
    from scipy.special import ndtr, ndtri

    _check(n, coverage, confidence)
    chi, weights = chi_spread(n - 1)
    z, root_n = float(ndtri(coverage)), math.sqrt(n)

    def share_below(k: float) -> float:
        return float(np.sum(weights * ndtr(root_n * (k * chi / math.sqrt(n - 1) - z))))

    return quantile(share_below, confidence, z - 1.0, z + 1.0)


def two_sided_factor(n: int, coverage: float, confidence: float) -> float:
    """Return k such that mean -/+ k s holds `coverage` of a normal with `confidence`: exact, by integration.

    Given the mean's distance from mu, u sigmas, the interval needs a half width r with
    Phi(u + r) - Phi(u - r) = coverage; s is at least r sigma / k with a chi-square probability. Summed over u.

    Source:
        Odeh and Owen (1980), Tables for Normal Tolerance Limits; ISO 16269-6, annex on exact two-sided factors.
    """
    from scipy.optimize import brentq
    from scipy.special import gammaincc

    _check(n, coverage, confidence)
    nodes, weights = np.polynomial.legendre.leggauss(160)
    score = 4.5 * (nodes + 1)  # of the mean, from 0 to 9: both sides are alike
    weight = 4.5 * weights * 2 * np.exp(-(score**2) / 2) / math.sqrt(2 * math.pi)
    half_width = _half_width(score / math.sqrt(n), coverage)

    def miss(k: float) -> float:
        return float(weight @ gammaincc((n - 1) / 2, (n - 1) * half_width**2 / k**2 / 2)) - confidence

    low, high = float(half_width[0]) / 10, howe_factor(n, coverage, confidence) * 2
    return float(brentq(miss, low, high, xtol=1e-12))


def _half_width(distance: FloatArray, coverage: float) -> FloatArray:
    """Return the half width that holds `coverage` of a standard normal, centred `distance` away, by halving."""
    from scipy.special import ndtr

    low, high = np.zeros_like(distance), distance + 40.0
    for _ in range(60):
        middle = (low + high) / 2
        enough = ndtr(distance + middle) - ndtr(distance - middle) >= coverage
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    return high


def howe_factor(n: int, coverage: float, confidence: float) -> float:
    """Return Howe's approximate two-sided k, within 2 % of exact from n = 5.

    Source: Howe (1969), JASA 64: z((1 + coverage) / 2) sqrt((n - 1) (1 + 1/n) / chi-square(1 - confidence; n - 1)).
    """
    from scipy.special import ndtri
    from scipy.stats import chi2

    _check(n, coverage, confidence)
    z = float(ndtri((1 + coverage) / 2))
    return z * math.sqrt((n - 1) * (1 + 1 / n) / float(chi2.ppf(1 - confidence, n - 1)))


def normal_interval(readings: ArrayLike, *, coverage: float = 0.95, confidence: float = 0.95) -> ToleranceInterval:
    """Return the two-sided normal tolerance interval, exact factor.

    Args:
        readings: independent readings of a stable stream, shape (n,), n >= 2.
        coverage: share of all readings to hold.
        confidence: that it does.

    Raises:
        InputError: fewer than 2 readings, one missing, or all equal.
    """
    mean, sd, n = _normal_summary(readings)
    k = two_sided_factor(n, coverage, confidence)
    method = "normal, two-sided, exact factor"
    return ToleranceInterval(method, n, coverage, confidence, confidence, mean - k * sd, mean + k * sd, k)


def normal_bound(
    readings: ArrayLike, side: OneSide, *, coverage: float = 0.95, confidence: float = 0.95
) -> ToleranceInterval:
    """Return the one-sided normal tolerance bound, exact factor; arguments and refusals as `normal_interval`."""
    mean, sd, n = _normal_summary(readings)
    k = one_sided_factor(n, coverage, confidence)
    lower, upper = (mean - k * sd, None) if side == "lower" else (None, mean + k * sd)
    return ToleranceInterval(
        f"normal, {side} bound, noncentral t", n, coverage, confidence, confidence, lower, upper, k
    )


def _normal_summary(readings: ArrayLike) -> tuple[float, float, int]:
    x = as_readings(readings, at_least=2)
    sd = decimals.standard_deviation(x)
    if sd == 0:
        raise InputError(f"all {len(x)} readings are {x[0]:g}; they have no spread to make an interval of")
    return decimals.mean(x), sd, len(x)


def ordered_interval(readings: ArrayLike, *, coverage: float = 0.95, confidence: float = 0.95) -> ToleranceInterval:
    """Return the shortest-ranked distribution-free interval: as many readings left outside as confidence allows.

    An odd reading too many to leave out is taken from the side where that shortens the interval more.

    Args:
        readings: independent readings of a stable stream, shape (n,).
        coverage: share of all readings to hold.
        confidence: that it does, at least.

    Raises:
        InputError: too few readings (the message says how many are needed), or one missing.

    Source:
        Wilks (1941), Annals of Mathematical Statistics 12; ISO 16269-6, distribution-free intervals.
    """
    x = np.sort(as_readings(readings))
    n = len(x)
    out = _left_out(n, coverage, confidence, ends=2)
    first, last = out // 2, n - 1 - out // 2
    if out % 2:
        if x[first + 1] - x[first] >= x[last] - x[last - 1]:
            first += 1
        else:
            last -= 1
    return ToleranceInterval(
        "distribution-free, ordered readings",
        n,
        coverage,
        confidence,
        _ordered_confidence(n, coverage, out + 2),
        float(x[first]),
        float(x[last]),
        None,
    )


def ordered_bound(
    readings: ArrayLike, side: OneSide, *, coverage: float = 0.95, confidence: float = 0.95
) -> ToleranceInterval:
    """Return the distribution-free bound on one side; arguments and refusals as `ordered_interval`."""
    x = np.sort(as_readings(readings))
    n = len(x)
    out = _left_out(n, coverage, confidence, ends=1)
    lower, upper = (float(x[out]), None) if side == "lower" else (None, float(x[n - 1 - out]))
    return ToleranceInterval(
        f"distribution-free, {side} bound",
        n,
        coverage,
        confidence,
        _ordered_confidence(n, coverage, out + 1),
        lower,
        upper,
        None,
    )


def readings_needed(coverage: float, confidence: float, *, ends: int) -> int:
    """Return how many readings a distribution-free interval (ends=2) or bound (ends=1) needs at least."""
    _check(2, coverage, confidence)
    n = ends
    while _ordered_confidence(n, coverage, ends) < confidence:
        n += max(1, n // 1000)
    while n > ends and _ordered_confidence(n - 1, coverage, ends) >= confidence:
        n -= 1
    return n


def _ordered_confidence(n: int, coverage: float, blocks: int) -> float:
    """Return the probability that n readings less `blocks` blocks between ordered readings hold `coverage`.

    The share between two ordered readings is beta distributed.
    """
    from scipy.special import betaincc

    return float(betaincc(n - blocks + 1, blocks, coverage))


def _left_out(n: int, coverage: float, confidence: float, *, ends: int) -> int:
    """Return how many readings may lie outside, by halving."""
    _check(n, coverage, confidence)
    if n < ends or _ordered_confidence(n, coverage, ends) < confidence:
        needed = readings_needed(coverage, confidence, ends=ends)
        raise InputError(
            f"{n} readings are too few to hold {coverage:g} of all readings with confidence {confidence:g} whatever "
            f"their shape; {needed} are needed"
        )
    low, high = 0, n - ends + 1
    while high - low > 1:
        middle = (low + high) // 2
        enough = _ordered_confidence(n, coverage, middle + ends) >= confidence
        low, high = (middle, high) if enough else (low, middle)
    return low


def _check(n: int, coverage: float, confidence: float) -> None:
    check_confidence(confidence)
    if not 0 < coverage < 1:
        raise InputError(f"coverage is {coverage}; give it between 0 and 1, 99 % as 0.99")
    if n < 2:
        raise InputError(f"{n} readings given; at least 2 are needed")
