"""Where a level that was seen to move goes: flats and straight lines through its latest readings.

The readings since the last recorded change may lie on one run or on several, each flat or straight, a new one beginning
now and then. What is known of every run that may have reached the latest reading is carried along with its weight.

Source:
    Adams, R. P. and MacKay, D. J. C. (2007), Bayesian Online Changepoint Detection, arXiv:0710.3742, section 2; the
    runs are normal linear regressions with known variance (O'Hagan and Forster 2004, Kendall's Advanced Theory of
    Statistics 2B, chapter 11).
"""

import math
from typing import NamedTuple

import numpy as np

from spc.arrays import FloatArray

RUNS_END = 1 / 12
"""How often a run ends, once the level was seen to move: what moved it is likely still there (an estimate)."""

SLOPE_SIGMAS, SHARES = (0.0, 0.5, 2.5), (0.4, 0.4, 0.2)
"""How fast a new run may go per reading, in sigmas: flat, a drift, or faster; and their shares (estimates)."""

START_SIGMAS = 5.0
"""How far a new run may begin from where the last one was, in sigmas."""

STRAY_SHARE, STRAY_SIGMAS = 0.03, 8.0
"""Share of readings that are slips, and how far off those are, in sigmas (an estimate)."""


class Runs(NamedTuple):
    """Runs that may have reached the latest reading; every array has shape (r,)."""

    weight: FloatArray  # sums to 1
    level: FloatArray  # at the latest reading
    slope: FloatArray  # per reading
    level_variance: FloatArray
    slope_variance: FloatArray
    covariance: FloatArray

    def likelier_than(self, least: float) -> "Runs":
        """Return the runs whose weight is at least `least`."""
        kept = self.weight >= least
        left = Runs(*(column[kept] for column in self))
        return left._replace(weight=left.weight / left.weight.sum())


def runs(y: FloatArray, variance: float) -> Runs:
    """Return the runs that may have reached the last of some readings.

    Args:
        y: in time order, shape (n,), n >= 1.
        variance: of a reading about its run.
    """
    sigma = math.sqrt(variance)
    share, none = np.array(SHARES), np.zeros(len(SHARES))
    slope_prior = (np.array(SLOPE_SIGMAS) * sigma) ** 2
    far = np.full(len(SHARES), START_SIGMAS**2 * variance)
    found = Runs(share, np.full(len(SHARES), y[0]), none, np.full(len(SHARES), variance), slope_prior, none)
    for value in y[1:]:
        level = found.level + found.slope
        going = Runs(
            found.weight * (1.0 - RUNS_END),
            level,
            found.slope,
            found.level_variance + 2.0 * found.covariance + found.slope_variance,
            found.slope_variance,
            found.covariance + found.slope_variance,
        )
        centre = np.full(len(SHARES), float(found.weight @ level))
        new = Runs(RUNS_END * share, centre, none, far, slope_prior, none)
        found = _seen(Runs(*(np.concatenate(pair) for pair in zip(going, new, strict=True))), value, variance)
    return found


def _seen(before: Runs, value: float, variance: float) -> Runs:
    """Return the runs after one more reading, which may be a slip: it moves a run by as much as it is likely none."""
    whole = before.level_variance + variance
    off = value - before.level
    own = (1.0 - STRAY_SHARE) * np.exp(-0.5 * off**2 / whole) / np.sqrt(whole)
    wide = whole + STRAY_SIGMAS**2 * variance
    stray = STRAY_SHARE * np.exp(-0.5 * off**2 / wide) / np.sqrt(wide)
    likely = own + stray
    trust = own / np.maximum(likely, 1e-300)
    weight = before.weight * np.maximum(likely, 1e-300)
    level_gain, slope_gain = trust * before.level_variance / whole, trust * before.covariance / whole
    return Runs(
        weight / weight.sum(),
        before.level + level_gain * off,
        before.slope + slope_gain * off,
        before.level_variance * (1.0 - level_gain),
        before.slope_variance - slope_gain * before.covariance,
        before.covariance * (1.0 - level_gain),
    )
