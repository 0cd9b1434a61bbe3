"""The capability review: a period, judged, beside the period before, with the ways to its evidence."""

import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from importlib.util import find_spec

from dashboard.queries.audited import Audited, audited
from dashboard.queries.drift_words import local_text
from dashboard.queries.known import Known
from dashboard.queries.record_windows import window_href
from dashboard.queries.remembered import Remembered
from dashboard.queries.review_rows import check_row, line_names, meter_row, numbers, review_table, window_row
from dashboard.queries.words import count, view_of
from dashboard.urls import ReviewView, write_href
from dashboard.views.review import DecideGroup, ReviewPage, ToDecide
from spc.errors import InputError
from spc.formats import formats_now
from spc.report.gather import steps_of
from spc.review import Finding, Period, Review, StreamReview, review
from spc.review.findings import ORDER, FindingKind
from spc.review.period import USUAL_DAYS, calendar_periods
from spc.review.whole import usual_period
from spc.schedule.site_calendar import YEARS
from spc.shown import shown_in
from spc.times import from_microseconds
from spc.wording import time_text

LENGTHS = ((30, "30 days"), (USUAL_DAYS, "A quarter"), (182, "Half a year"), (365, "A year"))
"""Lengths of the periods that one tap asks for; each ends with the last reading."""

TITLES: dict[FindingKind, str] = {
    "failing": "Fails now",
    "overdue": "Overdue now",
    "unwritten": "Failed, and nothing written down",
    "calibration": "Calibration overdue",
    "moving": "Moves, or will soon fail",
    "missed": "Checks that were missed",
    "not capable": "Not capable",
    "unanswered": "Movements nobody answered",
    "limits": "Limits to confirm",
}
FOLDED: tuple[FindingKind, ...] = ("unwritten", "missed", "unanswered")
FEW = 3
"""As many findings of a kind that may be many are shown unfolded."""

FILES = (
    ("html", "Report as HTML"),
    ("pdf", "Report as PDF, may take a minute"),
    ("zip", "Its tables as CSV and XLSX"),
    ("csv", "This table as CSV"),
)
"""Files of the review, by their ending."""

AUDITED = "audited for reviews"
"""Name under which the log of the last review is remembered."""

ONE_AT_A_TIME = threading.Lock()
"""Many screens that open the review at once have it worked out once, and the others of the board are still answered."""

PACE = "seconds of a review for each stream"
"""Name under which it is remembered how long the last review took."""

FIRST_PACE = 0.1
"""Seconds a stream before any review was made here: some 0.07 of processor time, measured with 35 streams."""

AROUND = timedelta(days=3)
"""On either side of a failed reading, for its evidence."""


def review_page(known: Known, memory: Remembered, view: ReviewView) -> ReviewPage:
    """Return the review of the period and line that an address names."""
    found = audited_this_hour(known, memory)
    if not found.results:
        return _nothing(known, view, "No reading in this log yet. A review needs some.")
    own, period, notice = _named(found, view)
    try:
        seen = reviewed(known, memory, period, own.line)
    except InputError as refused:
        period, notice = _usual(found, USUAL_DAYS, own), _instead(refused)
        seen = reviewed(known, memory, period, own.line)
    return _page(known, found, own, seen, notice)


def review_kept(known: Known, memory: Remembered, view: ReviewView) -> tuple[ReviewPage, bool] | None:
    """Return the review last worked out for an address, and whether it still holds; None where there is none."""
    found: Audited | None = memory.latest(AUDITED)
    if found is None or not found.results:
        return None
    own, period, notice = _named(found, view)
    name, stamp = _name(period, own.line), _stamp(known)
    seen: Review | None = memory.latest(name)
    if seen is None:
        return None
    return _page(known, found, own, seen, notice), memory.holds(AUDITED, stamp) and memory.holds(name, stamp)


def _named(found: Audited, view: ReviewView) -> tuple[ReviewView, Period, str]:
    """Return an address with a line that there is, the period it names, and what of it could not be followed."""
    own = view if view.line in line_names(found) else replace(view, line="")
    usual = _usual(found, USUAL_DAYS, own)
    try:
        return own, _period(own, usual) if own.start or own.end else usual, ""
    except InputError as refused:
        return own, usual, _instead(refused)


def _instead(refused: InputError) -> str:
    return f"{_sentence(refused)} The usual period is shown instead."


