"""Probability plot: ordered readings against where a fitted shape expects them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, as_readings, frozen
from spc.capability.distributions import FittedFamily
from spc.errors import InputError
from spc.pivots import check_confidence
from spc.told import Told


@dataclass(frozen=True, slots=True)
class ProbabilityPlot(Told):
    """Ordered readings and what the fitted shape makes of them; every column has shape (n,), read-only."""

    family: str
    n: int
    confidence: float
    readings: FloatArray  # in rising order
    share: FloatArray  # of all readings that is expected below each: its median
    expected: FloatArray  # the reading that the shape has at that share
    lower: FloatArray  # each ordered reading alone lies between these with `confidence`, were the shape exactly so
    upper: FloatArray


def probability_plot(readings: ArrayLike, fitted: FittedFamily, *, confidence: float = 0.95) -> ProbabilityPlot:
    """Return a probability plot of `readings` against a shape fitted to them.

    The i-th of n ordered readings has, in shares of any distribution, the beta distribution of i and n + 1 - i. Its
    limits here take the fitted shape for the true one: as the fit follows the readings, fewer than stated lie outside.

    Args:
        readings: shape (n,), n >= 2.
        fitted: the shape.
        confidence: of the limits of each single reading.

    Raises:
        InputError: too few readings, one missing, or another number than the shape was fitted to.

    Source:
        Filliben, J. J. (1975), The probability plot correlation coefficient test for normality, Technometrics 17,
        111-117 (medians of order statistics); David, H. A. (1981), Order Statistics, section 2.5.
    """
    from scipy.special import betaincinv

    x = np.sort(as_readings(readings, at_least=2))
    check_confidence(confidence)
    n = len(x)
    if n != fitted.n:
        raise InputError(f"{n} readings given for a shape fitted to {fitted.n}; give those it was fitted to")
    rank = np.arange(1, n + 1)
    tail = (1 - confidence) / 2
    shares = [np.asarray(betaincinv(rank, n + 1 - rank, at), np.float64) for at in (tail, 0.5, 1 - tail)]
    lower, expected, upper = (np.asarray(fitted.distribution.ppf(share)).ravel() for share in shares)
    return ProbabilityPlot(
        family=fitted.family.key,
        n=n,
        confidence=confidence,
        readings=frozen(x),
        share=frozen(shares[1]),
        expected=frozen(expected),
        lower=frozen(lower),
        upper=frozen(upper),
    )
