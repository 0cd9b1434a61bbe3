"""Where a reading should lie by its neighbours, and how far readings usually lie from there; on a log scale."""

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from spc.arrays import FloatArray
from spc.coarse.repeats import written_step

_95, _OUTER = NormalDist().inv_cdf(0.975), NormalDist().inv_cdf(0.99)
_INNER = math.sqrt(1.0 - 2.0 * _95 * NormalDist().pdf(_95) / 0.95)
"""Standard deviation of a standard normal cut off at its nearest 95 %: 0.87."""

_GOLDEN = (math.sqrt(5) - 1) / 2

NEAR = 5.0
"""Readings farther from their neighbours than this factor do not tell how far readings usually lie."""

HEAVIEST, LIGHTEST = 6.0, 12.0
"""Degrees of freedom between which tails are told apart: what people read never has quite a normal's. Judgement."""


@dataclass(frozen=True, slots=True)
class Distances:
    """How far the readings of a stream lie from where they should."""

    usual: float  # standard deviation, by the inner or the outer part, whichever is larger
    tails: float  # degrees of freedom of the Student distribution with such a middle and such outer parts

    def chance_so_far(self, off: float) -> float:
        """Return the chance that a reading lies at least so far off, either way."""
        from scipy.special import stdtr

        scale = self.usual * _OUTER / _student(self.tails, 0.99)
        return 2 * float(stdtr(self.tails, -abs(off) / scale))


def distances(off: FloatArray) -> Distances:
    """Return how far readings usually lie off, from the nearest 95 % and the 98 % point: a few wild ones do not count.

    Args:
        off: distances, shape (n,).
    """
    near = np.sort(np.abs(off[np.abs(off) < math.log(NEAR)]))
    if len(near) == 0:
        return Distances(math.inf, LIGHTEST)
    inner = near[: max(1, round(0.95 * len(near)))]
    middle, outer = float(np.quantile(near, 0.9)), float(np.quantile(near, 0.98))
    usual = max(math.sqrt(float(np.mean(inner**2))) / _INNER, outer / _OUTER)
    return Distances(usual, _tails(outer / middle) if middle > 0 else HEAVIEST)


def _tails(ratio: float) -> float:
    """Return the degrees of freedom at which the 98 % point of sizes is `ratio` times their 90 % point."""
    low, high = HEAVIEST, LIGHTEST
    if _student(high, 0.99) / _student(high, 0.95) >= ratio:
        return LIGHTEST
    for _ in range(40):
        middle = math.sqrt(low * high)
        if _student(middle, 0.99) / _student(middle, 0.95) > ratio:
            low = middle
        else:
            high = middle
    return math.sqrt(low * high)


def _student(freedom: float, share: float) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(freedom, share))


def running_median(x: FloatArray, reach: int) -> FloatArray:
    """Return the median of each reading and up to `reach` on either side, shape (n,)."""
    whole = 2 * reach + 1
    if len(x) < whole or np.isnan(x).any():
        return _median_of_taken(x, reach)
    inside = np.median(np.lib.stride_tricks.sliding_window_view(x, whole), axis=1)
    first, last = _median_of_taken(x[: whole - 1], reach)[:reach], _median_of_taken(x[1 - whole :], reach)[-reach:]
    return np.concatenate([first, inside, last])


def _median_of_taken(x: FloatArray, reach: int) -> FloatArray:
    """Return the same where windows reach beyond the readings, or hold one that was not taken."""
    padded = np.concatenate([np.full(reach, np.nan), x, np.full(reach, np.nan)])
    windows = np.sort(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1), axis=1)  # not taken: last
    taken = np.count_nonzero(~np.isnan(windows), axis=1)
    each = np.arange(len(windows))
    return np.asarray((windows[each, (taken - 1) // 2] + windows[each, taken // 2]) / 2, dtype=np.float64)


def spread_in_steps(x: FloatArray) -> FloatArray:
    """Return positive readings, each moved evenly somewhere within the step it was rounded to, shape (n,).

    Rounded readings lie on few distances from their level, whose outer part would then come out by chance. Multiples
    of the golden ratio fill the step evenly, and are the same every time.
    """
    step = written_step(x)
    if step is None:
        return x
    places = np.arange(1, len(x) + 1) * _GOLDEN % 1.0 - 0.5
    return np.maximum(x + min(step, float(np.median(x))) * places, x / 2)
