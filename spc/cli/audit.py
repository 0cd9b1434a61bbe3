"""The commands that answer an audit from a log: `spc due`, `ledger`, `exposed`, `instruments`."""

from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spc.cli.formats import as_the_site_writes
from spc.cli.given import day_given, moment_given, person, zone_named
from spc.cli.options import (
    AsJson,
    CalendarFile,
    CatalogueFile,
    CheckKey,
    Dates,
    Events,
    InstrumentFile,
    Line,
    LogOrStore,
    Now,
    Position,
    StoreForLog,
    Zone,
)
from spc.cli.terminal import console, echo_json
from spc.errors import InputError

if TYPE_CHECKING:
    from spc.audit import Audit, Wanted


def add_commands(app: typer.Typer) -> None:
    """Add the commands of audits to `app`."""
    for command in (due, ledger, exposed, instruments, failed):
        app.command()(as_the_site_writes(command))


def due(
    log: LogOrStore = None,
    store: StoreForLog = None,
    events: Events = None,
    catalogue: CatalogueFile = None,
    calendar: CalendarFile = None,
    zone: Zone = None,
    dates: Dates = None,
    now: Now = None,
    line: Line = None,
    check: CheckKey = None,
    position: Position = None,
    as_json: AsJson = False,
) -> None:
    """Tell which checks are due now, and which are next."""
    found = read_audit(log, store, events, catalogue, calendar, zone, dates, now)
    streams = [
        stream for stream in found.ledger.streams if wanted_streams(found, line, check, position).holds(stream.key)
    ]
    if as_json:
        from spc.as_json.audit import due_json

        echo_json(due_json(found.ledger, streams))
    else:
        from spc.printed.schedule import due_printed

        console().print(due_printed(found.ledger, streams))


def ledger(
    log: LogOrStore = None,
    store: StoreForLog = None,
    events: Events = None,
    catalogue: CatalogueFile = None,
    calendar: CalendarFile = None,
    zone: Zone = None,
    dates: Dates = None,
    now: Now = None,
    line: Line = None,
    check: CheckKey = None,
    position: Position = None,
    first: Annotated[
        str | None, typer.Option("--from", help="First day, such as 2025-03-04. [default: the log's first]")
    ] = None,
    last: Annotated[str | None, typer.Option("--to", help="Last day. [default: that of --now]")] = None,
    gaps: Annotated[bool, typer.Option("--gaps", help="List every gap, not the latest alone.")] = False,
    as_json: AsJson = False,
) -> None:
    """Show whether each check was made on time: done, late, missed, not in operation, with exact gaps."""
    found = read_audit(log, store, events, catalogue, calendar, zone, dates, now)
    kept = found.ledger
    streams = [stream for stream in kept.streams if wanted_streams(found, line, check, position).holds(stream.key)]
    begins = min((stream.first for stream in streams if stream.first), default=kept.now).astimezone(kept.zone).date()
    start = day_given(first, "--from") or begins
    end = day_given(last, "--to") or kept.now.astimezone(kept.zone).date()
    if end < start:
        raise InputError(f"--to {end} is before --from {start}; swap or correct them")
    if as_json:
        from spc.as_json.audit import ledger_json

        echo_json(ledger_json(kept, streams, first=start, last=end))
    else:
        from spc.printed.schedule import ledger_printed

        console().print(ledger_printed(kept, streams, first=start, last=end, every_gap=gaps))


