"""When a site works: its shifts on weekdays, the days it is closed, and single days more, read from a TOML file.

    grace = "30 min"                  how long after its moment a check still counts as done in time

    [[shift]]                         one table a shift
    name = "A"                        as in the log's shift column
    start = "06:00"                   local time of the site; an end at or before the start is on the next day
    end = "14:00"
    days = ["mon", "tue", "wed", "thu", "fri"]
    lines = ["Line A"]                all lines when left out

    [[closed]]                        days without work
    from = 2024-12-24
    to = 2025-01-02                   the last day, itself closed; that of `from` when left out
    note = "plant closed"
    lines = ["Line A"]                all lines when left out

    [[extra]]                         a day with work beside the usual ones
    on = 2025-03-08
    shifts = ["A"]
    lines = ["Line A"]                all lines when left out

    [[stream]]                        a check asked at one place, whether or not the log has a reading of it
    line = "Line B"
    check = "yoke_lift"
    position = "yoke 1"
    from = 2025-01-07                 asked from this day on
    to = 2026-06-30                   no longer asked after this day, when given

A shift belongs to the day on which it starts. A local time that the spring clock change leaves out stands for the
moment the clock jumps by; one that the autumn change repeats stands for the first of the two.
"""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from pathlib import Path
from typing import Any

from spc.catalogue.check import Catalogue
from spc.catalogue.table import Table, nearest, shown
from spc.catalogue.toml_file import toml_file
from spc.records import StreamKey

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
GRACE = timedelta(minutes=30)
"""How long after its moment a check counts as done in time where a site says nothing (our own choice, no source)."""

LONGEST_GRACE = timedelta(hours=12)
YEARS = range(1900, 2200)
"""Years that a calendar can be laid out for."""

DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class ShiftPlan:
    """One shift of the usual week, in local time."""

    name: str
    start: time
    end: time  # at or before `start`: on the next day
    weekdays: frozenset[int]  # 0 is Monday
    lines: frozenset[str] = frozenset()  # none: all lines

    def on(self, day: date, zone: tzinfo) -> "Shift":
        """Return this shift as it starts on `day`."""
        ends = day if self.end > self.start else day + DAY
        start, stop = (datetime.combine(d, t, zone).astimezone(UTC) for d, t in ((day, self.start), (ends, self.end)))
        return Shift(self.name, day, start, stop)


@dataclass(frozen=True, slots=True)
class Shift:
    """One shift on one day."""

    name: str
    day: date  # on which it starts, local
    start: datetime  # UTC
    stop: datetime  # UTC, exclusive


@dataclass(frozen=True, slots=True)
class Closed:
    """Days without work, both ends included."""

    first: date
    last: date
    note: str = ""
    lines: frozenset[str] = frozenset()  # none: all lines

    def holds(self, line: str, day: date) -> bool:
        """Return whether `line` does not work on `day`."""
        return self.first <= day <= self.last and (not self.lines or line in self.lines)


@dataclass(frozen=True, slots=True)
class Extra:
    """One day on which shifts work that usually do not."""

    day: date
    shifts: frozenset[str]
    lines: frozenset[str] = frozenset()  # none: all lines


@dataclass(frozen=True, slots=True)
class Asked:
    """A check asked at one place for some time."""

    key: StreamKey
    first: date | None = None
    last: date | None = None


