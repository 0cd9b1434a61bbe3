"""The run rules of one chart: each in words, how often it hit in view, and how often it does so in control."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from spc.arl import MOVING_RANGE_LIMIT, rule_set_run_length
from spc.errors import SpcError
from spc.limits_uncertainty import FalseAlarmSpread, false_alarm_spread
from spc.monitor import MOVING_RANGE_RULE
from spc.results import StreamResult
from spc.rules import NO_SIDE, RuleSetting, describe
from spc.wording import in_figures

SEED = 19930101
"""Of the simulated baselines."""


@dataclass(frozen=True, slots=True)
class RuleInView:
    """One run rule of a chart."""

    words: str
    hits: int  # readings in view at which it fired
    per_1000: float | None  # readings in control, a fresh chart after each false alarm; None: nothing exact reaches it


def rules_in_view(result: StreamResult, first: int, stop: int) -> tuple[RuleInView, ...]:
    """Return each run rule of a stream's chart, with its hits among the charted readings `first` to `stop`.

    The rate in control is exact for independent normal readings and limits that are known; where no exact way reaches,
    none is given.
    """
    hits: dict[str, set[int]] = {}
    for signal in result.rule_signals:
        if first <= signal.position < stop:
            hits.setdefault(signal.rule, set()).add(signal.position)
    found = [
        RuleInView(describe(setting, NO_SIDE), len(hits.get(setting.key, ())), false_alarms_per_1000((setting,)))
        for setting in result.check.rules
    ]
    if result.check.moving_range and result.segments:
        words = "a step from one reading to the next beyond the moving-range limit"
        found.append(RuleInView(words, len(hits.get(MOVING_RANGE_RULE, ())), moving_range_per_1000()))
    return tuple(found)


@lru_cache(maxsize=64)
def false_alarms_per_1000(settings: tuple[RuleSetting, ...]) -> float | None:
    """Return the false alarms of run rules in 1000 readings in control; None where no exact way reaches."""
    try:
        return 1000.0 / rule_set_run_length(settings).arl
    except SpcError:
        return None


@lru_cache(maxsize=1)
def moving_range_per_1000() -> float:
    """Return the false alarms of the moving-range limit in 1000 readings in control.

    The chain asks for a run rule beside it: one whose limits lie so far out that it never fires.
    """
    never = RuleSetting("beyond_limits", 1, 1, 9.0)
    return 1000.0 / rule_set_run_length((never,), moving_range_limit=MOVING_RANGE_LIMIT).arl


@lru_cache(maxsize=64)
def spread_of_limits(n_baseline: int) -> FalseAlarmSpread:
    """Return what limits from so few readings do to the false alarms beyond the control limits."""
    return false_alarm_spread(n_baseline, generator=np.random.default_rng(SEED))


def rule_notes(result: StreamResult) -> tuple[str, ...]:
    """Return in sentences what a hit of a run rule means on this chart, and what warns."""
    check, limits = result.check, result.segments[-1].limits if result.segments else None
    if limits is None or not (check.rules or check.moving_range):
        return ()
    notes = [
        "They warn as well, as the catalogue says."
        if check.rules_signal
        else "They are drawn only: a hit by itself asks nothing of anybody."
    ]
    if any(setting.key == "beyond_limits" for setting in check.rules):
        spread = spread_of_limits(limits.n_baseline)
        notes.append(
            "The rates are those of independent normal readings with limits that are known exactly. With limits from "
            f"{limits.n_baseline} readings the true rate varies: beyond the control limits it lies between "
            f"{in_figures(1000 * spread.p10, 2)} and {in_figures(1000 * spread.p90, 2)} in 1000 for 8 baselines in 10."
        )
    if check.early_warning:
        notes.append("The early warning, which does warn, was set for about 1 false alarm in 2000 quiet readings.")
    return tuple(notes)