def exposed(
    log: LogOrStore = None,
    store: StoreForLog = None,
    events: Events = None,
    catalogue: CatalogueFile = None,
    calendar: CalendarFile = None,
    zone: Zone = None,
    dates: Dates = None,
    now: Now = None,
    line: Line = None,
    check: CheckKey = None,
    position: Position = None,
    on: Annotated[
        str | None, typer.Option(help="Failed checks of this day alone, such as 2025-03-04.", show_default=False)
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Tell what each failed check leaves open: from the last good check to the failed one."""
    from spc.audit import exposed as windows_of
    from spc.audit import exposed_shown

    found = read_audit(log, store, events, catalogue, calendar, zone, dates, now)
    day = day_given(on, "--on")
    windows = [
        window
        for window in windows_of(found, wanted_streams(found, line, check, position))
        if day is None or window.failed_at.astimezone(found.ledger.zone).date() == day
    ]
    if as_json:
        from spc.as_json.audit import exposed_json

        echo_json(exposed_json(windows, found.ledger))
    else:
        from spc.printed.exposed import exposed_printed

        console().print(exposed_printed(exposed_shown(found, windows), found.ledger.zone))


def instruments(
    log: LogOrStore = None,
    store: StoreForLog = None,
    file: InstrumentFile = None,
    events: Events = None,
    catalogue: CatalogueFile = None,
    calendar: CalendarFile = None,
    zone: Zone = None,
    dates: Dates = None,
    now: Now = None,
    name: Annotated[
        str | None, typer.Option(help="Instrument that came back out of tolerance.", show_default=False)
    ] = None,
    error: Annotated[
        float | None, typer.Option(help="Its error as found, in percent of true: -12 showed too little.")
    ] = None,
    offset: Annotated[float | None, typer.Option(help="Its error as found, in the unit of the check.")] = None,
    found: Annotated[str | None, typer.Option(help="When it was found. [default: its last calibration]")] = None,
    since: Annotated[
        str | None, typer.Option(help="Its last good calibration. [default: the last one known as good]")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Tell which calibrations are due; with --name, what an instrument's error did to its readings."""
    from spc.as_json.audit import instruments_json, look_back_json
    from spc.audit import instruments as instruments_of
    from spc.audit import looked_back
    from spc.look_back import AsFound
    from spc.printed.exposed import instruments_printed, look_back_printed

    if (name is None) != (error is None and offset is None):
        raise InputError("--name and the error found belong together; give --name with --error or --offset")
    if name is None and (found, since) != (None, None):
        raise InputError("--found and --since belong to --name; name the instrument")
    read = read_audit(log, store, events, catalogue, calendar, zone, dates, now)
    known = instruments_of(read, file)
    if name is None:
        if as_json:
            echo_json(instruments_json(known, read.ledger))
        else:
            console().print(instruments_printed(known.due, known.notes, read.ledger.zone))
        return
    as_found = AsFound(relative=(error or 0.0) / 100.0, offset=offset or 0.0)
    back = looked_back(
        read, known, name, as_found, found_at=moment_given(found, "--found"), since=moment_given(since, "--since")
    )
    if as_json:
        echo_json(look_back_json(back, read.ledger))
    else:
        console().print(look_back_printed(back, read.ledger.zone))


def failed(
    store: StoreForLog = None,
    catalogue: CatalogueFile = None,
    calendar: CalendarFile = None,
    zone: Zone = None,
    now: Now = None,
    line: Line = None,
    check: CheckKey = None,
    position: Position = None,
    at: Annotated[
        str | None,
        typer.Option(help="When the check failed, to the minute; with seconds where several did.", show_default=False),
    ] = None,
    step: Annotated[
        str | None,
        typer.Option(
            help="What is written down: told, held, found, corrected, retired, decided, closed, reopened.",
            show_default=False,
        ),
    ] = None,
    words: Annotated[str, typer.Option(help="What was done, found or decided.")] = "",
    by: Annotated[
        str | None, typer.Option(help="Who writes it down. [default: this machine's user]", show_default=False)
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Keep the record of a failed check: who was told, what was held, found and decided, who closed it."""
    from spc.audit import audit_store, exposed_shown
    from spc.audit import exposed as windows_of
    from spc.failure_book import book_shown, failure_book, window_at, write_step
    from spc.failures import FailureStep
    from spc.formats import AS_IT_CAME, formats_of
    from spc.records import StreamKey
    from spc.store.store import Store

    if (step is None) is not (at is None) or (step is not None and (line is None or check is None)):
        raise InputError(
            "a step is that of one failed check; give --line, --check, --position, --at and --step together"
        )
    clock = datetime.now(UTC)
    moment = moment_given(now, "--now") or clock
    with Store.open(store, must_exist=True) as kept:
        found = audit_store(kept, catalogue=catalogue, calendar=calendar, zone=zone_named(zone), now=moment)
        wanted = wanted_streams(found, line, check, position)
        with formats_of(AS_IT_CAME):  # what is written down about them is kept as it came
            book = failure_book(kept, windows_of(found, wanted))
        if step is not None and at is not None:
            key = StreamKey(line or "", check or "", position or "")
            failed_at = moment_given(at, "--at") or clock
            window = window_at(
                book, key, failed_at if failed_at.tzinfo else failed_at.replace(tzinfo=found.ledger.zone)
            )
            who = person(by)
            written = FailureStep(step, found.ledger.now, who, words)  # type: ignore[arg-type]  # refused where it is none
            write_step(kept, book, window, written, who=who, now=clock)
            book = failure_book(kept, (window,))
    if not as_json:
        book = book_shown(book, exposed_shown(found, book.windows.values()))
    records = [
        record
        for place, record in book.records.items()
        if wanted.holds(place[0]) and (step is None or place in book.windows)
    ]
    unwritten = () if step is not None else book.without_record
    if as_json:
        from spc.as_json.audit import failures_json

        echo_json(failures_json(records, unwritten, found.ledger))
    else:
        from spc.printed.exposed import failures_printed

        console().print(failures_printed(records, unwritten, found.ledger.zone))


def read_audit(
    log: Path | None,
    store: str | None,
    events: Path | None,
    catalogue: Path | None,
    calendar: Path | None,
    zone: str | None,
    dates: str | None,
    now: str | None,
) -> "Audit":
    """Return the log, or the store where none is given, with its ledger."""
    from spc.audit import audit, audit_store

    named: tzinfo | None = zone_named(zone)
    moment = moment_given(now, "--now") or datetime.now(UTC)
    if log is None:
        if (events, dates) != (None, None):
            raise InputError("--events and --dates belong to a log; the store has its events, so leave them out")
        from spc.store.store import Store

        with Store.open(store, must_exist=True) as kept:
            return audit_store(kept, catalogue=catalogue, calendar=calendar, zone=named, now=moment)
    if store is not None:
        raise InputError("a log and --store are given; give one of them")
    return audit(log, events=events, catalogue=catalogue, calendar=calendar, zone=named, dates=dates, now=moment)


def wanted_streams(found: "Audit", line: str | None, check: str | None, position: str | None) -> "Wanted":
    """Return which streams are asked for; refuse what no stream has."""
    from spc.audit import Wanted
    from spc.catalogue.table import nearest

    keys = [stream.key for stream in found.ledger.streams]
    for option, asked, have in (
        ("--line", line, {key.line for key in keys}),
        ("--check", check, {key.check for key in keys}),
        ("--position", position, {key.position for key in keys}),
    ):
        if asked is not None and asked not in have:
            raise InputError(f"{option} {asked!r} is in no row of the log; {nearest(asked, sorted(have))}")
    return Wanted(line, check, position)