def _page(known: Known, found: Audited, view: ReviewView, seen: Review, notice: str) -> ReviewPage:
    period = seen.period
    shown = ReviewView(period.first.isoformat(), period.last.isoformat(), view.line)
    return ReviewPage(
        title="Capability review",
        period=seen.period.words,
        before=seen.before.words,
        as_of=f"{time_text(seen.now, known.zone)} {known.zone}",
        notice=notice,
        start=formats_now().day_typed(period.first),
        end=formats_now().day_typed(period.last),
        line=view.line,
        months=tuple(_months(known, period, view)),
        lengths=tuple(_lengths(found, period, view)),
        lines=tuple(
            (name or "Every line", replace(shown, line=name).href, name == view.line)
            for name in ("", *line_names(found))
        ),
        numbers=numbers(seen),
        groups=tuple(_groups(seen)),
        rows=tuple(check_row(stream, before, period) for stream, before in pairs(seen)),
        changes=seen.changes,
        windows=tuple(window_row(each, found.book, known.zone) for each in reversed(seen.windows)),
        meters=tuple(meter_row(each, known.zone) for each in seen.instruments),
        notes=(*seen.notes, *_never_read(known, found, view.line, period)),
        files=tuple(_files(shown)),
    )


def pairs(seen: Review) -> Iterator[tuple[StreamReview, StreamReview]]:
    """Yield each stream beside itself in the period before."""
    yield from zip(seen.streams, seen.streams_before, strict=True)


def review_waiting(known: Known, memory: Remembered, view: ReviewView) -> str:
    """Return what is worked out for an address, and about how long that takes, in a sentence or two.

    The time is that of the last review on this board, by stream; before the first one, a guess that says so.
    """
    own = [result for result in known.standing().streams if view.line in ("", result.key.line)]
    try:
        end, start = (formats_now().read_day(text) for text in (view.end, view.start))
        span = Period(start, end, known.zone).words if start <= end else "the period"
    except InputError:
        span = "the quarter up to the last reading"
    pace = memory.latest(PACE)
    seconds = len(own) * (FIRST_PACE if pace is None else pace)
    about = "a second or two" if seconds < 2 else f"about {round(seconds)} seconds"
    long = f"That takes {about} here, " + ("as a guess." if pace is None else "going by the last one.")
    many = "1 stream" if len(own) == 1 else f"{count(len(own))} streams"
    return f"Working out {span} and the period before it, {many}. {long} Afterwards it is kept for an hour."


def review_file(known: Known, memory: Remembered, view: ReviewView) -> tuple[str, str] | None:
    """Return name and text of the table as a CSV file; None where there is nothing to review.

    Raises:
        InputError: the address names no period.
    """
    seen = review_asked(known, memory, view)
    return None if seen is None else (f"review-{seen.period.first}-{seen.period.last}.csv", review_table(seen))


def audited_this_hour(known: Known, memory: Remembered) -> Audited:
    """Return the log as an audit sees it, looked at once an hour or when the log, or what is beside it, changes."""
    return memory.once(AUDITED, _stamp(known), lambda: audited(known, memory))


