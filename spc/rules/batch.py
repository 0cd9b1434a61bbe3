"""Run rules on a whole stream at once: what `step` gives, reading by reading."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.arrays import BoolArray, FloatArray, IntArray, frozen
from spc.errors import InputError
from spc.rules.table import INTERVAL_WRONG, Rule, RuleSetting, Seen, rule_of


@dataclass(frozen=True, slots=True)
class Hits:
    """Every signal of a set of rules, by reading, then rule, then side; every column has shape (n,), read-only."""

    index: IntArray  # of the reading
    rule: IntArray  # place in the settings
    side: NDArray[np.int8]  # LOW, NO_SIDE or HIGH

    def __len__(self) -> int:
        return len(self.index)


def run_rules(
    z_low: ArrayLike,
    z_high: ArrayLike,
    settings: Sequence[RuleSetting],
    *,
    boundaries: BoolArray | None = None,
    restart: bool = False,
) -> Hits:
    """Return every signal of the rules `settings` on a whole stream: what `step` gives, reading by reading.

    Args:
        z_low: lower ends, shape (n,), of the intervals that surely hold the readings, in sigmas from the centre line;
            NaN for a missing reading, -inf where nothing bounds it.
        z_high: upper ends; the same array where every reading is exact.
        settings: the rules switched on.
        boundaries: shape (n,), true at the first reading of each new segment.
        restart: whether a rule forgets all readings up to its own signal.

    Raises:
        InputError: arrays that do not match, a lower end above the upper, a rule that cannot be.
    """
    low, high = _intervals(z_low, z_high)
    start = _segment_starts(low, boundaries)
    seen = _seen(low, high, start)
    found: list[tuple[IntArray, int, int]] = []
    for place, setting in enumerate(settings):
        found.extend((index, place, side) for index, side in _signals(rule_of(setting), setting, seen, start, restart))
    return _ordered(found)


def _intervals(z_low: ArrayLike, z_high: ArrayLike) -> tuple[FloatArray, FloatArray]:
    low, high = np.asarray(z_low, dtype=np.float64), np.asarray(z_high, dtype=np.float64)
    if low.ndim != 1 or low.shape != high.shape:
        raise InputError(f"z_low has shape {low.shape} and z_high {high.shape}; give two rows of the same length")
    wrong = ~(low <= high) & ~(np.isnan(low) & np.isnan(high))
    if wrong.any():
        where = int(np.flatnonzero(wrong)[0])
        raise InputError(f"reading {where} lies between {low[where]} and {high[where]}; {INTERVAL_WRONG}")
    return low, high


def _segment_starts(low: FloatArray, boundaries: BoolArray | None) -> IntArray:
    """Return for each reading the first reading of its history, shape (n,): nothing is remembered from before."""
    first = np.zeros(len(low), dtype=np.bool_)
    if boundaries is not None:
        if np.shape(boundaries) != low.shape:
            raise InputError(
                f"boundaries has shape {np.shape(boundaries)}; give one for each of the {len(low)} readings"
            )
        first |= np.asarray(boundaries, dtype=np.bool_)
    first[1:] |= np.isnan(low[:-1])
    starts: IntArray = np.maximum.accumulate(np.where(first, np.arange(len(low)), 0))
    return starts


def _seen(low: FloatArray, high: FloatArray, start: IntArray) -> Seen:
    has_before = np.arange(len(low)) > start
    up, down = has_before.copy(), has_before.copy()
    up[1:] &= low[1:] > high[:-1]
    down[1:] &= high[1:] < low[:-1]
    rose, fell = has_before.copy(), has_before.copy()
    rose[1:] &= up[:-1]
    fell[1:] &= down[:-1]
    return Seen(low, high, up, down, rose, fell)


def _signals(
    rule: Rule, setting: RuleSetting, seen: Seen, start: IntArray, restart: bool
) -> list[tuple[IntArray, int]]:
    """Return (readings that signal, side) for each side of one rule."""
    need = _Need(setting.count - rule.lead, setting.window - rule.lead, rule.lead)
    flags = [(side, _running_count(flag(seen, setting.width))) for side, flag in rule.flags]
    found = [(_enough(total, start, need), side) for side, total in flags]
    return _restarted(found, dict(flags), need) if restart else found


@dataclass(frozen=True, slots=True)
class _Need:
    """What makes a signal: `count` flags among the last `window`; `lead` readings can have none after forgetting."""

    count: int
    window: int
    lead: int


def _running_count(flags: BoolArray) -> IntArray:
    """Return how many flags there are before each reading, and in all, shape (n + 1,)."""
    return np.concatenate((np.zeros(1, np.int64), np.cumsum(flags, dtype=np.int64)))


def _enough(total: IntArray, start: IntArray, need: _Need) -> IntArray:
    """Return the flagged readings with enough flags in the window, as far as it lies in their segment."""
    index = np.flatnonzero(np.diff(total))
    first = np.maximum(index - need.window + 1, start[index])
    return index[total[index + 1] - total[first] >= need.count]


def _restarted(
    found: list[tuple[IntArray, int]], totals: Mapping[int, IntArray], need: _Need
) -> list[tuple[IntArray, int]]:
    """Return the signals that remain when each clears the rule's history, both sides of it.

    Forgetting only takes flags away: no reading signals with it that does not signal without, so of each there need be
    enough flags since the last signal, wherever its window and its segment begin.
    """
    kept: dict[int, list[int]] = {side: [] for _, side in found}
    remembered = 0  # the first reading whose flag still counts
    for index, side in sorted((i, side) for signals, side in found for i in signals.tolist()):
        if remembered <= index and totals[side][index + 1] - totals[side][remembered] >= need.count:
            kept[side].append(index)
            remembered = index + 1 + need.lead
    return [(np.array(signals, dtype=np.int64), side) for side, signals in kept.items()]


def _ordered(found: list[tuple[IntArray, int, int]]) -> Hits:
    index = np.concatenate([np.empty(0, np.int64), *(i for i, _, _ in found)])
    rule = np.repeat(np.array([r for _, r, _ in found], dtype=np.int64), [len(i) for i, _, _ in found])
    side = np.repeat(np.array([s for _, _, s in found], dtype=np.int8), [len(i) for i, _, _ in found])
    order = np.lexsort((side, rule, index))
    return Hits(frozen(index[order]), frozen(rule[order]), frozen(side[order]))
