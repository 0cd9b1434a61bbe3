"""Average run length of the tabular CUSUM chart, by integral equation.

The upper sum is c' = max(0, c + x - k), the lower one max(0, c - x - k); x is a reading's distance from the centre line
in sigmas. The chart signals when a sum passes h.

For two sides at once the run length follows exactly from the two one-sided ones: while both sums are positive they
together lose 2 k a reading, so when one passes h the other is zero and starts afresh. This needs head starts that
together are at most h + 2 k.

Sources: Page, E. S. (1954), Continuous inspection schemes, Biometrika 41, 100-115 (the equation); Lucas, J. M. and
Crosier, R. B. (1982), Fast initial response for CUSUM quality-control schemes, Technometrics 24, 199-205 (head start,
and the average of two sides). The distribution of two sides is their argument carried from means to probabilities.
"""

import math

import numpy as np

from spc.arl.run_length import (
    NEGLIGIBLE,
    Chain,
    RunLength,
    Start,
    Survival,
    check_start,
    is_settled,
    run_length,
    steady_weights,
    survival_of,
)
from spc.arrays import FloatArray, frozen
from spc.errors import InputError

NODES_A_SIGMA = 6
LARGEST_HEIGHT = 100.0


def one_sided_cusum_run_length(
    k: float, h: float, *, shift: float = 0.0, head_start: float = 0.0, start: Start = "zero"
) -> RunLength:
    """Return the run length of an upper CUSUM.

    Args:
        k: allowance in sigmas, at least 0.
        h: height of the limit in sigmas, above 0 and at most 100.
        shift: of the level from the centre line in sigmas, from the first counted reading on.
        head_start: what the sum starts from, from 0 to h; only with `start` "zero".
        start: "zero" from the head start, "steady" from a long stretch in control without a signal.

    Raises:
        InputError: a number out of its range, or a chart that practically never signals.
    """
    check_start(start)
    _check(k, h, shift, head_start)
    if start == "steady" and head_start:
        raise InputError(f"head start {head_start} is long forgotten in the steady state; leave it at 0")
    sums = _Sums(k, h)
    weights = sums.fresh(head_start, shift) if start == "zero" else steady_weights(sums.step(0.0))
    before = (1.0,) if start == "zero" else ()
    survival = survival_of(Chain(sums.step(shift), weights, before, sums.memory(shift)))
    return run_length(survival, method="integral equation", start=start, n_states=len(weights))


def cusum_run_length(k: float, h: float, *, shift: float = 0.0, head_start: float = 0.0) -> RunLength:
    """Return the run length of a two-sided CUSUM from a fresh start.

    Args:
        k: allowance in sigmas, above 0.
        h: height of the limits in sigmas, above 0 and at most 100.
        shift: of the level from the centre line in sigmas, from the first reading on.
        head_start: what both sums start from: from 0 to h / 2 + k.

    Raises:
        InputError: a number out of its range, or a chart that practically never signals.
    """
    _check(k, h, shift, head_start)
    if k == 0:
        raise InputError("allowance k is 0; a two-sided CUSUM needs one above 0")
    if 2 * head_start > h + 2 * k:
        raise InputError(f"head start {head_start} on both sides is above h / 2 + k = {h / 2 + k}; give a smaller one")
    sums = _Sums(k, h)
    survival = _first_of_two(
        _one_side(sums, shift, head_start),
        _one_side(sums, shift, 0.0),
        _one_side(sums, -shift, head_start),
        _one_side(sums, -shift, 0.0),
        max(sums.memory(shift), sums.memory(-shift)),
    )
    return run_length(survival, method="integral equation", start="zero", n_states=2 * len(sums.values))