def _stamp(known: Known) -> tuple[object, ...]:
    return known.snapshot.version, int(known.now().timestamp() // 3600)


def _name(period: Period, line: str) -> tuple[object, ...]:
    return "review", period.first, period.last, line


def review_asked(known: Known, memory: Remembered, view: ReviewView) -> Review | None:
    """Return the review that an address names; None where there is nothing to review.

    Raises:
        InputError: it names no period.
    """
    found = audited_this_hour(known, memory)
    if not found.results:
        return None
    view = view if view.line in line_names(found) else replace(view, line="")
    return reviewed(known, memory, _period(view, _usual(found, USUAL_DAYS, view)), view.line)


def reviewed(known: Known, memory: Remembered, period: Period, line: str) -> Review:
    """Return the review of a period, worked out once an hour, or when the log or what is written beside it changes.

    Raises:
        InputError: the period has not begun.
    """
    stamp = _stamp(known)
    found = audited_this_hour(known, memory)

    def ask() -> Review:
        results = [shown_in(result, known.formats) for result in found.results if not line or result.key.line == line]
        order = {key: place for place, key in enumerate(known.snapshot.scan.catalogue.checks)}
        results.sort(key=lambda result: (result.key.line, order.get(result.key.check, 0), result.key.position))
        keys = {result.key for result in results}
        return review(
            results,
            found.audit.ledger,
            [window for window in found.shown if window.key in keys],
            found.instruments.due,
            period,
            calibrations=found.instruments.calibrations,
            records=None if known.store is None else tuple(found.book.records.values()),
            steps=() if known.store is None else steps_of(known.store),
        )

    def timed() -> Review:
        began = time.monotonic()
        made = ask()
        pace = (time.monotonic() - began) / len(made.streams)
        memory.once(PACE, (object(),), lambda: pace)
        return made

    with ONE_AT_A_TIME:
        return memory.once(_name(period, line), stamp, timed)


def _period(view: ReviewView, usual: Period) -> Period:
    end = _day(view.end, "last") if view.end else usual.last
    start = _day(view.start, "first") if view.start else end - timedelta(days=USUAL_DAYS - 1)
    return Period(start, end, usual.zone)


def _day(text: str, which: str) -> date:
    try:
        day = formats_now().read_day(text)
    except InputError:
        example = formats_now().day_typed(date(2026, 3, 31))
        raise InputError(f"the {which} day “{text[:40]}” is none; write it as {example}") from None
    if day.year not in YEARS:
        raise InputError(f"the {which} day {day} is outside the years {YEARS[0]} to {YEARS[-1]}")
    return day


def days_typed(view: ReviewView, start: str, end: str) -> ReviewView:
    """Return the review of the days that were typed, as addresses have them; what is no day stays as it is."""
    return ReviewView(_as_address(start), _as_address(end), view.line)


def _as_address(typed: str) -> str:
    try:
        return formats_now().read_day(typed).isoformat()
    except InputError:
        return typed.strip()


def _usual(found: Audited, days: int, view: ReviewView) -> Period:
    own = [result for result in found.results if not view.line or result.key.line == view.line]
    return usual_period(own, found.audit.ledger, days)


def _lengths(found: Audited, period: Period, view: ReviewView) -> Iterator[tuple[str, str, bool]]:
    for days, words in LENGTHS:
        own = _usual(found, days, view)
        href = ReviewView(own.first.isoformat(), own.last.isoformat(), view.line).href
        yield words, href, own == period


def _months(known: Known, period: Period, view: ReviewView) -> Iterator[tuple[str, str, bool]]:
    for words, own in calendar_periods(known.now(), known.zone):
        yield words, ReviewView(own.first.isoformat(), own.last.isoformat(), view.line).href, own == period


def _groups(seen: Review) -> Iterator[DecideGroup]:
    for kind in ORDER:
        own = tuple(each for each in seen.findings if each.kind == kind)
        if own:
            items = tuple(ToDecide(each.words, _evidence(each, seen), each.look_first) for each in own)
            yield DecideGroup(kind, TITLES[kind], items, folded=kind in FOLDED and len(items) > FEW)


def _evidence(finding: Finding, seen: Review) -> str:
    """Return the address of what a finding rests on; "" where no page shows it."""
    if finding.key is None:
        return ""
    if finding.kind == "overdue":
        return write_href(finding.key)
    stream, zone = seen.of(finding.key), seen.period.zone
    if finding.at is not None:
        return window_href(finding.key, finding.at, zone)
    if finding.kind == "failing" and stream.failing is not None:
        at = from_microseconds(stream.failing.taken_at)
        start, end = (local_text(moment, zone) for moment in (at - AROUND, at + AROUND))
        return view_of(finding.key, start=start, end=end, row=str(stream.failing.row)).href
    start, end = (local_text(moment, zone) for moment in (seen.period.start, seen.period.stop))
    return view_of(finding.key, start=start, end=end).href


def _never_read(known: Known, found: Audited, line: str, period: Period) -> Iterator[str]:
    """Yield a sentence for each check that the site's calendar asks for and the log has no reading of."""
    read = {result.key for result in found.results}
    for stream in found.audit.ledger.streams:
        if stream.key in read or (line and stream.key.line != line):
            continue
        missed = sum(
            entry.status == "missed" and entry.due is not None and period.holds(entry.due) for entry in stream.entries
        )
        if missed:
            name = " ".join(filter(None, (stream.check.title, stream.key.position)))
            yield f"{stream.key.line}, {name}: the site asks for it, and no reading is known; {missed} checks missed."


def _files(shown: ReviewView) -> Iterator[tuple[str, str]]:
    """Yield the files that can be made here; a PDF takes a library of the report extra."""
    for ending, words in FILES:
        if ending != "pdf" or find_spec("weasyprint") is not None:
            yield words, shown.file_href(ending)


def _nothing(known: Known, view: ReviewView, notice: str) -> ReviewPage:
    as_of = f"{time_text(known.now(), known.zone)} {known.zone}"
    return ReviewPage("Capability review", "", "", as_of, notice, view.start, view.end, view.line)


def _sentence(refused: InputError) -> str:
    words = str(refused)
    return f"{words[:1].upper()}{words[1:].rstrip('.')}."
