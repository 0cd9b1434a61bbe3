"""What run rules cost, as a person reads it."""

import math
from collections.abc import Iterator

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from spc.arl import RunLength
from spc.arl.cost import ChartRules
from spc.printed.table import heading, note, plain_table
from spc.rule_choice.cost import RulesCost
from spc.rules import RULE_SETS, describe
from spc.wording import in_figures, short, with_unit

HOW = {"exact chain": "chain", "integral equation": "equation"}
MARKS = {
    "own": "our own choice",
    "memory": "lengths recalled from memory: take them from the document",
    "unverified": "lengths recalled without certainty: take them from the document",
}

STANDING = (
    "By chain: exact. By equation: to about 1 in a million. Simulated: with its standard error. The readings are taken "
    "to be normal and the chart to start afresh after a false alarm; a shift is taken to come after a long stretch in "
    "control. Which rules a chart uses, the written procedure and the responsible Level 3 decide."
)


def rules_cost_printed(cost: RulesCost) -> Group:
    """Return what each rule set costs, side by side, with what it rests on."""
    return Group(
        heading(f"What run rules cost: {cost.check.title}"),
        *(Text(line) for line in _given(cost)),
        Text(""),
        heading("False alarms, while nothing has moved"),
        plain_table(
            ("rules", "a year", "checks to one", "half by", "1 in 20 by", "found by"),
            [_false_alarm(cost, place) for place in range(len(cost.rules))],
        ),
        *(part for place in range(len(cost.costs[0].seen)) for part in _until_seen(cost, place)),
        Text(""),
        heading("The rules"),
        *(part for rules in cost.rules for part in _rules(rules)),
        Text(""),
        note(_estimated(cost)),
        note(STANDING),
    )


def _given(cost: RulesCost) -> Iterator[str]:
    sigma = cost.sigma
    floor = " (the floor that the reading's resolution sets)" if sigma.floored else ""
    yield f"sigma {with_unit(f'{sigma.sigma:.4g}', cost.check.chart_unit)}{floor}: {sigma.source}"
    yield f"{short(cost.checks_per_year)} checks a year: {cost.rate_source}"
    if sigma.readings_per_year is not None:
        yield f"(the log has {in_figures(sigma.readings_per_year)} readings a year; --per-year counts with that)"
    yield f"correlation of a reading and the one before: {cost.lag_correlation:g}"
    if sigma.correlation is not None and sigma.correlation_bound is not None:
        far = abs(sigma.correlation) > sigma.correlation_bound
        yield (
            f"(the log has {in_figures(sigma.correlation, 2)}, "
            + (f"beyond the {in_figures(sigma.correlation_bound, 2)} " if far else "within the ")
            + "that independent readings give"
            + ("; --correlation counts it in)" if far else ")")
        )


def _false_alarm(cost: RulesCost, place: int) -> tuple[str, ...]:
    each = cost.costs[place]
    run = each.false_alarm
    return (
        each.name,
        in_figures(each.false_alarms_per_year),
        in_figures(run.arl),
        f"{run.p50:,}",
        f"{run.p05:,}",
        _how(run),
    )


def _until_seen(cost: RulesCost, place: int) -> Iterator[RenderableType]:
    """Yield the table of one shift."""
    first = cost.costs[0].seen[place]
    shift = with_unit(short(first.shift), cost.check.chart_unit)
    yield Text("")
    yield heading(f"Until a shift of {shift} is seen, {short(first.shift_sigmas)} sigma")
    yield plain_table(
        ("rules", "checks", "half by", "9 in 10 by", "days", "9 in 10 by", "found by"),
        [
            (
                each.name,
                in_figures(each.seen[place].checks.arl),
                f"{each.seen[place].checks.p50:,}",
                f"{each.seen[place].checks.p90:,}",
                in_figures(cost.days(each.seen[place].checks.arl)),
                in_figures(cost.days(each.seen[place].checks.p90)),
                _how(each.seen[place].checks),
            )
            for each in cost.costs
        ],
    )


def _how(run: RunLength) -> str:
    if run.standard_error is None:
        return HOW[run.method]
    return f"simulated, \N{PLUS-MINUS SIGN} {in_figures(run.standard_error, 2)}"


def _rules(rules: ChartRules) -> Iterator[RenderableType]:
    yield Text(rules.name, style="bold")
    said = [describe(setting) for setting in rules.settings]
    if math.isfinite(rules.moving_range_limit):
        said.append(f"a step of more than {rules.moving_range_limit:.2f} sigma from one reading to the next")
    yield from (Padding(Text(words), (0, 0, 0, 2)) for words in said)
    if published := RULE_SETS.get(rules.name):
        yield Padding(note(f"{published.source}; {MARKS[published.mark]}. {published.remark}"), (0, 0, 0, 2))


def _estimated(cost: RulesCost) -> str:
    few = cost.estimated
    return (
        f"Limits are taken as exact. Drawn from {few.n_baseline} readings they are not: for a reading beyond "
        f"{few.width:g} sigma alone, the mean from one false alarm to the next then lies between "
        f"{in_figures(few.arl_p10)} and {in_figures(few.arl_p90)} checks on 8 charts in 10 (simulated), where exact "
        f"limits have {in_figures(few.arl_known)}."
    )
