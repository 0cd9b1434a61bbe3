"""How often rounding alone makes readings repeat a number, or land on round ones.

Readings are multiples of a step. What is said here holds wherever the level lies and however it moves: a chance is the
largest over all levels, given that the noise of each reading is normal and independent of the others.
"""

import math
from functools import lru_cache
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import BoolArray, FloatArray, as_readings, frozen
from spc.coarse.resolution import COARSEST, FINEST, probability_all_equal
from spc.errors import InputError

STEPS = (1, 2, 2.5, 5)
"""Steps people read in, times a power of ten."""

MOST_READINGS = 0.9
"""Share of the readings that must be multiples of a step, for it to be the one they are written in."""

LIKELY = 64
"""Values of the noise that stand for its distribution."""

_SMALLER = 0.9
_END = NormalDist().inv_cdf((1 + _SMALLER) / 2)
_MEAN_OF_SMALLER = 2 * (NormalDist().pdf(0.0) - NormalDist().pdf(_END)) / _SMALLER
"""Mean size of a standard normal among its nine tenths nearest to 0: 0.66."""

_PLACES = 6
_SLACK = 1e-6  # of a step: multiples of it, however the decimal fraction was rounded


def written_step(x: ArrayLike) -> float | None:
    """Return the largest step that nine readings in ten are multiples of, in the unit of `x`; None where none is.

    Args:
        x: readings, shape (n,); NaN for one not taken.

    A few readings in another unit, or written finer than the rest, do not change it.
    """
    readings = as_readings(x, at_least=0, missing=True)
    taken = readings[~np.isnan(readings)]
    size = float(np.abs(taken).max(initial=0.0))
    if size == 0:
        return None
    for power in range(math.floor(math.log10(size)), -_PLACES - 1, -1):
        for step in reversed(STEPS):
            width = step * 10.0**power
            if float(np.mean(on_steps(taken, width))) >= MOST_READINGS:
                return float(f"{width:.9g}")
    return None


def on_steps(x: FloatArray, step: float) -> BoolArray:
    """Return which of `x` are multiples of `step`, shape (n,)."""
    count = x / step
    return np.asarray(np.abs(count - np.rint(count)) <= _SLACK * np.maximum(1.0, np.abs(count)), dtype=np.bool_)


def likely_noise(equal: int, pairs: int) -> FloatArray:
    """Return equally likely standard deviations of the noise, in steps, given how many neighbours are equal.

    Args:
        equal: successive readings that are the same number.
        pairs: successive readings looked at.

    Returns:
        Shape (64,), ascending: the noise at which a share of equal neighbours is expected, for shares spread evenly
        over the distribution that the count leaves them, level anywhere between two steps. From 0.005, where no two
        readings differ, to 30, where hardly any are equal.

    Source:
        Posterior of a binomial share under the prior of Jeffreys, H. (1946), Proceedings of the Royal Society A 186,
        453-461: beta with half a count added to either side.
    """
    from scipy.special import betaincinv

    if not 0 <= equal <= pairs:
        raise InputError(f"{equal} equal of {pairs} pairs; give a count between 0 and the pairs")
    places = (np.arange(LIKELY) + 0.5) / LIKELY
    shares = betaincinv(equal + 0.5, pairs - equal + 0.5, places)[::-1]
    log_noise, expected = _expected_shares()
    return frozen(np.exp(np.interp(-shares, -expected, log_noise)))


@lru_cache(maxsize=1)
def _expected_shares() -> tuple[FloatArray, FloatArray]:
    """Return logarithms of noise, ascending, and the share of equal neighbours that each gives, descending."""
    log_noise = np.linspace(math.log(FINEST), math.log(COARSEST), 200)
    return log_noise, np.array([probability_all_equal(math.exp(each), 2) for each in log_noise])


def noise_by_ranges(x: ArrayLike, step: float) -> float:
    """Return the standard deviation of the noise, in steps, by the smaller nine tenths of the moving ranges.

    A favourite digit or a copied number moves it little, unlike the share of equal neighbours. Below a step or so it
    says nothing.

    Args:
        x: readings in time order, shape (n,), n >= 2; NaN parts those that are no neighbours.
        step: that they are written in.
    """
    ranges = np.abs(np.diff(as_readings(x, missing=True))) / step
    small = np.sort(ranges[~np.isnan(ranges)])
    small = small[: max(1, round(_SMALLER * len(small)))]
    return float(small.mean()) / _MEAN_OF_SMALLER / math.sqrt(2) if len(small) else 0.0


def largest_chance(noise: ArrayLike, apart: int | None = None) -> FloatArray:
    """Return the largest chance that a reading is one given number, or one of numbers `apart` steps from each other.

    Args:
        noise: standard deviations of the noise before rounding, in steps, above 0.
        apart: steps between the numbers: 10 for a last digit, 5 for halves; None for a single number.

    Returns:
        One for each `noise`, at the level that favours the numbers most.
    """
    from scipy.special import ndtr

    sigma = np.asarray(noise, dtype=np.float64)[..., None]
    reach = 0 if apart is None else math.ceil(9 * float(sigma.max()) / apart) + 1
    numbers = np.arange(-reach, reach + 1) * (apart or 1)
    return np.asarray((ndtr((numbers + 0.5) / sigma) - ndtr((numbers - 0.5) / sigma)).sum(axis=-1), dtype=np.float64)


def equal_run_chance(length: int, n: int, noise: ArrayLike) -> float:
    """Return at most how likely a run of at least `length` equal readings stands anywhere among `n`.

    Of all courses of the level, one that rests in the middle of a step favours a run most: the product of normal
    densities is largest where their centres meet.

    Args:
        length: readings in the run, 2 or more.
        n: readings in all.
        noise: equally likely standard deviations of the noise, in steps.
    """
    from scipy.special import ndtr

    sigma = np.asarray(noise, dtype=np.float64)[..., None]
    reach = math.ceil(9 * float(sigma.max())) + 1
    numbers = np.arange(-reach, reach + 1)
    each = ndtr((numbers + 0.5) / sigma) - ndtr((numbers - 0.5) / sigma)
    return min(1.0, max(n - length + 1, 1) * float((each**length).sum(axis=-1).mean()))


def run_chance(length: int, n: int, chance: ArrayLike) -> float:
    """Return at most how likely `length` readings in succession, each of such a chance, stand anywhere among `n`.

    Args:
        length: readings in the run.
        n: readings in all.
        chance: of one reading; equally likely values of it.
    """
    return min(1.0, max(n - length + 1, 1) * float(np.mean(np.asarray(chance, dtype=np.float64) ** length)))


def excess_chance(found: int, n: int, chance: ArrayLike) -> float:
    """Return how likely at least `found` of `n` readings are, each of at most such a chance: a binomial tail.

    Args:
        found: readings of the kind.
        n: readings in all.
        chance: of one reading; equally likely values of it.
    """
    from scipy.special import bdtrc

    if found <= 0:
        return 1.0
    return float(np.mean(bdtrc(found - 1, n, np.minimum(np.asarray(chance, dtype=np.float64), 1.0))))
