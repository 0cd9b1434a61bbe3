"""What is due, and what became of what was due, as a person reads it."""

import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta, tzinfo
from itertools import groupby

from rich.console import Group, RenderableType
from rich.text import Text

from spc.printed.table import heading, note, plain_table
from spc.records import StreamKey
from spc.schedule.ledger import Entry, Ledger, StreamLedger
from spc.wording import date_text, source_text, time_text

STANDING = (
    "The intervals are those of the catalogue; the written procedure and the responsible Level 3 decide. That a line "
    "was not in operation is no missed check; a check due meanwhile is due before use."
)
MONTH_MARKS = (
    "A month a mark, the first on the left: . all done in time   o late   1-9 so many missed, + more   - not in "
    "operation   (blank) nothing due"
)
SHOWN_GAPS = 40


def duration_text(length: timedelta) -> str:
    """Return a length of time exactly, to the minute: "3 d 16 h 05 min", "6 min"."""
    minutes = round(length / timedelta(minutes=1))
    days, rest = divmod(minutes, 24 * 60)
    hours, minutes = divmod(rest, 60)
    parts = [f"{days} d"] if days else []
    if days or hours:
        parts.append(f"{hours} h")
    return " ".join([*parts, f"{minutes:02d} min" if parts else f"{minutes} min"])


def due_printed(ledger: Ledger, streams: Sequence[StreamLedger]) -> Group:
    """Return what is due now and next, the most urgent of each line first."""
    parts: list[RenderableType] = [heading(f"Checks due at {time_text(ledger.now, ledger.zone)}")]
    for line, of_line in groupby(streams, key=lambda stream: stream.key.line):
        rows = sorted((due_row(stream, ledger) for stream in of_line), key=lambda row: row[0])
        parts += [
            Text(""),
            plain_table((line, "last made", "due", "", "interval"), [row[1:] for row in rows], words=5),
        ]
    return Group(*parts, Text(""), *map(note, ledger.notes), note(STANDING))


def due_row(stream: StreamLedger, ledger: Ledger) -> tuple[tuple[int, float], str, str, str, str, str]:
    """Return the order of a check by urgency, then its name, when it was made, due, how urgent, and its interval."""
    zone, now = ledger.zone, ledger.now
    name = " ".join(filter(None, (stream.check.title, stream.key.position)))
    last = time_text(stream.last, zone) if stream.last else "never"
    words = re.split("[,;]", stream.check.interval.words)[0]
    entry = stream.next
    if entry is None:
        return (3, 0.0), name, last, "", "on condition" if stream.check.interval.every is None else "not asked", words
    order, urgency = due_words(entry, now)
    due = "before use" if entry.due is None else _when(entry, stream, zone)
    moment = (entry.deadline or datetime.max.replace(tzinfo=now.tzinfo)).timestamp()
    return (order, moment), name, last, due, urgency, words


def due_words(entry: Entry, now: datetime) -> tuple[int, str]:
    """Return how urgent an open obligation is (0 overdue, 1 due now, 2 later), and the words for it."""
    if entry.status == "overdue":
        return 0, f"OVERDUE by {duration_text(entry.over)}"
    if entry.due is None:
        return 1, "before the line runs again"
    if entry.due <= now:
        return 1, "due now"
    words = f"in {duration_text(entry.due - now)}"
    return 2, f"{words}, before use" if entry.before_use else words


def _when(entry: Entry, stream: StreamLedger, zone: tzinfo) -> str:
    assert entry.due is not None
    if stream.check.interval.counted == "dates":
        return date_text(entry.due, zone)
    return time_text(entry.due, zone)


def ledger_printed(
    ledger: Ledger, streams: Sequence[StreamLedger], *, first: date, last: date, every_gap: bool = False
) -> Group:
    """Return the ledger from `first` to `last`: counts, a mark a month, and the gaps one by one."""
    parts: list[RenderableType] = [heading(f"Checks due from {first} to {last}")]
    for line, of_line in groupby(streams, key=lambda stream: stream.key.line):
        rows = [_count_row(stream, ledger.zone, first, last) for stream in of_line]
        columns = (line, "by month", "done", "late", "missed", "not in operation", "longest gap")
        parts += [Text(""), plain_table(columns, rows, words=2)]
    gaps = list(gap_rows(streams, ledger, first, last))
    shown = gaps if every_gap else gaps[-SHOWN_GAPS:]
    parts += [Text(""), note(MONTH_MARKS), Text(""), heading("Gaps")]
    if len(shown) < len(gaps):
        parts.append(Text(f"The latest {len(shown)} of {len(gaps)}; --gaps lists them all."))
    columns = ("stream", "status", "due", "made", "since the one before", "in operation", "past deadline")
    parts.append(plain_table(columns, shown, words=4) if gaps else Text("None: everything was done in time."))
    sources = dict.fromkeys(_source(stream) for stream in streams)
    return Group(*parts, Text(""), *(note(each) for each in (*sources, *ledger.notes, STANDING) if each))


