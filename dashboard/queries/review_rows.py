"""The rows of the capability review in words: a check, a failed check, an instrument; and the table as a file."""

import csv
import io
from collections.abc import Iterator, Sequence
from datetime import tzinfo

from dashboard.queries.audited import Audited
from dashboard.queries.drift_words import local_text
from dashboard.queries.record_windows import window_href
from dashboard.queries.words import count, view_of
from dashboard.urls import LEDGER, RecordView
from dashboard.views.review import CheckRow, MeterRow, Told, WindowRow
from spc.containment import ExposureWindow
from spc.failure_book import FailureBook
from spc.instruments import CalibrationDue
from spc.printed.schedule import duration_text
from spc.review import Period, Review, StreamReview
from spc.review.period import day_text
from spc.signals import subject
from spc.stream_csv import safe
from spc.wording import date_text, in_figures, time_text

DASH = "\N{EN DASH}"
MOVES = {
    "moving": "Moving",
    "moved": "Moved",
    "stable": "Stable",
    "learning": "Learning its limits",
    "judged": "Judged by words",
    "no readings": "No readings",
}


def line_names(found: Audited) -> tuple[str, ...]:
    """Return the lines that have readings, in order."""
    return tuple(sorted({result.key.line for result in found.results}))


def numbers(seen: Review) -> tuple[Told, ...]:
    """Return the numbers of the whole site, each beside the period before."""
    return tuple(
        Told(name, now, then, href)
        for (name, now, href), (_, then, _) in zip(
            _numbers(seen.streams, ledger_href(seen)), _numbers(seen.streams_before, ""), strict=True
        )
    )


def ledger_href(seen: Review) -> str:
    """Return the address of the checks of the period: done, late, missed."""
    line = seen.lines[0] if len(seen.lines) == 1 else ""
    return RecordView(LEDGER, line, start=seen.period.first.isoformat(), end=seen.period.last.isoformat()).href


def _numbers(streams: Sequence[StreamReview], ledger: str) -> Iterator[tuple[str, str, str]]:
    charted = [stream for stream in streams if stream.movement not in ("judged", "no readings")]
    stable = sum(stream.movement == "stable" for stream in charted)
    yield "Streams without a signal", f"{stable} of {len(charted)}", "#review-checks"
    told = [stream.indices for stream in streams if stream.indices is not None and stream.indices.ppk is not None]
    capable = sum(each.word == "capable" for each in told)
    yield "Capable, of those with an index", f"{capable} of {len(told)}", "#review-checks"
    asked = sum(stream.schedule.asked for stream in streams)
    done = sum(stream.schedule.done for stream in streams)
    share = f"{_percent(done / asked)} of {count(asked)}" if asked else DASH
    yield "Checks made on time", share, ledger
    yield "Failed checks", str(sum(len(stream.failures) for stream in streams)), "#review-windows"
    windows = [window for stream in streams for window in stream.windows]
    still = sum(window.open for window in windows)
    passed = "all passed again" if windows and not still else f"{still} not passed again" if still else ""
    words = ": ".join(filter(None, (str(len(windows)), passed)))
    yield "Exposure windows (last good check to failed one)", words, "#review-windows"
    first, all_ = told_in_advance(streams)
    yield "Movements told before a check failed", f"{first} of {all_}", "#review-checks"


def told_in_advance(streams: Sequence[StreamReview]) -> tuple[int, int]:
    """Return how many movements were told before a check of their stream failed, and how many there were."""
    first = every = 0
    for stream in streams:
        failed = [failure.taken_at for failure in stream.result.failures]
        for each in stream.episodes:
            start = int(each.episode.since.timestamp() * 1_000_000)
            every += 1
            first += not any(start <= at <= each.episode.first.taken_at for at in failed)
    return first, every


def check_row(stream: StreamReview, before: StreamReview, period: Period) -> CheckRow:
    """Return one stream of the review."""
    start, end = (local_text(moment, period.zone) for moment in (period.start, period.stop))
    indices = stream.indices
    return CheckRow(
        name=subject(stream.result),
        href=view_of(stream.key, start=start, end=end).href,
        line=stream.key.line,
        movement=stream.movement,
        movement_words=_movement(stream, before),
        capability=indices.word if indices is not None else "",
        index=_index(stream),
        why=indices.words if indices is not None else "",
        outside=_outside(stream),
        on_time=_on_time(stream),
        on_time_href=RecordView(
            LEDGER,
            stream.key.line,
            stream.key.check,
            stream.key.position,
            start=period.first.isoformat(),
            end=period.last.isoformat(),
        ).href,
        on_time_before=_on_time(before),
        failures=str(len(stream.failures)),
        failures_before=str(len(before.failures)),
        windows=_windows(stream),
        limits=_limits(stream),
        n=f"{count(stream.read)} readings" + (f", {stream.not_run} not in operation" if stream.not_run else ""),
    )


