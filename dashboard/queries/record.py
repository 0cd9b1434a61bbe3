"""What the record's page asks: failed checks, what is due, the ledger, instruments, limits, and who wrote what."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta, tzinfo
from typing import TYPE_CHECKING, Any

from dashboard.queries.audited import Audited, audited
from dashboard.queries.known import Known
from dashboard.queries.record_look_back import look_back_asked, moment_of
from dashboard.queries.record_windows import NO_STORE, state_words, window_href
from dashboard.queries.remembered import Remembered
from dashboard.queries.stream import screen_of
from dashboard.queries.words import count, key_of, view_of
from dashboard.urls import DUE, FAILED, LEDGER, LIMITS, METERS, TRAIL, RecordView, StreamView, write_href
from dashboard.views.choices import Choice
from dashboard.views.record import RecordPage, RecordTable
from spc.audit import Wanted
from spc.containment import ExposureWindow
from spc.errors import InputError
from spc.formats import formats_now
from spc.printed.schedule import due_row, duration_text, gap_rows
from spc.records import StreamKey
from spc.shown import check_shown
from spc.signals import subject
from spc.wording import bounds_text, source_text, time_text

if TYPE_CHECKING:
    from spc.store.history import Change

NAMES = {
    FAILED: "Failed checks",
    DUE: "Due now and next",
    LEDGER: "Made on time?",
    METERS: "Instruments",
    LIMITS: "Limits in force",
    TRAIL: "Who changed this?",
}
LEADS = {
    FAILED: "What each failed check leaves in doubt, from the last good check to the failed one. The page says when, "
    "not what: which parts were affected, and what becomes of them, the responsible Level 3 and the customer decide "
    "by the written procedure.",
    DUE: "Every check with when it was last made and when it has to be made again, the most urgent first. The "
    "intervals are those of the catalogue; the written procedure decides.",
    LEDGER: "What was late, missed, or not asked because the line was not in operation, each with its exact gap; the "
    "latest first.",
    METERS: "How each instrument stands to its calibration, and what hangs on one that came back out of tolerance.",
    LIMITS: "The acceptance limits that each stream is judged by now, and those that were decided, from when, by whom.",
    TRAIL: "Every entry as it was written: by whom, when, why; the latest first. Nothing in it is ever overwritten.",
}
DAYS: tuple[tuple[int, str], ...] = ((90, "90 days"), (365, "A year"), (731, "Two years"))
MOST = 100
"""Rows of a table: a browser takes its time to lay out more."""

CAME = 30
"""Rows of the readings as they came in: of little interest until one stream is chosen."""

CAME_IN = frozenset({"readings", "quarantined", "imported"})
"""Entries of the trail that brought readings in."""


def record_page(known: Known, memory: Remembered, view: RecordView) -> RecordPage:
    """Return the part of the record that an address names."""
    found = audited(known, memory)
    wanted = Wanted(view.line or None, view.check or None, view.position or None)
    page = RecordPage(
        parts=tuple(Choice(words, _part(view, part).href, part == view.part) for part, words in NAMES.items()),
        streams=_streams(found, view) if view.part != METERS else (),
        heading=NAMES[view.part],
        lead=LEADS[view.part],
        as_of=time_text(found.audit.ledger.now, known.zone),
    )
    if not any(wanted.holds(key) for key in found.audit.streams):
        nothing = "No stream of this log has that name; choose one." if found.audit.streams else "No reading yet."
        return replace(page, notice=nothing)
    if view.part == FAILED:
        return _failed(page, found, wanted, known.zone, stored=known.store is not None)
    if view.part == DUE:
        return _due(page, found, wanted, stored=known.store is not None)
    if view.part == LEDGER:
        return _ledger(page, found, wanted, view)
    if view.part == METERS:
        return _meters(page, found, known.zone, view)
    if view.part == LIMITS:
        return _limits(page, known, found, wanted)
    return _trail(page, known, memory, view)


def _part(view: RecordView, part: str) -> RecordView:
    """Return the address of another part, of the same stream."""
    return RecordView(part, view.line, view.check, view.position)


def record_figure(known: Known, memory: Remembered, view: RecordView, screen: Mapping[str, object]) -> Any:
    """Return the figure of the part that an address names; None where it has none."""
    from spc.figures.ledger import exposures_overview, ledger_overview

    found = audited(known, memory)
    wanted = Wanted(view.line or None, view.check or None, view.position or None)
    drawn = screen_of(dict(screen))
    if view.part == LEDGER:
        listed = [each for each in found.audit.ledger.streams if wanted.holds(each.key)]
        return ledger_overview(listed, known.zone, screen=drawn) if listed else None
    if view.part == FAILED:
        own = [each for each in found.shown if wanted.holds(each.key)]
        return exposures_overview(own, known.zone, now=found.audit.ledger.now, screen=drawn) if own else None
    return None


def _streams(found: Audited, view: RecordView) -> tuple[Choice, ...]:
    every = replace(view, line="", check="", position="", at="")
    chosen = key_of(StreamView(view.line, view.check, view.position))
    named = [
        Choice(
            f"{each.key.line} · {subject(each)}",
            replace(every, line=each.key.line, check=each.key.check, position=each.key.position).href,
            each.key == chosen,
        )
        for each in found.results
    ]
    return (Choice("Every stream", every.href, every == replace(view, at="")), *named)


def _failed(page: RecordPage, found: Audited, wanted: Wanted, zone: tzinfo, *, stored: bool) -> RecordPage:
    titles = {each.key: f"{each.key.line} · {subject(each)}" for each in found.results}
    own = [each for each in reversed(found.shown) if wanted.holds(each.key)]
    written = found.book.records
    kept = {(each.key, each.failed_at) for each in own}
    gone = [each for place, each in written.items() if place not in kept and wanted.holds(each.key)]
    notes = tuple(
        f"{titles.get(each.key, str(each.key))}, {time_text(each.failed_at, zone)}: a record ({state_words(each)}) "
        f"stands for a reading of {each.failed} that was corrected since."
        for each in gone
    )
    rows = tuple(
        (
            (titles[each.key], window_href(each.key, each.failed_at, zone)),
            *(
                (text, "")
                for text in (
                    time_text(each.failed_at, zone),
                    each.failed,
                    time_text(each.last_good, zone) if each.last_good else "none known",
                    duration_text(each.in_operation),
                    time_text(each.passed_at, zone) if each.passed_at else "not yet",
                    state_words(written.get((each.key, each.failed_at))) if stored else "no store, no record",
                )
            ),
        )
        for each in own[:MOST]
    )
    heads = ("Check", "Failed", "Read", "Last good check", "Ran in between", "Passed again", "Record")
    cut = f"; the latest {MOST} here, choose a stream for the others" if len(own) > MOST else ""
    table = RecordTable(f"Failed checks, the latest first{cut}", heads, rows, "no check failed")
    return replace(
        page,
        notice=_counted(own, found, stored=stored) if own else "No check failed.",
        tables=(table,) if own else (),
        figure="Every failed check along time; the table below says the same." if own else "",
        notes=(
            *(() if stored else (f"A bare log keeps no word of who was told or what was decided. {NO_STORE}",)),
            *notes,
        ),
    )


def _counted(own: Sequence[ExposureWindow], found: Audited, *, stored: bool) -> str:
    """Return how many checks failed, how many windows that made, and how many wait for somebody, in a sentence."""
    failed = sum(each.failures for each in own)
    still = sum(each.open for each in own)
    said = f"{_many(failed, 'failed check')} in {_many(len(own), 'exposure window')}"
    said += " (checks that fail one after the other, before one passes, share a window)" if failed > len(own) else ""
    said += f"; {still} {'has' if still == 1 else 'have'} not passed again" if still else "; all have passed again"
    if not stored:
        return f"{said}."
    closed = sum(
        record is not None and record.state == "closed"
        for record in (found.book.records.get((each.key, each.failed_at)) for each in own)
    )
    return (
        f"{said}. Of the windows, {closed} {'is' if closed == 1 else 'are'} closed in writing, {len(own) - closed} not."
    )


def _many(n: int, what: str) -> str:
    return f"{count(n)} {what}{'' if n == 1 else 's'}"


def _due(page: RecordPage, found: Audited, wanted: Wanted, *, stored: bool) -> RecordPage:
    kept = found.audit.ledger
    listed = sorted(
        ((each.key, due_row(each, kept)) for each in kept.streams if wanted.holds(each.key)), key=lambda row: row[1][0]
    )
    rows = tuple(
        ((f"{key.line} · {name}", write_href(key) if stored else view_of(key).href), *((text, "") for text in texts))
        for key, (_, name, *texts) in listed
    )
    heads = ("Check", "Last made", "Due", "How urgent", "Interval")
    overdue = sum(row[0][0] == 0 for _, row in listed)
    now = sum(row[0][0] == 1 for _, row in listed)
    notice = f"{count(overdue)} overdue, {count(now)} due now or before the line runs again."
    table = RecordTable("Checks, the most urgent first", heads, rows, "no check is kept")
    return replace(page, notice=notice, tables=(table,), notes=kept.notes)


def _ledger(page: RecordPage, found: Audited, wanted: Wanted, view: RecordView) -> RecordPage:
    kept = found.audit.ledger
    today = kept.now.astimezone(kept.zone).date()
    try:
        last = date.fromisoformat(view.end) if view.end else today
        first = date.fromisoformat(view.start) if view.start else last - timedelta(days=DAYS[0][0])
    except (ValueError, OverflowError):
        return replace(page, notice="The first and last day in the address are no days; write one such as 2025-03-04.")
    if last < first:
        return replace(page, notice="The last day is before the first; swap or correct them.")
    rows = list(gap_rows([each for each in kept.streams if wanted.holds(each.key)], kept, first, last))
    heads = ("Stream", "Status", "Due", "Made", "Since the one before", "In operation", "Past deadline")
    shown = tuple(tuple((text, "") for text in texts) for texts in reversed(rows[-MOST:]))
    many = f"the latest {MOST} of {len(rows)}" if len(rows) > MOST else f"{len(rows)}"
    caption = f"{formats_now().day(first)} to {formats_now().day(last)}: {many}"
    nothing = "nothing was late or missed in this time"
    spans = tuple(
        Choice(
            words, replace(view, start=str(last - timedelta(days=days)), end=view.end).href, (last - first).days == days
        )
        for days, words in DAYS
    )
    return replace(
        page,
        spans=spans,
        figure="Every check along all of its time; the table below lists the gaps.",
        tables=(RecordTable(caption + " gaps", heads, shown, nothing),),
        notes=kept.notes,
    )


def _meters(page: RecordPage, found: Audited, zone: tzinfo, view: RecordView) -> RecordPage:
    rows = tuple(
        tuple(
            (text, "")
            for text in (
                each.instrument.name,
                _title(found, each.instrument.title),
                f"{time_text(each.last.at, zone)} {each.last.words}".strip() if each.last else "not known",
                formats_now().day(each.due) if each.due else "not known",
                each.state,
                count(each.used),
                count(each.used_overdue),
            )
        )
        for each in found.instruments.due
    )
    heads = ("Instrument", "What", "Last calibrated", "Due", "State", "Readings", "Of them overdue")
    table = RecordTable("Instruments and their calibrations", heads, rows, "the log names no instrument")
    form, back = look_back_asked(found, zone, view)
    return replace(page, tables=(table, *back), look_back=form if rows else None, notes=found.instruments.notes)


def _title(found: Audited, measures: str) -> str:
    """Return what an instrument measures as people call it."""
    check = found.audit.catalogue.checks.get(measures)
    return check.title if check is not None else measures


def _limits(page: RecordPage, known: Known, found: Audited, wanted: Wanted) -> RecordPage:
    now = []
    for each in found.results:
        if wanted.holds(each.key):
            check = check_shown(each.check, known.formats)
            acceptance = check.acceptance_for(each.key)
            confirmed = "confirmed" if acceptance.confirmed else "not confirmed for this site"
            limits = "none" if acceptance.rule == "none" else bounds_text(acceptance, check)
            texts = (limits, source_text(acceptance), "" if acceptance.rule == "none" else confirmed)
            title = f"{each.key.line} · {subject(each)}"
            now.append(((title, view_of(each.key).href), *((text, "") for text in texts)))
    standing = RecordTable("Judged by now", ("Stream", "Limits", "Document", "For this site"), tuple(now), "no stream")
    if known.store is None:
        return replace(page, tables=(standing,), notice=NO_STORE)
    from spc.store.entries import LimitDecision
    from spc.store.history import titled

    catalogue = known.snapshot.scan.catalogue
    heads = ("Valid from", "For", "Document, revision", "Confirmed by", "Why", "Written")
    rows = tuple(
        tuple(
            (text, "")
            for text in (
                time_text(entry.record.valid_from, known.zone),
                " · ".join(
                    filter(None, (entry.record.line, titled(entry.record.check, catalogue), entry.record.position))
                ),
                f"{entry.record.acceptance.document}, {entry.record.acceptance.revision}".strip(", "),
                entry.record.confirmed_by,
                entry.record.why,
                f"{time_text(entry.at, known.zone)}, {entry.who}",
            )
        )
        for entry in reversed(list(known.store.records(LimitDecision)))
        if _touches(entry.record, wanted)
    )
    nothing = "none; every reading is judged by the catalogue as it stands"
    return replace(page, tables=(standing, RecordTable("Decided", heads, rows, nothing)))


def _touches(decision: object, wanted: Wanted) -> bool:
    """Return whether a decision is about what is asked for; "" in a decision stands for every one."""
    pairs = ((getattr(decision, name), getattr(wanted, name)) for name in ("line", "check", "position"))
    return all(not of or not asked or of == asked for of, asked in pairs)


def _trail(page: RecordPage, known: Known, memory: Remembered, view: RecordView) -> RecordPage:
    store = known.store
    if store is None:
        return replace(page, notice=NO_STORE)
    from spc.store.history import history

    key = StreamKey(view.line, view.check, view.position) if view.line and view.check else None
    try:
        taken_at = moment_of(view.at, "The reading", known.zone) if key is not None else None
    except InputError as refused:
        return replace(page, notice=str(refused))
    catalogue, version = known.snapshot.scan.catalogue, known.snapshot.version
    changes = memory.once(
        ("trail", key, taken_at),
        (version,),
        lambda: history(store, catalogue, key=key, taken_at=taken_at, zone=known.zone),
    )
    verified = memory.once("verified", (version,), store.verify)
    if verified.misfit is None:
        says = (
            f"The record is as it was written: {count(verified.entries)} entries and {count(verified.readings)} "
            f"readings checked; its last digest begins {verified.digest[:12]}."
        )
    else:
        says = f"The record is NOT as it was written: {verified.misfit.words}"
    about = f"About the reading of {time_text(taken_at, known.zone)}: " if taken_at is not None else ""
    came = [each for each in changes if each.kind in CAME_IN]
    decided = [each for each in changes if each.kind not in CAME_IN]
    told = _entries(f"{about}Changed or decided", decided, MOST, known)
    return replace(page, tables=(told, _entries(f"{about}Readings as they came in", came, CAME, known)), notice=says)


def _entries(caption: str, changes: "Sequence[Change]", most: int, known: Known) -> RecordTable:
    """Return entries of the trail, the latest first."""
    catalogue, zone = known.snapshot.scan.catalogue, known.zone
    told = [
        (str(each.entry), time_text(each.at, zone), each.who, each.kind_words, each.about_words(catalogue), each.words)
        for each in reversed(changes[-most:])
    ]
    rows = tuple(tuple((text, "") for text in texts) for texts in told)
    cut = f", the latest {most} here; choose a stream for the others" if len(changes) > most else ""
    many = "1 entry" if len(changes) == 1 else f"{count(len(changes))} entries"
    heads = ("Entry", "Written", "By", "Kind", "About", "What and why")
    return RecordTable(f"{caption}, {many}{cut}" if rows else caption, heads, rows, "nothing is written about it")
