"""When did it start: the reading at which a level moved or a drift began, and all moves in a long history.

Readings are taken as independent and normal with one sigma. One change is dated by maximum likelihood, with a set of
readings that the true one belongs to with a stated confidence. For each reading in question the set asks how far the
best date would lie above it in likelihood if the change had come there. Given the levels (or level and slope) and the
scatter fitted to that date, which are sufficient, the answer depends on nothing unknown, so it is simulated and the set
has its stated confidence whatever the size of the change. The coverage reported is a second simulation, of data like
those at hand.

Sources: Hinkley, D. V. (1970), Inference about the change-point in a sequence of random variables, Biometrika 57, 1-17;
Worsley, K. J. (1986), Confidence regions and tests for a change-point in a sequence of exponential family random
variables, Biometrika 73, 91-104; Siegmund, D. (1988), Confidence sets in change-point problems, International
Statistical Review 56, 31-48 (conditional likelihood ratio). Killick, R., Fearnhead, P. and Eckley, I. A. (2012),
Optimal detection of changepoints with a linear computational cost, Journal of the American Statistical Association 107,
1590-1598; Yao, Y.-C. (1988), Estimating the number of change-points via Schwarz' criterion, Statistics and Probability
Letters 6, 181-189.
"""

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, as_readings
from spc.errors import InputError
from spc.sigma import sigma_within
from spc.told import Told

MOST_DATED = 2000
"""Readings among which one change is dated; more take too long."""

ROUNDING = 1e-12
"""A sum of squares that is this part of another is rounding error, hence 0."""

COVERAGE_RUNS = 400


@dataclass(frozen=True, slots=True)
class Onset:
    """What is known of when a change came."""

    method: str
    index: int  # first reading off the old level, by maximum likelihood
    index_set: tuple[int, ...]  # the true one is among these with `confidence`
    confidence: float
    coverage: float  # of the set, simulated on readings like these
    coverage_error: float  # standard error of `coverage`
    statistic: float  # twice the log likelihood ratio to no change; infinite where nothing is left to explain
    p_value: float  # of that statistic if there were no change, simulated
    sigma: float  # as given, or pooled around the fit
    n: int  # readings
    draws: int  # simulated


@dataclass(frozen=True, slots=True)
class StepChange(Told):
    """One move of the level."""

    when: Onset
    before: float  # level, in the unit of the readings
    after: float


@dataclass(frozen=True, slots=True)
class DriftOnset(Told):
    """The start of a steady drift: the level stands, then moves by `slope` with every reading from `when` on."""

    when: Onset
    before: float  # level, in the unit of the readings
    slope: float  # a reading


@dataclass(frozen=True, slots=True)
class LevelChanges(Told):
    """Every move of the level in a long history, and the levels between."""

    method: str
    indices: tuple[int, ...]  # first reading at each new level
    levels: tuple[float, ...]  # one more than `indices`
    sigma: float
    penalty: float  # of each move, on the scale of twice the log likelihood
    cost: float  # squared distances from the levels in sigmas, and the penalties
    n: int


def step_change(
    x: ArrayLike,
    *,
    generator: np.random.Generator,
    sigma: float | None = None,
    centre_line: float | None = None,
    confidence: float = 0.95,
    draws: int = 2000,
) -> StepChange:
    """Return when the level moved, if it moved once.

    Args:
        x: readings in time order, shape (n,), from 4 to 2000.
        generator: for the confidence set.
        sigma: of the readings around their level, where it is known (from a baseline).
        centre_line: the level before, where it is known; else it is fitted.
        confidence: of the set of dates, from 0.5 to 0.999.
        draws: simulated readings for each date in question, at least 100.

    Raises:
        InputError: too few or too many readings, all of them equal, or a number out of its range.
    """
    readings = _datable(x, sigma, centre_line)
    first = 0 if centre_line is not None else 1
    off = np.arange(len(readings)) >= np.arange(first, len(readings))[:, None]
    fit = _Dates(readings, off.astype(np.float64), sigma, centre_line)
    before, step = fit.coefficients()
    return StepChange(_onset(fit, first, confidence, draws, generator), before=before, after=before + step)


