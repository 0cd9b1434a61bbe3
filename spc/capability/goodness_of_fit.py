"""Whether readings contradict a fitted shape: Anderson and Darling's distance, judged by parametric bootstrap."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, as_readings
from spc.capability.distributions import Distribution, FittedFamily
from spc.decimals import LARGEST
from spc.errors import InputError
from spc.told import Told


@dataclass(frozen=True, slots=True)
class GoodnessOfFit(Told):
    """Anderson and Darling's distance between readings and a fitted family."""

    family: str
    n: int
    statistic: float
    p_value: float
    resamples: int
    method: str


def anderson_darling(x: FloatArray, distribution: Distribution) -> FloatArray:
    """Return Anderson and Darling's A squared of each row of `x`, shape (m, n), shape (m,).

    Source: Anderson and Darling (1954), JASA 49; D'Agostino and Stephens (1986), Goodness-of-Fit Techniques, chapter 4.
    """
    ordered = np.sort(x, axis=1)
    n = ordered.shape[1]
    log_below = np.log(np.maximum(distribution.cdf(ordered), 1e-300))
    log_above = np.log(np.maximum(distribution.sf(ordered), 1e-300))
    weights = 2 * np.arange(1, n + 1) - 1
    return np.asarray(-n - ((log_below + log_above[:, ::-1]) @ weights) / n)


def draw(
    fitted: FittedFamily, count: int, generator: np.random.Generator, resolution: float | None = None
) -> FloatArray:
    """Return `count` samples from a fitted family, shape (count, n), rounded as the readings were.

    A draw that would round to 0 where the family takes only readings above 0 is kept at half a step.
    """
    samples = fitted.distribution.ppf(generator.random((count, fitted.n)))
    if fitted.family.lowest == 0:
        samples = np.clip(samples, 1 / LARGEST, LARGEST)
    if resolution is None:
        return samples
    rounded = np.round(samples / resolution) * resolution
    if fitted.family.lowest == 0 and not fitted.family.reached:
        rounded = np.maximum(rounded, resolution / 2)
    return np.asarray(rounded)


def goodness_of_fit(
    readings: ArrayLike,
    fitted: FittedFamily,
    *,
    generator: np.random.Generator,
    resamples: int = 999,
    resolution: float | None = None,
) -> GoodnessOfFit:
    """Return how often readings drawn from the fitted family lie as far from their own fit as these do.

    Published tables are for one family and unrounded readings; drawing, rounding and fitting anew does for all.

    Args:
        readings: the readings `fitted` was fitted to.
        fitted: the family.
        generator: random numbers.
        resamples: draws; the p value is a multiple of 1 / (resamples + 1).
        resolution: step of the readings; without it, equal readings count against every continuous shape.

    Source:
        Stute, Gonzalez-Manteiga and Presedo-Quindimil (1993), Metrika 40: bootstrap with estimated parameters.
    """
    x = as_readings(readings, at_least=4)
    if resamples < 19:
        raise InputError(f"{resamples} resamples cannot tell a p value of 0.05; use at least 19")
    statistic = float(anderson_darling(x[None, :], fitted.distribution)[0])
    samples = usable(draw(fitted, resamples, generator, resolution))
    drawn = anderson_darling(samples, fitted.family.distribution(fitted.family.fit(samples)))
    as_far = int(np.sum(drawn >= statistic)) + resamples - len(samples)
    return GoodnessOfFit(
        family=fitted.family.key,
        n=len(x),
        statistic=statistic,
        p_value=(1 + as_far) / (resamples + 1),
        resamples=resamples,
        method="Anderson-Darling, parametric bootstrap",
    )


def usable(samples: FloatArray) -> FloatArray:
    """Return the samples that have any spread: coarse rounding can leave a row of equal readings."""
    return np.asarray(samples[np.ptp(samples, axis=1) > 0])
