"""Tabular CUSUM chart: sums of how far readings lie beyond a slack, for small changes that stay."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import as_readings, frozen
from spc.charts.individuals import individuals_limits
from spc.charts.shape import Chart, Plotted, Point, above_zero, none_infinite, not_infinite, side_of, sides_of
from spc.errors import InputError
from spc.rules import NO_SIDE, in_sigmas, in_sigmas_one
from spc.told import Told


@dataclass(frozen=True, slots=True)
class CusumLimits(Told):
    """Centre line and sigma in the stream's unit; slack and decision limit in sigmas."""

    centre_line: float
    sigma: float
    slack: float  # k: half the change that is to be found soonest
    decision: float  # h: the sum that signals
    head_start: float  # where the sums begin, as a share of `decision`
    n_baseline: int
    floored: bool = False  # whether sigma is the floor that the reading's resolution sets


def cusum_limits(
    baseline: ArrayLike,
    *,
    slack: float = 0.5,
    decision: float = 4.77,
    head_start: float = 0.0,
    resolution: float | None = None,
) -> CusumLimits:
    """Set a CUSUM chart from the readings of a stable baseline.

    The defaults give one false alarm in about 370 independent readings, as three-sigma limits do.

    Args:
        baseline: readings in time order, shape (n,), in the stream's unit; NaN for one not taken.
        slack: k, in sigmas: half the change that is to be found soonest.
        decision: h, in sigmas: the sum that signals.
        head_start: where the sums begin, as a share of `decision`; 0.5 finds a change that is there at the start soon.
        resolution: smallest step a reading can be written in; sigma is never less than what rounding to it scatters.

    Raises:
        InputError: no two successive readings, or a setting that cannot be.

    Source:
        Lucas, J. M. and Crosier, R. B. (1982), Fast initial response for CUSUM quality-control schemes, Technometrics
        24, 199-205; Hawkins, D. M. (1993), Cumulative sum control charting: an underutilized SPC tool, Quality
        Engineering 5, 463-477, for the pairs of k and h.
    """
    if not (math.isfinite(slack) and slack >= 0):
        raise InputError(f"slack is {slack}; give half the change to be found, in sigmas, 0 or above")
    if not 0 <= head_start < 1:
        raise InputError(f"head start is {head_start}; give a share of the decision limit, 0 or above and below 1")
    above_zero(decision, "the decision limit in sigmas")
    found = individuals_limits(baseline, resolution=resolution)
    return CusumLimits(
        found.centre_line, found.sigma, slack, decision, head_start, found.n_baseline, floored=found.floored
    )


@dataclass(frozen=True, slots=True)
class CusumState:
    """The two sums so far, in sigmas, both 0 or above. They go on after a signal until they are started again."""

    limits: CusumLimits
    up: float
    down: float
    point: Point | None = None

    @classmethod
    def start(cls, limits: CusumLimits) -> "CusumState":
        """Return the state before the first reading, or after the line was put right."""
        head = limits.head_start * limits.decision
        return cls(limits, head, head)


def update(state: CusumState, x: float) -> CusumState:
    """Return the state after reading `x`. A missing reading leaves the sums as they were and draws nothing."""
    limits, h = state.limits, state.limits.decision
    z = in_sigmas_one(not_infinite(x), limits.centre_line, limits.sigma)
    if math.isnan(z):
        return CusumState(limits, state.up, state.down, Point((z, z), 0.0, -h, h, 0))
    up = max(0.0, state.up + z - limits.slack)
    down = max(0.0, state.down - z - limits.slack)
    side = side_of(up, 0.0, -h, h) or side_of(-down, 0.0, -h, h)
    return CusumState(limits, up, down, Point((up, 0.0 - down), 0.0, -h, h, side))


def cusum_plot(x: ArrayLike, limits: CusumLimits) -> Plotted:
    """Return the CUSUM chart of readings `x`, shape (n,), that follow the baseline: sum up, and sum down below 0.

    The same as `update` of each reading, in one loop.
    """
    readings = none_infinite(as_readings(x, at_least=0, missing=True))
    state, slack, h = CusumState.start(limits), limits.slack, limits.decision
    up, down = state.up, state.down
    distances = in_sigmas(readings, limits.centre_line, limits.sigma)
    taken = ~np.isnan(distances)
    sums = []
    for z in distances[taken].tolist():
        up, down = max(0.0, up + z - slack), max(0.0, down - z - slack)
        sums.append((up, 0.0 - down))
    values = np.full((len(readings), 2), np.nan)
    values[taken] = np.reshape(sums, (-1, 2))
    lower, centre, upper = (frozen(np.full(len(readings), level)) for level in (-h, 0.0, h))
    above, below = (sides_of(values[:, which], 0.0, lower, upper) for which in (0, 1))
    side = np.where(above != NO_SIDE, above, below)
    return Plotted(frozen(values), centre, lower, upper, frozen(side))


CUSUM = Chart(
    key="cusum",
    title="CUSUM",
    lines=("sum up", "sum down"),
    readings="measured",
    at_least=2,
    limits=cusum_limits,
    start=CusumState.start,
    update=update,
    plot=cusum_plot,
)