def drift_onset(
    x: ArrayLike,
    *,
    generator: np.random.Generator,
    sigma: float | None = None,
    centre_line: float | None = None,
    confidence: float = 0.95,
    draws: int = 2000,
) -> DriftOnset:
    """Return when a steady drift began, if one did: level up to then, and a straight line from there on.

    Args, raises: as `step_change`.
    """
    readings = _datable(x, sigma, centre_line)
    first = 0 if centre_line is not None else 1
    steps = 1 + np.arange(len(readings)) - np.arange(first, len(readings))[:, None]
    fit = _Dates(readings, np.maximum(steps, 0).astype(np.float64), sigma, centre_line)
    before, slope = fit.coefficients()
    return DriftOnset(_onset(fit, first, confidence, draws, generator), before=before, slope=slope)


def _datable(x: ArrayLike, sigma: float | None, centre_line: float | None) -> FloatArray:
    readings = as_readings(x, at_least=4)
    if len(readings) > MOST_DATED:
        raise InputError(
            f"{len(readings)} readings given; date one change among at most {MOST_DATED}, those since the last event"
        )
    if sigma is not None and not 0 < sigma < math.inf:
        raise InputError(f"sigma is {sigma}; give a number above 0, or leave it out to have it fitted")
    if centre_line is not None and not math.isfinite(centre_line):
        raise InputError(f"centre line is {centre_line}; give a number, or leave it out to have it fitted")
    if (readings == (readings[0] if centre_line is None else centre_line)).all():
        raise InputError(f"all {len(readings)} readings are {readings[0]}; there is no change to date")
    return readings


class _Dates:
    """One fit for each possible date: readings = level + coefficient * direction, the level known or fitted."""

    def __init__(self, x: FloatArray, directions: FloatArray, sigma: float | None, centre_line: float | None) -> None:
        self.x, self.directions, self.sigma, self.centre_line = x, directions, sigma, centre_line
        centred = self.centred(directions)
        self.lengths = np.sqrt((centred**2).sum(axis=1))
        self.units = centred / self.lengths[:, None]  # (dates, n)
        self.alike = self.units @ self.units.T  # (dates, dates)
        off = x - (x.mean() if centre_line is None else centre_line)
        self.total = float(off @ off)
        self.along = self.units @ off  # (dates,)
        self.best = int(np.argmax(np.abs(self.along)))

    def centred(self, rows: FloatArray) -> FloatArray:
        """Return `rows`, shape (k, n), less their means where the level is fitted."""
        return rows - rows.mean(axis=1, keepdims=True) if self.centre_line is None else rows

    def coefficients(self) -> tuple[float, float]:
        """Return the level before and the coefficient of the best fit."""
        coefficient = float(self.along[self.best] / self.lengths[self.best])
        if self.centre_line is not None:
            return self.centre_line, coefficient
        return float(self.x.mean()) - coefficient * float(self.directions[self.best].mean()), coefficient

    def left(self, along: FloatArray | float) -> FloatArray:
        """Return the sum of squares that is left around the fits with these coordinates, rounding error taken as 0."""
        left = np.asarray(self.total - np.square(along))
        return np.where(left < ROUNDING * self.total, 0.0, left)

    def sigma_around_best(self) -> float:
        """Return sigma as given, or pooled around the best fit."""
        if self.sigma is not None:
            return self.sigma
        fitted = 1 if self.centre_line is not None else 2
        return math.sqrt(float(self.left(self.along[self.best])) / (len(self.x) - fitted))

    def statistic(self) -> float:
        """Return twice the log likelihood ratio of the best fit to no change."""
        if self.sigma is not None:
            return float(self.along[self.best] ** 2) / self.sigma**2
        left = float(self.left(self.along[self.best]))
        return len(self.x) * math.log(self.total / left) if left > 0 else math.inf


