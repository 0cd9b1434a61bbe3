"""What speaks for a change: likelihood ratios of steps and drifts of every recent onset against a quiet level.

For each onset the filter's answer to a step of 1 and to a drift of 1 per reading is followed beside the filter itself;
what is left in the innovations is its signature. The log likelihood ratio of a change of size d is then
score d - information d**2 / 2. Sizes and onsets are summed over, with the weights of `WEIGHTS`.

Source:
    Willsky, A. S. and Jones, H. L. (1976), A generalized likelihood ratio approach to the detection and estimation of
    jumps in linear systems, IEEE Transactions on Automatic Control 21, 108-112; the sum over onsets in place of the
    largest: Roberts, S. W. (1966), A comparison of some control chart procedures, Technometrics 8, 411-430.
"""

import math
from typing import NamedTuple

import numpy as np

from spc.arrays import FloatArray
from spc.drift.noise import MEMORY

ONSETS = 50
"""How many readings back a change may have started."""

STEP_SIGMAS = (2.0, 3.5, 6.0)
"""Sizes of the steps that are looked for, in sigmas of a reading."""

DURATIONS = tuple(10.0 * 10.0 ** ((k + 0.5) / 4) for k in range(4))
"""Readings within which a drift that matters takes the level to an acceptance limit: from 10 to 100."""

STEP_WEIGHT, DRIFT_WEIGHT = 0.5, 2.0
NEAREST_LIMIT = 2.0
"""A limit nearer to the level than this many sigmas is taken to be that far."""

_STEPS, _SLOPES = len(STEP_SIGMAS), len(DURATIONS)
PER_SIDE = _STEPS + _SLOPES
DRIFT_ROWS = np.array([False] * _STEPS + [True] * _SLOPES)  # of one side
_ROW = np.tile(DRIFT_ROWS.astype(np.int64), 2)
_SHARES = np.array([STEP_WEIGHT / _STEPS] * _STEPS + [DRIFT_WEIGHT / _SLOPES] * _SLOPES)
_SIGMAS = np.array(STEP_SIGMAS)
_PER_READING = 1.0 / np.array(DURATIONS)
SHAPES = np.stack([np.ones(ONSETS), np.arange(ONSETS, 0, -1.0)])  # newest onset last
_LARGEST_LOG = 60.0

SCORE, INFORMATION, MEAN, SLOW, AGEING, LIFT = range(6)


def no_onsets() -> FloatArray:
    """Return the bank before any onset, shape (6, 2, 0): rows as named above, for a step and for a drift."""
    return np.zeros((6, 2, 0))


def with_reading(
    bank: FloatArray, gain: tuple[float, float, float, float], score: float, information: float, lift: float = 0.0
) -> FloatArray:
    """Return the bank after one more reading, which is the newest onset; shape (6, 2, m), m at most ONSETS.

    Args:
        bank: the one before.
        gain: of the filter, see `Level.gain`.
        score: of the reading about the predicted level.
        information: likewise; 0 for a reading that tells nothing.
        lift: top-ups less the expected loss since the reading before, see `inputs.Move`.
    """
    newest = np.zeros((6, 2, 1))
    bank = np.concatenate((bank[:, :, -(ONSETS - 1) :], newest), axis=2)
    bank[MEAN] += bank[AGEING] + lift * bank[LIFT]
    bank[SLOW] *= MEMORY
    if information:
        signature = SHAPES[:, -bank.shape[2] :] - bank[MEAN] - bank[SLOW]
        told = information * signature
        bank[SCORE] += score * signature
        bank[INFORMATION] += told * signature
        for row, share in zip((MEAN, SLOW, AGEING, LIFT), gain, strict=True):
            bank[row] += share * told
    return bank


class Evidence(NamedTuple):
    """Likelihood ratios of changes against none, weighed, by side, size and onset."""

    sizes: FloatArray  # shape (2 PER_SIDE,), low side first: of steps, then of drifts per reading, on the model's scale
    odds: FloatArray  # shape (2 PER_SIDE, m)

    def of_side(self, side: int) -> FloatArray:
        """Return the rows of `odds` of one side, shape (PER_SIDE, m)."""
        return self.odds[:PER_SIDE] if side < 0 else self.odds[PER_SIDE:]

    def log_odds(self, side: int) -> float:
        """Return the log of the summed likelihood ratio of one side."""
        return math.log(float(self.of_side(side).sum()) + 1e-12)


def evidence(bank: FloatArray, *, sigma: float, to_lower: float, to_upper: float) -> Evidence:
    """Return the evidence for all changes that are looked for.

    Args:
        bank: see `with_reading`.
        sigma: of a written reading, on the model's scale.
        to_lower: from the level to the acceptance limit below, negative; NaN where there is none.
        to_upper: likewise above, positive.
    """
    low, has_low = _at_least(-to_lower, sigma)
    high, has_high = _at_least(to_upper, sigma)
    steps = sigma * _SIGMAS
    sizes = np.concatenate((-steps, -low * _PER_READING, steps, high * _PER_READING))
    logs = bank[SCORE][_ROW] * sizes[:, None] - bank[INFORMATION][_ROW] * (sizes**2 / 2.0)[:, None]
    weights = np.concatenate((_SHARES, _SHARES))
    weights[_STEPS:PER_SIDE] *= has_low
    weights[PER_SIDE + _STEPS :] *= has_high
    return Evidence(sizes, weights[:, None] * np.exp(np.minimum(logs, _LARGEST_LOG)))


def _at_least(distance: float, sigma: float) -> tuple[float, float]:
    """Return a distance to a limit that drifts can be measured by, and whether there is a limit: 1 or 0."""
    return (max(distance, NEAREST_LIMIT * sigma), 1.0) if math.isfinite(distance) else (sigma, 0.0)
