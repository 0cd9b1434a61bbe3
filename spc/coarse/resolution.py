"""What reading in coarse steps does to sigma, and so to every index and study built on it.

A reading is the nearest multiple of one step. The scatter of rounded readings is that of the true values plus the
rounding error. Where the step is small against sigma, the rounding error adds step**2 / 12 to the variance (Sheppard
1898) and leaves the mean moving range unbiased. Where the step is larger than sigma, neither holds for one stream: it
depends on where its level lies between two steps.
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from spc.arrays import FloatArray, frozen
from spc.errors import InputError
from spc.sigma import D2_FOR_PAIRS, resolution_floor
from spc.told import Told

OFFSETS = 33
"""Levels tried between two steps: from on a step to halfway to the next; the rest mirrors these."""

FINE = 0.05
"""Steps, in sigmas, below which Sheppard's correction is exact to the last digit and no sum is needed."""

FINEST, COARSEST = 0.005, 3.0
"""Sigmas, in steps, between which equal repeats can tell sigma: beyond three steps the step no longer matters."""


@dataclass(frozen=True, slots=True)
class RoundingEffect(Told):
    """What rounding does to normal readings, as factors on sigma; low and high over where the level lies."""

    step_over_sigma: float
    within_low: float  # sigma from moving ranges, rounded over true
    within_mean: float
    within_high: float
    overall_low: float  # standard deviation, rounded over true
    overall_mean: float
    overall_high: float
    sheppard: float  # the standard deviation's factor by Sheppard's correction
    equal_pairs: float  # share of successive readings that are equal


def rounding_effect(step_over_sigma: float) -> RoundingEffect:
    """Return what rounding to steps of `step_over_sigma` sigmas does, by exact sums over the steps.

    Raises:
        InputError: not above 0, or above 50 (no reading would ever differ from its neighbour).
    """
    if not 0 < step_over_sigma <= 50:
        raise InputError(f"the step is {step_over_sigma} sigmas; it must lie above 0 and be at most 50")
    sheppard = math.sqrt(1 + step_over_sigma**2 / 12)
    if step_over_sigma < FINE:
        equal_pairs = step_over_sigma / (2 * math.sqrt(math.pi))
        return RoundingEffect(step_over_sigma, 1.0, 1.0, 1.0, sheppard, sheppard, sheppard, sheppard, equal_pairs)
    ranges, variances, equal = np.array(
        [_rounded(step_over_sigma, offset) for offset in np.linspace(0.0, 0.5, OFFSETS)]
    ).T
    within, overall = ranges / D2_FOR_PAIRS, np.sqrt(variances)
    return RoundingEffect(
        step_over_sigma=step_over_sigma,
        within_low=float(within.min()),
        within_mean=_average(within),
        within_high=float(within.max()),
        overall_low=float(overall.min()),
        overall_mean=_average(overall),
        overall_high=float(overall.max()),
        sheppard=sheppard,
        equal_pairs=_average(equal),
    )


def _rounded(h: float, offset: float) -> tuple[float, float, float]:
    """Return E|X - Y|, the variance and P(X = Y) of standard normals rounded to steps of h, level at offset * h."""
    from scipy.special import ndtr

    reach = math.ceil(9 / h) + 2
    steps = np.arange(-reach, reach + 1)
    below = ndtr((steps + 0.5 - offset) * h)
    share = np.diff(below, prepend=0.0)
    centred = (steps - offset) * h
    mean = float(share @ centred)
    pairs = 2 * h * float(below @ (1 - below))  # E|X - Y| = 2 h sum F (1 - F)
    return pairs, float(share @ centred**2) - mean**2, float(share @ share)


def _average(values: FloatArray) -> float:
    """Mean over levels spread evenly between two steps: the trapezoid rule, exact for so smooth a period."""
    return float((values.sum() - (values[0] + values[-1]) / 2) / (len(values) - 1))


def sigma_without_rounding(sigma: float, step: float) -> float:
    """Return the standard deviation with the rounding error taken out; 0 where rounding alone explains it.

    Source: Sheppard (1898); valid while `step` is at most about 2 sigma.
    """
    return math.sqrt(max(0.0, sigma**2 - resolution_floor(step) ** 2))


def probability_all_equal(sigma_over_step: float, repeats: int) -> float:
    """Return how often `repeats` readings of one thing are all the same, its level anywhere between two steps.

    Args:
        sigma_over_step: repeatability sigma, in steps, above 0.
        repeats: 2 or more.
    """
    from scipy.special import ndtr

    reach = math.ceil(9 * sigma_over_step) + 2
    steps = np.arange(-reach, reach + 1)
    level, weights = _levels()
    share = ndtr((steps + 0.5 - level) / sigma_over_step) - ndtr((steps - 0.5 - level) / sigma_over_step)
    return float(weights @ (share**repeats).sum(axis=1))


@cache
def _levels() -> tuple[FloatArray, FloatArray]:
    """Return Gauss-Legendre levels from 0 to half a step, shape (64, 1), and their weights; the rest mirrors these."""
    nodes, weights = np.polynomial.legendre.leggauss(64)
    return frozen((nodes[:, None] + 1) / 4), frozen(weights / 2)


def sigma_from_equal_repeats(share: float, repeats: int) -> float:
    """Return the sigma, in steps, at which `share` of the repeats come out all equal: 0 for all, infinite for none."""
    from scipy.optimize import brentq

    if share >= probability_all_equal(FINEST, repeats):
        return 0.0
    if share <= probability_all_equal(COARSEST, repeats):
        return math.inf
    log_sigma = brentq(
        lambda u: probability_all_equal(math.exp(u), repeats) - share, math.log(FINEST), math.log(COARSEST)
    )
    return math.exp(log_sigma)
