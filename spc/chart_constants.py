"""Constants of control charts for groups of n readings, computed, not copied."""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from spc.arrays import FloatArray
from spc.errors import InputError
from spc.told import Told

LARGEST = 25


@dataclass(frozen=True, slots=True)
class ChartConstants(Told):
    """What the ranges and standard deviations of n normal readings are on average, and the chart factors from it."""

    n: int
    d2: float  # mean range, in sigmas
    d3: float  # standard deviation of the range, in sigmas
    d4: float  # median range, in sigmas
    c4: float  # mean sample standard deviation, in sigmas

    @property
    def c5(self) -> float:
        """Standard deviation of the sample standard deviation, in sigmas."""
        return math.sqrt(1 - self.c4**2)

    @property
    def mean_from_range(self) -> float:
        """A2: three-sigma limits of a mean, in mean ranges."""
        return 3 / (self.d2 * math.sqrt(self.n))

    @property
    def mean_from_deviation(self) -> float:
        """A3: three-sigma limits of a mean, in mean standard deviations."""
        return 3 / (self.c4 * math.sqrt(self.n))

    @property
    def single_from_range(self) -> float:
        """E2: three-sigma limits of a single reading, in mean ranges."""
        return 3 / self.d2

    @property
    def range_limits(self) -> tuple[float, float]:
        """D3 and D4: three-sigma limits of a range, in mean ranges."""
        return max(0.0, 1 - 3 * self.d3 / self.d2), 1 + 3 * self.d3 / self.d2

    @property
    def range_limits_from_sigma(self) -> tuple[float, float]:
        """D1 and D2: three-sigma limits of a range, in sigmas."""
        return max(0.0, self.d2 - 3 * self.d3), self.d2 + 3 * self.d3

    @property
    def deviation_limits(self) -> tuple[float, float]:
        """B3 and B4: three-sigma limits of a standard deviation, in mean standard deviations."""
        return max(0.0, 1 - 3 * self.c5 / self.c4), 1 + 3 * self.c5 / self.c4


@cache
def chart_constants(n: int) -> ChartConstants:
    """Return the constants for groups of `n` readings, n from 2 to 25, to at least 10 digits.

    Raises:
        InputError: n outside that.

    Source:
        Tippett, L. H. C. (1925), On the extreme individuals and the range of samples taken from a normal population,
        Biometrika 17, 364-387: the mean range is the integral of 1 - F^n - (1 - F)^n, its square the double integral of
        1 - F(y)^n - (1 - F(x))^n + (F(y) - F(x))^n over x < y, twice. The distribution of the range is that of Hartley,
        H. O. (1942), The range in random samples, Biometrika 32, 334-348.
    """
    if not 2 <= n <= LARGEST:
        raise InputError(f"groups of {n} readings have no constants here; take 2 to {LARGEST}")
    return ChartConstants(n=n, d2=_mean_range(n), d3=_range_deviation(n), d4=_median_range(n), c4=c4(n))


def c4(n: float) -> float:
    """Return the mean sample standard deviation of `n` normal readings, in sigmas."""
    return math.sqrt(2 / (n - 1)) * math.exp(math.lgamma(n / 2) - math.lgamma((n - 1) / 2))


def _mean_range(n: int) -> float:
    from scipy.special import ndtr

    x, weight = _nodes()
    below = ndtr(x)
    return float(np.sum(weight * (1 - below**n - ndtr(-x) ** n)))


def _range_deviation(n: int) -> float:
    from scipy.special import ndtr

    x, weight = _nodes()
    span = (8.5 - x)[:, None]  # y runs from x to 8.5 on nodes of its own
    y = x[:, None] + span * (x[None, :] + 8.5) / 17
    between = np.clip(ndtr(y) - ndtr(x)[:, None], 0.0, 1.0)
    inner = 1 - ndtr(y) ** n - ndtr(-x)[:, None] ** n + between**n
    square = 2 * float(np.sum(weight[:, None] * weight[None, :] * span / 17 * inner))
    return math.sqrt(square - _mean_range(n) ** 2)


def _median_range(n: int) -> float:
    from scipy.optimize import brentq
    from scipy.special import ndtr

    x, weight = _nodes()
    density = np.exp(-x * x / 2) / math.sqrt(2 * math.pi)

    def below(width: float) -> float:
        """Return the probability of a range below `width`, less one half."""
        return float(np.sum(weight * n * density * (ndtr(x + width) - ndtr(x)) ** (n - 1))) - 0.5

    return float(brentq(below, 0.1, 8.0, xtol=1e-14))


@cache
def _nodes() -> tuple[FloatArray, FloatArray]:
    """Return Gauss-Legendre nodes and weights on -8.5 to 8.5, beyond which a normal reading lies once in 10^17."""
    x, weight = np.polynomial.legendre.leggauss(200)
    return 8.5 * x, 8.5 * weight
