"""What goes wrong: drifts that end in a failure, harmless steps, sudden failures."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from spc.arrays import FloatArray
from tests.bench.lines.sources import Source
from tests.bench.lines.truth import AHEAD

Kind = Literal["none", "drift", "step", "sudden"]


@dataclass(frozen=True, slots=True)
class Fault:
    """What goes wrong in one segment: `share` of the way to the limit, or a shift in sigmas, per reading."""

    kind: Kind
    onset: int  # in the segment
    length: int  # of the segment
    side: int = 0
    shape: str = ""
    share: FloatArray | None = None  # shape (length + AHEAD,)
    sigmas: float = 0.0


def _linear(u: FloatArray, rng: np.random.Generator) -> FloatArray:
    return u


def _accelerating(u: FloatArray, rng: np.random.Generator) -> FloatArray:
    return np.asarray(u ** rng.uniform(1.3, 2.5))


def _levelling(u: FloatArray, rng: np.random.Generator) -> FloatArray:
    rate = rng.uniform(0.5, 2.0)
    return np.asarray((1.0 - np.exp(-rate * u)) / (1.0 - np.exp(-rate)))


def _step_then_drift(u: FloatArray, rng: np.random.Generator) -> FloatArray:
    first = rng.uniform(0.15, 0.45)
    return np.where(u > 0, first + (1.0 - first) * u, 0.0)


def _staircase(u: FloatArray, rng: np.random.Generator) -> FloatArray:
    stairs = rng.integers(4, 9)
    return np.asarray(np.ceil(u * stairs) / stairs)


SHAPES: tuple[tuple[str, Callable[[FloatArray, np.random.Generator], FloatArray]], ...] = (
    ("linear", _linear),
    ("accelerating", _accelerating),
    ("levelling", _levelling),
    ("step then drift", _step_then_drift),
    ("staircase", _staircase),
)
SHAPE_SHARES = (0.34, 0.2, 0.16, 0.15, 0.15)


def draw_fault(rng: np.random.Generator, source: Source, *, faulty: bool, left: int) -> Fault:
    """Return what happens in the next segment of `source`, of which `left` readings fit into the two years."""
    ordinary = int(rng.integers(*source.segment))
    kind = rng.choice(["none", "drift", "step", "sudden"], p=[0.45, 0.30, 0.22, 0.03]) if faulty else "none"
    early = rng.random() < 0.08
    before = int(rng.integers(4, 20) if early else rng.integers(24, 90))
    if kind == "drift":
        return _drift(rng, source, before, left) or Fault("none", 0, ordinary)
    if kind == "step" and left > before + 30:
        return _step(rng, source, before)
    if kind == "sudden" and left > before + 5:
        length = before + int(rng.integers(2, 6))
        share = np.where(np.arange(length + AHEAD) >= before, rng.uniform(1.05, 1.5), 0.0)
        return Fault("sudden", before, length, _failing_side(rng, source), "sudden", share)
    return Fault("none", 0, ordinary)


def _drift(rng: np.random.Generator, source: Source, before: int, left: int) -> Fault | None:
    duration = float(np.clip(source.habits.drift_lasts * np.exp(0.5 * rng.standard_normal()), 12.0, 120.0))
    length = before + int(np.ceil(duration)) + int(rng.integers(2, 7))
    if length > left:
        return None
    name, shape = SHAPES[int(rng.choice(len(SHAPES), p=SHAPE_SHARES))]
    u = np.clip((np.arange(length + AHEAD) - before + 1) / duration, 0.0, None)
    return Fault("drift", before, length, _failing_side(rng, source), name, shape(u, rng))


def _failing_side(rng: np.random.Generator, source: Source) -> int:
    if np.isnan(source.upper):
        return -1
    if np.isnan(source.lower):
        return 1
    down = 0.75 if source.check == "bath_concentration" else 0.5
    return -1 if rng.random() < down else 1


def _step(rng: np.random.Generator, source: Source, before: int) -> Fault:
    side = int(rng.choice([-1, 1]))
    length = before + int(rng.integers(25, 80))
    return Fault("step", before, length, side, sigmas=side * rng.uniform(2.4, 6.0))


def with_fault(level: FloatArray, fault: Fault, source: Source) -> FloatArray:
    """Return the true level with the fault in it, shape as `level`."""
    if fault.share is not None:
        limit = source.lower if fault.side < 0 else source.upper
        if source.relative:
            return np.asarray(level ** (1.0 - fault.share) * limit**fault.share)
        return np.asarray(level + fault.share * (limit - level))
    if fault.kind != "step":
        return level
    off = np.where(np.arange(len(level)) >= fault.onset, fault.sigmas * reading_sigma(source, level), 0.0)
    return np.asarray(level * np.exp(off) if source.relative else level + off)


def reading_sigma(source: Source, level: FloatArray) -> float:
    """Return the standard deviation of written readings of a quiet level, rounding and its own course included.

    Relative where the source's sigma is.
    """
    step = source.step / float(np.median(level)) if source.relative else source.step
    course = np.log(level) if source.relative else level
    return float(np.sqrt(source.sigma**2 + step**2 / 12.0 + np.var(course)))


def harmless(level: FloatArray, quiet: FloatArray, source: Source) -> bool:
    """Return whether no reading of a stepped level comes near the acceptance limits."""
    sigma = reading_sigma(source, quiet)
    for limit in (source.lower, source.upper):
        gap = np.abs(np.log(level / limit)) if source.relative else np.abs(level - limit)
        inside = (level > limit) if limit == source.lower else (level < limit)
        if not np.isnan(limit) and not (inside.all() and gap.min() > 2.5 * sigma):
            return False
    return True