class _Noise(NamedTuple):
    """Simulated scatter: its coordinates along each date's direction, and its sum of squares."""

    along: FloatArray  # (dates, draws)
    total: FloatArray  # (draws,)

    def some(self, which: slice) -> "_Noise":
        return _Noise(self.along[:, which], self.total[which])


def _noise(fit: _Dates, draws: int, generator: np.random.Generator) -> _Noise:
    scatter = fit.centred(generator.standard_normal((draws, len(fit.x))))
    return _Noise(fit.units @ scatter.T, (scatter**2).sum(axis=1))


def _onset(fit: _Dates, first: int, confidence: float, draws: int, generator: np.random.Generator) -> Onset:
    """Return the best date and its confidence set, `first` being the reading of the first possible date."""
    if not 0.5 <= confidence <= 0.999:
        raise InputError(f"confidence is {confidence}; give one from 0.5 to 0.999")
    if draws < 100:
        raise InputError(f"{draws} draws asked for; give at least 100")
    noise = _noise(fit, draws, generator)
    dates = _confidence_set(fit, noise, 1 - confidence)
    coverage, error = _coverage(fit, noise, 1 - confidence, generator)
    return Onset(
        method="maximum likelihood, conditional likelihood ratio set",
        index=first + fit.best,
        index_set=tuple(first + date for date in dates),
        confidence=confidence,
        coverage=coverage,
        coverage_error=error,
        statistic=fit.statistic(),
        p_value=_p_value_of_no_change(fit, noise),
        sigma=fit.sigma_around_best(),
        n=len(fit.x),
        draws=draws,
    )


def _confidence_set(fit: _Dates, noise: _Noise, risk: float) -> list[int]:
    """Return the dates that the readings do not speak against.

    A first look at few draws leaves out what is far off: a date with p = `risk` has 1 chance in 20,000 to go so.
    """
    few = noise.some(slice(min(math.ceil(10 / risk), len(noise.total))))
    near = [date for date in range(len(fit.along)) if _reached(fit, few, fit.along, fit.total, date) > 0]
    draws = len(noise.total)
    return [date for date in near if (1 + _reached(fit, noise, fit.along, fit.total, date)) / (1 + draws) > risk]


def _reached(fit: _Dates, noise: _Noise, along: FloatArray, total: float, date: int) -> int:
    """Return in how many draws the best date lies as far above `date` as it does in the readings.

    Each draw keeps the fit to `date`, and with sigma unknown the scatter around it, and takes its direction from the
    noise. Of such draws likelihood rises with the square of the coordinate alone.
    """
    same = fit.alike[:, date]
    scatter = noise.along - same[:, None] * noise.along[date]
    if fit.sigma is None:
        around = max(total - along[date] ** 2, 0.0)
        scale = np.sqrt(around / (noise.total - noise.along[date] ** 2))
    else:
        scale = np.full(len(noise.total), fit.sigma)
    drawn = np.abs(same[:, None] * along[date] + scale * scatter).max(axis=0)
    return int((drawn >= np.abs(along).max() * (1 - ROUNDING)).sum())


def _coverage(fit: _Dates, noise: _Noise, risk: float, generator: np.random.Generator) -> tuple[float, float]:
    """Return how often the set holds the date of the best fit in readings simulated from it, and the standard error."""
    draws = len(noise.total)
    few = min(math.ceil(10 / risk), draws)
    starts = generator.integers(draws - few + 1, size=COVERAGE_RUNS).tolist()
    simulated = _noise(fit, COVERAGE_RUNS, generator)
    sigma = fit.sigma_around_best()
    fitted = fit.along[fit.best]
    kept = 0
    for run in range(COVERAGE_RUNS):
        along = fit.alike[:, fit.best] * fitted + sigma * simulated.along[:, run]
        total = fitted**2 + 2 * fitted * sigma * simulated.along[fit.best, run] + sigma**2 * simulated.total[run]
        some = noise.some(slice(starts[run], starts[run] + few))
        kept += (1 + _reached(fit, some, along, total, fit.best)) / (1 + few) > risk
    part = kept / COVERAGE_RUNS
    return part, math.sqrt(part * (1 - part) / COVERAGE_RUNS + risk * (1 - risk) / draws)


