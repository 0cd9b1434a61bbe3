"""How many readings pass until a chart signals: from a chain of states to the mean and the quantiles.

Every exact method here ends in the same object, a `Chain`: what the chart remembers is a state (of a Markov chain) or a
node (of an integral equation), and one more reading without a signal is one multiplication by a matrix.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from spc.arrays import FloatArray, frozen
from spc.errors import InputError
from spc.told import Told

if TYPE_CHECKING:
    from scipy.sparse import csr_array

    Matrix = NDArray[np.float64] | csr_array[np.float64, tuple[int, int]]

Method = Literal["exact chain", "integral equation", "simulation"]

Start = Literal["zero", "steady"]
"""What the chart remembers when the counting starts: nothing, or a long stretch in control without a signal."""

PARTS = (0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95)
"""Of all runs, by which quantiles are told."""

SETTLED = 1e-9
"""The chance of a signal at the next reading is constant once it changes by less than this part of itself."""

NEGLIGIBLE = 1e-13
"""A chance of no signal so far that ends the counting."""

RAREST = 1e-12
"""A chance of a signal at the next reading below which nothing can be counted."""

MOST_READINGS = 1_000_000
"""Readings after which the chance of a signal is taken as constant even so."""


@dataclass(frozen=True, slots=True)
class RunLength(Told):
    """Readings up to and including the one that signals.

    `p05` is the smallest number of readings by which at least 5 % of all runs have signalled, and so on.
    """

    method: Method
    start: Start
    arl: float  # average run length, readings
    standard_error: float | None  # of `arl`, where it is simulated
    p05: int
    p10: int
    p25: int
    p50: int
    p75: int
    p90: int
    p95: int
    n_states: int  # states of the chain, nodes of the equation, or runs simulated


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """What a chart remembers, and how one more reading without a signal changes it."""

    step: "Matrix"  # (n, n): [i, j] chance of no signal and of going from state i to state j
    weights: FloatArray  # (n,) chance of no signal and of state i, after the readings of `before`
    before: tuple[float, ...]  # chance of no signal after 0, 1, ... readings, up to those that gave `weights`
    memory: int  # readings after which the past is nearly forgotten


@dataclass(frozen=True, slots=True, eq=False)
class Survival:
    """The chance of no signal after 0, 1, 2, ... readings: given one by one, then falling by `hazard` a reading."""

    chances: FloatArray  # (m + 1,)
    hazard: float  # chance that the next reading signals, from the last of `chances` on

    @property
    def arl(self) -> float:
        """The average run length: the sum of the chances of no signal after 0, 1, 2, ... readings."""
        return math.fsum(self.chances[:-1].tolist()) + float(self.chances[-1]) / self.hazard

    def quantile(self, part: float) -> int:
        """Return the smallest number of readings by which at least `part` of all runs have signalled."""
        left = 1 - part + NEGLIGIBLE
        within = np.flatnonzero(self.chances <= left)
        if len(within):
            return int(within[0])
        more = math.log(left / float(self.chances[-1])) / math.log1p(-self.hazard)
        return len(self.chances) - 1 + math.ceil(more - SETTLED)

    def firsts(self, n: int) -> FloatArray:
        """Return the chances that the first signal is at reading 1, 2, ..., n, shape (n,)."""
        given = self.chances[: n + 1]
        beyond = np.arange(1, n + 2 - len(given))
        return -np.diff(np.concatenate((given, given[-1] * (1 - self.hazard) ** beyond)))


def check_start(start: str) -> None:
    """Refuse a start that is neither "zero" nor "steady"."""
    if start not in get_args(Start):
        raise InputError(f"start is {start!r}; give 'zero' or 'steady'")


def survival_of(chain: Chain) -> Survival:
    """Follow a chain until the chance of a signal at the next reading is constant."""
    chances = [*chain.before, float(chain.weights.sum())]
    hazards: list[float] = []
    signals = np.clip(1 - np.asarray(chain.step @ np.ones(len(chain.weights))), 0, None)
    while chances[-1] > NEGLIGIBLE:
        first = float(chain.weights @ signals)
        hazards.append(min(first / chances[-1], 1.0))
        if is_settled(hazards, chain.memory):
            return Survival(frozen(np.array(chances)), hazards[-1])
        chances.append(max(chances[-1] - first, 0.0))
        signals = np.asarray(chain.step @ signals)
    return Survival(frozen(np.array([*chances[:-1], 0.0])), hazard=1.0)


def is_settled(hazards: list[float], memory: int) -> bool:
    """Return whether the last of `hazards` stands for all that follow."""
    if len(hazards) <= 5 * memory:
        return False
    return abs(hazards[-1] - hazards[-1 - memory]) <= SETTLED * hazards[-1] or len(hazards) > MOST_READINGS


def steady_weights(step: "Matrix") -> FloatArray:
    """Return the chance of each state after a long stretch without a signal, shape (n,), sum 1.

    This is the conditional steady state: the left eigenvector of the largest eigenvalue of `step`.

    Source: Crosier, R. B. (1986), A new two-sided cumulative sum quality control scheme, Technometrics 28, 187-194.
    """
    n = step.shape[0]
    now = np.full(n, 1 / max(n, 1))
    backward = step.T
    for _ in range(MOST_READINGS):
        before, now = now, np.asarray(backward @ now, dtype=np.float64)
        total = float(now.sum())
        if total <= 0:
            break
        now /= total
        if float(np.abs(now - before).sum()) < NEGLIGIBLE:
            return now
    raise InputError("the chart reaches no steady state in control; ask for the run length from a fresh start")


def run_length(survival: Survival, *, method: Method, start: Start, n_states: int) -> RunLength:
    """Return the mean and the quantiles of an exactly known run length.

    Raises:
        InputError: the chart signals too rarely to be counted.
    """
    if survival.hazard < RAREST:
        raise InputError(
            f"no signal is to be expected in {1 / RAREST:.0e} readings; give rules or limits that can signal"
        )
    p05, p10, p25, p50, p75, p90, p95 = (survival.quantile(part) for part in PARTS)
    return RunLength(method, start, survival.arl, None, p05, p10, p25, p50, p75, p90, p95, n_states)