def _movement(stream: StreamReview, before: StreamReview) -> str:
    many = len(stream.episodes)
    words = MOVES[stream.movement] + (f", {many} times" if many > 1 else "")
    changed = before.movement not in (stream.movement, "no readings")
    return f"{words} (before: {MOVES[before.movement].lower()})" if changed else words


def _limits(stream: StreamReview) -> str:
    return "; ".join(f"{each.words} ({each.source})" if each.source else each.words for each in stream.limits)


def _index(stream: StreamReview) -> str:
    ppk = stream.indices.ppk if stream.indices is not None else None
    if ppk is None or stream.indices is None:
        return ""
    return (
        f"Ppk {in_figures(ppk.value)} ({in_figures(ppk.lower)} to {in_figures(ppk.upper)}), n {stream.indices.n}, "
        f"{stream.indices.method}"
    )


def _outside(stream: StreamReview) -> str:
    found = stream.outside
    if found is None:
        return DASH
    return f"{_percent(found.outside)} ({_percent(found.lower)} to {_percent(found.upper)})"


def _percent(share: float) -> str:
    return f"{in_figures(100 * share)} %"


def _on_time(stream: StreamReview) -> str:
    counted = stream.schedule
    if not counted.asked:
        return DASH
    more = [f"{n} {what}" for n, what in ((counted.late, "late"), (counted.missed, "missed")) if n]
    return f"{counted.done} of {counted.asked}" + (f": {', '.join(more)}" if more else "")


def _windows(stream: StreamReview) -> str:
    still = sum(window.open for window in stream.windows)
    return f"{len(stream.windows)}, {still} open" if still else str(len(stream.windows))


def window_row(window: ExposureWindow, book: FailureBook, zone: tzinfo) -> WindowRow:
    """Return one failed check of the period."""
    record = book.records.get((window.key, window.failed_at))
    name = " ".join(filter(None, (window.check.title, window.key.position)))
    return WindowRow(
        href=window_href(window.key, window.failed_at, zone),
        name=f"{window.key.line}, {name}",
        failed_at=time_text(window.failed_at, zone),
        failed=window.failed,
        last_good=time_text(window.last_good, zone) if window.last_good else "none known",
        exposed=duration_text(window.in_operation),
        passed=time_text(window.passed_at, zone) if window.passed_at else "not since",
        record=record.state if record is not None else "nothing written",
        settled=record is not None and record.state == "closed",
    )


def meter_row(each: CalibrationDue, zone: tzinfo) -> MeterRow:
    """Return one instrument."""
    late = f", {each.used_overdue} after its day" if each.used_overdue else ""
    return MeterRow(
        name=each.instrument.name,
        state=each.state,
        last=date_text(each.last.at, zone) if each.last else "none known",
        due=day_text(each.due) if each.due else DASH,
        used=f"{count(each.used)} readings{late}",
    )


COLUMNS = (
    "line", "check", "position", "from", "to", "readings", "movement", "movements", "capability", "ppk", "ppk_lower",
    "ppk_upper", "confidence", "n", "method", "verdict", "share_outside", "share_outside_lower", "share_outside_upper",
    "checks_asked", "on_time", "late", "missed", "failed_checks", "exposure_windows", "windows_open", "limits",
    "failed_checks_before", "missed_before", "movements_before",
)  # fmt: skip


def review_table(seen: Review) -> str:
    """Return the review as a CSV file, a row a stream; words that a spreadsheet would take for a formula are led by
    an apostrophe.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for stream, before in zip(seen.streams, seen.streams_before, strict=True):
        writer.writerow(list(_cells(stream, before, seen.period)))
    return out.getvalue()


def _cells(stream: StreamReview, before: StreamReview, period: Period) -> Iterator[object]:
    indices, outside, counted = stream.indices, stream.outside, stream.schedule
    ppk = indices.ppk if indices is not None else None
    yield from map(safe, (stream.key.line, stream.key.check, stream.key.position))
    yield from (period.first, period.last, stream.read, stream.movement, len(stream.episodes))
    yield indices.word if indices is not None else ""
    yield from (ppk.value, ppk.lower, ppk.upper, ppk.confidence) if ppk is not None else [""] * 4
    yield from (indices.n, safe(indices.method), safe(indices.words)) if indices is not None else [""] * 3
    yield from (outside.outside, outside.lower, outside.upper) if outside is not None else [""] * 3
    yield from (counted.asked, counted.done, counted.late, counted.missed)
    yield from (len(stream.failures), len(stream.windows), sum(window.open for window in stream.windows))
    yield safe(_limits(stream))
    yield from (len(before.failures), before.schedule.missed, len(before.episodes))
