"""How much the readings of a stream scatter: white noise and slow wander, learnt as they come."""

from typing import NamedTuple

import numpy as np

from spc.arrays import FloatArray
from spc.drift.model import StreamModel

MEMORY = 0.65
"""Lag-1 correlation of the slow wander: it forgets within a few readings, as mixing and mains voltage do."""

BLOCK = 8
"""Readings in the means whose differences show the wander: about as many as a drift needs to be seen."""

BEHIND = 12
"""Readings that the wander is learnt behind the present, so that a drift is not taken for it before it signals."""

HISTORY = BEHIND + 2 * BLOCK

_WORTH = 10.0  # readings that the usual sigma of such a check is worth
_WANDER_WORTH = 20.0
_WANDER_SHARE = 0.3  # overlapping means of eight say little each
_AT_MOST = 200.0  # readings after which the oldest fade
_LARGEST = 6.25  # a squared difference counts at most as 2.5 sigmas
_LARGEST_MEAN = 4.0
_LEAST_SHARE = 0.15  # sigma is never less than this share of the usual one
_LEAST_STEP = 0.3  # nor less than this share of a written step


def _excess_of_wander() -> float:
    """Return by how much wander of variance 1 raises BLOCK times the half mean square of differences of means.

    Less what it adds to the half mean square of successive differences.
    """
    lag = np.abs(np.subtract.outer(np.arange(BLOCK), np.arange(2 * BLOCK)))
    correlation = MEMORY**lag
    within, across = correlation[:, :BLOCK].sum(), correlation[:, BLOCK:].sum()
    return float((within - across) / BLOCK - (1.0 - MEMORY))


EXCESS_OF_WANDER = _excess_of_wander()


class Noise(NamedTuple):
    """Sums that the two variances come from."""

    short: float  # of half squared differences of successive readings
    n_short: float
    ratio: float  # of half squared differences of means, over what white noise would give
    n_ratio: float

    @classmethod
    def start(cls, model: StreamModel) -> "Noise":
        """Return what is known before the first reading."""
        return cls(_WORTH * model.sigma**2, _WORTH, _WANDER_WORTH * (1.0 + model.wander), _WANDER_WORTH)

    @property
    def wander_ratio(self) -> float:
        """How much more than white noise the means scatter, as a ratio of variances; 1 for white noise."""
        return max(1.0, self.ratio / self.n_ratio)

    def variances(self, width: float, model: StreamModel) -> tuple[float, float]:
        """Return the variance of the white noise before rounding, and that of the slow wander.

        Args:
            width: of one written step, on the model's scale: its rounding is taken out (Sheppard 1898).
            model: whose usual sigma keeps the variance from vanishing.
        """
        short = self.short / self.n_short
        exact = max(short - width**2 / 12.0, (_LEAST_STEP * width) ** 2, (_LEAST_SHARE * model.sigma) ** 2)
        slow = (self.wander_ratio - 1.0) * short / EXCESS_OF_WANDER
        white = max(exact - (1.0 - MEMORY) * slow, 0.25 * exact) * (1.0 + 2.0 / self.n_short)
        return white, slow

    def learnt_short(self, difference: float) -> "Noise":
        """Return what is known after one more difference of successive readings."""
        now = self.short / self.n_short
        short, n = self.short + min(0.5 * difference**2, _LARGEST * now), self.n_short + 1.0
        keep = min(1.0, _AT_MOST / n)
        return self._replace(short=keep * short, n_short=keep * n)

    def learnt_wander(self, history: FloatArray) -> "Noise":
        """Return what is known after one more pair of means; `history` holds the latest HISTORY readings."""
        old = history[-HISTORY:-BEHIND]
        difference = float(old[BLOCK:].sum() - old[:BLOCK].sum()) / BLOCK
        ratio = BLOCK * 0.5 * difference**2 / (self.short / self.n_short)
        summed = self.ratio + _WANDER_SHARE * min(ratio, _LARGEST_MEAN * self.wander_ratio)
        n = self.n_ratio + _WANDER_SHARE
        keep = min(1.0, _AT_MOST / n)
        return self._replace(ratio=keep * summed, n_ratio=keep * n)
