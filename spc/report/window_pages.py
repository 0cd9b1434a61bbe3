"""The evidence of one failed check as a document: what failed, what is in doubt, what was done about it, by whom."""

from collections.abc import Iterator
from datetime import datetime, tzinfo

import numpy as np

from spc.containment import ExposureWindow, judged
from spc.failures import STEP_WORDS, FailureRecord
from spc.figures.ledger import exposure_course
from spc.formats import formats_now
from spc.printed.schedule import duration_text
from spc.report.document import Block, Document, Facts, Picture, Points, Section, Signatures, Table, Words
from spc.report.stream_page import PAPER
from spc.results import StreamResult
from spc.schedule.operation import Operation
from spc.stream_facts import written_text
from spc.times import from_microseconds, to_microseconds
from spc.wording import bounds_text, source_text, time_text

VERDICTS = {-1: "FAILED", 0: "not judged", 1: "inside"}
DECIDES = (
    "This tells when, not which parts. It accepts and rejects nothing: which parts were affected, and what becomes of "
    "them, the responsible Level 3 and the customer decide by the written procedure."
)
NO_RECORD = "Nothing is written down about this failed check."
AROUND = 3
"""Readings before the last good check and after the pass that are shown with the window."""


def window_document(
    window: ExposureWindow,
    result: StreamResult,
    operation: Operation,
    record: FailureRecord | None,
    *,
    zone: tzinfo,
    now: datetime,
    site: str,
    kept: tuple[Block, ...],
) -> Document:
    """Return the evidence of one failed check as a document.

    Args:
        window: what the failed check leaves in doubt.
        result: its stream, as shown.
        operation: when its line was in operation.
        record: what was written down about it; None: nothing.
        zone: of the times told.
        now: aware; as of when.
        site: name of the site, for the header.
        kept: where this was taken from, and how it can be compared with that.
    """
    name = window_name(window)
    return Document(
        title="Failed check",
        site=site,
        period=f"{window.key.line}, {name}, {time_text(window.failed_at, zone)}",
        made=time_text(now, zone),
        made_iso=now.astimezone(zone).isoformat(timespec="seconds"),
        opening=Section("What is in doubt", tuple(_opening(window, operation, zone, now))),
        sections=(
            Section("What was done about it", tuple(_done(record, zone))),
            Section("The readings", (_readings(window, result, zone),), new_page=False),
            Section("What this was taken from", kept, new_page=False),
        ),
    )


def window_name(window: ExposureWindow) -> str:
    """Return the check that failed as people call it."""
    return " ".join(filter(None, (window.check.title, window.key.position)))


def doubt(window: ExposureWindow, zone: tzinfo) -> str:
    """Return since when parts may be affected, in a sentence."""
    failed = time_text(window.failed_at, zone)
    ran = f"the line ran {duration_text(window.in_operation)} of it"
    if window.nothing_processed:
        return f"The line was not in operation from {time_text(window.first, zone)} to {failed}, as far as is known."
    if window.last_good is None:
        said = (
            f"The log holds no good check before {failed}: everything since its first reading may be affected; {ran}."
        )
    else:
        said = f"Everything processed from {time_text(window.last_good, zone)} to {failed} may be affected; {ran}."
    if window.open:
        return f"{said} The check has not passed since."
    return said


def window_facts(window: ExposureWindow, zone: tzinfo) -> Iterator[tuple[str, str]]:
    """Yield what is known of a failed check, a line each."""
    yield "Read", f"{window.failed}, row {window.failed_row}"
    acceptance = window.check.acceptance
    yield "Asked", ": ".join(filter(None, (bounds_text(acceptance, window.check), source_text(acceptance))))
    none = "none in this log: open towards the past"
    yield "Last good check", time_text(window.last_good, zone) if window.last_good else none
    yield "First failed check", time_text(window.failed_at, zone)
    if window.failures > 1:
        yield (
            "Failed in a row",
            f"{window.failures} checks, before it passed" if not window.open else f"{window.failures} checks",
        )
    yield "Passed again", time_text(window.passed_at, zone) if window.passed_at else "not yet"
    yield (
        "In doubt",
        f"{duration_text(window.failed_at - window.first)}, the line in operation {duration_text(window.in_operation)}",
    )
    until = "until it passed again" if window.passed_at else "until now"
    yield "Ran after the failure", f"{duration_text(window.in_operation_after)}, {until}"
    shifts = [f"{formats_now().day(shift.day)} {shift.name}".strip() for shift in window.shifts]
    yield "Shifts", ", ".join(shifts) or "none"
    if window.lots_recorded:
        yield "Lots", ", ".join(window.lots) or "none written down"
        yield "Parts", ", ".join(window.parts) or "none written down"
    else:
        yield "Lots and parts", "the log has no column lot or part; look in the shop's own records"


def _opening(window: ExposureWindow, operation: Operation, zone: tzinfo, now: datetime) -> Iterator[Block]:
    yield Words(doubt(window, zone))
    yield Facts((("Line", window.key.line), ("Check", window_name(window)), *window_facts(window, zone)), "window")
    yield Picture(
        "window",
        f"{doubt(window, zone)} The table says the same.",
        lambda: exposure_course(window, operation, zone, now=now, screen=PAPER),
        "Within the dashed frame parts may be affected.",
    )
    if window.obliges:
        yield Words("What it obliges", "sub")
        yield Points(tuple((words, ()) for words in window.obliges), numbered=True)
    yield Words(DECIDES, "caution")
    yield Signatures(("Prepared by", "Compared with the record by", "Responsible Level 3"))


def _done(record: FailureRecord | None, zone: tzinfo) -> Iterator[Block]:
    if record is None:
        yield Words(NO_RECORD)
        return
    opened = f"Opened {time_text(record.opened_at, zone)} by {record.opened_by}"
    yield Words(f"{opened}; the record is {'closed' if record.state == 'closed' else 'not closed'}.")
    rows = tuple((STEP_WORDS[step.kind], step.words, step.by, time_text(step.at, zone)) for step in record.steps)
    yield Table("steps", ("what", "in words", "by", "written"), rows, "Steps in the order written", wide=(0, 1))
    if record.state != "closed" and record.lacks:
        yield Words("Missing before it can be closed", "sub")
        yield Points(tuple((words, ()) for words in record.lacks))


def _readings(window: ExposureWindow, result: StreamResult, zone: tzinfo) -> Table:
    """Return the readings from some before the last good check to some after the one that passed again."""
    readings, states = result.readings, judged(result)
    until = window.passed_at or from_microseconds(int(readings.taken_at[-1]))
    low = int(np.searchsorted(readings.taken_at, to_microseconds(window.first), side="left"))
    high = int(np.searchsorted(readings.taken_at, to_microseconds(until), side="right"))
    rows = tuple(
        (
            time_text(from_microseconds(int(readings.taken_at[i])), zone),
            written_text(result, i),
            VERDICTS[int(states[i])],
            str(readings.instrument[i]),
            str(readings.technician[i]),
            int(readings.row[i]),
            str(readings.note[i]),
        )
        for i in range(max(0, low - AROUND), min(len(readings), high + AROUND))
    )
    columns = ("taken", "as it stands", "judged", "instrument", "technician", "row", "note")
    return Table("readings", columns, rows, "From before the last good check until after it passed again")
