"""Residual chart: what a reading has that the ones before it do not explain, for streams that follow themselves."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import as_readings
from spc.autocorrelation import FirstOrder, first_order
from spc.charts.shape import Chart, Plotted, Point, above_zero, as_measured, fold, not_infinite, point_of
from spc.sigma import mean, resolution_floor
from spc.told import Told


@dataclass(frozen=True, slots=True)
class ResidualLimits(Told):
    """How the baseline's readings follow one another, and the width of the limits about what is expected."""

    follows: FirstOrder
    width: float
    n_baseline: int
    floored: bool  # whether the sigma of shocks is the floor that the reading's resolution sets


def residual_limits(baseline: ArrayLike, *, width: float = 3.0, resolution: float | None = None) -> ResidualLimits:
    """Set a residual chart from the readings of a stable baseline.

    A change of level shows on it in full at once, and after that only with the part 1 - phi: a residual chart is quick
    with jumps and slow with changes that stay, the more so the larger phi is.

    Args:
        baseline: readings in time order, shape (n,), in the stream's unit; NaN for one not taken.
        width: half-width of the limits in sigmas of prediction.
        resolution: smallest step a reading can be written in; sigma is never less than what rounding to it scatters.

    Raises:
        InputError: fewer than 4 readings, or a setting that cannot be.

    Source:
        Alwan, L. C. and Roberts, H. V. (1988), Time-series modeling for statistical process control, Journal of
        Business and Economic Statistics 6, 87-95.
    """
    above_zero(width, "the half-width of the limits in sigmas")
    x = as_readings(baseline, at_least=4, missing=True)
    taken = x[~np.isnan(x)]
    floor = 0.0 if resolution is None else resolution_floor(resolution)
    constant = len(taken) >= 4 and np.ptp(taken) == 0
    follows = FirstOrder(mean(taken), 0.0, math.nan, 0.0, math.nan, len(taken)) if constant else first_order(x)
    floored = floor > follows.sigma
    if floored:
        follows = FirstOrder(follows.level, follows.phi, follows.phi_error, floor, follows.log_likelihood, follows.n)
    return ResidualLimits(follows, width, follows.n, floored)


@dataclass(frozen=True, slots=True)
class ResidualState:
    """A residual chart: the last reading taken, and how long ago."""

    limits: ResidualLimits
    before: float = math.nan  # NaN until the first reading
    ago: int = 0
    point: Point | None = None

    @classmethod
    def start(cls, limits: ResidualLimits) -> "ResidualState":
        """Return the state before the first reading, of which only the level is expected."""
        return cls(limits)


def update(state: ResidualState, x: float) -> ResidualState:
    """Return the state after reading `x`. After missing readings less is known, and the limits are wider."""
    follows, ago = state.limits.follows, state.ago + 1
    x = not_infinite(float(x))
    if math.isnan(state.before):
        expected, scatter = follows.level, follows.sigma_overall
    else:
        expected, scatter = follows.ahead(state.before, ago)
    half = state.limits.width * scatter
    point = point_of(x - expected, 0.0, -half, half)
    if math.isnan(x):
        return ResidualState(state.limits, state.before, ago, point)
    return ResidualState(state.limits, x, 0, point)


def residual_plot(x: ArrayLike, limits: ResidualLimits) -> Plotted:
    """Return the residual chart of readings `x`, shape (n,): reading less expected reading, in the stream's unit."""
    return fold(ResidualState.start(limits), update, as_measured(x))


RESIDUALS = Chart(
    key="residuals",
    title="Residuals",
    lines=("residual",),
    readings="measured",
    at_least=4,
    limits=residual_limits,
    start=ResidualState.start,
    update=update,
    plot=residual_plot,
)
