"""Randomness of the demo line: one generator a stream, the same numbers on every platform and numpy."""

from statistics import NormalDist

import numpy as np

_NORMAL = NormalDist()
_INSIDE = 1 - 1e-6  # keeps the quantile finite: draws end at 4.9 standard deviations


class Noise:
    """Normal draws of mean 0 and spread 1, each correlated with the one before by `carry`.

    Only `random()` of the generator is used: numpy may change how its normal draws are made, not that.
    """

    def __init__(self, seed: int, stream: int, carry: float = 0.0) -> None:
        self._rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, stream])))
        self._carry = carry
        self._last = self.fresh()

    def chance(self) -> float:
        """Return a draw uniform from 0 to 1."""
        return float(self._rng.random())

    def fresh(self) -> float:
        """Return a normal draw that depends on none before."""
        return _NORMAL.inv_cdf(0.5 + (self.chance() - 0.5) * _INSIDE)

    def next(self) -> float:
        """Return the next correlated draw."""
        self._last = self._carry * self._last + (1 - self._carry**2) ** 0.5 * self.fresh()
        return self._last
