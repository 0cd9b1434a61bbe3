"""The courses that a stream may be on, each with its weight: quiet, stepped, or drifting at one of several slopes."""

import math
from typing import NamedTuple

import numpy as np

from spc.arrays import FloatArray
from spc.drift.evidence import DRIFT_ROWS, INFORMATION, MEAN, SCORE, SLOW
from spc.drift.level import Level
from spc.drift.mixture import offsets
from spc.drift.step import DriftState, Scale, evidence_of
from spc.errors import InputError

CHANGES_PER_READING = 1 / 1000
"""How often a level starts to step or drift, before the readings are seen (an estimate of our own)."""

CHANGES_ONCE_MOVED = 1 / 12
"""The same for a level that was seen to move since the last recorded change: what moved it is likely still there."""

GOES_ON_ODDS = 4.0
"""Odds that a drift that was seen goes on, against that it has stopped, before further readings are seen."""

FAR_IS_REAL = (0.3, 0.8, 0.95)
"""Probability that one, two, three readings in a row far off mean that the level is there, and are no slips."""


class Course(NamedTuple):
    """Courses on the model's scale; every array has shape (c,), the quiet one first."""

    weight: FloatArray  # sums to 1
    level: FloatArray  # after the latest reading, without slow wander
    level_sd: FloatArray
    slope: FloatArray  # per reading, beyond the ageing
    ageing: float  # per reading
    slow: float  # wander after the latest reading
    noise_sd: float  # of a reading about its level, rounding left out


def courses(state: DriftState) -> Course:
    """Return the courses that a stream may be on after its latest reading.

    Raises:
        InputError: no reading yet.
    """
    level, scale = state.level, state.scale
    if level is None or scale is None:
        raise InputError("no reading yet; nothing can be foretold of a stream before its first one")
    found = evidence_of(level, scale, state.bank)
    odds = (CHANGES_ONCE_MOVED if state.moved else CHANGES_PER_READING) * found.odds
    by_change = odds.sum(axis=1)
    share = odds / np.maximum(by_change, 1e-300)[:, None]
    off = offsets(state.bank, found)
    mean_off = (share * off).sum(axis=1)
    spread = (share * (off - mean_off[:, None]) ** 2).sum(axis=1)
    variance = max(level.variance, 0.0)
    slopes = found.sizes * np.tile(DRIFT_ROWS, 2)
    quiet = np.array([[1.0, level.mean, variance, 0.0]])
    changed = np.stack([by_change, level.mean + mean_off, variance + spread, slopes], axis=1)
    rows = np.concatenate((quiet, changed, _going_on(state, level), _far_off(state, level, scale)))
    if state.far:
        rows[:-1, 0] *= (1.0 - rows[-1, 0]) / rows[:-1, 0].sum()
    return Course(
        weight=rows[:, 0] / rows[:, 0].sum(),
        level=rows[:, 1],
        level_sd=np.sqrt(rows[:, 2]),
        slope=rows[:, 3],
        ageing=level.ageing,
        slow=level.slow,
        noise_sd=math.sqrt(scale.white + scale.slow),
    )


def _going_on(state: DriftState, level: Level) -> FloatArray:
    """Return the course of the drift that was held for the new level and goes on, weight against the quiet one."""
    slope = state.held_slope
    if slope == 0.0:
        return np.zeros((0, 4))
    logs, off = 0.0, 0.0
    if state.bank.shape[2]:
        oldest = state.bank[:, 1, 0]
        logs = min(oldest[SCORE] * slope - oldest[INFORMATION] * slope**2 / 2.0, 60.0)
        off = slope * (state.bank.shape[2] - oldest[MEAN] - oldest[SLOW])
    weight = GOES_ON_ODDS * math.exp(logs)
    return np.array([[weight, level.mean + off, max(level.variance, 0.0), slope]])


def _far_off(state: DriftState, level: Level, scale: Scale) -> FloatArray:
    """Return the course of a level that went as far as the latest readings did; its weight is a probability."""
    count = min(abs(state.far), len(FAR_IS_REAL), len(state.history))
    if not count:
        return np.zeros((0, 4))
    latest = float(state.history[-count:].mean()) + state.moved_by
    return np.array([[FAR_IS_REAL[count - 1], latest - level.slow, (scale.white + scale.rounding) / count, 0.0]])
