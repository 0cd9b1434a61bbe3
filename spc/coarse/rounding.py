"""A sigma that allows for readings coarser than their scatter. What rounding does to others: `coarse/resolution`."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import as_readings
from spc.coarse.censored import NormalFit, fit_normal, intervals
from spc.sigma import D2_FOR_PAIRS, D3_FOR_PAIRS, resolution_floor
from spc.told import Told

FEWEST_RANGES = 4
"""Moving ranges that must be possible within their limit: with fewer, a chart shows the steps, not the process."""

COARSEST = (D2_FOR_PAIRS + 3 * D3_FOR_PAIRS) / (FEWEST_RANGES - 1)
"""Largest resolution, in sigmas, at which the ranges of 0, 1, 2 and 3 steps lie within the moving-range limit: 1.23."""


@dataclass(frozen=True, slots=True)
class CoarseReadings:
    """Warning: the resolution decides the answer, not the process."""

    resolution: float  # in the stream's unit
    in_sigmas: float  # resolution over sigma; inf where sigma came out as 0
    levels: int  # different numbers written

    def __str__(self) -> str:
        seen = "a single number" if self.levels == 1 else f"{self.levels} different numbers"
        if math.isinf(self.in_sigmas):
            return (
                f"read in steps of {self.resolution:g}, and only {seen} written: the scatter is smaller than the step "
                "shows. Read finer, or do not judge the scatter from this."
            )
        return (
            f"read in steps of {self.resolution:g}, {self.in_sigmas:.1f} sigmas wide, {seen} written: the step decides "
            "what the chart shows. Read finer where the tube or meter allows it."
        )


@dataclass(frozen=True, slots=True)
class RoundedSigma(Told):
    """Sigma of readings before they were rounded, and of the readings as written."""

    sigma: float  # before rounding; never below the floor where one value explains every reading
    as_written: float  # with the rounding error: what the written readings scatter
    lower: float  # ends of the 95 % interval of the sigma before rounding
    upper: float
    centre: float
    n: int
    warning: CoarseReadings | None
    fit: NormalFit


def sigma_rounded(x: ArrayLike, resolution: float, *, bound: ArrayLike | None = None) -> RoundedSigma:
    """Return sigma of readings rounded to steps of `resolution`, by maximum likelihood, about one constant level.

    Unlike moving ranges it takes a drift of the level for scatter: use it on a stable baseline.

    Args:
        x: readings as written, shape (n,), in the stream's unit; NaN for one not taken.
        resolution: step they were rounded to.
        bound: values of `records.Bound` for censored readings, shape (n,).

    Raises:
        InputError: fewer than 2 readings, all of them censored, or a step that is not above 0.

    Source:
        Likelihood of grouped data, as in `censored.fit_normal`. The warning's bound is that of fewer than four possible
        moving ranges within their limit: common practice, after Wheeler, D. J. and Lyday, R. W. (1989), Evaluating the
        Measurement Process, from memory.
    """
    low, high = intervals(x, bound=bound, resolution=resolution)
    fit = fit_normal(low, high)
    floor = resolution_floor(resolution)
    sigma = floor if fit.one_value_explains_all else fit.sigma
    steps = math.inf if fit.one_value_explains_all else resolution / fit.sigma
    readings = as_readings(x, missing=True)
    levels = len(np.unique(np.rint(readings[~np.isnan(readings)] / resolution)))
    return RoundedSigma(
        sigma=sigma,
        as_written=math.hypot(0.0 if fit.one_value_explains_all else fit.sigma, floor),
        lower=fit.sigma_lower,
        upper=fit.sigma_upper,
        centre=fit.centre,
        n=fit.n,
        warning=CoarseReadings(resolution, steps, levels) if steps > COARSEST else None,
        fit=fit,
    )
