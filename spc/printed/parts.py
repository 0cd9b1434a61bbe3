"""Parts of a scan as a person reads each alone: limits, failures, signals, forecasts, rows, events, checks.

A part knows no unit and no zone: numbers are in the chart unit of its stream, times in UTC.
"""

import math
from collections.abc import Callable, Iterable, Mapping
from datetime import UTC, datetime
from types import MappingProxyType
from typing import Any

from rich.console import Group, RenderableType
from rich.text import Text

from spc.catalogue.check import Catalogue, Check
from spc.dose import Dose
from spc.printed.dose import dose_printed
from spc.printed.rules_cost import rules_cost_printed
from spc.printed.table import between, facts, heading, note, plain_table, value
from spc.records import NOT_RUN, Bound, Event, QuarantinedRow, Reading, RowCount
from spc.results import Failure, Forecast, Limits, Segment, Signal
from spc.rule_choice.cost import RulesCost
from spc.rules import RuleSet, describe
from spc.screening.question import Question
from spc.signals import Episode
from spc.state import StreamState
from spc.stream_facts import forecast_words
from spc.times import from_microseconds
from spc.wording import bounds_text, source_text, time_text, with_unit

CHART_UNIT = "In the chart unit of the stream."
IN_UTC = "Times in UTC."
STANDING = "This accepts or rejects no part; the governing procedure and the responsible Level 3 decide."
SIGNS = {Bound.BELOW: "<", Bound.EXACT: "", Bound.ABOVE: ">"}


def limits_printed(limits: Limits) -> Group:
    """Return the control limits of a segment."""
    return Group(heading("Control limits"), facts(_limits_rows(limits)), note(CHART_UNIT))


def _limits_rows(limits: Limits) -> list[tuple[str, str]]:
    so_far = "" if limits.complete else "; provisional, nothing signals yet"
    floor = "; the resolution of a reading sets it" if limits.floored else ""
    return [
        ("centre line", value(limits.centre_line)),
        ("control limits", between(limits.lower, limits.upper)),
        ("moving range, at most", value(limits.moving_range_upper)),
        ("sigma", f"{value(limits.sigma)}{floor}"),
        ("readings in the baseline", f"{limits.n_baseline}{so_far}"),
    ]


def segment_printed(segment: Segment) -> Group:
    """Return what a segment holds, and its limits."""
    rows = [
        ("began with", segment.because.replace("_", " ")),
        ("readings", f"{segment.stop - segment.first}, from charted place {segment.first}"),
    ]
    if segment.signed is not None:
        rows.append(("baseline", segment.signed.named))
    if segment.limits is None:
        rows.append(("control limits", "none: they take 2 readings"))
    else:
        rows += _limits_rows(segment.limits)
    return Group(heading("Segment"), facts(rows), note(CHART_UNIT))


def failure_printed(failure: Failure) -> Group:
    """Return which reading failed its check."""
    said = f"“{failure.value}”" if isinstance(failure.value, str) else f"{value(failure.value)} as charted"
    return Group(
        heading("Failed check"), facts([*_when(failure.taken_at, failure.row), ("reading", said)]), note(IN_UTC)
    )


def signal_printed(signal: Signal) -> Group:
    """Return which rule fired at which reading."""
    rows = [
        *_when(signal.taken_at, signal.row),
        ("reading", f"{value(signal.value)} as charted"),
        ("chart", _words(signal.chart)),
        ("rule", _words(signal.rule)),
        *([("side", signal.side)] if signal.side else []),
    ]
    return Group(heading("Signal"), facts(rows), note(f"{IN_UTC} What moves, in words: episodes(result, zone)."))


def _when(taken_at: int, row: int) -> list[tuple[str, str]]:
    return [("taken", _time(from_microseconds(taken_at))), ("row of the log", str(row))]


def _time(at: datetime) -> str:
    return time_text(at, UTC)


def _words(key: str) -> str:
    return key.replace("_", " ")


def forecast_printed(forecast: Forecast) -> Group:
    """Return what comes next if nothing is done."""
    return Group(heading("If nothing is done"), *map(Text, forecast_words(forecast, UTC)))


def episode_printed(episode: Episode) -> Group:
    """Return what moves, and where to look first."""
    rows = [
        ("signals", str(len(episode.signals))),
        ("goes on", "yes" if episode.open else "no"),
        *_first_of("look first at", episode.look_first),
    ]
    return Group(Text(episode.sentence), facts(rows), note(STANDING))


