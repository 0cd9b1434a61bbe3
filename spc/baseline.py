"""Review of a baseline: which readings it might be better without, and why. It proposes; it leaves none out itself.

A reading may be left out of a baseline only for a cause that someone found and wrote down. One that is merely far away
belongs to the process like any other, and limits without it promise too much.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import BoolArray, FloatArray, as_readings, frozen
from spc.autocorrelation import lag_correlations
from spc.changepoint import drift_onset, step_change
from spc.charts.individuals import IndividualsLimits, individuals_limits
from spc.errors import InputError
from spc.sigma import D2_FOR_PAIRS, D4_FOR_PAIRS, mean, moving_ranges, resolution_floor, sigma_within
from spc.told import Told

Reason = Literal["wild", "copied", "other_level"]

FEWEST = 8
"""Readings below which nothing stands out."""

NEIGHBOURS = 6
"""Readings nearest in time that a reading is compared with."""

ALLOWANCE = 1.25
"""Widens the normal bound for the median of neighbours and for an estimated sigma. Simulated (tests/test_baseline.py):
about one sound baseline in twenty then has a reading called wild, for 10 to 100 readings."""

RISK = 0.05
"""How often a sound baseline may have a reading called wild."""

DOUBT = 0.01
"""p value below which a step, a drift or a run of equal readings is taken for one."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """Readings that might be left out of the baseline, should a cause be found."""

    indices: tuple[int, ...]
    reason: Reason
    sentence: str


@dataclass(frozen=True, slots=True)
class BaselineReview(Told):
    """What speaks against a baseline, and what its limits would be without the readings in question."""

    n: int  # readings taken
    proposals: tuple[Proposal, ...]
    concerns: tuple[str, ...]  # what leaving readings out would not cure
    left_in: BoolArray  # shape (readings,): false where a proposal names the reading
    limits: IndividualsLimits  # with every reading: nothing has been left out
    limits_if_followed: IndividualsLimits | None  # None where too few readings would be left

    @property
    def sound(self) -> bool:
        """Whether nothing speaks against the baseline."""
        return not self.proposals and not self.concerns


def review_baseline(x: ArrayLike, *, generator: np.random.Generator, resolution: float | None = None) -> BaselineReview:
    """Return which readings of a baseline might be left out and why; every reading is still in it.

    Looked for, in this order: single readings far from their neighbours; runs of one number that chance does not give;
    a step, which makes two baselines of one; then a drift and autocorrelation, which leaving out does not cure.

    Args:
        x: readings in time order, shape (n,); NaN for one not taken.
        generator: for the p values of step and drift, which are simulated.
        resolution: smallest step a reading can be written in.

    Raises:
        InputError: fewer than 8 readings, or a resolution that is not above 0.
    """
    readings = as_readings(x, at_least=FEWEST, missing=True)
    n = int(np.count_nonzero(~np.isnan(readings)))
    if n < FEWEST:
        raise InputError(f"{n} readings given; at least {FEWEST} are needed to review a baseline")
    limits = individuals_limits(readings, resolution=resolution)
    if np.nanmin(readings) == np.nanmax(readings):
        sentence = f"all {n} readings are {_number(float(np.nanmax(readings)))}: they say nothing of the scatter"
        return BaselineReview(n, (), (sentence,), frozen(~np.isnan(readings)), limits, limits)
    proposals = list(wild_readings(readings, resolution))
    if resolution is not None:
        proposals += copied_runs(readings, resolution)
    rest = _without(readings, proposals)
    moved, concerns = _moved(rest, generator)
    proposals += moved
    if not moved and not concerns:
        concerns = list(_follows_itself(rest))
    left = _without(readings, proposals)
    left_in = ~np.isnan(left)
    if left_in.sum() < FEWEST:
        concerns.append(f"only {left_in.sum()} readings would be left: take a new baseline")
    return BaselineReview(
        n=n,
        proposals=tuple(proposals),
        concerns=tuple(concerns),
        left_in=frozen(left_in),
        limits=limits,
        limits_if_followed=individuals_limits(left, resolution=resolution) if left_in.sum() >= FEWEST else None,
    )


def _number(value: float) -> str:
    return f"{value:.6g}"


def _without(x: FloatArray, proposals: list[Proposal]) -> FloatArray:
    left = x.copy()
    for proposal in proposals:
        left[list(proposal.indices)] = np.nan
    return left


def screened_sigma(x: FloatArray, resolution: float | None) -> float:
    """Return sigma from the moving ranges that lie within their own limit: a wild reading does not widen it."""
    ranges = moving_ranges(x)
    ranges = ranges[~np.isnan(ranges)]
    while True:
        within = ranges <= D4_FOR_PAIRS * mean(ranges)
        if within.all():
            floor = 0.0 if resolution is None else resolution_floor(resolution)
            return max(mean(ranges) / D2_FOR_PAIRS, floor)
        ranges = ranges[within]


def wild_readings(x: FloatArray, resolution: float | None) -> Iterator[Proposal]:
    """Propose the readings that lie far from the median of their nearest neighbours in time."""
    place = np.flatnonzero(~np.isnan(x))
    taken, sigma = x[place], screened_sigma(x, resolution)
    bound = -ALLOWANCE * NormalDist().inv_cdf(RISK / 2 / len(taken))
    for i, value in enumerate(taken.tolist()):
        first = min(max(i - NEIGHBOURS // 2, 0), len(taken) - 1 - NEIGHBOURS)
        nearest = np.delete(taken[first : first + NEIGHBOURS + 1], i - first)
        middle = float(np.median(nearest))
        far = abs(value - middle)
        if far > bound * sigma:
            away = f"{far / sigma:.1f} sigmas " if sigma > 0 else ""
            side = "above" if value > middle else "below"
            yield Proposal(
                (int(place[i]),),
                "wild",
                f"{_number(value)} lies {away}{side} the readings around it: a misread, a wrong unit, or a real upset?",
            )


def copied_runs(x: FloatArray, resolution: float) -> Iterator[Proposal]:
    """Propose runs of one number longer than rounding explains, but for their first reading.

    A run is explained at best by a level in the middle of a step. Sigma is that of all readings: copies make it too
    small, and the verdict milder.
    """
    place = np.flatnonzero(~np.isnan(x))
    taken = x[place]
    sigma = sigma_within(taken)
    alike = 2 * NormalDist().cdf(resolution / 2 / sigma) - 1
    starts = np.flatnonzero(np.diff(taken, prepend=np.nan) != 0).tolist()
    for start, stop in pairwise([*starts, len(taken)]):
        if len(taken) * alike ** (stop - start - 1) < DOUBT:
            yield Proposal(
                tuple(place[start + 1 : stop].tolist()),
                "copied",
                f"{_number(float(taken[start]))} was written {stop - start} times in a row, where the other readings "
                "differ: was each one measured?",
            )


def _moved(x: FloatArray, generator: np.random.Generator) -> tuple[list[Proposal], list[str]]:
    """Return a step as a proposal to leave out the shorter side, or a drift as a concern, whichever explains more."""
    place = np.flatnonzero(~np.isnan(x))
    taken = x[place]
    if len(taken) < FEWEST or np.ptp(taken) == 0:
        return [], []
    step = step_change(taken, generator=generator)
    drift = drift_onset(taken, generator=generator)
    if min(step.when.p_value, drift.when.p_value) >= DOUBT:
        return [], []
    if drift.when.statistic > step.when.statistic:
        rate = f"{_number(drift.slope)} a reading"
        return [], [f"the readings drift by {rate} from reading {place[drift.when.index]} on: limits will not hold"]
    split = step.when.index
    shorter = place[:split] if split < len(taken) - split else place[split:]
    which = "first" if split < len(taken) - split else "last"
    moved = f"the level moved from {_number(step.before)} to {_number(step.after)} at reading {place[split]}"
    sentence = f"{moved}: the {len(shorter)} {which} readings belong to another level. What was done then?"
    return [Proposal(tuple(shorter.tolist()), "other_level", sentence)], []


def _follows_itself(x: FloatArray) -> Iterator[str]:
    """Name an autocorrelation that independent readings hardly have."""
    taken = x[~np.isnan(x)]
    if len(taken) < FEWEST or np.ptp(taken) == 0:
        return
    found = lag_correlations(x, lags=1)
    correlation, bound = float(found.correlation[0]), float(found.bound[0])
    if correlation > bound * NormalDist().inv_cdf(1 - DOUBT / 2) / NormalDist().inv_cdf(0.975):
        narrow = math.sqrt(1 - correlation)
        yield (
            f"each reading follows the one before (correlation {correlation:.2f}): limits from moving ranges come out "
            f"about {narrow:.0%} as wide as they should be; a residual chart allows for it"
        )
