"""EWMA chart: an average that forgets slowly, for small changes of level."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, as_readings, frozen
from spc.charts.individuals import individuals_limits
from spc.charts.shape import Chart, Plotted, Point, above_zero, none_infinite, not_infinite, point_of, sides_of
from spc.errors import InputError
from spc.told import Told


@dataclass(frozen=True, slots=True)
class EwmaLimits(Told):
    """Centre line, sigma of single readings and settings of an EWMA chart, in the stream's unit."""

    centre_line: float
    sigma: float
    weight: float  # of the newest reading, above 0 and at most 1
    width: float  # half-width of the limits, in sigmas of the average
    n_baseline: int
    floored: bool = False  # whether sigma is the floor that the reading's resolution sets

    def half_width(self, n: float = math.inf) -> float:
        """Return the distance of the limits from the centre line after `n` readings; without `n`, the final one."""
        started = 1 - (1 - self.weight) ** (2 * n)
        return self.width * self.sigma * math.sqrt(self.weight / (2 - self.weight) * started)


def ewma_limits(
    baseline: ArrayLike, *, weight: float = 0.2, width: float = 2.86, resolution: float | None = None
) -> EwmaLimits:
    """Set an EWMA chart from the readings of a stable baseline.

    The default weight and width give one false alarm in about 370 independent readings, as three-sigma limits do.

    Args:
        baseline: readings in time order, shape (n,), in the stream's unit; NaN for one not taken.
        weight: of the newest reading in the average, above 0 and at most 1; small for small changes.
        width: half-width of the limits, in sigmas of the average.
        resolution: smallest step a reading can be written in; sigma is never less than what rounding to it scatters.

    Raises:
        InputError: no two successive readings, or a setting that cannot be.

    Source:
        Lucas, J. M. and Saccucci, M. S. (1990), Exponentially weighted moving average control schemes, Technometrics
        32, 1-12.
    """
    if not 0 < weight <= 1:
        raise InputError(f"weight is {weight}; give the newest reading's share, above 0 and at most 1")
    limits = individuals_limits(baseline, resolution=resolution)
    above_zero(width, "the half-width of the limits in sigmas")
    return EwmaLimits(limits.centre_line, limits.sigma, weight, width, limits.n_baseline, limits.floored)


@dataclass(frozen=True, slots=True)
class EwmaState:
    """The average so far. Its limits widen with the readings, from what one reading scatters to their final width."""

    limits: EwmaLimits
    average: float
    n: int = 0  # readings in it
    point: Point | None = None

    @classmethod
    def start(cls, limits: EwmaLimits) -> "EwmaState":
        """Return the state before the first reading: the average is on the centre line."""
        return cls(limits, limits.centre_line)


def update(state: EwmaState, x: float) -> EwmaState:
    """Return the state after reading `x`. A missing reading leaves the average as it was and draws nothing."""
    limits, n, average = state.limits, state.n, state.average
    missing = math.isnan(not_infinite(x))
    if not missing:
        n, average = n + 1, limits.weight * x + (1 - limits.weight) * average
    half = limits.half_width(max(n, 1))
    centre = limits.centre_line
    point = point_of(math.nan if missing else average, centre, centre - half, centre + half)
    return EwmaState(limits, average, n, point)


def ewma_plot(x: ArrayLike, limits: EwmaLimits) -> Plotted:
    """Return the EWMA chart of readings `x`, shape (n,), that follow the baseline: `update` of each, in one loop."""
    readings = none_infinite(as_readings(x, at_least=0, missing=True))
    taken = ~np.isnan(readings)
    weight, rest, average = limits.weight, 1 - limits.weight, limits.centre_line
    averages = []
    for reading in readings[taken].tolist():
        average = weight * reading + rest * average
        averages.append(average)
    values = np.full(len(readings), np.nan)
    values[taken] = averages
    half = _half_widths(limits, int(taken.sum()))[np.maximum(np.cumsum(taken), 1) - 1]
    centre = limits.centre_line
    lower, upper = centre - half, centre + half
    side = sides_of(values, centre, lower, upper)
    level = frozen(np.full(len(readings), centre))
    return Plotted(frozen(values[:, None]), level, frozen(lower), frozen(upper), frozen(side))


def _half_widths(limits: EwmaLimits, n: int) -> FloatArray:
    """Return the half-widths after 1 to `n` readings (of at least one), equal from where they no longer widen."""
    found = np.full(max(n, 1), limits.half_width())
    for i in range(len(found)):
        found[i] = half = limits.half_width(i + 1)
        if half == limits.half_width():
            break
    return found


EWMA = Chart(
    key="ewma",
    title="EWMA",
    lines=("average",),
    readings="measured",
    at_least=2,
    limits=ewma_limits,
    start=EwmaState.start,
    update=update,
    plot=ewma_plot,
)