@dataclass(frozen=True, slots=True)
class SiteCalendar:
    """When a site works, and which checks it is asked for."""

    shifts: tuple[ShiftPlan, ...]  # none: around the clock, as far as is known
    closed: tuple[Closed, ...] = ()
    extra: tuple[Extra, ...] = ()
    asked: tuple[Asked, ...] = ()
    grace: timedelta = GRACE
    source: str = ""  # the file; "" where there is none

    def planned(self, line: str, first: date, last: date, zone: tzinfo) -> tuple[tuple[Shift, str | None], ...]:
        """Return the shifts of `line` that start from `first` to `last`, in time order.

        Beside each stands why the line is closed then, or None where it works. Without shifts a day is one shift
        without a name, from midnight to midnight.
        """
        plans = self.shifts or (ShiftPlan("", time(0), time(0), frozenset(range(7))),)
        found: list[tuple[Shift, str | None]] = []
        day = first
        while day <= last:
            for plan in plans:
                extra = self._extra(plan, line, day)
                if extra or self._usual(plan, line, day):
                    found.append((plan.on(day, zone), None if extra else self._closed(line, day)))
            day += DAY
        return tuple(sorted(found, key=lambda each: each[0].start))

    def _usual(self, plan: ShiftPlan, line: str, day: date) -> bool:
        return day.weekday() in plan.weekdays and (not plan.lines or line in plan.lines)

    def _extra(self, plan: ShiftPlan, line: str, day: date) -> bool:
        """Return whether `day` is one on which this shift works beside its usual ones, closed days among them."""
        return (not plan.lines or line in plan.lines) and any(
            extra.day == day and plan.name in extra.shifts and (not extra.lines or line in extra.lines)
            for extra in self.extra
        )

    def _closed(self, line: str, day: date) -> str | None:
        return next((closed.note or "closed" for closed in self.closed if closed.holds(line, day)), None)

    def asked_at(self, key: StreamKey) -> Asked:
        """Return from when to when a check is asked at one place; always, where the calendar says nothing."""
        return next((asked for asked in self.asked if asked.key == key), Asked(key))


AROUND_THE_CLOCK = SiteCalendar(())
"""What is taken without a calendar: that a line works at all times but those the log and the events speak of."""


def load_calendar(path: Path | str, catalogue: Catalogue) -> SiteCalendar:
    """Return the site's calendar; the format stands at the top of this module.

    Raises:
        CatalogueError: the file cannot be read, or has a mistake: file, key, value and remedy in one line.
    """
    return calendar_from(toml_file(path, "a calendar file"), str(path), catalogue)


def calendar_from(values: dict[str, Any], source: str, catalogue: Catalogue) -> SiteCalendar:
    """Return the calendar that the `values` of a file give; refusals name it as `source`."""
    whole = Table(source, "", values)
    whole.only(("grace", "shift", "closed", "extra", "stream"))
    shifts = tuple(_shift(table) for table in _tables(whole, "shift"))
    if not shifts:
        raise whole.refused("shift", "no shift is given; write each as [[shift]] with name, start, end and days")
    _refuse_overlaps(shifts, whole)
    names = {plan.name for plan in shifts}
    return SiteCalendar(
        shifts=shifts,
        closed=tuple(_closed_days(table) for table in _tables(whole, "closed")),
        extra=tuple(_extra(table, names) for table in _tables(whole, "extra")),
        asked=_asked(whole, catalogue),
        grace=_grace(whole),
        source=source,
    )


def _tables(whole: Table, key: str) -> tuple[Table, ...]:
    return tuple(Table(each.file, each.where.lstrip("."), each.values) for each in whole.tables(key))


def _shift(table: Table) -> ShiftPlan:
    table.only(("name", "start", "end", "days", "lines"))
    days = table.texts("days")
    if not days:
        raise table.refused("days", 'no weekday is given; write days = ["mon", "tue", ...]')
    for day in days:
        if day not in WEEKDAYS:
            raise table.refused("days", f"there is no weekday '{day}' here; {nearest(day, WEEKDAYS)}")
    return ShiftPlan(
        name=table.text("name"),
        start=_time(table, "start"),
        end=_time(table, "end"),
        weekdays=frozenset(WEEKDAYS.index(day) for day in days),
        lines=frozenset(table.texts("lines")),
    )


def _time(table: Table, key: str) -> time:
    value = table.values.get(key)
    if isinstance(value, time):
        return value
    found = re.fullmatch(r"([01]?[0-9]|2[0-3]):([0-5][0-9])", value) if isinstance(value, str) else None
    if found is None:
        raise table.refused(key, f'{shown(value)} is no time of day; write {key} = "06:00"')
    return time(int(found[1]), int(found[2]))


