"""What the record's page asks: failed checks, the ledger, instruments, limits, and who wrote what, one at a time."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta, tzinfo

from dashboard.queries.audited import Audited, audited
from dashboard.queries.known import Known
from dashboard.queries.remembered import Remembered
from dashboard.queries.words import count, key_of, view_of
from dashboard.urls import FAILED, LEDGER, LIMITS, METERS, TRAIL, RecordView, StreamView
from dashboard.views.choices import Choice
from dashboard.views.record import FailedCheck, RecordPage, RecordTable
from spc.audit import Wanted
from spc.containment import ExposureWindow
from spc.failures import FailureRecord
from spc.printed.schedule import duration_text, gap_rows
from spc.records import StreamKey
from spc.signals import subject
from spc.wording import bounds_text, source_text, time_text

NAMES = {
    FAILED: "Failed checks",
    LEDGER: "Made on time?",
    METERS: "Instruments",
    LIMITS: "Limits in force",
    TRAIL: "Who changed this?",
}
LEADS = {
    FAILED: "What each failed check leaves open, from the last good check to the failed one; the latest first. It says "
    "when, not what: which parts were affected, and what becomes of them, the responsible Level 3 and the customer "
    "decide by the written procedure.",
    LEDGER: "What was late, missed, or not asked because the line was not in operation, each with its exact gap; the "
    "latest first.",
    METERS: "How each instrument stands to its calibration.",
    LIMITS: "The acceptance limits that each stream is judged by now, and those that were decided, from when, by whom.",
    TRAIL: "Every entry as it was written: by whom, when, why; the latest first. Nothing in it is ever overwritten.",
}
NO_STORE = (
    "This board shows a bare log, which keeps no such record. Start it on a store to have one: "
    "spc serve --store FILE --follow LOG."
)
USUAL_DAYS, MOST = 90, 200


def record_page(known: Known, memory: Remembered, view: RecordView) -> RecordPage:
    """Return the part of the record that an address names."""
    found = audited(known, memory)
    wanted = Wanted(view.line or None, view.check or None, view.position or None)
    page = RecordPage(
        parts=tuple(Choice(words, replace(view, part=part).href, part == view.part) for part, words in NAMES.items()),
        streams=_streams(found, view),
        heading=NAMES[view.part],
        lead=LEADS[view.part],
    )
    if not any(wanted.holds(key) for key in found.audit.streams):
        return replace(page, notice="No stream of this log has that name; choose one.")
    if view.part == FAILED:
        return _failed(page, found, wanted, known.zone, stored=known.store is not None)
    if view.part == LEDGER:
        return _ledger(page, found, wanted, view)
    if view.part == METERS:
        return _meters(page, found, known.zone)
    if view.part == LIMITS:
        return _limits(page, known, found, wanted)
    return _trail(page, known, memory, view)


def _streams(found: Audited, view: RecordView) -> tuple[Choice, ...]:
    every = replace(view, line="", check="", position="")
    chosen = key_of(StreamView(view.line, view.check, view.position))
    named = [
        Choice(
            f"{each.key.line} · {subject(each)}",
            replace(view, line=each.key.line, check=each.key.check, position=each.key.position).href,
            each.key == chosen,
        )
        for each in found.results
    ]
    return (Choice("Every stream", every.href, every == view), *named)


def _failed(page: RecordPage, found: Audited, wanted: Wanted, zone: tzinfo, *, stored: bool) -> RecordPage:
    titles = {each.key: f"{each.key.line} · {subject(each)}" for each in found.results}
    own = [each for each in reversed(found.windows) if wanted.holds(each.key)]
    written = found.book.records
    kept = {(each.key, each.failed_at) for each in own}
    gone = [each for place, each in written.items() if place not in kept and wanted.holds(each.key)]
    notice = "" if stored else "A bare log keeps no word of who was told or what was decided. " + NO_STORE
    notes = tuple(
        f"{titles.get(each.key, str(each.key))}, {time_text(each.failed_at, zone)}: a record ({each.state}) stands for "
        f"a reading of {each.failed} that was corrected since."
        for each in gone
    )
    shown = tuple(_check(each, written.get((each.key, each.failed_at)), titles[each.key], zone) for each in own[:MOST])
    cut = (f"The latest {MOST} of {count(len(own))}; choose a stream for the others.",) if len(own) > MOST else ()
    return replace(page, failed=shown, notice=notice or ("" if own else "No check failed."), notes=(*cut, *notes))


def _check(window: ExposureWindow, record: FailureRecord | None, title: str, zone: tzinfo) -> FailedCheck:
    return FailedCheck(
        title=f"{title}, failed {time_text(window.failed_at, zone)}",
        href=view_of(window.key, row=str(window.failed_row)).href,
        state=record.state if record else "not written up",
        facts=tuple(_facts(window, zone)),
        obliges=window.obliges,
        steps=tuple(
            f"{time_text(step.at, zone)}, {step.by}: {step.kind}: {step.words}".rstrip(": ")
            for step in (record.steps if record else ())
        ),
        lacks=record.lacks if record and record.state != "closed" else (),
    )


def _facts(window: ExposureWindow, zone: tzinfo) -> Iterable[tuple[str, str]]:
    yield "Read", f"{window.failed}, row {window.failed_row}"
    acceptance = window.check.acceptance
    yield "Asked", ": ".join(filter(None, (bounds_text(acceptance, window.check), source_text(acceptance))))
    good = "none in this log: open towards the past"
    yield "Last good check", time_text(window.last_good, zone) if window.last_good else good
    length = duration_text(window.failed_at - window.first)
    yield "Exposed", f"{length}, {duration_text(window.in_operation)} of it in operation"
    yield "Shifts", ", ".join(f"{shift.day} {shift.name}".strip() for shift in window.shifts) or "none"
    if window.lots_recorded:
        yield "Lots", ", ".join(window.lots) or "none written down"
        yield "Parts", ", ".join(window.parts) or "none written down"
    else:
        yield "Lots", "the log has no column lot or part; look in the shop's own records"
    yield "Passed again", time_text(window.passed_at, zone) if window.passed_at else "not yet"


def _ledger(page: RecordPage, found: Audited, wanted: Wanted, view: RecordView) -> RecordPage:
    kept = found.audit.ledger
    today = kept.now.astimezone(kept.zone).date()
    try:
        last = date.fromisoformat(view.end) if view.end else today
        first = date.fromisoformat(view.start) if view.start else last - timedelta(days=USUAL_DAYS)
    except (ValueError, OverflowError):
        return replace(page, notice="The first and last day in the address are no days; write one such as 2025-03-04.")
    if last < first:
        return replace(page, notice="The last day is before the first; swap or correct them.")
    rows = list(gap_rows([each for each in kept.streams if wanted.holds(each.key)], kept, first, last))
    heads = ("Stream", "Status", "Due", "Made", "Since the one before", "In operation", "Past deadline")
    shown = tuple(tuple((text, "") for text in row) for row in reversed(rows[-MOST:]))
    caption = f"{first} to {last}: " + (f"the latest {MOST} of {len(rows)}" if len(rows) > MOST else f"{len(rows)}")
    nothing = "Nothing was late or missed in this time."
    return replace(page, tables=(RecordTable(caption + " gaps", heads, shown, nothing),), notes=kept.notes)


def _meters(page: RecordPage, found: Audited, zone: tzinfo) -> RecordPage:
    rows = tuple(
        tuple(
            (text, "")
            for text in (
                each.instrument.name,
                each.instrument.title,
                f"{time_text(each.last.at, zone)} {each.last.words}".strip() if each.last else "not known",
                str(each.due or "not known"),
                each.state,
                count(each.used),
                count(each.used_overdue),
            )
        )
        for each in found.instruments.due
    )
    heads = ("Instrument", "What", "Last calibrated", "Due", "State", "Readings", "Of them overdue")
    table = RecordTable("Instruments and their calibrations", heads, rows, "The log names no instrument.")
    return replace(page, tables=(table,), notes=found.instruments.notes)


def _limits(page: RecordPage, known: Known, found: Audited, wanted: Wanted) -> RecordPage:
    now = []
    for each in found.results:
        if wanted.holds(each.key):
            acceptance = each.check.acceptance_for(each.key)
            confirmed = "confirmed" if acceptance.confirmed else "not confirmed for this site"
            limits = "none" if acceptance.rule == "none" else bounds_text(acceptance, each.check)
            texts = (limits, source_text(acceptance), "" if acceptance.rule == "none" else confirmed)
            title = f"{each.key.line} · {subject(each)}"
            now.append(((title, view_of(each.key).href), *((text, "") for text in texts)))
    standing = RecordTable("Judged by now", ("Stream", "Limits", "Document", "For this site"), tuple(now), "No stream.")
    if known.store is None:
        return replace(page, tables=(standing,), notice=NO_STORE)
    from spc.store.entries import LimitDecision

    heads = ("Valid from", "For", "Document, revision", "Confirmed by", "Why", "Written")
    rows = tuple(
        tuple(
            (text, "")
            for text in (
                time_text(entry.record.valid_from, known.zone),
                " · ".join(filter(None, (entry.record.line, entry.record.check, entry.record.position))),
                f"{entry.record.acceptance.document}, {entry.record.acceptance.revision}".strip(", "),
                entry.record.confirmed_by,
                entry.record.why,
                f"{time_text(entry.at, known.zone)}, {entry.who}",
            )
        )
        for entry in reversed(list(known.store.records(LimitDecision)))
        if _touches(entry.record, wanted)
    )
    nothing = "None is decided; every reading is judged by the catalogue as it stands."
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
    catalogue, version = known.snapshot.scan.catalogue, known.snapshot.version
    changes = memory.once(("trail", key), (version,), lambda: history(store, catalogue, key=key, zone=known.zone))
    verified = memory.once("verified", (version,), store.verify)
    rows = tuple(
        tuple((text, "") for text in (str(each.entry), time_text(each.at, known.zone), each.who, each.words))
        for each in reversed(changes[-MOST:])
    )
    caption = f"{count(len(changes))} entries" + (f", the latest {MOST} here" if len(changes) > MOST else "")
    if verified.misfit is None:
        says = (
            f"The record is as it was written: {count(verified.entries)} entries and {count(verified.readings)} "
            f"readings checked; its last digest begins {verified.digest[:12]}."
        )
    else:
        says = f"The record is NOT as it was written: {verified.misfit.words}"
    table = RecordTable(caption, ("Entry", "Written", "By", "What and why"), rows, "Nothing is written about it.")
    return replace(page, tables=(table,), notice=says)
