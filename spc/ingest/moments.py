"""When the checks of each row of a wide sheet were made: date, time or shift, and nights that run over midnight."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta, tzinfo

import numpy as np

from spc.catalogue.acceptance import plain_word
from spc.errors import LayoutError, LogError
from spc.ingest.dates import TimeReader, Times
from spc.ingest.layouts import Layout, Shift
from spc.ingest.sheet import BLANK, Cell, Sheet
from spc.records import NO_OFFSET
from spc.times import fixed_offset, from_microseconds

BEFORE_AND_AFTER = timedelta(hours=2)
"""So long before its start and after its end, a check still belongs to a shift over midnight: one of the line's habits
(common practice, no source). A time outside that is not put on either date."""

HAS_CLOCK = re.compile("[0-9]{1,2}:[0-9]{2}")
CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2})(?:\.[0-9]+)?)?\s*(?:([AaPp])\.?[Mm]\.?)?")
SERIAL = re.compile(r"[1-9][0-9]{4}(?:\.[0-9]+)?")
SERIAL_EPOCH = {"serial_1900": datetime(1899, 12, 30, tzinfo=UTC), "serial_1904": datetime(1904, 1, 1, tzinfo=UTC)}
"""Day 0 of a spreadsheet's day numbers. The first counts a 29 February 1900 that never was, so that from March 1900
its days are those after 30 December 1899. Source: ECMA-376 Part 1, 18.17.4.1."""

ORDERS = ("dmy", "mdy")


@dataclass(frozen=True, slots=True)
class Blame:
    """Why the moment of a row is not known, and the column that says so."""

    column: int
    text: str
    reason: str


@dataclass(frozen=True, slots=True)
class Moments:
    """The moment of each row asked for."""

    times: Times  # of n rows
    texts: tuple[str, ...]  # what was written
    blames: dict[int, Blame]  # place among the n rows to what is wrong
    from_shift: int  # rows without a time, taken at the start of their shift
    from_layout: int  # rows without a time and shift, taken at the layout's time of day


@dataclass(frozen=True, slots=True)
class _Written:
    """Date and time of one row before they are read."""

    date: Cell
    clock: time | None  # None: the date cell has the time as well
    shift: Shift | None
    text: str
    assumed: str = ""  # "shift" or "layout"


def read_moments(sheet: Sheet, rows: Sequence[int], layout: Layout, zone: tzinfo, dates: str | None) -> Moments:
    """Return when the checks of `rows` (places in the sheet) were made.

    Raises:
        LogError: a date is in a form that nothing names.
        LayoutError: the form that `dates` names cannot be used.
    """
    form = layout.dates or dates or ""
    blames: dict[int, Blame] = {}
    written: dict[int, _Written] = {}
    held = BLANK
    for at, row in enumerate(rows):
        date = sheet.spread(row, layout.date)
        held = date if date.text else held
        found = _written(sheet, row, held if layout.repeat_dates else date, layout, form)
        if isinstance(found, Blame):
            blames[at] = found
        else:
            written[at] = found
    local, short = _local(sheet, rows, written, layout, form, blames)
    n = len(rows)
    texts = ["1970-01-01T00:00"] * n
    for at, moment in local.items():
        texts[at] = moment
    times = TimeReader(zone).read(texts)
    for at, reason in times.faults.items():
        blames.setdefault(at, Blame(layout.date, written[at].text if at in written else "", reason))
    short_year = np.array([at in short for at in range(n)], dtype=np.bool_)
    assumed = [written[at].assumed for at in written if at not in blames]
    return Moments(
        times=replace(times, short_year=short_year, faults={}),
        texts=tuple(written[at].text if at in written else "" for at in range(n)),
        blames=blames,
        from_shift=assumed.count("shift"),
        from_layout=assumed.count("layout"),
    )


def _written(sheet: Sheet, row: int, date: Cell, layout: Layout, form: str) -> _Written | Blame:
    """Return what a row says of its moment, or the first thing that is wrong with it."""
    if not date.text:
        remedy = "write it, or say repeat_dates = true in the layout if a date stands for the rows below it"
        return Blame(layout.date, "", f"the date is missing; {remedy}")
    if date.kind in ("error", "time"):
        return Blame(layout.date, date.text, "this is no date; write one")
    shift = _shift(sheet, row, layout)
    if isinstance(shift, Blame):
        return shift
    if _has_time(date, form):
        return _Written(date, None, shift, date.text)
    clock = BLANK if layout.time is None else sheet.spread(row, layout.time)
    if clock.text and layout.time is not None:
        read = _clock(clock, layout)
        if read is None:
            remedy = "write it as 06:10, or name its form under times in the layout"
            return Blame(layout.time, clock.text, f"this is no time of day that can be read; {remedy}")
        return _Written(date, read, shift, f"{date.text} {clock.text}")
    if shift is not None:
        return _Written(date, shift.start, shift, date.text, "shift")
    if layout.time_of_day is not None:
        return _Written(date, layout.time_of_day, None, date.text, "layout")
    where = layout.date if layout.time is None else layout.time
    return Blame(
        where,
        date.text if layout.time is None else "",
        "the time of day is missing; write it, or give the layout a time column, the hours of the shifts, "
        "or time_of_day for all rows",
    )


def _shift(sheet: Sheet, row: int, layout: Layout) -> Shift | Blame | None:
    if layout.shift is None or not layout.shifts:
        return None
    text = sheet.spread(row, layout.shift).text
    if not text:
        has_time = layout.time is not None and sheet.spread(row, layout.time).text
        if has_time or layout.time_of_day is not None:
            return None
        return Blame(layout.shift, "", "the shift is missing, and so is the time; write one of them")
    found = layout.shifts.get(plain_word(text))
    if found is None:
        known = ", ".join(layout.shifts)
        return Blame(layout.shift, text, f"no shift of the layout; write one of {known}, or add it under [shifts]")
    return found


def _has_time(date: Cell, form: str) -> bool:
    """Return whether a date cell tells the time of day as well."""
    if date.kind == "moment":
        return not date.text.endswith("T00:00:00")
    if date.kind == "number" or SERIAL.fullmatch(date.text):
        return "." in date.text
    if "%" in form:
        return "%H" in form or "%I" in form
    return HAS_CLOCK.search(date.text) is not None


def _clock(cell: Cell, layout: Layout) -> time | None:
    """Return the time of day in a cell, or None."""
    if cell.kind == "moment":
        return datetime.fromisoformat(cell.text).time()
    if cell.kind == "time":
        return time.fromisoformat(cell.text) if re.match("[0-9]{2}:", cell.text) else None
    if layout.times:
        try:
            return datetime.strptime(cell.text, layout.times).time()  # noqa: DTZ007 - a time of day has no zone
        except ValueError:
            return None
    found = CLOCK.fullmatch(cell.text)
    if not found:
        return None
    hour, minute, second = int(found[1]), int(found[2]), int(found[3] or 0)
    if found[4]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + 12 * (found[4].lower() == "p")
    return time(hour, minute, second) if hour < 24 and minute < 60 and second < 60 else None


def _local(
    sheet: Sheet,
    rows: Sequence[int],
    written: dict[int, _Written],
    layout: Layout,
    form: str,
    blames: dict[int, Blame],
) -> tuple[dict[int, str], set[int]]:
    """Return the ISO 8601 text of each moment, nights put on their day, and which had a two-digit year."""
    local: dict[int, str] = {}
    short: set[int] = set()
    plain = {at: w for at, w in written.items() if _is_plain(w.date, form)}
    other = {at: w for at, w in written.items() if at not in plain}
    for group, dates in ((plain, None), (other, _full_form(other, layout, form))):
        places = list(group)
        texts = [_text(group[at], layout, form, dates) for at in places]
        read = _reader(dates, layout, form).read(texts)
        if read.needs_dates is not None:
            at = places[read.needs_dates]
            raise LogError(
                f"{sheet.file}: row {sheet.numbers[rows[at]]}: date {group[at].date.text[:40]!r} is not ISO 8601 and "
                'its order is not guessed; give dates = "dmy", "mdy" or a strptime pattern in the layout'
            )
        for order, at in enumerate(places):
            w = group[at]
            fault = read.faults.get(order) or _wrong_weekday(w, dates, int(read.microseconds[order]))
            if fault:
                blames[at] = Blame(layout.date, w.text, _why_no_date(w.date, fault, form))
            elif (offset := int(read.offset[order])) != NO_OFFSET:
                moment = from_microseconds(int(read.microseconds[order]))
                local[at] = moment.astimezone(fixed_offset(offset)).isoformat()
            else:
                on_its_day = _on_its_day(from_microseconds(int(read.microseconds[order])), w, layout)
                if isinstance(on_its_day, Blame):
                    blames[at] = on_its_day
                    continue
                local[at] = on_its_day.replace(tzinfo=None).isoformat()
                if read.short_year[order]:
                    short.add(at)
    return local, short


def _is_plain(date: Cell, form: str) -> bool:
    """Return whether a date can be read without being told its form."""
    if date.kind in ("date", "moment"):
        return True
    return form in SERIAL_EPOCH and SERIAL.fullmatch(date.text) is not None


def _full_form(others: dict[int, _Written], layout: Layout, form: str) -> str | None:
    """Return what TimeReader is told of dates with their time behind them."""
    if not form or form in ORDERS or form in SERIAL_EPOCH:
        return form if form in ORDERS else None
    year = " %Y" if layout.year is not None else ""
    return f"{form}{year}" + ("" if "%H" in form or "%I" in form else " %H:%M:%S")


def _reader(dates: str | None, layout: Layout, form: str) -> TimeReader:
    try:
        return TimeReader(UTC, dates)
    except ValueError:
        raise LayoutError(
            f"{layout.file}: dates: {form!r} is no form of dates that tells day, month and year; write dmy, "
            'mdy, or a strptime pattern such as "%d.%m.%Y" (with year = 2025 beside one without a year)'
        ) from None


def _text(written: _Written, layout: Layout, form: str, dates: str | None) -> str:
    """Return date and time as one text in the form that they are read in."""
    date = written.date.text
    if form in SERIAL_EPOCH and SERIAL.fullmatch(date):
        moment = SERIAL_EPOCH[form] + timedelta(minutes=round(float(date) * 1440))
        date = moment.isoformat()[:16] if written.clock is None else moment.isoformat()[:10]
    elif written.date.kind == "moment":
        date = date if written.clock is None else date[:10]
    if dates is not None and "%" in dates and layout.year is not None:
        date = f"{date} {layout.year}"
    if written.clock is None:
        return date
    return f"{date} {written.clock.isoformat(timespec='seconds')}"


def _why_no_date(date: Cell, fault: str, form: str) -> str:
    if form not in SERIAL_EPOCH and SERIAL.fullmatch(date.text):
        return (
            "this may be the day number of a spreadsheet; show it as a date and save anew, or say in the layout "
            'dates = "serial_1900" or, for a workbook that counts from 1904, "serial_1904"'
        )
    return fault


def _wrong_weekday(written: _Written, dates: str | None, microseconds: int) -> str:
    """Return what is wrong where a date names another weekday than its own."""
    if dates is None or not ("%a" in dates or "%A" in dates):
        return ""
    moment = from_microseconds(microseconds)
    if moment.strftime("%a").casefold() in written.text.casefold():
        return ""
    return f"{moment:%d %b %Y} was a {moment:%A}; correct the date, or the year in the layout"


def _on_its_day(moment: datetime, written: _Written, layout: Layout) -> datetime | Blame:
    """Return the moment on the day that it belongs to: a night bears the date of its start, its end or the clock."""
    shift = written.shift
    if shift is None or not shift.over_midnight or layout.night == "clock":
        return moment
    if written.assumed:
        return moment - timedelta(days=1) if layout.night == "end" else moment
    side = _side_of_midnight(moment.time(), shift)
    if side == 0:
        return Blame(
            layout.date if layout.time is None else layout.time,
            written.text,
            f"this time is not in its shift, {shift.start:%H:%M} to {shift.end:%H:%M}, and its date may be either of "
            "two; correct the time or the shift",
        )
    if layout.night == "start":
        return moment + timedelta(days=1) if side > 0 else moment
    return moment - timedelta(days=1) if side < 0 else moment


def _side_of_midnight(clock: time, shift: Shift) -> int:
    """Return -1 for a time of a night shift before midnight, 1 for one after, 0 for one of neither."""
    at, start, end = (timedelta(hours=t.hour, minutes=t.minute) for t in (clock, shift.start, shift.end))
    if at >= start:
        return -1
    if at < end:
        return 1
    early, late = start - at <= BEFORE_AND_AFTER, at - end <= BEFORE_AND_AFTER
    return 0 if early == late else (-1 if early else 1)
