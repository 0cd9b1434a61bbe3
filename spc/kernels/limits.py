"""Exact sums, and the limits that they give, compiled."""

import math

import numba
import numpy as np

from spc.arrays import BoolArray, FloatArray, IntArray

MOST_PARTIALS = 80
"""More than the exponents of floating point allow: partial sums do not overlap, 53 bits each of 2,100."""


@numba.njit(cache=True, nogil=True)
def exact_sum(partials: FloatArray, m: int) -> float:
    """Return the sum of the first `m` partials, rounded once; they grow in size and do not overlap."""
    if m == 0:
        return 0.0
    high = partials[m - 1]
    m -= 1
    low = 0.0
    while m > 0:
        x = high
        m -= 1
        y = partials[m]
        high = x + y
        low = y - (high - x)
        if low != 0.0:
            break
    # half-way cases: the partial below decides on which side of the half the sum lies
    if m > 0 and ((low < 0.0 and partials[m - 1] < 0.0) or (low > 0.0 and partials[m - 1] > 0.0)):
        y = low * 2.0
        x = high + y
        if y == x - high:
            high = x
    return float(high)


@numba.njit(cache=True, nogil=True)
def with_term(partials: FloatArray, m: int, x: float) -> int:
    """Add `x` to the first `m` partials in place without any rounding; return how many there are then.

    Source: Shewchuk, J. R. (1997), Adaptive precision floating-point arithmetic, Discrete and Computational Geometry
    18, 305-363, algorithm GROW-EXPANSION; as in Python's `math.fsum`.
    """
    kept = 0
    for j in range(m):
        y = partials[j]
        if abs(x) < abs(y):
            x, y = y, x
        high = x + y
        low = y - (high - x)
        if low != 0.0:
            partials[kept] = low
            kept += 1
        x = high
    if x != 0.0:
        partials[kept] = x
        kept += 1
    return kept


@numba.njit(cache=True, nogil=True)
def baseline_limits(
    x: FloatArray, first: IntArray, stop: IntArray, step: FloatArray, d2: float
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return centre line, sigma (at least what rounding to `step` scatters) and whether it is that floor."""
    k = len(first)
    centre, sigma = np.full(k, np.nan), np.full(k, np.nan)
    floored = np.zeros(k, dtype=np.bool_)
    level, ranges = np.empty(MOST_PARTIALS), np.empty(MOST_PARTIALS)
    for i in range(k):
        a, b = first[i], stop[i]
        n = b - a
        if n < 2:
            continue
        m_level = with_term(level, 0, x[a])
        m_ranges = 0
        low, high = x[a], x[a]
        least, most = math.inf, -math.inf
        for j in range(a + 1, b):
            value = x[j]
            moved = abs(value - x[j - 1])
            m_level = with_term(level, m_level, value)
            m_ranges = with_term(ranges, m_ranges, moved)
            low, high = min(low, value), max(high, value)
            least, most = min(least, moved), max(most, moved)
        centre[i] = min(max(exact_sum(level, m_level) / n, low), high)
        within = min(max(exact_sum(ranges, m_ranges) / (n - 1), least), most) / d2
        floor = 0.0 if math.isnan(step[i]) else step[i] / math.sqrt(12.0)
        floored[i] = floor > within
        sigma[i] = max(within, floor)
    return centre, sigma, floored