def state_printed(state: StreamState) -> Group:
    """Return what the board says of a stream."""
    rows = [
        ("state", state.word),
        ("last reading", state.last_text),
        ("taken", f"{state.taken_text}, {state.age_text}"),
        *([("to the limit", state.margin_text)] if state.margin_text else []),
        *([("due", state.due_text)] if state.due_text else []),
        *_first_of("look first at", state.look_first),
        *_first_of("obliges", state.obliges),
    ]
    return Group(Text(state.headline), facts(rows), note(STANDING))


def _first_of(what: str, items: Iterable[str]) -> list[tuple[str, str]]:
    return [(what if place == 0 else "", item) for place, item in enumerate(items)]


def question_printed(question: Question) -> Group:
    """Return a question about how readings were written down."""
    return Group(
        heading("A question: " + _words(question.kind)),
        Text(question.sentence),
        note("It is asked of how readings were written down; no chart is changed by it."),
    )


def row_printed(row: QuarantinedRow) -> Text:
    """Return why a row was quarantined."""
    where = f"{row.file}: row {row.row}" + (f", {row.column}" if row.column else "")
    return Text(f"{where}: {row.text!r}: {row.reason}")


def count_printed(count: RowCount) -> Text:
    """Return how the rows of a log ended."""
    return Text(
        f"{count.read} rows read = {count.accepted} accepted + {count.duplicate} duplicate + "
        f"{count.quarantined} quarantined"
    )


def event_printed(event: Event) -> Group:
    """Return what was done to a line."""
    of = " · ".join(part for part in (event.line, event.check, event.position) if part)
    rows = [
        ("at", _time(event.at)),
        ("row of the file", str(event.row)),
        *([] if math.isnan(event.amount) else [("amount", with_unit(value(event.amount), event.unit))]),
        *([("note", event.note)] if event.note else []),
    ]
    return Group(heading(f"{_words(event.kind).capitalize()}: {of}"), facts(rows), note(IN_UTC))


def reading_printed(reading: Reading) -> Group:
    """Return one reading with what was written beside it."""
    said = reading.word if reading.word else SIGNS[Bound(reading.bound)] + value(reading.value, digits=10)
    beside = (
        ("instrument", reading.instrument),
        ("technician", reading.technician),
        ("shift", reading.shift),
        ("note", reading.note),
    )
    rows = [
        ("taken", _time(reading.taken_at)),
        ("row of the log", str(reading.row)),
        ("value", "not in operation" if said == NOT_RUN else said),
        *([] if math.isnan(reading.reference) else [("reference", value(reading.reference, digits=10))]),
        *(pair for pair in beside if pair[1]),
    ]
    return Group(heading(str(reading.key)), facts(rows), note(f"In the unit of the catalogue. {IN_UTC}"))


def check_printed(check: Check) -> Group:
    """Return what the catalogue asks of a check."""
    rows = [
        ("key", check.key),
        ("what is read", f"a number in {check.unit_label}" if check.unit_label else _read(check)),
        ("asked", bounds_text(check.acceptance, check) or "no acceptance limit"),
        *([("by", source)] if (source := source_text(check.acceptance)) else []),
        ("due", check.interval.words or "not set"),
        *_first_of("run rules", map(describe, check.rules)),
    ]
    return Group(heading(check.title), facts(rows))


def _read(check: Check) -> str:
    return "a number" if check.kind == "measured" else "a word"


def catalogue_printed(catalogue: Catalogue) -> Group:
    """Return every check with its limit and how often it is due."""
    rows = [
        (check.key, check.title, bounds_text(check.acceptance, check) or "none", check.interval.words)
        for check in catalogue.checks.values()
    ]
    return Group(heading("Checks"), plain_table(("key", "check", "asked", "due"), rows, words=4))


def rule_set_printed(rules: RuleSet) -> Group:
    """Return run rules that are published together."""
    return Group(
        heading(rules.title),
        *(Text(f"- {describe(setting)}") for setting in rules.settings),
        note(f"Source: {rules.source}. {rules.remark}".strip()),
    )


def suggestion_printed(dose: Dose) -> Group:
    """Return what to add to a bath."""
    return Group(dose_printed(dose, UTC), note(IN_UTC))


PARTS: Mapping[type, Callable[[Any], RenderableType]] = MappingProxyType(
    {
        Catalogue: catalogue_printed,
        Check: check_printed,
        Dose: suggestion_printed,
        Episode: episode_printed,
        Event: event_printed,
        Failure: failure_printed,
        Forecast: forecast_printed,
        Limits: limits_printed,
        QuarantinedRow: row_printed,
        Question: question_printed,
        Reading: reading_printed,
        RowCount: count_printed,
        RuleSet: rule_set_printed,
        RulesCost: rules_cost_printed,
        Segment: segment_printed,
        Signal: signal_printed,
        StreamState: state_printed,
    }
)
"""The form of each part; what a result of the maths looks like stands in `FORMS`."""
