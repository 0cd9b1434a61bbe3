"""Published sets of run rules, told in our own rules.

None of the texts was at hand: lengths and widths are from memory, and `mark` says how sure that memory is. Take the
lengths from the document that governs the site before relying on a set by its name.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from spc.rules.table import ALL_EIGHT, DEFAULT_RULES, RULES, RuleSetting
from spc.told import Told


@dataclass(frozen=True, slots=True)
class RuleSet(Told):
    """Run rules that are published together."""

    key: str
    title: str
    settings: tuple[RuleSetting, ...]
    source: str
    mark: Literal["own", "memory", "unverified"]  # our choice; recalled; recalled without certainty
    remark: str


def _published(key: str, **changed: int) -> RuleSetting:
    """Return a rule's published default, with other lengths where `changed` gives them."""
    default = RULES[key].default
    return RuleSetting(key, changed.get("count", default.count), changed.get("window", default.window), default.width)


def _in_a_row(key: str, readings: int) -> RuleSetting:
    return _published(key, count=readings, window=readings)


STARTER = RuleSet(
    key="starter",
    title="Starter set",
    settings=DEFAULT_RULES,
    source="this package",
    mark="own",
    remark="A large change, a moderate one, a small one that stays.",
)

FOUR_TESTS = RuleSet(
    key="four_tests_1956",
    title="Four tests of 1956",
    settings=(
        _published("beyond_limits"),
        _published("near_limit"),
        _published("off_centre"),
        _in_a_row("one_side", 8),
    ),
    source="Western Electric Co. (1956), Statistical Quality Control Handbook, the four tests for instability",
    mark="memory",
    remark="Each side is looked at on its own.",
)

EIGHT_TESTS = RuleSet(
    key="eight_tests_1984",
    title="Eight tests of 1984",
    settings=ALL_EIGHT,
    source="Nelson, L. S. (1984), The Shewhart control chart: tests for special causes, J. of Quality Technology 16",
    mark="memory",
    remark="All eight together cry wolf often; the paper advises the first four as a rule.",
)

ISO_7870_2 = RuleSet(
    key="iso_7870_2",
    title="ISO 7870-2:2013",
    settings=(_published("beyond_limits"), _in_a_row("one_side", 7), _in_a_row("steady_trend", 7)),
    source="ISO 7870-2:2013, Control charts, Part 2: Shewhart control charts",
    mark="unverified",
    remark="Seven rising or falling is counted in readings; counted in intervals it would be eight. "
    "Its 'obviously non-random pattern' is left to people.",
)

ASTM_E2587 = RuleSet(
    key="astm_e2587",
    title="ASTM E2587",
    settings=(
        _published("beyond_limits"),
        _published("near_limit"),
        _published("off_centre"),
        _in_a_row("one_side", 8),
        _published("steady_trend"),
        _published("alternating"),
        _published("close_to_centre"),
        _published("away_from_centre"),
    ),
    source="ASTM E2587, Standard Practice for Use of Control Charts in Statistical Process Control",
    mark="unverified",
    remark="The four tests of 1956 with tests for trend, alternation and stratification.",
)

RULE_SETS: Mapping[str, RuleSet] = MappingProxyType(
    {chosen.key: chosen for chosen in (STARTER, FOUR_TESTS, EIGHT_TESTS, ISO_7870_2, ASTM_E2587)}
)
"""Every named set, in the order they are listed to people."""
