"""Which readings of a long stream are drawn, so that a chart stays quick and loses nothing that matters."""

import numpy as np

from spc.arrays import FloatArray, IntArray

MOST_DRAWN = 1600
"""Redrawing dominates from a few thousand points on, and no screen has more columns to show them in."""

SHARE_IN_VIEW = 0.75
"""Part of the points spent on the time in view; the rest is what a person sees when moving out of it."""


def drawn(x: FloatArray, keep: IntArray, view: slice, *, most: int = MOST_DRAWN) -> IntArray:
    """Return the places in `x` to draw, ascending: all of `keep`, and the extremes of every stretch of the rest.

    Args:
        x: readings in time order, shape (n,).
        keep: places that must be drawn; where they alone are more than half of `most`, and their marks would lie on
            one another, their extremes in every stretch.
        view: the places in view.
        most: how many points to aim at.
    """
    n = len(x)
    if n <= most:
        return np.arange(n, dtype=np.int64)
    start, stop, _ = view.indices(n)
    keep = np.sort(keep, kind="stable")  # mostly in order already, where this is far quicker than looking for doubles
    keep = keep[np.diff(keep, prepend=-1) > 0]
    if len(keep) > most // 2:
        ends = np.searchsorted(keep, [start, max(start, stop)])
        keep = keep[_spread(x[keep], int(ends[0]), int(ends[1]), most // 2)]
    rest = _spread(x, start, stop, most - len(keep))
    return np.unique(np.concatenate((rest, keep, np.array([0, n - 1], dtype=np.int64))))


def _spread(x: FloatArray, start: int, stop: int, most: int) -> IntArray:
    """Return the extremes of stretches, most of them between `start` and `stop`, which is in view."""
    n = len(x)
    inside = int(most * SHARE_IN_VIEW)
    outside = most - min(inside, stop - start)
    before = round(outside * start / max(1, n - (stop - start)))
    return np.concatenate(
        (
            _extremes(x, 0, start, before),
            _extremes(x, start, stop, inside),
            _extremes(x, stop, n, outside - before),
        )
    )


def _extremes(x: FloatArray, start: int, stop: int, budget: int) -> IntArray:
    """Return the lowest and the highest reading of each of `budget` / 2 equal stretches of `start` to `stop`."""
    if stop - start <= budget:
        return np.arange(start, stop, dtype=np.int64)
    length = -(-(stop - start) // max(1, budget // 2))
    whole = start + (stop - start) // length * length
    rows = x[start:whole].reshape(-1, length)
    first = start + length * np.arange(len(rows), dtype=np.int64)
    found = [first + np.argmin(rows, axis=1), first + np.argmax(rows, axis=1)]
    rest = x[whole:stop]
    if len(rest):
        found.append(whole + np.array([np.argmin(rest), np.argmax(rest)], dtype=np.int64))
    return np.concatenate(found)
