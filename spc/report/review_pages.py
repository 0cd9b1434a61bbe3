"""The capability review as a document: the page that decides, a page a stream, then the evidence."""

from collections.abc import Iterator, Sequence
from datetime import timedelta

from spc.figures.ledger import ledger_overview
from spc.instruments import CalibrationDue
from spc.interval_evidence import ASSUMED, CAUTION, IntervalEvidence
from spc.printed.schedule import duration_text
from spc.report.document import (
    Block,
    Counts,
    Document,
    Picture,
    Points,
    Section,
    Signatures,
    Table,
    Value,
    Words,
    file_name,
)
from spc.report.stream_page import PAPER, stream_section
from spc.report.study_pages import study_section
from spc.review import Review, StreamReview
from spc.review.period import day_text
from spc.signals import subject
from spc.study import StudyResult
from spc.wording import date_text, time_text

DECIDES = (
    "The tool accepts or rejects no part and sets no interval. The governing written procedure, local codes and the "
    "responsible Level 3 decide."
)
MOST_CHANGES = 14


def review_document(review: Review, *, site: str, studies: Sequence[StudyResult] = ()) -> Document:
    """Return the review as a document.

    Args:
        review: of the period.
        site: name of the site, for the header.
        studies: measurement studies that belong to it.
    """
    zone = review.period.zone
    return Document(
        title="Capability review",
        site=site,
        period=review.period.words,
        made=time_text(review.now, zone),
        made_iso=review.now.astimezone(zone).isoformat(timespec="seconds"),
        opening=Section("What this period says", tuple(_opening(review))),
        sections=tuple(_sections(review, studies)),
    )


def _opening(review: Review) -> Iterator[Block]:
    capable = review.capability
    indexed = sum(len(capable[word]) for word in ("capable", "not shown", "not capable"))
    yield Counts(
        (
            (f"{len(capable['capable'])} of {indexed}", f"streams with indices are capable (mark {review.mark:g})"),
            (str(len(review.stable)), "streams without a signal"),
            (str(len(review.moving)), "streams moving at the end"),
            (str(len(review.failing)), "failed and not passed since"),
            (str(len(review.overdue)), "checks overdue"),
            (str(sum(stream.schedule.missed for stream in review.streams)), "checks missed in the period"),
        )
    )
    yield Words("What to do first", "sub")
    if review.findings:
        yield Points(tuple((each.words, _look(each.look_first)) for each in review.findings), numbered=True)
    else:
        yield Words("Nothing asks for a person: no stream moves, nothing is overdue, nothing failed.")
    yield Words(f"Since the period before ({review.before.words})", "sub")
    if review.changes:
        yield Points(tuple((words, ()) for words in review.changes[:MOST_CHANGES]), columns=True)
        if len(review.changes) > MOST_CHANGES:
            yield Words(f"and {len(review.changes) - MOST_CHANGES} more streams; their pages tell.", "note")
    else:
        yield Words("Nothing notable changed.")
    yield Words(DECIDES, "caution")
    yield Signatures(("Prepared by", "Reviewed by (process control)", "Responsible Level 3"))


def _all_streams(review: Review) -> Iterator[Block]:
    yield _summary(review)
    yield Words(
        f"Capable: the lower {100 * review.confidence:g} % confidence limit of Ppk reaches {review.mark:g}. Not "
        "capable: the upper one stays below. Not shown: neither. Indices are refused where a stream moved, has too few "
        "readings, or is read too coarsely; its page says which.",
        "note",
    )


def _look(steps: Sequence[str]) -> tuple[str, ...]:
    return (f"Look first at: {'; '.join(steps)}.",) if steps else ()


def _summary(review: Review) -> Table:
    rows: list[tuple[Value, ...]] = []
    for stream in review.streams:
        found = stream.indices
        ppk = found.ppk if found is not None else None
        rows.append(
            (
                stream.key.line,
                subject(stream.result),
                stream.read,
                stream.movement,
                "" if found is None else found.word,
                None if ppk is None else ppk.value,
                None if ppk is None else ppk.lower,
                len(stream.failures),
                stream.schedule.late,
                stream.schedule.missed,
                "overdue" if stream.schedule.overdue else "",
            )
        )
    columns = ("line", "stream", "n", "movement", "capability", "Ppk", "lower", "failed", "late", "missed", "now")
    return Table("streams", columns, tuple(rows), wide=(1,))


