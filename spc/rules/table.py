"""The run rules: their flags, their published lengths, and the words for them.

Sources: Western Electric Co. (1956), Statistical Quality Control Handbook; Nelson, L. S. (1984), The Shewhart control
chart: tests for special causes, Journal of Quality Technology 16, 237-239.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Any, NamedTuple

from spc.errors import InputError

LOW, NO_SIDE, HIGH = -1, 0, 1


@dataclass(frozen=True, slots=True)
class RuleSetting:
    """One run rule switched on, with its parameters."""

    key: str  # a key of RULES
    count: int  # readings that must show it ...
    window: int  # ... among this many in a row, the signalling one included
    width: float  # distance from the centre line in sigmas; 0 where the rule has none


class Seen(NamedTuple):
    """What a flag may look at: of one reading (floats and bools), or of all at once (arrays of shape (n,))."""

    low: Any  # the interval, in sigmas from the centre line, that surely holds the reading
    high: Any
    rising: Any  # whether it surely lies above the reading before
    falling: Any
    rose_before: Any  # `rising` and `falling` of the reading before
    fell_before: Any


Flag = Callable[[Seen, float], Any]


@dataclass(frozen=True, slots=True)
class Rule:
    """One run rule: its flag, one a side, and the words for it."""

    key: str
    flags: tuple[tuple[int, Flag], ...]  # (side, flag)
    default: RuleSetting
    lead: int  # readings before the first that can have a flag: 1 for differences, 2 for differences of differences
    template: str  # of `describe`
    means: str  # what it tends to mean

    @property
    def needs_width(self) -> bool:
        """Whether the rule has a distance in sigmas."""
        return self.default.width > 0

    @property
    def in_a_row(self) -> bool:
        """Whether only readings in a row count, so that count and window are the same."""
        return self.lead > 0


def beyond_high(seen: Seen, width: float) -> Any:
    """Flag a reading more than `width` sigmas above the centre line."""
    return seen.low > width


def beyond_low(seen: Seen, width: float) -> Any:
    """Flag a reading more than `width` sigmas below the centre line."""
    return seen.high < -width


def beyond_either(seen: Seen, width: float) -> Any:
    """Flag a reading more than `width` sigmas from the centre line, whichever the side."""
    return (seen.low > width) | (seen.high < -width)


def within(seen: Seen, width: float) -> Any:
    """Flag a reading less than `width` sigmas from the centre line."""
    return (seen.low > -width) & (seen.high < width)


def rising(seen: Seen, width: float) -> Any:
    """Flag a reading above the one before."""
    return seen.rising


def falling(seen: Seen, width: float) -> Any:
    """Flag a reading below the one before."""
    return seen.falling


def turning(seen: Seen, width: float) -> Any:
    """Flag a reading that rises after a fall or falls after a rise."""
    return (seen.rising & seen.fell_before) | (seen.falling & seen.rose_before)


_EACH_SIDE: tuple[tuple[int, Flag], ...] = ((LOW, beyond_low), (HIGH, beyond_high))
_FAR = "{readings} more than {width:g} sigma {above} the centre line"


def _table(*rules: Rule) -> Mapping[str, Rule]:
    return MappingProxyType({rule.key: rule for rule in rules})


RULES: Mapping[str, Rule] = _table(
    Rule(
        key="beyond_limits",
        flags=_EACH_SIDE,
        default=RuleSetting("beyond_limits", count=1, window=1, width=3),
        lead=0,
        template=_FAR,
        means="a large sudden change, or a single wrong reading",
    ),
    Rule(
        key="near_limit",
        flags=_EACH_SIDE,
        default=RuleSetting("near_limit", count=2, window=3, width=2),
        lead=0,
        template=_FAR,
        means="a sudden change of level, or wider scatter than before",
    ),
    Rule(
        key="off_centre",
        flags=_EACH_SIDE,
        default=RuleSetting("off_centre", count=4, window=5, width=1),
        lead=0,
        template=_FAR,
        means="a small change of level",
    ),
    Rule(
        key="one_side",
        flags=_EACH_SIDE,
        default=RuleSetting("one_side", count=9, window=9, width=0),
        lead=0,
        template="{readings} {above} the centre line",
        means="a small change of level that stays",
    ),
    Rule(
        key="steady_trend",
        flags=((LOW, falling), (HIGH, rising)),
        default=RuleSetting("steady_trend", count=6, window=6, width=0),
        lead=1,
        template="{readings}, each {higher} than the one before",
        means="wear, ageing, soiling or loss: something moves a little with every reading",
    ),
    Rule(
        key="alternating",
        flags=((NO_SIDE, turning),),
        default=RuleSetting("alternating", count=14, window=14, width=0),
        lead=2,
        template="{readings} alternating up and down",
        means="two sources taking turns (two lamps, two people, two instruments), or over-correction",
    ),
    Rule(
        key="close_to_centre",
        flags=((NO_SIDE, within),),
        default=RuleSetting("close_to_centre", count=15, window=15, width=1),
        lead=0,
        template="{readings} within {width:g} sigma of the centre line",
        means="limits wider than the scatter is now, readings copied or rounded, or sources mixed in a fixed pattern",
    ),
    Rule(
        key="away_from_centre",
        flags=((NO_SIDE, beyond_either),),
        default=RuleSetting("away_from_centre", count=8, window=8, width=1),
        lead=0,
        template="{readings} more than {width:g} sigma from the centre line, on either side",
        means="two sources at different levels, or wider scatter than before",
    ),
)
"""Every run rule there is, in the order they are listed to people."""

ALL_EIGHT: tuple[RuleSetting, ...] = tuple(
    RULES[key].default
    for key in (
        "beyond_limits",
        "near_limit",
        "off_centre",
        "one_side",
        "steady_trend",
        "alternating",
        "close_to_centre",
        "away_from_centre",
    )
)
"""The eight published rules with their published lengths (Nelson 1984); a rule added to the table is none of them."""

DEFAULT_RULES: tuple[RuleSetting, ...] = tuple(
    RULES[key].default for key in ("beyond_limits", "near_limit", "one_side")
)
"""What a check starts with: a large change, a moderate one, a small one that stays. A choice of ours."""


@lru_cache(maxsize=256)
def describe(setting: RuleSetting, side: int = NO_SIDE) -> str:
    """Return a rule in plain words, as in "2 of the last 3 readings more than 2 sigma above the centre line"."""
    rule = rule_of(setting)
    if setting.count == 1:
        readings = "a reading"
    elif setting.count == setting.window:
        readings = f"{setting.count} readings in a row"
    else:
        readings = f"{setting.count} of the last {setting.window} readings"
    above = {LOW: "below", NO_SIDE: "on one side of", HIGH: "above"}[side]
    higher = {LOW: "lower", NO_SIDE: "higher, or each lower,", HIGH: "higher"}[side]
    return rule.template.format(readings=readings, width=setting.width, above=above, higher=higher)


def rule_of(setting: RuleSetting) -> Rule:
    """Return the rule that `setting` switches on.

    Raises:
        InputError: no such rule, or parameters it cannot have.
    """
    rule = RULES.get(setting.key)
    if rule is None:
        raise InputError(f"there is no run rule '{setting.key}'; take one of {', '.join(RULES)}")
    where = f"run rule '{setting.key}'"
    least = rule.lead + 1
    for name, value in (("count", setting.count), ("window", setting.window)):
        if isinstance(value, bool) or not isinstance(value, int) or value < least:
            raise InputError(f"{where}: {name} is {value!r}; give a whole number of readings, at least {least}")
    if setting.window < setting.count:
        raise InputError(
            f"{where}: window {setting.window} is shorter than count {setting.count}; swap or correct them"
        )
    if rule.in_a_row and setting.window != setting.count:
        raise InputError(f"{where} counts readings in a row: give window {setting.window} and count the same number")
    if rule.needs_width and not (math.isfinite(setting.width) and setting.width > 0):
        raise InputError(f"{where}: width is {setting.width!r}; give a distance in sigmas, above 0")
    if not rule.needs_width and setting.width != 0:
        raise InputError(f"{where} has no width; leave it at 0, not {setting.width!r}")
    return rule


INTERVAL_WRONG = "the lower end must not be above the upper, and a missing reading is NaN at both"
"""What to do about an interval that holds no reading."""
