"""What failed checks and instruments leave open, as a person reads it."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import tzinfo

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from spc.containment import ExposureWindow
from spc.failures import FailureRecord
from spc.instruments import CalibrationDue
from spc.look_back import AsFound, LookBack, StreamLookBack
from spc.printed.schedule import duration_text
from spc.printed.table import facts, heading, note, plain_table
from spc.wording import bounds_text, short, source_text, time_text, with_unit

STANDING = (
    "This says when, not what: which parts were affected, and what becomes of them, the responsible Level 3 and the "
    "customer decide by the written procedure. Nothing here accepts or rejects a part."
)


def exposed_printed(windows: Iterable[ExposureWindow], zone: tzinfo) -> Group:
    """Return the exposure windows, each with what it obliges."""
    parts = [part for window in windows for part in _window(window, zone)]
    if not parts:
        return Group(Text("No check failed: no exposure window.", style="bold"), note(STANDING))
    return Group(*parts, note(STANDING))


def _window(window: ExposureWindow, zone: tzinfo, read: str = "Read") -> Iterator[RenderableType]:
    acceptance = window.check.acceptance
    yield heading(f"{window.key}: failed {time_text(window.failed_at, zone)}")
    yield Padding(facts(_window_facts(window, zone, read)), (0, 0, 0, 2))
    asked = ": ".join(filter(None, (bounds_text(acceptance, window.check), source_text(acceptance))))
    yield Padding(note(f"Asked: {asked}"), (0, 0, 0, 2))
    yield from (Padding(Text(f"- {line}"), (0, 0, 0, 2)) for line in window.obliges)
    yield Text("")


def _window_facts(window: ExposureWindow, zone: tzinfo, read: str) -> Iterator[tuple[str, str]]:
    again = f", {window.failures} failed readings before it passed" if window.failures > 1 else ""
    yield read, f"{window.failed}, row {window.failed_row}{again}"
    if window.last_good is None:
        yield (
            "Last good check",
            f"none in this log, which begins {time_text(window.first, zone)}: open towards the past",
        )
    else:
        yield "Last good check", f"{time_text(window.last_good, zone)}, row {window.last_good_row}"
    length = duration_text(window.failed_at - window.first)
    yield "Exposed", f"{length}, {duration_text(window.in_operation)} of it in operation"
    yield "Shifts", ", ".join(f"{shift.day} {shift.name}".strip() for shift in window.shifts) or "none"
    if window.rests:
        said = dict.fromkeys(f"{rest.why}: {rest.note}" if rest.note else rest.why for rest in window.rests)
        yield "Not in operation", f"{', '.join(said)}; this ends no window"
    if window.nothing_processed:
        yield "Processed", "nothing, as far as calendar, events and rows know: let a person confirm it"
    for name, found in (("Lots", window.lots), ("Parts", window.parts)):
        if window.lots_recorded:
            yield name, ", ".join(found) or "none written down"
    if not window.lots_recorded:
        yield "Lots", "the log has no column lot or part; look in the shop's own records"
    after = duration_text(window.in_operation_after)
    if window.passed_at is None:
        yield "Passed again", f"not yet; {after} in operation since it failed"
    else:
        yield (
            "Passed again",
            f"{time_text(window.passed_at, zone)}, row {window.passed_row}; {after} in operation between",
        )


def instruments_printed(due: Iterable[CalibrationDue], notes: Iterable[str], zone: tzinfo) -> Group:
    """Return how every instrument stands to its calibration."""
    rows = [_instrument_row(each, zone) for each in due]
    columns = ("instrument", "what", "last calibrated", "due", "state", "readings", "of them overdue")
    return Group(
        heading("Instruments and their calibrations"),
        plain_table(columns, rows, words=5) if rows else Text("The log and the file name no instrument."),
        Text(""),
        *map(note, notes),
        note(
            "Not known: neither the log's events nor the site's file say when it was calibrated or how often it has "
            "to be. Intervals are those of your file; documents differ between 6 and 12 months for meters."
        ),
    )


def _instrument_row(each: CalibrationDue, zone: tzinfo) -> tuple[str, ...]:
    last = f"{time_text(each.last.at, zone)} {each.last.words}".strip() if each.last else ""
    state = each.state.upper() if each.state == "overdue" else each.state
    return (
        each.instrument.name,
        each.instrument.title,
        last,
        str(each.due or ""),
        state,
        str(each.used),
        str(each.used_overdue or ""),
    )


def look_back_printed(found: LookBack, zone: tzinfo) -> Group:
    """Return what an instrument's readings become once they are corrected, both ways side by side."""
    rows = [
        (
            str(stream.key),
            stream.model,
            str(stream.readings),
            str(stream.would_have_failed),
            str(stream.would_have_passed),
            str(stream.undecided),
            time_text(stream.first_failed, zone) if stream.first_failed else "",
        )
        for stream in found.streams
    ]
    since = time_text(found.since, zone) if found.since else "its first reading: no good calibration before is known"
    columns = ("stream", "error", "readings", "would fail", "would pass", "undecided", "first that would fail")
    return Group(
        heading(f"{found.instrument}, found {error_text(found.as_found)} on {time_text(found.found_at, zone)}"),
        Text(f"Every reading made with it since {since}."),
        Text(
            "constant: the whole error all the time; linear: growing to it. Would fail, would pass: other than as read."
        ),
        Text(""),
        plain_table(columns, rows, words=2),
        Text(""),
        *(part for stream in found.streams for part in _opened(stream, zone)),
        note(STANDING),
    )


