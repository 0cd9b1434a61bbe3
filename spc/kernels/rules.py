"""The run rules compiled: 64 readings at a time, each flag of them the bits of one word.

A run is found by shifting a word over itself, a count within a window by adding shifted words bit by bit; the word
before is kept, so that runs go on over its end. Nothing is remembered across a segment's start or a missing reading.
"""

import math

import numba
import numpy as np
from numpy.typing import NDArray

from spc.arrays import FloatArray, IntArray

ABOVE, BELOW, WITHIN, RISING, FALLING, TURNING, EITHER = range(7)
"""Kinds of flags, in the order of `many._kind`."""

PLANES = 7  # of a count of at most 64, bit by bit
Bounds = NDArray[np.int8]
Words = NDArray[np.uint64]
_BIT = np.left_shift(np.uint64(1), np.arange(64, dtype=np.uint64))
_ONE, _ALL, _WORD = np.uint64(1), np.uint64(0xFFFFFFFFFFFFFFFF), np.uint64(64)


@numba.njit(inline="always")
def _flagged(kind: int, width: float, low: FloatArray, high: FloatArray) -> np.uint64:
    """Return which of 64 readings have a flag; place 0 of both arrays is the reading before them."""
    word = np.uint64(0)
    if kind == ABOVE:
        for j in range(64):
            word |= _BIT[j] if low[j + 1] > width else np.uint64(0)
    elif kind == BELOW:
        for j in range(64):
            word |= _BIT[j] if high[j + 1] < -width else np.uint64(0)
    elif kind == WITHIN:
        for j in range(64):
            word |= _BIT[j] if (low[j + 1] > -width) & (high[j + 1] < width) else np.uint64(0)
    elif kind == EITHER:
        for j in range(64):
            word |= _BIT[j] if (low[j + 1] > width) | (high[j + 1] < -width) else np.uint64(0)
    elif kind == RISING:
        for j in range(64):
            word |= _BIT[j] if low[j + 1] > high[j] else np.uint64(0)
    elif kind == FALLING:
        for j in range(64):
            word |= _BIT[j] if high[j + 1] < low[j] else np.uint64(0)
    return word


@numba.njit(cache=True, nogil=True)
def _in_a_row(now: np.uint64, before: np.uint64, count: int) -> np.uint64:
    """Return where `count` bits in a row are set, this one the last; `before` is the word before."""
    have = 1
    while have < count:
        more = min(have, count - have)
        shift = np.uint64(more)
        now &= (now << shift) | (before >> (_WORD - shift))
        before &= before << shift
        have += more
    return now


@numba.njit(inline="always")
def _enough(now: np.uint64, before: np.uint64, count: int, window: int, planes: Words) -> np.uint64:
    """Return which set bits have at least `count` set among the last `window`."""
    for p in range(PLANES):
        planes[p] = np.uint64(0)
    for t in range(window):
        shift = np.uint64(t)
        carry = now if t == 0 else (now << shift) | (before >> (_WORD - shift))
        for p in range(PLANES):
            if carry == 0:
                break
            planes[p], carry = planes[p] ^ carry, planes[p] & carry
    more, equal = np.uint64(0), _ALL
    for p in range(PLANES - 1, -1, -1):
        if (count >> p) & 1:
            equal &= planes[p]
        else:
            more |= equal & planes[p]
            equal &= ~planes[p]
    return now & (more | equal)


@numba.njit(cache=True, nogil=True)
def _place(bit: np.uint64) -> int:
    """Return which of 64 bits is the only one set."""
    place = 0
    for step in (32, 16, 8, 4, 2, 1):
        if bit >> np.uint64(step):
            bit >>= np.uint64(step)
            place += step
    return place


@numba.njit(inline="always")
def _in_sigmas(x: FloatArray, at: int, m: int, centre: float, sigma: float, steps: float, z: FloatArray) -> None:
    """Write the distances of `m` readings from `at` on into z[1:], as `spc.rules.in_sigmas`, and NaN behind them."""
    if sigma > 0.0:
        for j in range(m):
            z[j + 1] = np.rint((x[at + j] - centre) / sigma * steps) / steps
    else:
        for j in range(m):
            off = x[at + j] - centre
            z[j + 1] = off if off == 0.0 or math.isnan(off) else math.copysign(math.inf, off)
    for j in range(m, 64):
        z[j + 1] = math.nan


@numba.njit(inline="always")
def _intervals(bound: Bounds, at: int, m: int, low: FloatArray, high: FloatArray) -> None:
    """Open the intervals of censored readings; `low` and `high` hold the same distances before."""
    for j in range(m):
        if not math.isnan(low[j + 1]):
            if bound[at + j] < 0:
                low[j + 1] = -math.inf
            elif bound[at + j] > 0:
                high[j + 1] = math.inf


@numba.njit(inline="always")
def _wide_ranges(x: FloatArray, bound: Bounds, at: int, m: int, first: int, most: float) -> np.uint64:
    """Return which of `m` exact readings lie more than `most` from the one before, the first of a segment never."""
    word = np.uint64(0)
    for j in range(1 if at == first else 0, m):
        word |= _BIT[j] if abs(x[at + j] - x[at + j - 1]) > most else np.uint64(0)
    if word != 0 and len(bound):
        for j in range(m):
            if bound[at + j] != 0 or (at + j > 0 and bound[at + j - 1] != 0):
                word &= ~_BIT[j]
    return word


@numba.njit(inline="always")
def _missing(x: FloatArray, at: int, m: int) -> np.uint64:
    """Return which of `m` readings from `at` on were not taken."""
    word = np.uint64(0)
    for j in range(m):
        word |= _BIT[j] if x[at + j] != x[at + j] else np.uint64(0)
    return word


