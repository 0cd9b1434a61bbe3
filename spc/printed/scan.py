"""A scan as a person reads it in a terminal."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from itertools import groupby
from typing import Literal

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from spc.as_of import ahead_notes
from spc.charted import was_running
from spc.failed_reading import failed_text
from spc.ingest.csv_log import CheckLog
from spc.ingest.event_log import EventLog
from spc.results import StreamResult
from spc.scan import Scan
from spc.screening import screen
from spc.shown import shown_in
from spc.signals import Episode, episodes, subject
from spc.state import StreamState, stream_state
from spc.times import from_microseconds
from spc.wording import bounds_text, source_text, time_text

STATE_WORDS = {
    "failed": "FAILED",
    "overdue": "overdue",
    "moving": "moving",
    "idle": "not in operation",
    "learning": "learning",
    "calm": "calm",
    "judged": "acceptable",
}
_STYLE = {"failed": "bold reverse", "overdue": "bold", "moving": "bold", "learning": "dim"}
COLUMNS: dict[str, Literal["left", "right"]] = {
    "readings": "right",
    "last": "right",
    "taken": "left",
    "margin": "left",
    "failed": "right",
    "signals": "right",
    "state": "left",
}
SHOWN_QUARANTINE = 10
SHOWN_UNUSED = 10
SHOWN_EPISODES = 3
SHOWN_QUESTIONS = 12

STANDING = (
    "Limits marked starter value are not confirmed for this site: name their document and revision in the site's "
    "catalogue. This analyses numbers that people entered. It accepts or rejects no part; the written procedure, "
    "the customer's documents, local codes and the responsible Level 3 decide."
)


def shown_scan(scan: Scan) -> Scan:
    """Return a scan to be printed: its streams in the units that the site wants shown."""
    formats = scan.catalogue.formats
    return replace(scan, streams=tuple(shown_in(result, formats) for result in scan.streams))


def print_scan(scan: Scan, console: Console, *, now: datetime) -> None:
    """Print rows, what needs attention, every stream, and the record of failures and signals."""
    states = [(result, stream_state(result, scan.zone, now)) for result in scan.streams]
    for part in (
        *_rows(scan, now),
        *_attention(states),
        *_streams(states, scan),
        *_record(scan),
        *_questions(scan),
        Text(STANDING, style="dim"),
    ):
        console.print(part)


def _rows(scan: Scan, now: datetime) -> Iterable[RenderableType]:
    logs: list[CheckLog | EventLog] = [scan.log, *([scan.events] if scan.events else [])]
    for read in logs:
        rows = read.rows
        what = "readings found" if isinstance(read, CheckLog) and read.cells else "rows read"
        yield Text(
            f"{read.file}: {rows.read} {what} = {rows.accepted} accepted + {rows.duplicate} duplicate "
            f"+ {rows.quarantined} quarantined"
        )
        yield from (_indented(note) for note in read.notes)
        for bad in read.quarantine[:SHOWN_QUARANTINE]:
            where = f"row {bad.row}, {bad.column}" if bad.column else f"row {bad.row}"
            yield _indented(f"quarantined {where}: “{bad.text}”: {bad.reason}")
        if len(read.quarantine) > SHOWN_QUARANTINE:
            more = len(read.quarantine) - SHOWN_QUARANTINE
            yield _indented(f"and {more} more quarantined; --json lists them all")
        if read is scan.log:
            yield from (_indented(words) for words in ahead_notes(scan.streams, scan.zone, now))
    unused = (*scan.notes_of_names, *scan.notes_of_catalogue, *scan.notes_of_events)
    yield from (_indented(note) for note in unused[:SHOWN_UNUSED])
    if len(unused) > SHOWN_UNUSED:
        yield _indented(f"and {len(unused) - SHOWN_UNUSED} more of these; --json lists them all")
    yield Text(f"Times are those of {scan.zone}.\n")


def _indented(text: str) -> Padding:
    return Padding(Text(text), (0, 0, 0, 2))


def _attention(states: list[tuple[StreamResult, StreamState]]) -> Iterable[RenderableType]:
    urgent = [(r, s) for word in ("failed", "moving") for r, s in states if s.word == word]
    if not urgent:
        yield Text("Nothing needs attention: no failed check and no signal at the end of this log.\n", style="bold")
        return
    yield Text("Needs attention", style="bold underline")
    for result, state in urgent:
        lines = [
            Text.assemble(
                (f"{STATE_WORDS[state.word]:<7}", _STYLE.get(state.word, "")), f" {result.key.line}: {state.headline}"
            )
        ]
        if state.look_first:
            lines.append(Text("Look first at: " + "; ".join(state.look_first) + "."))
        if state.obliges:
            lines.append(Text("This obliges: " + " ".join(state.obliges)))
        yield Group(lines[0], *(Padding(line, (0, 0, 0, 8)) for line in lines[1:]))
    yield Text("")


def _streams(states: list[tuple[StreamResult, StreamState]], scan: Scan) -> Iterable[RenderableType]:
    yield Text("Every stream", style="bold underline")
    for line, of_line in groupby(states, key=lambda state: state[0].key.line):
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
        table.add_column(line)
        for heading, justify in COLUMNS.items():
            table.add_column(heading, justify=justify)
        for result, state in of_line:
            table.add_row(
                subject(result),
                str(int(was_running(result.readings).sum())),
                state.last_text,
                state.taken_text,
                state.margin_text,
                str(len(result.failures) or ""),
                str(len(episodes(result, scan.zone)) or ""),
                Text(STATE_WORDS[state.word], style=_STYLE.get(state.word, "")),
            )
        yield table
    yield Text("")


def _record(scan: Scan) -> Iterable[RenderableType]:
    yield Text("Record of failures and signals", style="bold underline")
    for result in scan.streams:
        grouped = episodes(result, scan.zone)
        if not result.failures and not grouped:
            continue
        yield Text(f"{result.key.line}: {subject(result)}", style="bold")
        acceptance = result.check.acceptance
        yield Text(
            "  " + ": ".join(filter(None, (bounds_text(acceptance, result.check), source_text(acceptance)))),
            style="dim",
        )
        if result.failures:
            yield Text(f"  {_failures(result, scan)}")
        yield from (Text(f"  {_episode(episode, scan)}") for episode in grouped[-SHOWN_EPISODES:])
        if len(grouped) > SHOWN_EPISODES:
            yield Text(f"  and {len(grouped) - SHOWN_EPISODES} earlier; --json lists every signal.")
    yield Text("")


def _questions(scan: Scan) -> Iterable[RenderableType]:
    questions = screen(scan.streams, zone=scan.zone)
    if not questions:
        return
    yield Text("Questions about how readings were written (no signal, no accusation)", style="bold underline")
    for question in questions[-SHOWN_QUESTIONS:]:
        yield _indented(question.sentence)  # which names its line
    if len(questions) > SHOWN_QUESTIONS:
        yield _indented(f"and {len(questions) - SHOWN_QUESTIONS} earlier; --json lists them all")
    yield Text("")


def _failures(result: StreamResult, scan: Scan) -> str:
    last = result.failures[-1]
    latest = f"{failed_text(last, result)} at {time_text(from_microseconds(last.taken_at), scan.zone)}"
    count = len(result.failures)
    return f"Failed {count} time{'s' * (count > 1)}, latest {latest}."


def _episode(episode: Episode, scan: Scan) -> str:
    because = "; ".join(
        f"{event.kind.replace('_', ' ')} was written down at {time_text(event.at, scan.zone)}"
        for event in episode.explained_by
    )
    return f"{episode.sentence}{f' Possible explanation: {because}.' if because else ''}"
