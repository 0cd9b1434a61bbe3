"""Distance of a reading from the centre line, in sigmas."""

import math

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, frozen

STEPS_PER_SIGMA = 1e9
"""Distances are rounded to 1e-9 sigma, so that rounding in the last bits moves no reading off a line."""


def in_sigmas(x: ArrayLike, centre_line: float, sigma: float) -> FloatArray:
    """Return the distances of readings `x` from the centre line in sigmas, to 1e-9 sigma; NaN stays NaN.

    Where sigma is 0 (a constant baseline of unknown resolution), a reading on the centre line is 0 away and any other
    infinitely far.
    """
    off = np.asarray(x, dtype=np.float64) - centre_line
    with np.errstate(over="ignore", invalid="ignore"):
        if sigma > 0:
            return frozen(np.rint(off / sigma * STEPS_PER_SIGMA) / STEPS_PER_SIGMA)
        return frozen(np.where(off == 0, 0.0, np.sign(off) * np.inf))


def in_sigmas_one(x: float, centre_line: float, sigma: float) -> float:
    """Return `in_sigmas` of one reading, to the bit, without the cost of an array."""
    off = x - centre_line
    if sigma > 0:
        z = off / sigma * STEPS_PER_SIGMA
        return round(z) / STEPS_PER_SIGMA if math.isfinite(z) else z
    return off if off == 0 or math.isnan(off) else math.copysign(math.inf, off)
