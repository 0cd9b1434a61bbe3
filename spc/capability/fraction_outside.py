"""What share of readings to expect outside the specification limits, with confidence limits.

`normal_fraction_outside` supposes normal readings and looks far into the tail; `counted_fraction_outside` supposes
nothing but independence and cannot see below about 1 in n.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc import decimals
from spc.arrays import FloatArray, as_readings
from spc.capability.indices import Specification, distance_quantile, stability_statement
from spc.errors import InputError
from spc.pivots import check_confidence, chi_spread, overall_sigma
from spc.told import Told

SCORES = (-37.5, 8.2)
"""Normal scores of the smallest and the largest share that a double tells from 0 and 1."""


@dataclass(frozen=True, slots=True)
class FractionOutside(Told):
    """Expected share of readings outside the specification limits, between 0 and 1."""

    method: str
    n: int
    below: float | None  # None without a lower limit
    above: float | None
    outside: float
    lower: float  # confidence limits of `outside`
    upper: float
    confidence: float
    stable: bool | None
    statement: str


def normal_fraction_outside(
    readings: ArrayLike, specification: Specification, *, stable: bool | None = None, confidence: float = 0.95
) -> FractionOutside:
    """Return the share of a normal process outside the limits, from the overall standard deviation.

    The estimate is the plug-in one. With one specification limit the confidence limits are exact (noncentral t, Owen
    1968). With two, the upper is that of the generalised pivot (Weerahandi 1993), and the lower the larger of what
    either side alone proves at half the chance; neither misses more often than stated (tests simulate it).

    Args:
        readings: shape (n,), n >= 2, of a stable stream.
        specification: one or two limits.
        stable: whether the control chart found the stream stable; None if nobody looked.
        confidence: of the two-sided interval.

    Raises:
        InputError: fewer than 2 readings, one missing, or all equal.
    """
    from scipy.special import ndtr

    x = as_readings(readings, at_least=2)
    check_confidence(confidence)
    n, mean, sd = len(x), decimals.mean(x), decimals.standard_deviation(x)
    if sd == 0:
        raise InputError(f"all {n} readings are {x[0]:g}; a spread is needed to look beyond them")
    to_lower = None if specification.lower is None else (mean - specification.lower) / sd
    to_upper = None if specification.upper is None else (specification.upper - mean) / sd
    below = None if to_lower is None else float(ndtr(-to_lower))
    above = None if to_upper is None else float(ndtr(-to_upper))
    both = to_lower is not None and to_upper is not None
    method = "normal, generalised pivot above, noncentral t below" if both else "normal, noncentral t"
    limits = _normal_limits(to_lower, to_upper, n, confidence)
    return fraction_of_sides(method, n, (below, above), limits, stable=stable, confidence=confidence)


def fraction_of_sides(
    method: str,
    n: int,
    sides: tuple[float | None, float | None],
    limits: tuple[float, float],
    *,
    stable: bool | None,
    confidence: float,
) -> FractionOutside:
    """Return the share outside either side, however it was found.

    Args:
        method: how.
        n: readings behind it.
        sides: below the lower and above the upper limit; None without that limit.
        limits: confidence limits of both together.
        stable: whether the control chart found the stream stable; None if nobody looked.
        confidence: of the two-sided interval.
    """
    below, above = sides
    return FractionOutside(
        method=method,
        n=n,
        below=below,
        above=above,
        outside=math.fsum(side for side in sides if side is not None),
        lower=limits[0],
        upper=limits[1],
        confidence=confidence,
        stable=stable,
        statement=stability_statement(stable),
    )


def _normal_limits(to_lower: float | None, to_upper: float | None, n: int, confidence: float) -> tuple[float, float]:
    from scipy.optimize import brentq
    from scipy.special import ndtr

    sigma, tail = overall_sigma(1.0, n), (1 - confidence) / 2
    distances = [distance for distance in (to_lower, to_upper) if distance is not None]

    def side(distance: float, probability: float) -> float:
        return float(ndtr(-3 * distance_quantile(distance / 3, probability, sigma=sigma, n=n)))

    low = max(side(distance, 1 - tail / len(distances)) for distance in distances)
    if to_lower is None or to_upper is None:
        return low, side(distances[0], tail)

    def miss(score: float) -> float:
        return normal_fraction_share_below(float(ndtr(score)), to_lower, to_upper, n) - (1 - tail)

    if miss(SCORES[0]) > 0:
        return low, 0.0
    return low, 1.0 if miss(SCORES[1]) < 0 else float(ndtr(brentq(miss, *SCORES, xtol=1e-12)))


def normal_fraction_share_below(fraction: float, to_lower: float, to_upper: float, n: int) -> float:
    """Return the generalised pivot's distribution function of the fraction outside two limits, at `fraction`.

    For each sigma the level may lie at most so far from the middle of the limits that no more than `fraction` is
    outside; the mean's normal score must fall in between.
    """
    from scipy.special import ndtr

    chi, weights = chi_spread(n - 1)
    half_width = (to_lower + to_upper) / 2 * chi / np.sqrt(n - 1)  # in sigmas, for each sigma the readings allow
    mean = (to_lower - to_upper) / 2 * chi / np.sqrt(n - 1)  # of the readings, from the middle, in the same sigmas
    reach = _reach(half_width, fraction)
    root_n = np.sqrt(n)
    inside = ndtr((mean + reach) * root_n) - ndtr((mean - reach) * root_n)
    return float(np.sum(weights * np.where(reach < 0, 0.0, inside)))


def _reach(half_width: FloatArray, fraction: float) -> FloatArray:
    """Return how far a level may lie from the middle, in sigmas, with at most `fraction` outside; -1 if not at all."""
    from scipy.special import ndtr

    low, high = np.zeros_like(half_width), half_width + 40.0
    for _ in range(60):  # halving: 40 sigmas to the last bit
        middle = (low + high) / 2
        inside_enough = ndtr(middle - half_width) + ndtr(-middle - half_width) <= fraction
        low, high = np.where(inside_enough, middle, low), np.where(inside_enough, high, middle)
    return np.where(2 * ndtr(-half_width) <= fraction, low, -1.0)


def counted_fraction_outside(
    readings: ArrayLike, specification: Specification, *, stable: bool | None = None, confidence: float = 0.95
) -> FractionOutside:
    """Return the share of the readings outside the limits, with exact binomial limits; no shape is supposed.

    A reading on a limit is inside.

    Raises:
        InputError: no readings, or one missing.

    Source:
        Clopper and Pearson (1934), Biometrika 26.
    """
    from scipy.stats import binomtest

    x = as_readings(readings)
    check_confidence(confidence)
    n = len(x)
    below = None if specification.lower is None else int(np.sum(x < specification.lower))
    above = None if specification.upper is None else int(np.sum(x > specification.upper))
    count = (below or 0) + (above or 0)
    interval = binomtest(count, n).proportion_ci(confidence, method="exact")
    sides = (None if below is None else below / n, None if above is None else above / n)
    limits = (float(interval.low), float(interval.high))
    return fraction_of_sides(
        "counted, binomial (Clopper-Pearson)", n, sides, limits, stable=stable, confidence=confidence
    )
