"""What one reading says about the true value: an interval, on the model's scale."""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from spc.arrays import FloatArray
from spc.records import Bound

_SQRT2 = math.sqrt(2.0)
_DENSITY_AT_0 = 1.0 / math.sqrt(2.0 * math.pi)

STEP_RATIOS = np.array([0.01, 0.02, 0.025, 0.05, 0.1, 0.2, 0.25, 0.5, 1.0, 2.0, 2.5, 5.0])
"""Steps that people write in, as ratios to the declared resolution; finer first."""

RECENT = 25
"""Readings that show which step is written in."""


@dataclass(frozen=True, slots=True)
class DriftReading:
    """One reading as the model takes it, in the chart unit."""

    value: float
    bound: int = Bound.EXACT
    resolution: float = float("nan")  # smallest step by the check; NaN where not known
    lower: float = float("nan")  # acceptance limits; NaN where none
    upper: float = float("nan")
    restart: bool = False  # a resetting event was recorded since the reading before
    fed: int = 0  # top-ups recorded since then
    amount: float = float("nan")  # what they added in all, in any one unit; NaN where not all of it is known
    disturbed: bool = False  # something else was recorded since then that may have moved the level
    pause: float = 1.0  # time since then, in usual times between two readings


class Known(NamedTuple):
    """An interval that holds the true value, on the model's scale."""

    low: float
    high: float
    middle: float
    width: float  # of one written step


def written_step(recent: FloatArray, resolution: float) -> float:
    """Return the step that readings are written in: the largest of which all but a twelfth are multiples.

    Steps coarser than the declared resolution need 10 readings to show, on two of their multiples at least: 0.25 read
    again and again is no step of 0.25. Where none fits, the declared one stands.

    Args:
        recent: latest readings in the chart unit, shape (n,).
        resolution: the declared one; NaN where not known: then 0.
    """
    if math.isnan(resolution):
        return 0.0
    steps = resolution * (STEP_RATIOS if len(recent) >= 10 else STEP_RATIOS[:9])
    for step in steps[::-1]:
        multiple = np.rint(recent / step)
        on = np.abs(recent - step * multiple) <= 1e-6 * np.abs(recent)
        few_off = len(recent) - np.count_nonzero(on) <= len(recent) // 12
        if few_off and (step <= resolution or np.ptp(multiple[on]) > 0):
            return float(step)
    return resolution


def known(reading: DriftReading, step: float, *, log: bool) -> Known:
    """Return what a reading says on the model's scale."""
    value, half = reading.value, step / 2.0
    low = -math.inf if reading.bound == Bound.BELOW else value - half
    high = math.inf if reading.bound == Bound.ABOVE else value + half
    if reading.bound != Bound.EXACT:
        low, high = (low, value) if reading.bound == Bound.BELOW else (value, high)
    if not log:
        return Known(low, high, value, step)
    size = max(value, half, 1e-12)
    middle = math.log(size / 2.0 if reading.bound == Bound.BELOW else size)
    return Known(_log(low), _log(max(high, size)), middle, step / size)


def _log(x: float) -> float:
    return math.log(x) if x > 1e-12 else -math.inf


def scored(seen: Known, mean: float, variance: float) -> tuple[float, float]:
    """Return how far a reading lies from what was predicted, in sigmas, and how much it tells: its information.

    The two are the score of the likelihood that the interval gives to the predicted mean, in units of the square root
    of its information, and that information. For a narrow interval they are those of a normal reading with the variance
    of rounding added (Sheppard 1898); for a wide or open one those of an interval-censored normal variable.

    Args:
        seen: what the reading says.
        mean: predicted mean of the true value with its noise.
        variance: predicted variance, rounding left out.
    """
    sd = math.sqrt(variance)
    if seen.high - seen.low < 0.7 * sd:
        whole = variance + seen.width**2 / 12.0
        return ((seen.low + seen.high) / 2.0 - mean) / math.sqrt(whole), 1.0 / whole
    a, b = (seen.low - mean) / sd, (seen.high - mean) / sd
    inside = 0.5 * (
        math.erfc(a / _SQRT2) - math.erfc(b / _SQRT2) if a > 0 else math.erf(b / _SQRT2) - math.erf(a / _SQRT2)
    )
    if inside < 1e-9:
        return (a if a > 0 else b), 1.0 / variance
    at_a, at_b = _DENSITY_AT_0 * math.exp(-a * a / 2.0), _DENSITY_AT_0 * math.exp(-b * b / 2.0)
    mean_inside = (at_a - at_b) / inside
    spread = 1.0 - ((b * at_b if math.isfinite(b) else 0.0) - (a * at_a if math.isfinite(a) else 0.0)) / inside
    information = max(1.0 - (spread - mean_inside**2), 1e-4) / variance
    return mean_inside / sd / math.sqrt(information), information
