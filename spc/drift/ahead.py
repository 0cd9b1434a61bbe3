"""The courses that a stream may be on, each with its weight: quiet, stepped, or drifting at one of several slopes."""

import math
from typing import NamedTuple

import numpy as np

from spc.arrays import FloatArray
from spc.drift.evidence import DRIFT_ROWS
from spc.drift.level import Level
from spc.drift.mixture import offsets
from spc.drift.runs import runs
from spc.drift.step import DriftState, Scale, evidence_of
from spc.errors import InputError

CHANGES_PER_READING = 1 / 1000
"""How often a level starts to step or drift, before the readings are seen (an estimate of our own)."""

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
    noise_sd: float  # of a reading about level and swings, rounding left out
    swing_sd: float  # of the wander that coming readings share, MEMORY its lag-1 correlation; 0: counted as noise


def courses(state: DriftState) -> Course:
    """Return the courses that a stream may be on after its latest reading.

    Raises:
        InputError: no reading yet.
    """
    level, scale = state.level, state.scale
    if level is None or scale is None:
        raise InputError("no reading yet; nothing can be foretold of a stream before its first one")
    if state.moved:
        return _running(state, scale)
    found = evidence_of(level, scale, state.bank)
    odds = CHANGES_PER_READING * found.odds
    by_change = odds.sum(axis=1)
    share = odds / np.maximum(by_change, 1e-300)[:, None]
    off = offsets(state.bank, found)
    mean_off = (share * off).sum(axis=1)
    spread = (share * (off - mean_off[:, None]) ** 2).sum(axis=1)
    variance = max(level.variance, 0.0)
    slopes = found.sizes * np.tile(DRIFT_ROWS, 2)
    quiet = np.array([[1.0, level.mean, variance, 0.0]])
    changed = np.stack([by_change, level.mean + mean_off, variance + spread, slopes], axis=1)
    rows = np.concatenate((quiet, changed, _far_off(state, level, scale)))
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
        swing_sd=0.0,
    )


LEAST_RUN = 0.003
"""Runs less likely than this are left out."""

SLOPE_NODES, SLOPE_NODE_SHARES = (-math.sqrt(3.0), 0.0, math.sqrt(3.0)), (1 / 6, 2 / 3, 1 / 6)
"""Slopes that stand for a normal distribution of them, in its standard deviations (Gauss and Hermite)."""


def _running(state: DriftState, scale: Scale) -> Course:
    """Return the courses of a level that was seen to move: the runs that its latest readings may be on.

    Readings that wander together tell less of a run than as many that scatter for themselves: each counts with the
    variance that a mean of them shows, else every swing of the wander would be taken for a flat or a line.
    """
    y = state.recent[-(state.n - state.changed_at) :]
    if state.model.log:
        above = y[y > 0]  # 0 as written: half of the smallest number that is not
        y = np.log(np.maximum(y, above.min() / 2.0 if len(above) else 1.0))
    found = runs(y, scale.sigma**2 * state.noise.wander_ratio).likelier_than(LEAST_RUN)
    sd = np.sqrt(np.maximum(found.slope_variance, 0.0))
    share = np.divide(found.covariance, sd, out=np.zeros_like(sd), where=sd > 0)
    left = np.sqrt(np.maximum(found.level_variance - share**2, 0.0))
    nodes = list(zip(SLOPE_NODES, SLOPE_NODE_SHARES, strict=True))
    return Course(
        weight=np.concatenate([part * found.weight for _, part in nodes]),
        level=np.concatenate([found.level + node * share for node, _ in nodes]),
        level_sd=np.tile(left, len(nodes)),
        slope=np.concatenate([found.slope + node * sd for node, _ in nodes]),
        ageing=0.0,
        slow=0.0,
        noise_sd=math.sqrt(scale.white),
        swing_sd=math.sqrt(scale.slow),
    )


def _far_off(state: DriftState, level: Level, scale: Scale) -> FloatArray:
    """Return the course of a level that went as far as the latest readings did; its weight is a probability."""
    count = min(abs(state.far), len(FAR_IS_REAL), len(state.history))
    if not count:
        return np.zeros((0, 4))
    latest = float(state.history[-count:].mean()) + state.moved_by
    return np.array([[FAR_IS_REAL[count - 1], latest - level.slow, (scale.white + scale.rounding) / count, 0.0]])