def _sections(review: Review, studies: Sequence[StudyResult]) -> Iterator[Section]:
    yield Section("All streams at a glance", tuple(_all_streams(review)))
    yield Section("Streams one by one", ())
    pages = [stream_section(stream, review.period) for stream in review.streams]
    for place, page in enumerate(pages):
        yield page if place else Section(page.title, page.blocks, page.level, new_page=False)
    yield Section("Checks due and made", tuple(_schedule(review)))
    yield Section("Failed checks and what they leave open", tuple(_failures(review)))
    yield Section("Signals, causes and actions", tuple(_signals(review)), new_page=False)
    yield Section("Instruments and calibrations", tuple(_instruments(review)))
    yield Section("What the log supports about the intervals", tuple(_intervals(review)))
    for study in studies:
        yield study_section(study)
    yield Section("Limits in force", (_limits(review),))
    yield Section("How the numbers were found", tuple(_methods(review)), new_page=False)


def _schedule(review: Review) -> Iterator[Block]:
    for line in review.lines:
        keys = {stream.key for stream in review.streams if stream.key.line == line}
        ledgers = [each for each in review.ledger.streams if each.key in keys]
        yield Picture(
            file_name(line, "ledger"),
            f"{line}: checks made, late, missed and not in operation since the log begins",
            lambda ledgers=ledgers: ledger_overview(ledgers, review.ledger.zone, screen=PAPER),  # type: ignore[misc]  # its default is the list
            f"{line}, since the log begins.",
        )
    rows = [
        (
            stream.key.line,
            subject(stream.result),
            stream.schedule.done,
            stream.schedule.late,
            stream.schedule.missed,
            stream.schedule.not_in_operation,
            _length(stream.schedule.longest_gap),
            stream.schedule.interval,
        )
        for stream in review.streams
    ]
    columns = ("line", "stream", "in time", "late", "missed", "not in operation", "longest gap", "interval asked")
    yield Table("schedule", columns, tuple(rows), f"Checks due in {review.period.words}", wide=(1, 7))
    yield from (Words(note, "note") for note in review.notes)


def _length(length: timedelta | None) -> str:
    return duration_text(length) if length is not None else ""


def _failures(review: Review) -> Iterator[Block]:
    zone = review.period.zone
    if not review.windows:
        yield Words(f"No check failed in {review.period.words}.")
        return
    rows = [
        (
            f"{window.key.line}, {window.check.title}, {window.key.position}".rstrip(", "),
            window.failed,
            time_text(window.failed_at, zone),
            time_text(window.last_good, zone) if window.last_good else "none in the log",
            time_text(window.passed_at, zone) if window.passed_at else "not yet",
            duration_text(window.in_operation),
            ", ".join((*window.lots, *window.parts)) or ("none written down" if window.lots_recorded else "no column"),
            next((each.state for each in review.records if _names(each, window)), "no record"),
        )
        for window in review.windows
    ]
    columns = (
        "stream", "read", "failed", "last good check", "passed again", "in operation before", "lots and parts", "record"
    )  # fmt: skip
    yield Table("failures", columns, tuple(rows), wide=(0,))
    yield Words(
        "Everything processed from the last good check to the failed one may be affected. What is done about it is "
        "decided by the responsible Level 3 and the customer.",
        "caution",
    )
    for record in review.records:
        steps = tuple(f"{step.kind}, {time_text(step.at, zone)}, {step.by}: {step.words}" for step in record.steps)
        lacks = (f"Still missing: {', '.join(record.lacks)}.",) if record.state != "closed" and record.lacks else ()
        words = f"{record.key}: failed {time_text(record.failed_at, zone)}, read {record.failed}; {record.state}"
        yield Points(((words, (*steps, *lacks)),))


def _names(record: object, window: object) -> bool:
    return (record.key, record.failed_at) == (window.key, window.failed_at)  # type: ignore[attr-defined]  # both have them


def _signals(review: Review) -> Iterator[Block]:
    rows: list[tuple[Value, ...]] = []
    for stream in review.streams:
        for each in stream.episodes:
            by_step = {kind: "; ".join(s.words for s in each.steps if s.step == kind) for kind in ("cause", "action")}
            who = ", ".join(dict.fromkeys(step.by for step in each.steps))
            rows.append(
                (
                    stream.key.line,
                    each.episode.gist,
                    "goes on" if each.episode.open else "over",
                    by_step["cause"] or "none written down",
                    by_step["action"] or "none written down",
                    who,
                )
            )
    if rows:
        yield Table("signals", ("line", "what moved", "now", "cause", "action", "by"), tuple(rows), wide=(1,))
    else:
        yield Words(f"No signal in {review.period.words}.")


def _instruments(review: Review) -> Iterator[Block]:
    zone = review.period.zone
    if not review.instruments:
        yield Words("The log names no instrument.")
        return
    columns = ("instrument", "what", "last calibrated", "due", "state", "readings", "of these overdue")
    rows = [_instrument(each, review) for each in review.instruments]
    yield Table("instruments", columns, tuple(rows))
    if review.calibrations:
        found = [
            (
                each.instrument,
                time_text(each.at, zone),
                {True: "good", False: "not good", None: "not written down"}[each.good],
                each.words,
            )
            for each in review.calibrations
        ]
        yield Table("calibrations", ("instrument", "at", "found", "words"), tuple(found), "Calibrations in the period")


