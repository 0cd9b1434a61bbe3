"""Small words of the drift room: how it names rows, streams, questions and rule sets."""

from datetime import datetime, tzinfo
from typing import Any

from dashboard.views.drift import TriedRow
from spc.records import StreamKey
from spc.rule_choice.tried import EARLY_WARNING, RulesTried
from spc.screening import Question
from spc.times import to_microseconds
from spc.wording import in_figures

ROWS_NAMED = 8
FEW_ALARMS = 5
"""Alarms below which nothing is said of how often they came."""


def rows_named(rows: tuple[int, ...]) -> str:
    """Return the rows of a log as people name them."""
    more = " and more" if len(rows) > ROWS_NAMED else ""
    return f"{'Row' if len(rows) == 1 else 'Rows'} {', '.join(map(str, rows[:ROWS_NAMED]))}{more}."


def beside_name(key: StreamKey) -> str:
    """Return a stream of the same line as an address names it."""
    return f"{key.check}@{key.position}" if key.position else key.check


def question_id(question: Question) -> str:
    """Return what tells a question from the others of its stream."""
    return f"{question.kind} {to_microseconds(question.first)} {to_microseconds(question.last)}"


def answer_id(answer: Any) -> str:
    """Return which question an answer answers."""
    return f"{answer.kind} {to_microseconds(answer.first)} {to_microseconds(answer.last)}"


def far_more(each: RulesTried) -> bool:
    """Return whether a set gave more than three times the alarms that are stated, beyond what chance does."""
    if each.alarms is None or each.alarms < FEW_ALARMS or each.alarms_per_1000 is None or not each.stated_per_1000:
        return False
    return each.alarms_per_1000 > 3 * each.stated_per_1000


def tried_row(each: RulesTried, a_year: float | None) -> TriedRow:
    """Return one rule set in words; `a_year` is how many checks a year has."""
    rate = ""
    if each.alarms_per_1000 is not None and a_year is not None:
        rate = f" ({in_figures(each.alarms_per_1000 * a_year / 1000, 2)} a year)"
    alarms = "not told by this measure" if each.alarms is None else f"{each.alarms}{rate}"
    lead = "" if each.median_lead is None else f"{each.median_lead:g} readings"
    if len(each.leads) > 1:
        lead = f"{lead} in the middle, {min(each.leads)} at least"
    stated = "not known exactly" if each.stated_per_year is None else f"{in_figures(each.stated_per_year, 2)} a year"
    if each.key == EARLY_WARNING and each.stated_per_year is not None:
        stated = f"{stated}, as it was set"
    return TriedRow(
        title=each.title,
        remark=each.remark,
        alarms=alarms,
        caught=f"{each.caught} of {each.stretches}" if each.stretches else "no failed check",
        lead=lead or "\N{EN DASH}",
        stated=stated,
    )


def local_text(at: datetime, zone: tzinfo) -> str:
    """Return a moment as an address writes it."""
    return at.astimezone(zone).replace(tzinfo=None).isoformat(timespec="minutes")
