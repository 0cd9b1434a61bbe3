"""From true levels to what stands in the log."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spc.arrays import BoolArray, FloatArray
from spc.records import Bound
from tests.bench.lines.habits import Habits
from tests.bench.lines.sources import Source, wander


@dataclass(frozen=True, slots=True)
class Written:
    """Readings as written; every array has shape (n,)."""

    value: FloatArray
    bound: NDArray[np.int8]
    slip: BoolArray
    copied: BoolArray


def write(rng: np.random.Generator, level: FloatArray, source: Source, habits: Habits) -> Written:
    """Return what people write down of `level`, shape (n,)."""
    n = len(level)
    noise = source.sigma * _noise(rng, n, habits)
    x = level * np.exp(noise) if source.relative else level + noise
    slip = rng.random(n) < habits.misread
    x = np.where(slip, _misread(rng, level, source), x)
    if source.check == "uva_irradiance":
        cold = ~slip & (rng.random(n) < habits.cold)
        x = np.where(cold, x * rng.uniform(1.06, 1.12, n), x)
        slip |= cold
    value = np.round(x / source.step) * source.step
    below = (value < source.step / 2) & (source.check not in ("ammeter", "timer"))
    value = np.where(below, source.step, value)
    bound = np.where(below, Bound.BELOW, Bound.EXACT).astype(np.int8)
    copied = _copied(rng, n, habits)
    for i in np.flatnonzero(copied):
        value[i], bound[i] = value[i - 1], bound[i - 1]
        slip[i] = slip[i - 1]
    return Written(np.round(value, 6), bound, slip, copied)


def _noise(rng: np.random.Generator, n: int, habits: Habits) -> FloatArray:
    """Return noise of standard deviation 1 with the stream's tails and memory."""
    if np.isinf(habits.tail):
        return rng.standard_normal(n)
    white = rng.standard_t(habits.tail, n) / np.sqrt(habits.tail / (habits.tail - 2.0))
    # Half of what remembers is the level of the day (voltage, mixing), half the person who reads.
    share = habits.memory
    return np.asarray(np.sqrt(1.0 - share) * white + np.sqrt(share) * wander(rng, n, 0.4 + 0.5 * share))


def _misread(rng: np.random.Generator, level: FloatArray, source: Source) -> FloatArray:
    n = len(level)
    size = rng.choice([-1.0, 1.0], n) * rng.uniform(5.0, 12.0, n) * source.sigma
    x = level * np.exp(size) if source.relative else level + size
    decimal = rng.random(n) < 0.2
    return np.where(decimal, level * rng.choice([0.1, 10.0], n), x)


def _copied(rng: np.random.Generator, n: int, habits: Habits) -> BoolArray:
    copied = np.zeros(n, dtype=np.bool_)
    for start in np.flatnonzero(rng.random(n) < habits.copied):
        copied[max(1, start) : start + int(rng.integers(1, 6))] = True
    return copied