def _refuse_overlaps(shifts: tuple[ShiftPlan, ...], whole: Table) -> None:
    """Refuse two shifts of one line at one time: a reading would belong to both."""
    monday = date(2024, 1, 1)
    week = [
        (plan.on(monday + day * DAY, UTC), number, plan.lines)
        for number, plan in enumerate(shifts, start=1)
        for day in range(8)
        if (monday + day * DAY).weekday() in plan.weekdays
    ]
    for shift, number, lines in week:
        for other, at, theirs in week:
            apart = shift is other or (lines and theirs and not lines & theirs)
            if not apart and number <= at and shift.start < other.stop and other.start < shift.stop:
                raise whole.refused(
                    f"shift[{at}]", f"'{other.name}' and '{shift.name}' overlap; correct a start or an end"
                )


def _day(table: Table, key: str) -> date | None:
    value = table.values.get(key)
    if value is None:
        return None
    if isinstance(value, datetime) or not isinstance(value, date):
        raise table.refused(key, f"{shown(value)} is no date; write {key} = 2025-12-24, without quotes")
    if value.year not in YEARS:
        raise table.refused(key, f"{value} is outside the years {YEARS[0]} to {YEARS[-1]}; correct it")
    return value


def _given_day(table: Table, key: str) -> date:
    day = _day(table, key)
    if day is None:
        raise table.refused("", f"{key} is missing; add {key} = 2025-12-24, without quotes")
    return day


def _closed_days(table: Table) -> Closed:
    table.only(("from", "to", "note", "lines"))
    first = _given_day(table, "from")
    last = _day(table, "to") or first
    if last < first:
        raise table.refused("to", f"{last} is before {first}; swap or correct them")
    return Closed(first, last, table.text("note", default=""), frozenset(table.texts("lines")))


def _extra(table: Table, names: set[str]) -> Extra:
    table.only(("on", "shifts", "lines"))
    shifts = table.texts("shifts")
    if not shifts:
        raise table.refused("shifts", "no shift is given; name those that work on that day")
    for name in shifts:
        if name not in names:
            raise table.refused("shifts", f"there is no shift '{name}'; {nearest(name, sorted(names))}")
    return Extra(_given_day(table, "on"), frozenset(shifts), frozenset(table.texts("lines")))


def _asked(whole: Table, catalogue: Catalogue) -> tuple[Asked, ...]:
    found: dict[StreamKey, Asked] = {}
    for table in _tables(whole, "stream"):
        table.only(("line", "check", "position", "from", "to"))
        check = table.text("check")
        if check not in catalogue.checks:
            raise table.refused("check", f"there is no check '{check}'; {nearest(check, catalogue.checks)}")
        key = StreamKey(table.text("line"), check, table.text("position", default=""))
        first, last = _day(table, "from"), _day(table, "to")
        if first is None and last is None:
            raise table.refused("", "neither from nor to is given; add from = 2025-01-07, without quotes")
        if first is not None and last is not None and last < first:
            raise table.refused("to", f"{last} is before {first}; swap or correct them")
        if key in found:
            raise table.refused("", f"{key} stands there twice; keep one of them")
        found[key] = Asked(key, first, last)
    return tuple(found.values())


def _grace(whole: Table) -> timedelta:
    if "grace" not in whole.values:
        return GRACE
    value = whole.values["grace"]
    found = re.fullmatch(r"([0-9]{1,3}) ?(min|h)", value) if isinstance(value, str) else None
    grace = timedelta(**{"minutes" if found[2] == "min" else "hours": int(found[1])}) if found else None
    if grace is None or grace > LONGEST_GRACE:
        raise whole.refused("grace", f'{shown(value)} is no time up to 12 h; write grace = "30 min" or "1 h"')
    return grace
