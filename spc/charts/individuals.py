"""Individuals chart with its moving range."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import as_readings
from spc.charts.shape import Chart, Plotted, Point, above_zero, as_measured, fold, not_infinite, point_of
from spc.errors import InputError
from spc.rules import NO_SIDE
from spc.sigma import D2_FOR_PAIRS, D3_FOR_PAIRS, mean, sigma_with_floor
from spc.told import Told


@dataclass(frozen=True, slots=True)
class IndividualsLimits(Told):
    """Centre line and control limits of one stream, in the stream's unit.

    The moving-range figures follow from `sigma`: its centre is d2 sigma, which is the mean moving range of the
    baseline, unless sigma is floored; then it is the mean moving range that rounding alone would give.
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
    return limits_about(mean(taken), sigma, width=width, n_baseline=len(taken), floored=floored)


def limits_about(
    centre_line: float, sigma: float, *, width: float = 3.0, n_baseline: int = 0, floored: bool = False
) -> IndividualsLimits:
    """Return limits `width` sigmas about `centre_line`, for a centre line and a sigma found elsewhere.

    Raises:
        InputError: a width that is not above 0.
    """
    above_zero(width, "the half-width of the limits in sigmas")
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
    """A chart whose limits form reading by reading, and hold once the baseline is complete."""

    limits: IndividualsLimits | None  # those of the readings so far; None before two successive ones
    baseline: int  # readings that set the limits
    point: Point | None = None
    width: float = 3.0
    resolution: float | None = None
    readings: tuple[float, ...] = ()  # of the baseline so far, NaN for one not taken

    @classmethod
    def start(cls, *, width: float = 3.0, baseline: int = 20, resolution: float | None = None) -> "IndividualsState":
        """Return the state before the first reading of a baseline.

        Raises:
            InputError: a baseline of fewer than 2 readings, a width that is not above 0.
        """
        if baseline < 2:
            raise InputError(f"a baseline of {baseline} readings sets no limits; at least 2 are needed")
        return cls(None, baseline, width=above_zero(width, "width"), resolution=resolution)

    @classmethod
    def holding(cls, limits: IndividualsLimits) -> "IndividualsState":
        """Return the state before the first reading after a baseline that set `limits`."""
        return cls(limits, baseline=0)

    @property
    def complete(self) -> bool:
        """Whether the baseline has all its readings: the limits hold, and readings can be beyond them."""
        return self.limits is not None and self.limits.n_baseline >= self.baseline


def update(state: IndividualsState, x: float) -> IndividualsState:
    """Return the state after reading `x`.

    In the baseline, the limits equal `individuals_limits` of the readings so far, to the bit; nothing is beyond them.

    Raises:
        InputError: an infinite reading.
    """
    x = not_infinite(float(x))
    limits = state.limits
    if limits is None or limits.n_baseline < state.baseline:
        return _learnt(state, x)
    return replace(state, point=point_of(x, limits.centre_line, limits.lower, limits.upper))


def _learnt(state: IndividualsState, x: float) -> IndividualsState:
    readings = (*state.readings, x)
    successive = len(readings) > 1 and not math.isnan(readings[-1] + readings[-2])
    if state.limits is None and not successive:
        return replace(state, readings=readings, point=Point((x,), math.nan, -math.inf, math.inf, NO_SIDE))
    limits = individuals_limits(readings, width=state.width, resolution=state.resolution)
    point = Point((x,), limits.centre_line, limits.lower, limits.upper, NO_SIDE)
    return replace(state, limits=limits, readings=readings, point=point)


def individuals_plot(x: ArrayLike, limits: IndividualsLimits) -> Plotted:
    """Return the individuals chart of readings `x`, shape (n,), against `limits`."""
    return fold(IndividualsState.holding(limits), update, as_measured(x))


@dataclass(frozen=True, slots=True)
class MovingRangeState:
    """A moving-range chart; a range next to a missing reading is not drawn."""

    limits: IndividualsLimits
    before: float = math.nan  # the reading before
    point: Point | None = None


def update_moving_range(state: MovingRangeState, x: float) -> MovingRangeState:
    """Return the state after reading `x`."""
    limits = state.limits
    x = not_infinite(float(x))
    point = point_of(abs(x - state.before), limits.moving_range_centre, -math.inf, limits.moving_range_upper)
    return MovingRangeState(limits, x, point)


def moving_range_plot(x: ArrayLike, limits: IndividualsLimits) -> Plotted:
    """Return the moving-range chart of readings `x`, shape (n,), against `limits`; its first point is missing."""
    return fold(MovingRangeState(limits), update_moving_range, as_measured(x))


INDIVIDUALS = Chart(
    key="individuals",
    title="Individuals",
    lines=("reading",),
    readings="measured",
    at_least=2,
    limits=individuals_limits,
    start=IndividualsState.holding,
    update=update,
    plot=individuals_plot,
)

MOVING_RANGE = Chart(
    key="moving_range",
    title="Moving range",
    lines=("moving range",),
    readings="measured",
    at_least=2,
    limits=individuals_limits,
    start=MovingRangeState,
    update=update_moving_range,
    plot=moving_range_plot,
)
