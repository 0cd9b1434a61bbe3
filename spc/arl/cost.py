"""What a rule set costs, in the line's own terms: false alarms a year, and checks until a shift is seen."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from spc.arl import RunLength, rule_set_run_length
from spc.errors import InputError
from spc.rules import RuleSetting

YEAR = timedelta(days=365.25)


@dataclass(frozen=True, slots=True)
class ChartRules:
    """Run rules under a name, to compare them by."""

    name: str
    settings: tuple[RuleSetting, ...]
    moving_range_limit: float = math.inf  # in sigmas; infinite where it does not signal


@dataclass(frozen=True, slots=True)
class ShiftSeen:
    """Checks until a shift is seen, after a long stretch in control."""

    shift: float  # of the level, in the unit of the chart
    shift_sigmas: float
    checks: RunLength


@dataclass(frozen=True, slots=True)
class RuleSetCost:
    """What one rule set costs in false alarms, and how soon it sees each shift."""

    name: str
    false_alarm: RunLength  # checks from a fresh chart to the next false alarm
    false_alarms_per_year: float
    seen: tuple[ShiftSeen, ...]


def checks_per_year(interval: timedelta) -> float:
    """Return how many checks a year has at one each `interval`.

    Raises:
        InputError: no time between checks.
    """
    if interval <= timedelta(0):
        raise InputError(f"interval between checks is {interval}; give a time above 0")
    return YEAR / interval


def false_alarms_per_year(run_length: RunLength, checks_per_year: float) -> float:
    """Return the false alarms a year of a chart that starts afresh after each.

    Args:
        run_length: in control, from a fresh chart.
        checks_per_year: that are charted.

    Raises:
        InputError: no checks.
    """
    if not 0 < checks_per_year < math.inf:
        raise InputError(f"{checks_per_year} checks a year given; give a number above 0")
    return checks_per_year / run_length.arl


def checks_until_seen(
    rules: ChartRules,
    shift: float,
    *,
    sigma: float,
    lag_correlation: float = 0.0,
    generator: np.random.Generator | None = None,
) -> ShiftSeen:
    """Return the checks until a shift is seen, the shift given in the unit of the chart.

    Args:
        rules: of the chart.
        shift: of the level from the centre line, in the unit of the chart.
        sigma: that the limits are drawn with, in the same unit.
        lag_correlation: of a reading and the one before; the limits are then taken to come from moving ranges.
        generator: for a simulation, where nothing exact reaches.

    Raises:
        InputError: a number out of its range, or rules that no exact way reaches and no generator given.
    """
    if not 0 < sigma < math.inf:
        raise InputError(f"sigma is {sigma}; give the sigma that the limits are drawn with, above 0")
    sigmas = shift / sigma
    checks = rule_set_run_length(
        rules.settings,
        shift=sigmas,
        spread=_spread(lag_correlation),
        lag_correlation=lag_correlation,
        moving_range_limit=rules.moving_range_limit,
        start="steady",
        generator=generator,
    )
    return ShiftSeen(shift, sigmas, checks)


def compare_rule_sets(
    rule_sets: Sequence[ChartRules],
    shifts: Sequence[float],
    *,
    sigma: float,
    checks_per_year: float,
    lag_correlation: float = 0.0,
    generator: np.random.Generator | None = None,
) -> tuple[RuleSetCost, ...]:
    """Return what each rule set costs, side by side.

    Args:
        rule_sets: to compare.
        shifts: of the level from the centre line, in the unit of the chart.
        sigma: that the limits are drawn with, in the same unit.
        checks_per_year: that are charted.
        lag_correlation: of a reading and the one before; the limits are then taken to come from moving ranges.
        generator: for a simulation, where nothing exact reaches.

    Raises:
        InputError: as `checks_until_seen` and `false_alarms_per_year`.
    """
    costs = []
    for rules in rule_sets:
        false_alarm = rule_set_run_length(
            rules.settings,
            spread=_spread(lag_correlation),
            lag_correlation=lag_correlation,
            moving_range_limit=rules.moving_range_limit,
            generator=generator,
        )
        seen = tuple(
            checks_until_seen(rules, shift, sigma=sigma, lag_correlation=lag_correlation, generator=generator)
            for shift in shifts
        )
        costs.append(RuleSetCost(rules.name, false_alarm, false_alarms_per_year(false_alarm, checks_per_year), seen))
    return tuple(costs)


def _spread(lag_correlation: float) -> float:
    """Return the standard deviation of correlated readings over the sigma that their moving ranges give."""
    if not -1 < lag_correlation < 1:
        raise InputError(f"lag correlation is {lag_correlation}; give one between -1 and 1")
    return 1 / math.sqrt(1 - lag_correlation)
