"""Individuals chart with its moving range."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import as_readings
from spc.errors import InputError
from spc.sigma import D2_FOR_PAIRS, D3_FOR_PAIRS, sigma_with_floor


@dataclass(frozen=True, slots=True)
class IndividualsLimits:
    """Centre line and control limits of one stream, in the stream's unit.

    The moving-range figures follow from `sigma`: its centre is d2 sigma, which is the mean moving range of the baseline
    unless sigma is floored; then it is the mean moving range that rounding alone would give.
    """

    centre_line: float
    lower: float
    upper: float
    sigma: float
    n_baseline: int  # readings taken, missing ones not counted
    moving_range_centre: float
    moving_range_upper: float
    floored: bool  # whether sigma is the floor that the reading's resolution sets


def individuals_limits(
    baseline: ArrayLike, *, width: float = 3.0, resolution: float | None = None
) -> IndividualsLimits:
    """Set control limits from the readings of a stable baseline.

    Args:
        baseline: readings in time order, shape (n,), in the stream's unit; NaN for one not taken.
        width: half-width of the limits in sigmas, of the individuals and of the moving range.
        resolution: smallest step a reading can be written in; sigma is never less than what rounding to it scatters.

    Raises:
        InputError: no two successive readings, an infinite one, a width or a resolution that is not above 0.

    Source:
        NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2.
    """
    x = as_readings(baseline, at_least=2, missing=True)
    taken = x[~np.isnan(x)]
    sigma, floored = sigma_with_floor(x, resolution)
    return limits_about(
        math.fsum(taken.tolist()) / len(taken), sigma, width=width, n_baseline=len(taken), floored=floored
    )


def limits_about(
    centre_line: float, sigma: float, *, width: float, n_baseline: int, floored: bool = False
) -> IndividualsLimits:
    """Return limits `width` sigmas about `centre_line`, for a centre line and sigma found elsewhere."""
    if not (math.isfinite(width) and width > 0):
        raise InputError(f"width is {width}; give the half-width of the limits in sigmas, above 0")
    return IndividualsLimits(
        centre_line=centre_line,
        lower=centre_line - width * sigma,
        upper=centre_line + width * sigma,
        sigma=sigma,
        n_baseline=n_baseline,
        moving_range_centre=D2_FOR_PAIRS * sigma,
        moving_range_upper=(D2_FOR_PAIRS + width * D3_FOR_PAIRS) * sigma,
        floored=floored,
    )


@dataclass(frozen=True, slots=True)
class IndividualsState:
    """Limits that form reading by reading, and hold once the baseline is complete."""

    width: float
    baseline: int  # readings that set the limits
    resolution: float | None
    readings: tuple[float, ...]  # of the baseline so far, NaN for one not taken
    n: int  # of them taken
    limits: IndividualsLimits | None  # those of the readings so far; None before two successive ones

    @classmethod
    def start(cls, *, width: float = 3.0, baseline: int = 20, resolution: float | None = None) -> "IndividualsState":
        """Return the state before the first reading.

        Raises:
            InputError: fewer than 2 readings of baseline.
        """
        if baseline < 2:
            raise InputError(f"baseline is {baseline} readings; at least 2 are needed")
        return cls(width, baseline, resolution, (), 0, None)

    @property
    def complete(self) -> bool:
        """Whether the baseline has all its readings, so that the limits hold from here on."""
        return self.n >= self.baseline and self.limits is not None


def update(state: IndividualsState, x: float) -> IndividualsState:
    """Return the state after reading `x`: equal, to the bit, to `individuals_limits` of the baseline so far."""
    if state.complete:
        return state
    if math.isinf(x):
        raise InputError(f"reading {len(state.readings)} is {x}; quarantine it before charting")
    readings = (*state.readings, float(x))
    n = state.n + (not math.isnan(x))
    in_a_row = state.limits is not None or not any(math.isnan(r) for r in readings[-2:])
    limits = None
    if len(readings) > 1 and in_a_row:
        limits = individuals_limits(readings, width=state.width, resolution=state.resolution)
    return replace(state, readings=readings, n=n, limits=limits)
