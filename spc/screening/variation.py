"""Stretches that scatter less than the stream does otherwise."""

import math
from datetime import tzinfo

import numpy as np

from spc.arrays import BoolArray, FloatArray, IntArray
from spc.records import Bound
from spc.screening.question import Question, ask
from spc.screening.written import Series
from spc.sigma import D2_FOR_PAIRS, D3_FOR_PAIRS
from spc.wording import with_unit

LENGTHS = (15, 30, 60)
"""Readings in a stretch; stretches start every third of their length."""

FINE_ENOUGH = 0.5
"""Noise in steps from which a stretch between two steps scatters about as much as one on a step."""

_SHARED = -0.5
"""Correlation of X - Y and Y - Z for independent readings."""

_BOTH = 4 / math.pi * (math.sqrt(1 - _SHARED**2) + _SHARED * math.asin(_SHARED))
"""E|X - Y||Y - Z| of standard normal readings: the mean product of two correlated normal sizes (Nabeya 1951)."""

TOGETHER = 1 + 2 * (_BOTH - D2_FOR_PAIRS**2) / D3_FOR_PAIRS**2
"""What the reading that successive ranges share adds to the variance of their mean: 1.45."""


def quiet_stretches(series: Series, most: float, zone: tzinfo, *, left_out: BoolArray) -> list[Question]:
    """Return the stretch that scatters least, where luck does not explain it.

    Moving ranges are compared by their ranks among all of the stream, so that neither tops-up nor tails count for more.

    Args:
        series: readings as written.
        most: chance above which nothing is asked.
        zone: of the times in the question.
        left_out: readings asked about already, shape (n,).
    """
    used = np.flatnonzero((series.bound == Bound.EXACT) & ~left_out)
    if len(used) <= 3 * LENGTHS[0]:
        return []
    ranges = level_ranges(series.x[used])
    rank = _ranks(ranges)
    best = (1.0, 0, 0)
    looks = 0
    for length in LENGTHS:
        if 3 * length > len(ranges):
            break
        starts = np.arange(0, len(ranges) - length + 1, length // 3)
        looks += len(starts)
        chances = _chances_as_low(rank, starts, length)
        lowest = int(chances.argmin())
        best = min(best, (float(chances[lowest]), int(starts[lowest]), length))
    chance = looks * best[0]
    if chance > most or float(series.noise(left_out).mean()) < FINE_ENOUGH:
        return []
    _, start, length = best
    places = used[start : start + length + 1]
    rest = np.delete(ranges, np.s_[start : start + length])
    return [_quiet(series, places, ranges[start : start + length], rest, chance, zone)]


def level_ranges(x: FloatArray) -> FloatArray:
    """Return the moving ranges of `x`, shape (n - 1,), never smaller for a level below the usual one.

    Where noise grows with the level, a low level makes small ranges; those are scaled up, and large ones left alone.
    """
    ranges = np.abs(np.diff(x))
    if (x <= 0).any():
        return ranges
    between = np.minimum(x[1:], x[:-1]) / float(np.median(x))
    return np.asarray(ranges / np.clip(between, 1e-30, 1.0), dtype=np.float64)  # a level of next to nothing is a slip


def _ranks(ranges: FloatArray) -> FloatArray:
    """Return the rank of each range from 0 to 1, equal ones sharing theirs."""
    ordered = np.sort(ranges)
    low, high = np.searchsorted(ordered, ranges, side="left"), np.searchsorted(ordered, ranges, side="right")
    return np.asarray((low + high) / (2 * len(ranges)), dtype=np.float64)


def _chances_as_low(rank: FloatArray, starts: IntArray, length: int) -> FloatArray:
    """Return for each stretch the chance that its mean rank lies so far below that of all other ranges."""
    from scipy.special import ndtr

    others = len(rank) - length
    spread = float(rank.std()) * math.sqrt(TOGETHER * (1 / length + 1 / others))
    if not spread > 0:
        return np.ones(len(starts))
    inside = rank[starts[:, None] + np.arange(length)].sum(axis=1)
    below = inside / length - (float(rank.sum()) - inside) / others
    return np.asarray(ndtr(below / spread), dtype=np.float64)


def _quiet(
    series: Series, places: IntArray, inside: FloatArray, rest: FloatArray, chance: float, zone: tzinfo
) -> Question:
    there, elsewhere = float(inside.mean()) / D2_FOR_PAIRS, float(rest.mean()) / D2_FOR_PAIRS
    sigma = with_unit(f"{there:.2g}", series.check.unit_label)
    return ask(
        "little_variation",
        (series.key,),
        series.row[places],
        series.taken_at[places],
        f"{series.name}: {{rows}} scatter by a sigma of {sigma} from one to the next, all others by {elsewhere:.2g}. "
        "So little comes by luck {odds}. Was each of them read anew, and is the instrument still sensitive?",
        chance=chance,
        zone=zone,
        readings=len(places),
        sigma=there,
        sigma_elsewhere=elsewhere,
    )
