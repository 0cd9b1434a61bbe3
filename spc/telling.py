"""How results tell themselves: lines of text for `print`, HTML for a notebook, from the forms of `spc/printed/`.

A log, a scan and a stream have forms here; times of a stream alone are those of UTC, since only a scan knows the zone.
"""

import io
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import UTC, datetime, tzinfo
from html import escape
from types import MappingProxyType
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from spc.ingest.csv_log import CheckLog
from spc.ingest.event_log import EventLog
from spc.margin import last_text
from spc.printed import FORMS, printed
from spc.printed.parts import PARTS, STANDING
from spc.printed.table import facts, heading, note, plain_table
from spc.records import Readings
from spc.results import StreamResult
from spc.scan import Scan
from spc.signals import episodes
from spc.state import StreamState, stream_state
from spc.stream_facts import acceptance_facts, baseline_facts, forecast_words
from spc.times import from_microseconds
from spc.wording import time_text

WIDTH = 110
SHOWN = 5
"""Quarantined rows and notes that are told; a log keeps them all."""


def words(result: object) -> str:
    """Return a result as lines of text."""
    said = io.StringIO()
    console = Console(file=said, width=WIDTH, color_system=None, highlight=False, markup=False, emoji=False)
    console.print(_form(result))
    return "\n".join(line.rstrip() for line in said.getvalue().rstrip().split("\n"))


def page(result: object) -> str:
    """Return a result as HTML, to stand in a page; a stream with its chart."""
    parts = "".join(_html(_form(result)))
    chart = _chart(result) if isinstance(result, StreamResult) else ""
    return f"<div>{parts}{chart}</div>"


def _form(result: object) -> RenderableType:
    form = _FORMS.get(type(result))
    return printed(result) if form is None and type(result) in FORMS else form(result) if form else Text(repr(result))


def _log(log: CheckLog | EventLog) -> Group:
    rows, what = log.rows, "events" if isinstance(log, EventLog) else "readings"
    kept = len(log.events) if isinstance(log, EventLog) else sum(map(len, log.streams.values()))
    streams = "" if isinstance(log, EventLog) else f" of {len(log.streams)} streams"
    count = f"{rows.accepted} accepted + {rows.duplicate} duplicate + {rows.quarantined} quarantined"
    parts: list[RenderableType] = [
        heading(log.file),
        Text(f"{rows.read} rows read = {count}; {kept} {what}{streams}."),
    ]
    if log.quarantine:
        shown = [(str(bad.row), bad.column, bad.text, bad.reason) for bad in log.quarantine[:SHOWN]]
        parts.append(plain_table(("row", "column", "text", "why it was quarantined"), shown, words=4))
        parts += _more(len(log.quarantine), "quarantined rows stand in .quarantine")
    parts += [note(said) for said in log.notes[:SHOWN]]
    return Group(*parts, *_more(len(log.notes), "notes stand in .notes"))


def _more(count: int, where: str) -> list[RenderableType]:
    return [note(f"All {count} {where}.")] if count > SHOWN else []


def _scan(scan: Scan) -> Group:
    """Return what a scan found, as things stand at its last reading: no clock is asked."""
    parts: list[RenderableType] = [_log(scan.log)]
    times = [int(result.readings.taken_at[-1]) for result in scan.streams if len(result.readings)]
    if times:
        now = from_microseconds(max(times))
        states = [(result, stream_state(result, scan.zone, now)) for result in scan.streams]
        urgent = [state for _, state in states if state.word in ("failed", "moving")]
        parts += [heading(f"As of the last reading, {time_text(now, scan.zone)}"), *_urgent(urgent)]
        rows = [_stream_row(result, state, scan.zone) for result, state in states]
        columns = ("stream", "state", "last reading", "readings", "failed", "warnings")
        parts.append(plain_table(columns, rows, words=3))
    return Group(*parts, note(STANDING))


def _urgent(urgent: list[StreamState]) -> Iterator[RenderableType]:
    if not urgent:
        yield Text("No failed check and no warning stands.")
    for state in urgent:
        yield Text(f"- {state.headline}")


def _stream_row(result: StreamResult, state: StreamState, zone: tzinfo) -> tuple[str, ...]:
    counts = (len(result.readings), len(result.failures), len(episodes(result, zone)))
    return (str(result.key), state.word, state.last_text, *map(str, counts))


def _stream(result: StreamResult) -> Group:
    told = episodes(result, UTC)
    rows = [
        ("Readings", _span(result.readings)),
        ("Last reading", last_text(result)),
        *acceptance_facts(result),
        *baseline_facts(result, UTC),
        ("Failed checks", str(len(result.failures))),
        ("Warnings", str(len(told))),
    ]
    if told:
        rows.append(("The latest", told[-1].sentence))
    if len(result.charted.x):
        rows.append(("What comes next", " ".join(forecast_words(result.forecast, UTC))))
    return Group(heading(f"{result.check.title}: {result.key}"), facts(rows), note(f"Times in UTC. {STANDING}"))


def _readings(readings: Readings) -> Group:
    return Group(heading(str(readings.key)), facts([("Readings", _span(readings))]), note("Times in UTC."))


def _span(readings: Readings) -> str:
    if not len(readings):
        return "none"
    first, last = (_time(readings, place) for place in (0, -1))
    return f"{len(readings)}, {time_text(first, UTC)} to {time_text(last, UTC)}"


def _time(readings: Readings, place: int) -> datetime:
    return from_microseconds(int(readings.taken_at[place]))


_FORMS: Mapping[type, Callable[[Any], RenderableType]] = MappingProxyType(
    {**PARTS, CheckLog: _log, EventLog: _log, Readings: _readings, Scan: _scan, StreamResult: _stream}
)
"""How what is no single result of the maths is told."""


def _chart(result: StreamResult) -> str:
    from spc.figures.stream import stream_figure
    from spc.report.svg import figure_svg

    if not len(result.readings):
        return ""
    picture = figure_svg(stream_figure(result, zone=UTC), f"Chart of {result.key}")
    return f'<div style="background:#fff">{picture}</div>'


def _html(part: RenderableType) -> Iterator[str]:
    """Yield what rich would print as HTML of its own: tables stay tables."""
    match part:
        case Group():
            for each in part.renderables:
                yield from _html(each)
        case Padding():
            yield from _html(part.renderable)
        case Table():
            yield from _html_table(part)
        case Text():
            tag = "strong" if "bold" in str(part.style) else "small" if "dim" in str(part.style) else "span"
            yield f"<p><{tag}>{escape(part.plain)}</{tag}></p>" if part.plain else ""
        case _:
            yield f"<p>{escape(str(part))}</p>"


def _html_table(table: Table) -> Iterator[str]:
    sides = [str(column.justify) for column in table.columns]
    yield "<table>"
    if table.show_header:
        yield f"<thead>{_html_row('th', sides, (column.header for column in table.columns))}</thead>"
    yield "<tbody>"
    for row in zip(*(column.cells for column in table.columns), strict=True):
        yield _html_row("td", sides, row)
    yield "</tbody></table>"


def _html_row(tag: str, sides: Iterable[str], cells: Iterable[RenderableType]) -> str:
    texts = (cell.plain if isinstance(cell, Text) else str(cell) for cell in cells)
    told = (f'<{tag} style="text-align:{s}">{escape(text)}</{tag}>' for s, text in zip(sides, texts, strict=True))
    return f"<tr>{''.join(told)}</tr>"
