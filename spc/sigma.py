"""Sigma of a stream: how far its readings scatter while nothing else changes.

NaN stands for a reading that was not taken. A moving range spans no missing reading.
"""

import math
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, as_readings, frozen
from spc.errors import InputError

D2_FOR_PAIRS = 2 / math.sqrt(math.pi)
"""Mean range of two standard normal readings: E|X - Y| where X - Y is normal with variance 2."""

D3_FOR_PAIRS = math.sqrt(2 - D2_FOR_PAIRS**2)
"""Standard deviation of that range: E(X - Y)^2 = 2."""

D4_FOR_PAIRS = 1 + 3 * D3_FOR_PAIRS / D2_FOR_PAIRS
"""Upper three-sigma limit of a range of two, in mean ranges."""

MEDIAN_FOR_PAIRS = math.sqrt(2) * NormalDist().inv_cdf(0.75)
"""Median range of two standard normal readings: |X - Y| is below it as often as above."""


class FlooredSigma(NamedTuple):
    """A sigma that is never less than what rounding alone scatters."""

    value: float
    floored: bool  # whether the floor took the place of the moving ranges' sigma


def mean(x: FloatArray) -> float:
    """Return the mean of at least one reading, the exact one rounded; of equal readings, that reading."""
    return min(max(math.fsum(x.tolist()) / len(x), float(x.min())), float(x.max()))


def moving_ranges(x: ArrayLike) -> FloatArray:
    """Return the absolute differences of successive readings, shape (n - 1,), NaN beside a missing reading."""
    return frozen(np.abs(np.diff(as_readings(x, missing=True))))


def mean_moving_range(x: ArrayLike) -> float:
    """Return the mean moving range of two, in the unit of `x`.

    The sum is exact (rounded once), so it does not depend on the order of summation.

    Raises:
        InputError: no two successive readings.
    """
    return mean(_taken(moving_ranges(x)))


def _taken(ranges: FloatArray) -> FloatArray:
    taken = ranges[~np.isnan(ranges)]
    if len(taken) == 0:
        raise InputError("no two successive readings given; sigma from moving ranges needs at least 2")
    return taken


def sigma_within(x: ArrayLike) -> float:
    """Return the short-term sigma: mean moving range of two over d2, in the unit of `x`.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2.
    """
    return mean_moving_range(x) / D2_FOR_PAIRS


def sigma_from_median_range(x: ArrayLike) -> float:
    """Return the short-term sigma from the median moving range, which a few wild readings do not move.

    Of rounded readings the median range is a whole number of steps: do not use it where the step is near sigma.

    Raises:
        InputError: no two successive readings.

    Source:
        Clifford, P. C. (1959), Control charts without calculations, Industrial Quality Control 15, 40-44; the constant
        is the median of |X - Y|, root 2 times the normal 75 % point.
    """
    return float(np.median(_taken(moving_ranges(x)))) / MEDIAN_FOR_PAIRS


def sigma_overall(x: ArrayLike) -> float:
    """Return the standard deviation of all readings with n - 1, in the unit of `x`: their drifts and steps included.

    Raises:
        InputError: fewer than 2 readings.
    """
    readings = as_readings(x, at_least=2, missing=True)
    taken = readings[~np.isnan(readings)]
    if len(taken) < 2:
        raise InputError(f"{len(taken)} readings given; at least 2 are needed for a standard deviation")
    off = taken - mean(taken)
    left = mean(off)  # what rounding of the mean left over
    return math.sqrt(max(math.fsum(((off - left) ** 2).tolist()) / (len(taken) - 1), 0.0))


def resolution_floor(resolution: float) -> float:
    """Return the standard deviation of the rounding error alone: uniform over one step of `resolution`.

    Source: JCGM 100:2008 (GUM), F.2.2.1.
    """
    if not (math.isfinite(resolution) and resolution > 0):
        raise InputError(f"resolution is {resolution}; give the smallest step a reading can be written in, above 0")
    return resolution / math.sqrt(12)


def sigma_with_floor(x: ArrayLike, resolution: float | None) -> FlooredSigma:
    """Return `sigma_within(x)`, or the floor that `resolution` sets where that is larger."""
    sigma = sigma_within(x)
    floor = 0.0 if resolution is None else resolution_floor(resolution)
    return FlooredSigma(max(sigma, floor), floored=floor > sigma)