def _opened(stream: StreamLookBack, zone: tzinfo) -> Iterator[RenderableType]:
    """Yield the windows that open on a stream by one model of the error."""
    if stream.windows:
        yield heading(f"If the error was {stream.model}: {len(stream.windows)} exposure windows of {stream.key}")
        yield Text("")
        for window in stream.windows:
            yield from _window(window, zone, "Corrected")


def error_text(as_found: AsFound) -> str:
    """Return an error as people say it: "12 % low", "0.1 high"."""
    parts = []
    if as_found.relative:
        parts.append(
            with_unit(short(100 * abs(as_found.relative)), "%") + (" low" if as_found.relative < 0 else " high")
        )
    if as_found.offset:
        parts.append(short(abs(as_found.offset)) + (" low" if as_found.offset < 0 else " high"))
    return " and ".join(parts)


def failures_printed(records: Iterable[FailureRecord], unwritten: Sequence[ExposureWindow], zone: tzinfo) -> Group:
    """Return the records of failed checks, and the failed checks that have none."""
    parts: list[RenderableType] = []
    for record in records:
        parts += [*_record(record, zone), Text("")]
    if unwritten:
        parts.append(heading(f"{len(unwritten)} failed checks without a record"))
        rows = [(str(window.key), time_text(window.failed_at, zone), window.failed) for window in unwritten]
        parts += [plain_table(("stream", "failed", "read"), rows, words=3), Text("")]
    return Group(*(parts or [Text("No failed check and no record.")]), note(STANDING))


def _record(record: FailureRecord, zone: tzinfo) -> Iterator[RenderableType]:
    yield heading(f"{record.key}: failed {time_text(record.failed_at, zone)}: {record.state}")
    rows = [
        ("Read", f"{record.failed}; asked: {record.asked}"),
        ("Last good check", time_text(record.last_good, zone) if record.last_good else "none"),
        ("Passed again", time_text(record.passed_at, zone) if record.passed_at else "not yet"),
        ("Lots, parts", ", ".join((*record.lots, *record.parts)) or "none written down"),
        ("Opened", f"{time_text(record.opened_at, zone)} by {record.opened_by}"),
        *((step.kind.capitalize(), f"{time_text(step.at, zone)} by {step.by}: {step.words}") for step in record.steps),
    ]
    if record.state != "closed":
        rows.append(("Still missing", "; ".join(record.lacks) or "nothing: it may be closed"))
    yield Padding(facts(rows), (0, 0, 0, 2))
