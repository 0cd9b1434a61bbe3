"""Trend chart: limits about a straight line, for what is worn, ages or is consumed."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, as_readings
from spc.charts.shape import Chart, Plotted, Point, above_zero, fold, not_infinite, point_of
from spc.errors import InputError
from spc.sigma import mean, resolution_floor
from spc.told import Told


@dataclass(frozen=True, slots=True)
class TrendLimits(Told):
    """A straight line through the baseline, and how well it is known; in the stream's unit and the unit of `at`."""

    at_mean: float  # mean place of the baseline's readings
    level: float  # of the line at `at_mean`
    slope: float  # per unit of `at`
    sigma: float  # of single readings about the line
    at_squares: float  # sum of squared distances of the baseline's places from `at_mean`
    width: float
    n_baseline: int
    next_at: float  # place of the first reading after the baseline, where places are not given
    floored: bool = False  # whether sigma is the floor that the reading's resolution sets

    @property
    def slope_error(self) -> float:
        """Standard error of the slope."""
        return self.sigma / math.sqrt(self.at_squares)

    def line(self, at: float) -> float:
        """Return the line at place `at`."""
        return self.level + self.slope * (at - self.at_mean)

    def half_width(self, at: float) -> float:
        """Return the distance of the limits from the line at `at`: a reading's scatter and the line's uncertainty."""
        off = at - self.at_mean
        return self.width * self.sigma * math.sqrt(1 + 1 / self.n_baseline + off * off / self.at_squares)


def trend_limits(
    baseline: ArrayLike, *, at: ArrayLike | None = None, width: float = 3.0, resolution: float | None = None
) -> TrendLimits:
    """Fit a straight line to a baseline by least squares.

    The limits are the parallel lines of the regression control chart, widened by the uncertainty of the line, which
    grows with the distance from the baseline: a line is not trusted far beyond the readings that gave it.

    Args:
        baseline: readings in time order, shape (n,), in the stream's unit; NaN for one not taken.
        at: place of each reading, shape (n,): hours of use, days, shifts; without it the readings' numbers 0, 1, 2 ...
        width: half-width of the limits in sigmas of prediction.
        resolution: smallest step a reading can be written in; sigma is never less than what rounding to it scatters.

    Raises:
        InputError: fewer than 3 readings, all at one place, or places that do not match the readings.

    Source:
        Mandel, B. J. (1969), The regression control chart, Journal of Quality Technology 1, 1-9; limits of prediction
        from Draper, N. R. and Smith, H. (1998), Applied Regression Analysis, section 3.1.
    """
    y = as_readings(baseline, at_least=3, missing=True)
    places = np.arange(len(y), dtype=np.float64) if at is None else as_readings(at)
    if len(places) != len(y):
        raise InputError(f"{len(places)} places given for {len(y)} readings; give one for each")
    above_zero(width, "the half-width of the limits in sigmas")
    taken = ~np.isnan(y)
    if taken.sum() < 3:
        raise InputError(f"{taken.sum()} readings given; at least 3 are needed for a trend")
    line = _least_squares(places[taken], y[taken])
    floor = 0.0 if resolution is None else resolution_floor(resolution)
    at_mean, level, slope, at_squares, sigma = line
    return TrendLimits(
        at_mean=at_mean,
        level=level,
        slope=slope,
        sigma=max(sigma, floor),
        at_squares=at_squares,
        width=width,
        n_baseline=int(taken.sum()),
        next_at=float(places[-1]) + 1,
        floored=floor > sigma,
    )


def _least_squares(t: FloatArray, y: FloatArray) -> tuple[float, float, float, float, float]:
    """Return (mean place, level there, slope, sum of squared places about it, sigma with n - 2 degrees of freedom)."""
    n = len(t)
    t_mean, y_mean = mean(t), mean(y)
    off, rise = t - t_mean, y - y_mean
    squares = math.fsum((off * off).tolist())
    if squares == 0:
        raise InputError("all readings of the baseline are at one place; a trend needs readings at several")
    slope = math.fsum((off * rise).tolist()) / squares
    residual = rise - slope * off
    return t_mean, y_mean, slope, squares, math.sqrt(math.fsum((residual * residual).tolist()) / (n - 2))


@dataclass(frozen=True, slots=True)
class TrendState:
    """A trend chart and the place of its next reading."""

    limits: TrendLimits
    next_at: float
    point: Point | None = None

    @classmethod
    def start(cls, limits: TrendLimits) -> "TrendState":
        """Return the state before the first reading after the baseline."""
        return cls(limits, limits.next_at)


def update(state: TrendState, x: float) -> TrendState:
    """Return the state after reading `x`, one place further on than the reading before, missing or not."""
    return update_at(state, x, state.next_at)


def update_at(state: TrendState, x: float, at: float) -> TrendState:
    """Return the state after reading `x` at place `at`."""
    limits = state.limits
    line, half = limits.line(at), limits.half_width(at)
    return TrendState(limits, at + 1, point_of(not_infinite(float(x)), line, line - half, line + half))


def trend_plot(x: ArrayLike, limits: TrendLimits, *, at: ArrayLike | None = None) -> Plotted:
    """Return the trend chart of readings `x`, shape (n,), at places `at` or directly after the baseline."""
    readings = as_readings(x, at_least=0, missing=True)
    places = limits.next_at + np.arange(len(readings)) if at is None else as_readings(at, at_least=0)
    if len(places) != len(readings):
        raise InputError(f"{len(places)} places given for {len(readings)} readings; give one for each")
    pairs = zip(readings.tolist(), places.tolist(), strict=True)
    return fold(TrendState.start(limits), lambda state, pair: update_at(state, *pair), pairs)


TREND = Chart(
    key="trend",
    title="Trend",
    lines=("reading",),
    readings="measured",
    at_least=3,
    limits=trend_limits,
    start=TrendState.start,
    update=update,
    plot=trend_plot,
)
