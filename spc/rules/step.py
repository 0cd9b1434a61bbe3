"""Run rules one reading at a time, in plain Python: a few microseconds a reading."""

import math
from collections.abc import Sequence
from typing import NamedTuple

from spc.errors import InputError
from spc.rules.table import INTERVAL_WRONG, Flag, RuleSetting, Seen, rule_of


class _Watched(NamedTuple):
    """One side of one rule, ready for `step`."""

    rule: int  # place in the settings
    side: int
    flag: Flag
    width: float
    needed: int  # flags
    mask: int  # the last `window` flags
    forgotten: int  # the history that remembers nothing: minus the readings to come that can have no flag


class RuleState(NamedTuple):
    """What a set of rules remembers of a stream: the last flags of each side of each rule, as the bits of a number."""

    watched: tuple[_Watched, ...]
    restart: bool
    histories: tuple[int, ...]  # one for each of `watched`
    low: float  # the reading before; NaN when there is none
    high: float
    rising: bool
    falling: bool

    @classmethod
    def start(cls, settings: Sequence[RuleSetting], *, restart: bool = False) -> "RuleState":
        """Return the state before the first reading.

        Raises:
            InputError: a rule that cannot be.
        """
        watched = []
        for place, setting in enumerate(settings):
            rule = rule_of(setting)
            count, window = setting.count - rule.lead, setting.window - rule.lead
            for side, flag in rule.flags:
                watched.append(_Watched(place, side, flag, setting.width, count, (1 << window) - 1, -rule.lead))
        histories = tuple(w.forgotten for w in watched)
        return cls(tuple(watched), restart, histories, math.nan, math.nan, rising=False, falling=False)

    def cleared(self) -> "RuleState":
        """Return the state at the start of a new segment: nothing remembered."""
        histories = tuple(w.forgotten for w in self.watched)
        return RuleState(self.watched, self.restart, histories, math.nan, math.nan, rising=False, falling=False)


def step(state: RuleState, z_low: float, z_high: float) -> tuple[RuleState, tuple[tuple[int, int], ...]]:
    """Return the state after one reading, and its signals as (place in the settings, side).

    Args:
        state: what the rules remember of the readings before.
        z_low: lower end of the interval that surely holds the reading, in sigmas; NaN for a missing one.
        z_high: upper end; equal to the lower where the reading is exact.

    Raises:
        InputError: a lower end above the upper.
    """
    if not z_low <= z_high:
        if z_low == z_low or z_high == z_high:
            raise InputError(f"a reading lies between {z_low} and {z_high}; {INTERVAL_WRONG}")
        return state.cleared(), ()
    watched, restart, before, low, high, rose, fell = state
    seen = Seen(z_low, z_high, z_low > high, z_high < low, rose, fell)
    histories: list[int] = []
    hits: tuple[tuple[int, int], ...] = ()
    for (rule, side, flag, width, needed, mask, _), history in zip(watched, before, strict=True):
        if history < 0:
            histories.append(history + 1)
        elif flag(seen, width):
            bits = (history << 1 | 1) & mask
            histories.append(bits)
            if bits.bit_count() >= needed:
                hits += ((rule, side),)
        else:
            histories.append(history << 1 & mask)
    if hits and restart:
        signalled = {rule for rule, _ in hits}
        histories = [w.forgotten if w.rule in signalled else h for w, h in zip(watched, histories, strict=True)]
    return RuleState(watched, restart, tuple(histories), z_low, z_high, seen.rising, seen.falling), hits