def cusum_height(k: float, arl: float) -> float:
    """Return the height h that gives a two-sided CUSUM the average run length `arl` in control, to 1e-6.

    Raises:
        InputError: an allowance out of its range, or an average run length below 5 or above a million readings.
    """
    from scipy.optimize import brentq

    if not 5 <= arl <= 1e6:
        raise InputError(f"average run length is {arl}; give one from 5 to 1,000,000 readings")
    low, high = 1e-3, 0.5
    if cusum_run_length(k, low).arl > arl:
        raise InputError(f"with k = {k} no height gives an average run length as short as {arl}; give a smaller k")
    while cusum_run_length(k, high).arl < arl:
        low, high = high, 1.5 * high
    return float(brentq(lambda h: math.log(cusum_run_length(k, h).arl / arl), low, high, xtol=1e-6))


def _check(k: float, h: float, shift: float, head_start: float) -> None:
    if not 0 <= k < math.inf:
        raise InputError(f"allowance k is {k}; give a number of sigmas, at least 0")
    if not 0 < h <= LARGEST_HEIGHT:
        raise InputError(f"height h is {h}; give a number of sigmas above 0 and at most {LARGEST_HEIGHT:g}")
    if not math.isfinite(shift):
        raise InputError(f"shift is {shift}; give a number of sigmas")
    if not 0 <= head_start <= h:
        raise InputError(f"head start is {head_start}; give one from 0 to the height {h}")


class _Sums:
    """The values of an upper sum that do not signal: zero, and Gauss-Legendre nodes up to h."""

    def __init__(self, k: float, h: float) -> None:
        points, weights = np.polynomial.legendre.leggauss(30 + math.ceil(NODES_A_SIGMA * h))
        self.k, self.h = k, h
        self.values = np.concatenate(([0.0], h / 2 * (1 + points)))
        self.weights = h / 2 * weights

    def after(self, sums: FloatArray, shift: float) -> FloatArray:
        """Return the chances of each value after one more reading, from `sums`, shape (m,): shape (m, n)."""
        from scipy.special import ndtr

        level = sums[:, None] + shift - self.k
        density = np.exp(-0.5 * (self.values[1:] - level) ** 2) / math.sqrt(2 * math.pi)
        return np.hstack((ndtr(-level), density * self.weights))

    def step(self, shift: float) -> FloatArray:
        return self.after(self.values, shift)

    def fresh(self, head_start: float, shift: float) -> FloatArray:
        """Return the chances after the first reading."""
        first: FloatArray = self.after(np.array([head_start]), shift)[0]
        return first

    def memory(self, shift: float) -> int:
        """Return the readings after which a sum forgets: those it takes to wander, or to drift, over its range."""
        drift = shift - self.k
        return 10 + math.ceil(self.h**2 if drift == 0 else min(self.h**2, 4 / drift**2))


def _one_side(sums: _Sums, shift: float, head_start: float) -> Survival:
    return survival_of(Chain(sums.step(shift), sums.fresh(head_start, shift), (1.0,), sums.memory(shift)))


def _first_of_two(up: Survival, up_again: Survival, down: Survival, down_again: Survival, memory: int) -> Survival:
    """Return the survival of two sides, each of which starts again at zero whenever the other would signal.

    Of u(t), the chances that the upper sum alone first signals at t, those where it is the first of the two are
    a(t) = u(t) - sum over s < t of b(s) u0(t - s): b are the lower sum's, u0 the upper one's from a start at zero.
    """
    n = max(len(side.chances) for side in (up, up_again, down, down_again)) + 5 * memory
    u, u0, d, d0 = (side.firsts(n) for side in (up, up_again, down, down_again))
    a, b = np.zeros(n), np.zeros(n)
    chances = [1.0]
    hazards: list[float] = []
    for t in range(n):
        a[t] = u[t] - b[:t] @ u0[:t][::-1]
        b[t] = d[t] - a[:t] @ d0[:t][::-1]
        first = float(a[t] + b[t])
        hazards.append(min(first / chances[-1], 1.0))
        if is_settled(hazards, memory):
            break
        chances.append(max(chances[-1] - first, 0.0))
        if chances[-1] <= NEGLIGIBLE:
            return Survival(frozen(np.array([*chances[:-1], 0.0])), hazard=1.0)
    return Survival(frozen(np.array(chances)), hazards[-1])
