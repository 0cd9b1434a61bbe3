"""What the level and its slope are if a change is under way: the mean over sizes and onsets, weighed by their odds."""

from typing import NamedTuple

import numpy as np

from spc.arrays import FloatArray
from spc.drift.evidence import DRIFT_ROWS, MEAN, ONSETS, PER_SIDE, SHAPES, SLOW, Evidence
from spc.drift.level import Level


class Mixture(NamedTuple):
    """Level and slope under a change, on the model's scale; variances are those between sizes and onsets."""

    level: float
    level_variance: float
    slope: float
    slope_variance: float


def offsets(bank: FloatArray, found: Evidence) -> FloatArray:
    """Return by how much the level differs from the filter's under each change, shape of `found.odds`."""
    left = SHAPES[:, ONSETS - bank.shape[2] :] - bank[MEAN] - bank[SLOW]
    row = np.tile(DRIFT_ROWS.astype(np.int64), 2)
    return np.asarray(left[row] * found.sizes[:, None], dtype=np.float64)


def alternatives(level: Level, bank: FloatArray, found: Evidence, *, side: int, drifting: bool) -> Mixture:
    """Return level and slope under the changes of one side: its drifts, or its steps."""
    rows = DRIFT_ROWS if drifting else ~DRIFT_ROWS
    chosen = np.flatnonzero(rows) + (0 if side < 0 else PER_SIDE)
    weight = found.odds[chosen] / found.odds[chosen].sum()
    off = offsets(bank, found)[chosen]
    slopes = np.broadcast_to((found.sizes[chosen] * drifting)[:, None], weight.shape)
    mean_off, mean_slope = float((weight * off).sum()), float((weight * slopes).sum())
    return Mixture(
        level.now + mean_off,
        float((weight * (off - mean_off) ** 2).sum()),
        level.ageing + mean_slope,
        float((weight * (slopes - mean_slope) ** 2).sum()),
    )