@numba.njit(cache=True, nogil=True)
def segment_hits(
    x: FloatArray,
    bound: Bounds,
    first: IntArray,
    stop: IntArray,
    monitored: IntArray,
    centre: FloatArray,
    sigma: FloatArray,
    most: FloatArray,
    steps: float,
    kinds: IntArray,
    widths: FloatArray,
    rows: IntArray,
) -> tuple[IntArray, IntArray, NDArray[np.int8]]:
    """Return index, rule and side of every signal; see `many.rule_hits_of_many`.

    Args:
        x: readings, shape (n,).
        bound: of each reading, or empty where all are exact.
        first, stop, monitored, centre, sigma, most: of each segment; `most` is NaN where ranges have no limit.
        steps: to how many parts of a sigma distances are rounded.
        kinds, widths: of the distinct flags, f of them.
        rows: (flag, count, window, rule, side) for each side of each rule, in the order of the hits.
    """
    n_flags, n_rows = len(kinds), len(rows)
    now, before = np.zeros(n_flags, dtype=np.uint64), np.zeros(n_flags, dtype=np.uint64)
    found = np.zeros(n_rows + 1, dtype=np.uint64)
    planes = np.zeros(PLANES, dtype=np.uint64)
    exact, opened = np.empty(65), np.empty(65)
    turns = False
    for f in range(n_flags):
        turns = turns or kinds[f] == TURNING
    capacity = 1024 + len(x) // 32
    index, rule = np.empty(capacity, dtype=np.int64), np.empty(capacity, dtype=np.int64)
    side = np.empty(capacity, dtype=np.int8)
    n_found = 0
    n_rules = 0
    for s in range(n_rows):
        n_rules = max(n_rules, rows[s, 3] + 1)
    for i in range(len(first)):
        at, end = first[i], stop[i]
        start = at
        fresh = True
        rise_before, fall_before = np.uint64(0), np.uint64(0)
        while at < end:
            if fresh:
                exact[0] = math.nan
                opened[0] = math.nan
                before[:] = np.uint64(0)
                rise_before, fall_before = np.uint64(0), np.uint64(0)
                fresh = False
            m = min(64, end - at)
            gap = _missing(x, at, m)
            if gap != 0:  # what is remembered ends with the missing reading
                m = _place(gap & (~gap + _ONE)) + 1
                fresh = True
            _in_sigmas(x, at, m, centre[i], sigma[i], steps, exact)
            high = exact
            if len(bound):
                opened[1:] = exact[1:]
                _intervals(bound, at, m, exact, opened)
                high = opened
            rising, falling, turning = np.uint64(0), np.uint64(0), np.uint64(0)
            if turns:
                rising = _flagged(RISING, 0.0, exact, high)
                falling = _flagged(FALLING, 0.0, exact, high)
                rose = (rising << _ONE) | (rise_before >> np.uint64(63))
                fell = (falling << _ONE) | (fall_before >> np.uint64(63))
                turning = (rising & fell) | (falling & rose)
                rise_before, fall_before = rising, falling
            for f in range(n_flags):
                kind = kinds[f]
                if kind == TURNING:
                    now[f] = turning
                elif turns and kind == RISING:
                    now[f] = rising
                elif turns and kind == FALLING:
                    now[f] = falling
                else:
                    now[f] = _flagged(kind, widths[f], exact, high)
            mask = _ALL
            if monitored[i] > at:
                skip = monitored[i] - at
                mask = np.uint64(0) if skip >= 64 else _ALL << np.uint64(skip)
            somewhere = np.uint64(0)
            if mask != 0:
                for s in range(n_rows):
                    f, count, window = rows[s, 0], rows[s, 1], rows[s, 2]
                    if now[f] == 0:
                        found[s] = np.uint64(0)
                    elif count == window:
                        found[s] = _in_a_row(now[f], before[f], count) & mask
                    else:
                        found[s] = _enough(now[f], before[f], count, window, planes) & mask
                    somewhere |= found[s]
                found[n_rows] = np.uint64(0)
                if not math.isnan(most[i]):
                    found[n_rows] = _wide_ranges(x, bound, at, m, start, most[i]) & mask
                    somewhere |= found[n_rows]
            if somewhere != 0:
                if n_found + 64 * (n_rows + 1) > capacity:
                    capacity = 2 * capacity + 64 * (n_rows + 1)
                    index, rule, side = _longer(index, rule, side, n_found, capacity)
                while somewhere != 0:
                    bit = somewhere & (~somewhere + _ONE)
                    somewhere ^= bit
                    here = at + _place(bit)
                    for s in range(n_rows):
                        if found[s] & bit:
                            index[n_found], rule[n_found], side[n_found] = here, rows[s, 3], rows[s, 4]
                            n_found += 1
                    if found[n_rows] & bit:
                        index[n_found], rule[n_found] = here, n_rules
                        side[n_found] = 1 if x[here] > x[here - 1] else -1
                        n_found += 1
            for f in range(n_flags):
                before[f] = now[f]
            exact[0], opened[0] = exact[64], opened[64]
            at += m
    return index[:n_found].copy(), rule[:n_found].copy(), side[:n_found].copy()


@numba.njit(cache=True, nogil=True)
def _longer(
    index: IntArray, rule: IntArray, side: NDArray[np.int8], n: int, capacity: int
) -> tuple[IntArray, IntArray, NDArray[np.int8]]:
    """Return the three arrays with room for `capacity` hits, the first `n` kept."""
    longer_index, longer_rule = np.empty(capacity, dtype=np.int64), np.empty(capacity, dtype=np.int64)
    longer_side = np.empty(capacity, dtype=np.int8)
    longer_index[:n], longer_rule[:n], longer_side[:n] = index[:n], rule[:n], side[:n]
    return longer_index, longer_rule, longer_side