def _source(stream: StreamLedger) -> str:
    interval = stream.check.interval
    document = f" ({interval.document})" if interval.document else ""
    limits = source_text(stream.check.acceptance)
    return f"{stream.check.title}: {interval.words}{document}" + (f"; limits: {limits}" if limits else "")


def _count_row(stream: StreamLedger, zone: tzinfo, first: date, last: date) -> tuple[str, ...]:
    inside = [entry for entry in stream.entries if within(entry, zone, first, last)]
    gaps = [entry.gap for entry in inside if entry.gap is not None]
    counts = [sum(entry.status == status for entry in inside) for status in ("done", "late", "missed")]
    idle = sum(entry.status == "not in operation" for entry in inside)
    name = " ".join(filter(None, (stream.check.title, stream.key.position)))
    if stream.check.interval.every is None:
        return name, "on condition", "", "", "", "", ""
    numbers = [str(count or "") for count in (*counts, idle)]
    return name, months(inside, zone, first, last), *numbers, duration_text(max(gaps)) if gaps else ""


def moment_of(entry: Entry) -> datetime | None:
    """Return the moment an entry is listed under: when it was due, else when it was made."""
    return entry.due or entry.done_at


def within(entry: Entry, zone: tzinfo, first: date, last: date) -> bool:
    """Return whether an entry is listed from `first` to `last`, both local days included."""
    at = moment_of(entry)
    return at is not None and first <= at.astimezone(zone).date() <= last


def months(entries: Iterable[Entry], zone: tzinfo, first: date, last: date) -> str:
    """Return a mark for each month from `first` to `last`."""
    by_month: dict[tuple[int, int], list[str]] = {}
    for entry in entries:
        at = moment_of(entry)
        if at is not None:
            local = at.astimezone(zone)
            by_month.setdefault((local.year, local.month), []).append(entry.status)
    marks = ""
    year, month = first.year, first.month
    while (year, month) <= (last.year, last.month):
        marks += _mark(by_month.get((year, month), []))
        year, month = year + month // 12, month % 12 + 1
    return marks


def _mark(statuses: list[str]) -> str:
    missed = statuses.count("missed") + statuses.count("overdue")
    if missed:
        return str(missed) if missed <= 9 else "+"
    if "late" in statuses:
        return "o"
    if "done" in statuses:
        return "."
    return "-" if "not in operation" in statuses else " "


def gap_rows(streams: Iterable[StreamLedger], ledger: Ledger, first: date, last: date) -> Iterator[tuple[str, ...]]:
    """Yield what was late, missed or not in operation, in order of time; checks missed one after the other together.

    Each begins with the stream as people call it, with its line where there are several.
    """
    listed = tuple(streams)
    several = len({stream.key.line for stream in listed}) > 1
    rows = [row for stream in listed for row in _gaps(stream, ledger, first, last)]
    titles = {stream.key: stream.check.title for stream in listed}
    for _, key, texts in sorted(rows, key=lambda row: row[:2]):
        name = ", ".join(filter(None, (titles[key], key.position)))
        yield f"{key.line}: {name}" if several else name, *texts


GapRow = tuple[datetime, StreamKey, tuple[str, ...]]


def _gaps(stream: StreamLedger, ledger: Ledger, first: date, last: date) -> Iterator[GapRow]:
    missed: list[Entry] = []
    for entry in stream.entries:
        at = moment_of(entry)
        inside = within(entry, ledger.zone, first, last)
        if entry.status == "missed":
            missed += [entry] if inside else []
            continue
        if entry.status == "not in operation":
            if inside and at is not None:
                until = time_text(entry.until, ledger.zone) if entry.until else "now"
                texts = (entry.status, time_text(at, ledger.zone), f"until {until}: {entry.why}")
                yield at, stream.key, (*texts, "", "", "")
            continue
        if missed:
            yield _gap_row(f"{len(missed)} missed", [*missed, entry], stream, ledger)
        if inside and entry.status in ("late", "overdue"):
            yield _gap_row(entry.status, [entry], stream, ledger)
        missed = []
    if missed:
        yield _gap_row(f"{len(missed)} missed", missed, stream, ledger)


def _gap_row(status: str, entries: Sequence[Entry], stream: StreamLedger, ledger: Ledger) -> GapRow:
    """Return the row of checks missed up to the one that was made, or of one made late or not yet; with exact gaps."""
    zone, ends = ledger.zone, entries[-1]
    dues = [entry.due for entry in entries[: max(len(entries) - 1, 1)] if entry.due is not None]
    due = " to ".join(dict.fromkeys(time_text(at, zone) for at in (dues[0], dues[-1])))
    gap, running = ends.gap, ends.gap_in_operation
    if ends.done_at is None and ends.previous is not None:
        gap = ledger.now - ends.previous
        running = ledger.operations[stream.key.line].time_between(ends.previous, ledger.now)
    made = time_text(ends.done_at, zone) if ends.done_at else "not yet"
    lengths = [duration_text(length) if length is not None else "" for length in (gap, running)]
    over = duration_text(ends.over) if ends.over and len(entries) == 1 else ""
    return dues[0], stream.key, (status, due, made, *lengths, over)
