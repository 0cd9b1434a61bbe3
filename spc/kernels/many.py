"""Many segments at once: arrays in, arrays out. The loops are compiled when they are first called."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.arrays import BoolArray, FloatArray, IntArray, frozen
from spc.errors import InputError
from spc.rules import Hits, RuleSetting
from spc.rules.distance import STEPS_PER_SIGMA
from spc.rules.table import Flag, rule_of
from spc.sigma import D2_FOR_PAIRS, D3_FOR_PAIRS

LONGEST_WINDOW = 64
"""Readings that a rule may look back: the flags of a stream are kept as the bits of 64-bit words."""

WIDTH = 3.0
"""Half-width of the limits in sigmas, as in `individuals_limits`."""


@dataclass(frozen=True, slots=True)
class LimitsOfMany:
    """Control limits of k segments, what `individuals_limits` gives for each; every column has shape (k,)."""

    n_baseline: IntArray
    centre_line: FloatArray
    sigma: FloatArray
    lower: FloatArray
    upper: FloatArray
    moving_range_centre: FloatArray
    moving_range_upper: FloatArray
    floored: BoolArray


def limits_of_many(x: ArrayLike, first: ArrayLike, stop: ArrayLike, *, step: ArrayLike) -> LimitsOfMany:
    """Return the control limits of many baselines; those of one with fewer than 2 readings are NaN.

    Args:
        x: readings, shape (n,), in the unit of their charts; finite.
        first: where each baseline starts in `x`, shape (k,).
        stop: where it ends (exclusive), shape (k,).
        step: smallest step that the readings of each baseline are written in, shape (k,); NaN where not known.

    Raises:
        InputError: baselines that do not lie in `x`, or a step that is not above 0.
    """
    from spc.kernels.limits import baseline_limits

    readings, starts, stops = _spans(x, first, stop)
    steps = np.ascontiguousarray(step, dtype=np.float64)
    if steps.shape != starts.shape or np.any(steps <= 0.0) or np.any(np.isinf(steps)):
        raise InputError(f"a step above 0, or NaN, is needed for each of {len(starts)} baselines")
    centre, sigma, floored = baseline_limits(readings, starts, stops, steps, D2_FOR_PAIRS)
    return LimitsOfMany(
        n_baseline=frozen(stops - starts),
        centre_line=frozen(centre),
        sigma=frozen(sigma),
        lower=frozen(centre - WIDTH * sigma),
        upper=frozen(centre + WIDTH * sigma),
        moving_range_centre=frozen(D2_FOR_PAIRS * sigma),
        moving_range_upper=frozen((D2_FOR_PAIRS + WIDTH * D3_FOR_PAIRS) * sigma),
        floored=frozen(floored),
    )


def rule_hits_of_many(
    x: ArrayLike,
    first: ArrayLike,
    stop: ArrayLike,
    settings: Sequence[RuleSetting],
    *,
    centre_line: ArrayLike,
    sigma: ArrayLike,
    monitored: ArrayLike,
    bound: ArrayLike | None = None,
    moving_range_upper: ArrayLike | None = None,
) -> Hits:
    """Return every signal of the rules `settings` on many segments: what `run_rules` gives for each alone.

    Args:
        x: readings, shape (n,), in the unit of their charts; NaN for one that was not taken.
        first: where each segment starts in `x`, shape (k,), ascending and apart from each other.
        stop: where it ends (exclusive), shape (k,).
        settings: the rules switched on.
        centre_line: of each segment, shape (k,).
        sigma: of each segment, shape (k,).
        monitored: from which reading on signals count, shape (k,); rules look back further.
        bound: values of `records.Bound` of each reading, shape (n,); None where every reading is exact.
        moving_range_upper: limit of the moving range of each segment, shape (k,); a reading farther than that from the
            one before gets the rule number `len(settings)`. None for no such limit.

    Returns:
        index in `x`, place in `settings` and side of every signal, by reading, then rule, then side.

    Raises:
        InputError: a rule that cannot be, or looks back more than LONGEST_WINDOW readings; segments out of order.
    """
    from spc.kernels.rules import segment_hits

    readings, starts, stops = _spans(x, first, stop)
    if np.any(starts[1:] < stops[:-1]):
        raise InputError("segments must be in order and must not overlap; sort the readings by stream and time")
    k = len(starts)
    most = np.full(k, np.nan)
    if moving_range_upper is not None:
        most = _one_each(moving_range_upper, k) + _one_each(sigma, k) / STEPS_PER_SIGMA
    bounds = np.zeros(0, dtype=np.int8) if bound is None else np.ascontiguousarray(bound, dtype=np.int8)
    if bound is not None and bounds.shape != readings.shape:
        raise InputError(f"{len(bounds)} bounds for {len(readings)} readings; give one each")
    if not bounds.any():
        bounds = bounds[:0]
    table = _flag_table(settings)
    index, rule, side = segment_hits(
        readings,
        bounds,
        starts,
        stops,
        _one_each(monitored, k).astype(np.int64),
        _one_each(centre_line, k),
        _one_each(sigma, k),
        most,
        STEPS_PER_SIGMA,
        *table,
    )
    return Hits(frozen(index), frozen(rule), frozen(side))


def _spans(x: ArrayLike, first: ArrayLike, stop: ArrayLike) -> tuple[FloatArray, IntArray, IntArray]:
    readings = np.ascontiguousarray(x, dtype=np.float64)
    starts, stops = (np.ascontiguousarray(at, dtype=np.int64) for at in (first, stop))
    if readings.ndim != 1 or starts.ndim != 1 or starts.shape != stops.shape:
        raise InputError("give one row of readings, and as many first readings of segments as last ones")
    if len(starts) and (starts.min() < 0 or stops.max() > len(readings) or np.any(stops < starts)):
        raise InputError(f"a segment lies outside the {len(readings)} readings; correct where it starts and stops")
    return readings, starts, stops


def _one_each(values: ArrayLike, k: int) -> FloatArray:
    array = np.ascontiguousarray(values, dtype=np.float64)
    if array.shape != (k,):
        raise InputError(f"one value for each of the {k} segments is needed; shape {array.shape} was given")
    return array


_KINDS: dict[Flag, int] = {}
"""Number of each flag function in the compiled loop."""


def _kind(flag: Flag) -> int:
    from spc.rules import table

    if not _KINDS:
        flags = (
            table.beyond_high,
            table.beyond_low,
            table.within,
            table.rising,
            table.falling,
            table.turning,
            table.beyond_either,
        )
        _KINDS.update({known: number for number, known in enumerate(flags)})
    return _KINDS[flag]


def _flag_table(settings: Sequence[RuleSetting]) -> tuple[NDArray[np.int64], FloatArray, NDArray[np.int64]]:
    """Return the distinct flags (kind, width), and a row (flag, count, window, rule, side) a side of a rule."""
    flags: dict[tuple[int, float], int] = {}
    rows: list[tuple[int, int, int, int, int]] = []
    for place, setting in enumerate(settings):
        rule = rule_of(setting)
        if setting.window > LONGEST_WINDOW:
            raise InputError(
                f"run rule '{setting.key}' looks back {setting.window} readings; at most {LONGEST_WINDOW} here"
            )
        for side, flag in sorted(rule.flags, key=lambda item: item[0]):
            known = flags.setdefault((_kind(flag), float(setting.width)), len(flags))
            rows.append((known, setting.count - rule.lead, setting.window - rule.lead, place, side))
    kinds = np.array([kind for kind, _ in flags], dtype=np.int64)
    widths = np.array([width for _, width in flags], dtype=np.float64)
    return kinds, widths, np.array(rows, dtype=np.int64).reshape(len(rows), 5)
