"""What readings leave open of a normal mean and sigma, as a distribution to sum over.

For normal readings, sqrt(n) (mean - mu) / sigma is standard normal and kappa * sigma_hat / sigma follows a chi
distribution, independently. So mu = mean - Z sigma / sqrt(n) and sigma = kappa sigma_hat / chi, with Z and chi drawn
anew, spread out as the readings leave mu and sigma open. Quantiles of what is made of them are confidence limits: exact
for a distance from mu in sigmas (that is the noncentral t), generalised in the sense of Weerahandi (1993) for others.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from spc.arrays import FloatArray, frozen
from spc.errors import InputError
from spc.sigma import D2_FOR_PAIRS

NODES = np.linspace(-8.0, 8.0, 1601)
"""Normal scores of chi at which the spread is summed: the trapezoid rule, exact for smooth bell-shaped sums."""


@dataclass(frozen=True, slots=True)
class SigmaEstimate:
    """An estimate of sigma that scatters as chi with `df` degrees of freedom over `kappa`."""

    value: float
    df: float
    kappa: float
    method: str


def overall_sigma(value: float, n: int) -> SigmaEstimate:
    """Return the standard deviation `value` of n readings with its degrees of freedom: exact for normal readings."""
    return SigmaEstimate(value, n - 1, math.sqrt(n - 1), "standard deviation")


def within_sigma(value: float, n: int) -> SigmaEstimate:
    """Return the sigma `value` from n - 1 moving ranges with its degrees of freedom.

    The mean moving range is not exactly chi; it gets the chi distribution with its mean and variance: exact for n = 2,
    and at n = 12 a tail meant to hold 5 % holds 4.2 % on one side and 5.4 % on the other (simulated).

    Source:
        Patnaik (1950), Biometrika 37, for ranges; the variance of the mean moving range follows from the bivariate
        normal absolute moment E|XY| = 2/pi (sqrt(1 - r^2) + r asin r), r = -1/2 for neighbouring differences.
    """
    df = moving_range_df(n)
    return SigmaEstimate(value, df, chi_mean(df), "mean moving range")


def moving_range_df(n: int) -> float:
    """Return the degrees of freedom of the mean moving range of n readings: about 0.605 (n - 1)."""
    from scipy.optimize import brentq

    if n == 2:
        return 1.0
    d2_squared = D2_FOR_PAIRS**2
    variance = 2 - d2_squared  # of one moving range, sigma 1
    covariance = (4 / math.pi) * (math.sqrt(3) / 2 + math.pi / 12) - d2_squared  # of two that share a reading
    count = n - 1
    target = (variance / count + 2 * (count - 1) * covariance / count**2) / d2_squared
    return float(brentq(lambda df: df / chi_mean(df) ** 2 - 1 - target, 0.5, float(n)))


def chi_mean(df: float) -> float:
    """Return the mean of the chi distribution."""
    return math.sqrt(2) * math.exp(math.lgamma((df + 1) / 2) - math.lgamma(df / 2))


@lru_cache(maxsize=32)
def chi_spread(df: float) -> tuple[FloatArray, FloatArray]:
    """Return values of chi and their weights, which sum to 1."""
    from scipy.special import ndtr
    from scipy.stats import chi2

    chi = np.sqrt(np.where(NODES < 0, chi2.ppf(ndtr(NODES), df), chi2.isf(ndtr(-NODES), df)))
    weights = np.exp(-(NODES**2) / 2)
    return frozen(chi), frozen(weights / weights.sum())


def quantile(share_below: Callable[[float], float], probability: float, low: float, high: float) -> float:
    """Return where the distribution function `share_below` reaches `probability`, at first looking in (low, high)."""
    from scipy.optimize import brentq

    width = high - low
    for _ in range(60):
        if share_below(low) < probability:
            break
        low -= width
        width *= 2
    width = high - low
    for _ in range(60):
        if share_below(high) > probability:
            break
        high += width
        width *= 2
    return float(brentq(lambda value: share_below(value) - probability, low, high, xtol=1e-12 * max(1.0, high - low)))


def check_confidence(confidence: float) -> float:
    """Return `confidence` if it lies between 0 and 1.

    Raises:
        InputError: it does not; 95 % is written 0.95.
    """
    if not 0 < confidence < 1:
        raise InputError(f"confidence is {confidence}; give it between 0 and 1, 95 % as 0.95")
    return confidence