def _p_value_of_no_change(fit: _Dates, noise: _Noise) -> float:
    largest = np.square(noise.along).max(axis=0)
    seen = float(fit.along[fit.best] ** 2)
    if fit.sigma is None:
        reached = largest / noise.total >= seen / fit.total * (1 - ROUNDING)
    else:
        reached = largest >= seen / fit.sigma**2
    return (1 + int(reached.sum())) / (1 + len(noise.total))


def level_changes(
    x: ArrayLike, *, sigma: float | None = None, penalty: float | None = None, shortest: int = 2
) -> LevelChanges:
    """Return every move of the level: the exact minimum of squared distances in sigmas plus a penalty a move.

    Args:
        x: readings in time order, shape (n,), n >= 2.
        sigma: of the readings around their level; by default from the moving ranges, which a few moves hardly widen.
            Correlated readings have smaller moving ranges than that, and then too many moves are found.
        penalty: of each move, on the scale of twice the log likelihood; by default 2 log n (Yao 1988).
        shortest: fewest readings on one level.

    Raises:
        InputError: too few readings, or a number out of its range.

    Source:
        Killick, Fearnhead and Eckley (2012), the pruned search; with a fewest number of readings on one level a start
        is struck out only from the reading on at which its rival may be used.
    """
    readings = as_readings(x, at_least=2)
    n = len(readings)
    sigma = sigma_within(readings) if sigma is None else sigma
    penalty = 2 * math.log(n) if penalty is None else penalty
    constant = bool((readings == readings[0]).all())
    if not (0 < sigma < math.inf or constant):
        raise InputError(f"sigma is {sigma}; give a number above 0")
    if not 0 <= penalty < math.inf:
        raise InputError(f"penalty is {penalty}; give a number of at least 0")
    if not 1 <= shortest <= n:
        raise InputError(f"shortest level is {shortest} readings; give from 1 to {n}")
    cost, indices = (0.0, []) if constant else _search(readings, sigma, penalty, shortest)
    edges = [0, *indices, n]
    levels = tuple(float(readings[a:b].mean()) for a, b in pairwise(edges))
    return LevelChanges("exact penalised search", tuple(indices), levels, sigma, penalty, cost, n)


def _search(x: FloatArray, sigma: float, penalty: float, shortest: int) -> tuple[float, list[int]]:
    """Return the least cost and the starts of the new levels."""
    n = len(x)
    z = (x - x.mean()) / sigma
    sums = np.concatenate(([0.0], np.cumsum(z)))
    squares = np.concatenate(([0.0], np.cumsum(z**2)))
    least = np.full(n + 1, np.inf)  # cost of the readings before, a penalty for each level
    least[0] = -penalty
    last = np.zeros(n + 1, dtype=np.int64)  # start of their last level
    starts, struck_out = np.zeros(1, dtype=np.int64), np.full(1, n + 1)
    for stop in range(shortest, n + 1):
        kept = struck_out > stop
        starts, struck_out = starts[kept], struck_out[kept]
        within = squares[stop] - squares[starts] - (sums[stop] - sums[starts]) ** 2 / (stop - starts)
        costs = least[starts] + np.maximum(within, 0)
        best = int(np.argmin(costs))
        least[stop], last[stop] = costs[best] + penalty, starts[best]
        beaten = costs > least[stop] + 1e-9 * (1 + abs(least[stop]))
        struck_out[beaten] = np.minimum(struck_out[beaten], stop + shortest)
        if stop + 1 - shortest >= shortest:
            starts, struck_out = np.append(starts, stop + 1 - shortest), np.append(struck_out, n + 1)
    indices: list[int] = []
    start = int(last[n])
    while start > 0:
        indices.insert(0, start)
        start = int(last[start])
    return float(least[n]), indices
