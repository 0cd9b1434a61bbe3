"""The evidence pack of an audit as a document: what was due, read, judged, corrected, decided, and the trail's head."""

from collections.abc import Iterator, Sequence
from datetime import tzinfo

from spc.audit import Audit
from spc.containment import judged
from spc.printed.schedule import gap_rows
from spc.report.document import Block, Document, Facts, Section, Signatures, Table, Value, Words, file_name
from spc.results import StreamResult
from spc.review.period import Period
from spc.review.stream import limits_in_force, schedule_count
from spc.signals import subject
from spc.store.entries import Baseline, Correction, LimitDecision, Reaction, said_text
from spc.store.history import history
from spc.store.store import Store
from spc.store.verify import Verified
from spc.stream_facts import written_text
from spc.times import from_microseconds
from spc.wording import date_text, source_text, time_text

VERDICTS = {-1: "FAILED", 0: "not judged", 1: "inside"}


def evidence_document(
    store: Store, audit: Audit, results: Sequence[StreamResult], period: Period, *, site: str
) -> Document:
    """Return the evidence of a period as a document.

    Args:
        store: the record.
        audit: the same record, read once.
        results: the streams asked for, as monitored up to the audit's `now`.
        period: whole days.
        site: name of the site, for the header.
    """
    verified, now = store.verify(), audit.ledger.now
    return Document(
        title="Evidence pack",
        site=site,
        period=period.words,
        made=time_text(now, period.zone),
        made_iso=now.astimezone(period.zone).isoformat(timespec="seconds"),
        opening=Section("The record this was taken from", tuple(_opening(store.name, verified))),
        sections=tuple(_sections(store, audit, results, period)),
    )


def record_blocks(name: str, verified: Verified) -> Iterator[Block]:
    """Yield which record a paper was taken from, whether it is whole, and how both can be compared."""
    whole = "whole: every entry and every reading is what was written"
    state = whole if verified.misfit is None else f"NOT WHOLE: {verified.misfit.words}"
    yield Facts(
        (
            ("Record", name),
            ("Entries in its trail", f"{verified.entries:,}"),
            ("Readings", f"{verified.readings:,}"),
            ("State", state),
            ("Head of the trail", verified.digest),
        ),
        "record",
    )
    yield Words(
        "The head is the hash of the last entry, which holds those of all entries before it. Paper and record can be "
        f"compared at any time: spc verify --digest {verified.digest}",
        "note",
    )


def _opening(name: str, verified: Verified) -> Iterator[Block]:
    yield from record_blocks(name, verified)
    yield Words(
        "The pack shows what stands in the record. It judges no part and no one's work; that is for the responsible "
        "Level 3 and the auditor.",
        "caution",
    )
    yield Signatures(("Prepared by", "Compared with the record by", "Responsible Level 3"))


def _sections(store: Store, audit: Audit, results: Sequence[StreamResult], period: Period) -> Iterator[Section]:
    yield Section("Limits in force", tuple(_limits(store, results, period)))
    yield Section("Corrections", (_corrections(store, results, period.zone),), new_page=False)
    yield Section("Sign-offs and answers to signals", tuple(_signed(store, results, period.zone)), new_page=False)
    yield Section("Ledger of checks", tuple(_ledger(audit, results, period)))
    yield Section("Judged readings", ())
    yield from (_readings(result, period) for result in results)
    yield Section("What was written into the record", (_changes(store, audit, period),))


def _name(result: StreamResult) -> str:
    return f"{result.key.line}: {subject(result)}"


def _limits(store: Store, results: Sequence[StreamResult], period: Period) -> Iterator[Block]:
    zone = period.zone
    rows = [
        (
            _name(result),
            each.words,
            each.acceptance.document or "",
            each.acceptance.revision or "",
            "yes" if each.acceptance.confirmed or each.acceptance.rule == "none" else "NOT CONFIRMED",
            date_text(each.first, zone),
            date_text(each.last, zone),
            each.n,
        )
        for result in results
        for each in limits_in_force(result, period.places(result.readings.taken_at))
    ]
    columns = ("stream", "asked", "document", "revision", "confirmed", "from", "to", "readings")
    yield Table("limits", columns, tuple(rows), "Limits that judged readings of the period", wide=(0, 1, 2))
    decided: list[tuple[Value, ...]] = []
    titles = {result.key.check: result.check.title for result in results}
    for entry in store.records(LimitDecision):
        said = entry.record
        check = ", ".join(filter(None, (titles.get(said.check, said.check), said.position)))
        place = f"{said.line or 'every line'}: {check}"
        source = source_text(said.acceptance)
        decided.append(
            (entry.sequence, place, source, time_text(said.valid_from, zone), said.confirmed_by, said.why)
        )  # fmt: skip
    if decided:
        decisions = ("entry", "for", "limits of", "valid from", "confirmed by", "why")
        yield Table("limit-decisions", decisions, tuple(decided), "Decisions on limits", wide=(2,))