def _instrument(each: CalibrationDue, review: Review) -> tuple[Value, ...]:
    last = time_text(each.last.at, review.period.zone) if each.last else "not known"
    due = day_text(each.due) if each.due else ""
    return each.instrument.name, each.instrument.title, last, due, each.state, each.used, each.used_overdue


def _intervals(review: Review) -> Iterator[Block]:
    yield Words(CAUTION, "caution")
    rows = [
        _interval(stream, stream.evidence)
        for stream in review.streams
        if stream.evidence is not None and stream.schedule.asked
    ]
    if not rows:
        yield Words("No stream has two checks in the period.")
        return
    sure = f"{100 * review.confidence:g} %"
    columns = (
        "stream", "interval asked", "checks", "failed", f"share failing, %: {sure} upper bound",
        f"failures in 1000 h: {sure} upper bound", "margin in drifts",
    )  # fmt: skip
    yield Table("intervals", columns, tuple(rows), f"Checks of {review.period.words}", wide=(0, 1))
    others = [
        _other_intervals(stream, stream.evidence)
        for stream in review.streams
        if stream.evidence is not None and stream.schedule.asked and stream.evidence.windows
    ]
    if others:
        shown = (
            "stream", "failures", "exposed as it was", "every 2nd check alone: unseen", "exposed then",
            "twice as often: exposed at most",
        )  # fmt: skip
        caption = "What a longer or a shorter interval would have shown of the failures that were seen"
        yield Table("other-intervals", shown, tuple(others), caption, wide=(0,))
    yield Words(
        "Failing share: exact binomial bound (Clopper-Pearson); rate in operation: exact Poisson bound (Garwood); both "
        "one-sided. Margin in drifts: the usual distance to the nearer limit, in changes that 95 of 100 checks do not "
        "exceed. Exposed: time in operation from the last good check to the failed one. Unseen: failures that would "
        "have come and gone between the checks kept, mean over both ways to start.",
        "note",
    )
    yield Words(ASSUMED, "note")


def _interval(stream: StreamReview, found: IntervalEvidence) -> tuple[Value, ...]:
    return (
        f"{stream.key.line}, {subject(stream.result)}",
        found.interval,
        found.checks,
        found.failed,
        100 * found.per_check.upper,
        None if found.per_1000_hours is None else found.per_1000_hours.upper,
        found.margin_in_drifts,
    )


def _other_intervals(stream: StreamReview, found: IntervalEvidence) -> tuple[Value, ...]:
    twice = next(each for each in found.longer if each.times == 2)
    half = next(each for each in found.shorter if each.parts == 2)
    return (
        f"{stream.key.line}, {subject(stream.result)}",
        found.windows,
        _length(found.exposed),
        f"{twice.unseen:g} of {twice.seen + twice.unseen:g}",
        _length(twice.exposed),
        _length(half.exposed_at_most),
    )


def _limits(review: Review) -> Table:
    zone = review.period.zone
    rows = [
        (
            stream.key.line,
            subject(stream.result),
            each.words,
            each.acceptance.document or "",
            each.acceptance.revision or "",
            "yes" if each.acceptance.confirmed or each.acceptance.rule == "none" else "NOT CONFIRMED",
            date_text(each.first, zone),
            each.n,
        )
        for stream in review.streams
        for each in stream.limits
    ]
    columns = ("line", "stream", "asked", "document", "revision", "confirmed", "first judged", "readings")
    return Table("limits", columns, tuple(rows), wide=(1, 2))


def _methods(review: Review) -> Iterator[Block]:
    yield Points(
        (
            ("Control limits: individuals and moving ranges of two, from each segment's baseline (NIST/SEMATECH "
             "e-Handbook, 6.3.2.2).", ()),
            ("Movements: the early warning of the stream's model; run rules are drawn, and warn only where the "
             "catalogue says so.", ()),
            ("Indices: readings of the newest segment of the period. Normal readings: Cp and Cpk from moving ranges, "
             "Pp and Ppk from the overall standard deviation, limits by chi-square and noncentral t. Readings that "
             "contradict a normal: quantile method of ISO 22514-2, limits by drawing.", ()),
            ("Shares outside: counted, exact binomial limits (Clopper and Pearson 1934).", ()),
            ("Forecasts: what each stream's page names; chances are for the case that nothing is done.", ()),
            (f"Period {review.period.words}, held against {review.before.words}; all times are of "
             f"{review.period.zone}.", ()),
        )
    )  # fmt: skip