def _corrections(store: Store, results: Sequence[StreamResult], zone: tzinfo) -> Block:
    known = {result.key: result for result in results}
    rows: list[tuple[Value, ...]] = []
    for entry in store.records(Correction):
        said = entry.record
        if said.key not in known:
            continue
        after = "withdrawn" if said.said is None else said_text(said.said)
        at = time_text(said.reading.taken_at, zone)
        row = (entry.sequence, _name(known[said.key]), at, said_text(said.reading), after, said.why, entry.who)
        rows.append((*row, time_text(entry.at, zone)))
    if not rows:
        return Words("No reading was corrected.")
    columns = ("entry", "stream", "reading of", "first written", "stands as", "why", "by", "written")
    return Table("corrections", columns, tuple(rows), wide=(1, 5))


def _signed(store: Store, results: Sequence[StreamResult], zone: tzinfo) -> Iterator[Block]:
    known = {result.key: result for result in results}
    baselines = [
        (entry.sequence, _name(known[said.key]), said.version, said.step, said.n, said.by or "the program",
         said.words, time_text(entry.at, zone))
        for entry in store.records(Baseline)
        for said in [entry.record]
        if said.key in known
    ]  # fmt: skip
    if baselines:
        columns = ("entry", "stream", "version", "step", "n", "by", "words", "written")
        yield Table("baselines", columns, tuple(baselines), "Baselines", wide=(1,))
    answers = [
        (
            entry.sequence,
            _name(known[said.key]),
            time_text(said.signal_at, zone),
            said.rule,
            said.step,
            said.by,
            said.words,
        )
        for entry in store.records(Reaction)
        for said in [entry.record]
        if said.key in known
    ]
    if answers:
        asked = ("entry", "stream", "signal of", "rule", "step", "by", "words")
        yield Table("answers", asked, tuple(answers), "What was done about signals", wide=(1, 6))
    if not baselines and not answers:
        yield Words("Nothing was signed off and no signal was answered.")


def _ledger(audit: Audit, results: Sequence[StreamResult], period: Period) -> Iterator[Block]:
    ledgers = [audit.ledger.of(result.key) for result in results]
    counts = [schedule_count(ledger, period, result) for ledger, result in zip(ledgers, results, strict=True)]
    rows = [
        (_name(result), count.done, count.late, count.missed, count.not_in_operation, count.interval)
        for result, count in zip(results, counts, strict=True)
    ]
    columns = ("stream", "in time", "late", "missed", "not in operation", "interval asked")
    yield Table("ledger", columns, tuple(rows), f"Checks due in {period.words}", wide=(0, 5))
    gaps = tuple(gap_rows(ledgers, audit.ledger, period.first, period.last))
    if gaps:
        named = ("stream", "status", "due", "made", "since the one before", "in operation", "past deadline")
        yield Table("gaps", named, gaps, "Every gap", wide=(0,))
    else:
        yield Words("No gap: everything was done in time.")
    yield from (Words(note, "note") for note in audit.ledger.notes)


def _readings(result: StreamResult, period: Period) -> Section:
    every, readings, states = period.places(result.readings.taken_at), result.readings, judged(result)
    rows = tuple(
        (
            time_text(from_microseconds(int(readings.taken_at[i])), period.zone),
            written_text(result, i),
            VERDICTS[int(states[i])],
            str(readings.instrument[i]),
            str(readings.technician[i]),
            int(readings.row[i]),
            str(readings.note[i]),
        )
        for i in range(every.start, every.stop)
    )
    title = _name(result)
    if not rows:
        return Section(title, (Words("No reading in the period."),), level=2, new_page=False)
    name = file_name("readings", result.key.line, result.key.check, result.key.position)
    columns = ("taken", "as it stands", "judged", "instrument", "technician", "row", "note")
    asked = "; ".join(
        f"{each.words}: {each.source}" if each.source else each.words for each in limits_in_force(result, every)
    )
    return Section(title, (Words(f"Judged by: {asked}.", "note"), Table(name, columns, rows)), level=2, new_page=False)


def _changes(store: Store, audit: Audit, period: Period) -> Block:
    rows = tuple(
        (
            each.entry,
            time_text(each.at, period.zone),
            each.who,
            each.kind_words,
            each.about_words(audit.catalogue),
            each.words,
        )
        for each in history(store, audit.catalogue, zone=period.zone)
    )
    return Table("trail", ("entry", "written", "by", "kind", "about", "words"), rows, wide=(5,))
