"""When one line was in operation: planned shifts, less what events and "not run" rows take away.

- `line_idle` to `line_running` takes away everything between; without a `line_running` the line is idle to this day.
- A row "not run" takes away the shift it stands in (a row outside the shifts: the next one), if no other check of the
  line was read in that shift. Where one was, the line did run: the row then excuses its own check alone, and is named.
- Without shifts, a row "not run" takes away the time until the line's next reading, at most a day.
- A closed day of the calendar takes away its shifts. A reading in them is named: somebody has to say which is right.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta, tzinfo
from functools import lru_cache
from typing import Literal

import numpy as np

from spc.arrays import IntArray
from spc.charted import was_running
from spc.records import Event, Readings, StreamKey
from spc.schedule.site_calendar import DAY, Shift, SiteCalendar
from spc.times import from_microseconds, to_microseconds

Why = Literal["closed", "idle", "not run"]
AHEAD = timedelta(days=800)
"""How far after the last moment that matters a calendar is laid out: longer than the longest interval."""

KEPT = 64
"""Calendars of lines that stay laid out; the ones asked for longest ago go first."""


@dataclass(frozen=True, slots=True)
class Rest:
    """Planned time in which a line was not in operation, and who says so."""

    start: datetime  # UTC
    stop: datetime  # UTC, exclusive
    why: Why
    note: str = ""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Time in operation without a break, within one planned shift."""

    start: datetime  # UTC
    stop: datetime  # UTC, exclusive
    shift: int  # place in `Operation.shifts`


@dataclass(frozen=True, slots=True)
class Operation:
    """When one line was, and is planned to be, in operation."""

    line: str
    zone: tzinfo
    calendar: SiteCalendar
    shifts: tuple[Shift, ...]  # planned, in time order
    stretches: tuple[Stretch, ...]  # in operation, in time order
    rests: tuple[Rest, ...]  # planned and not in operation, in time order
    starts: tuple[datetime, ...]  # of the stretches
    until: datetime  # nothing is known after this moment

    def running(self, at: datetime) -> bool:
        """Return whether the line is in operation at `at`."""
        place = bisect_right(self.starts, at) - 1
        return place >= 0 and at < self.stretches[place].stop

    def stretch_from(self, at: datetime) -> Stretch | None:
        """Return the stretch that holds `at`, or the next one; None where none is known."""
        place = max(bisect_right(self.starts, at) - 1, 0)
        return next((each for each in self.stretches[place : place + 2] if each.stop > at), None)

    def next_running(self, at: datetime) -> datetime | None:
        """Return `at` itself where the line is in operation then, else when it next is."""
        stretch = self.stretch_from(at)
        return None if stretch is None else max(at, stretch.start)

    def time_between(self, first: datetime, last: datetime) -> timedelta:
        """Return the time in operation from `first` to `last`."""
        place = max(bisect_right(self.starts, first) - 1, 0)
        total = timedelta()
        for stretch in self.stretches[place : bisect_left(self.starts, last)]:
            total += max(min(stretch.stop, last) - max(stretch.start, first), timedelta())
        return total

    def after(self, at: datetime, hours: timedelta) -> datetime | None:
        """Return when `hours` of operation have passed since `at`; None where that is not known."""
        left = hours
        for stretch in self.stretches[max(bisect_right(self.starts, at) - 1, 0) :]:
            start = max(stretch.start, at)
            if stretch.stop - start >= left:
                return start + left
            left -= max(stretch.stop - start, timedelta())
        return None

    def shifts_between(self, first: datetime, last: datetime) -> tuple[Shift, ...]:
        """Return the shifts in which the line was in operation at some moment from `first` to `last`."""
        place = max(bisect_right(self.starts, first) - 1, 0)
        held = [each for each in self.stretches[place : bisect_right(self.starts, last)] if each.stop > first]
        return tuple(self.shifts[number] for number in sorted({each.shift for each in held}))

    def rests_between(self, first: datetime, last: datetime) -> tuple[Rest, ...]:
        """Return the rests that lie in `first` to `last`, in part at least."""
        return tuple(rest for rest in self.rests if rest.start < last and rest.stop > first)

    def day_of(self, at: datetime) -> date:
        """Return the day that `at` belongs to: that of its planned shift, else the local date."""
        place = bisect_right(self.shifts, at, key=lambda shift: shift.start) - 1
        if place >= 0 and at < self.shifts[place].stop:
            return self.shifts[place].day
        return at.astimezone(self.zone).date()

    def day_start(self, day: date) -> datetime:
        """Return local midnight before `day`."""
        return datetime(day.year, day.month, day.day, tzinfo=self.zone).astimezone(UTC)

    def day_end(self, day: date) -> datetime:
        """Return when `day` ends: at local midnight, or with its last shift if that goes on longer."""
        midnight = self.day_start(day + DAY)
        place = bisect_left(self.shifts, midnight, key=lambda shift: shift.start) - 1
        return max(midnight, self.shifts[place].stop) if place >= 0 and self.shifts[place].day == day else midnight

    def first_of_day(self, day: date) -> Stretch | None:
        """Return the first stretch in operation of `day` or, if it has none, of the next day that has."""
        place = bisect_left(self.stretches, day, key=lambda each: self.shifts[each.shift].day)
        return self.stretches[place] if place < len(self.stretches) else None


def line_operation(
    line: str,
    streams: Mapping[StreamKey, Readings],
    events: Iterable[Event],
    calendar: SiteCalendar,
    *,
    zone: tzinfo,
    now: datetime,
) -> tuple[Operation, tuple[str, ...]]:
    """Return when `line` was in operation, and a sentence for everything that does not fit together.

    Args:
        line: which line.
        streams: the streams of the log; those of other lines are left out.
        events: the events of the log; those of other lines are left out.
        calendar: the site's calendar, or `AROUND_THE_CLOCK`.
        zone: the site's zone.
        now: aware; readings and events after it are left out.
    """
    own = [readings for key, readings in streams.items() if key.line == line]
    idle = _idle(line, events, now)
    times, not_run = _times(own, now)
    moments = [*map(from_microseconds, times[:1].tolist()), *(at for at, _, _ in not_run)]
    moments += [*(rest.start for rest in idle), now]
    asked = [asked.first for asked in calendar.asked if asked.first is not None and asked.key.line == line]
    first = min([min(moments).astimezone(zone).date(), *asked]) - DAY
    last = (now + AHEAD).astimezone(zone).date()
    resting, excused = _not_run(not_run, times, _planned(calendar, line, first, last, zone)[0], calendar)
    operation = _laid_out(calendar, line, first, last, zone, (*resting, *idle))
    if not operation.shifts:
        operation = replace(operation, until=now)
    return operation, (*_contradictions(line, operation, times), *excused)


@lru_cache(maxsize=KEPT)
def _planned(
    calendar: SiteCalendar, line: str, first: date, last: date, zone: tzinfo
) -> tuple[tuple[Shift, ...], tuple[Rest, ...]]:
    """Return the planned shifts of a line, and the rests of its closed days."""
    planned = calendar.planned(line, first, last, zone)
    closed = (Rest(shift.start, shift.stop, "closed", why) for shift, why in planned if why is not None)
    return tuple(shift for shift, _ in planned), tuple(closed)


@lru_cache(maxsize=KEPT)
def _laid_out(
    calendar: SiteCalendar, line: str, first: date, last: date, zone: tzinfo, resting: tuple[Rest, ...]
) -> Operation:
    """Return when a line is in operation, given its rests beside closed days: a board asks for it at each reading."""
    shifts, closed = _planned(calendar, line, first, last, zone)
    rests = _within_shifts([*closed, *resting], shifts)
    stretches = _stretches(shifts, rests)
    until = shifts[-1].stop if shifts else datetime.min.replace(tzinfo=UTC)
    return Operation(
        line, zone, calendar, shifts, stretches, tuple(rests), tuple(each.start for each in stretches), until
    )


def _times(own: Sequence[Readings], now: datetime) -> tuple[IntArray, list[tuple[datetime, int, StreamKey]]]:
    """Return when readings were taken with the line in operation, in microseconds, and the rows that say it was not."""
    times: list[IntArray] = [np.zeros(0, dtype=np.int64)]
    not_run: list[tuple[datetime, int, StreamKey]] = []
    for readings in own:
        ran = was_running(readings)
        times.append(readings.taken_at[ran])
        rest = np.flatnonzero(~ran)
        not_run += [
            (from_microseconds(int(readings.taken_at[i])), int(readings.row[i]), readings.key) for i in rest.tolist()
        ]
    every = np.concatenate(times)
    return np.sort(every[every <= to_microseconds(now)]), sorted(each for each in not_run if each[0] <= now)


def _before(times: IntArray, at: datetime) -> int:
    """Return how many of `times` lie before `at`."""
    return int(np.searchsorted(times, to_microseconds(at), side="left"))


def _idle(line: str, events: Iterable[Event], now: datetime) -> list[Rest]:
    """Return the times between line_idle and line_running."""
    found: list[Rest] = []
    since: Event | None = None
    for event in sorted((e for e in events if e.line == line and e.at <= now), key=lambda event: event.at):
        if event.kind == "line_idle":
            since = since or event
        elif event.kind == "line_running" and since is not None:
            found.append(Rest(since.at, event.at, "idle", since.note))
            since = None
    if since is not None:
        found.append(Rest(since.at, datetime.max.replace(tzinfo=UTC), "idle", since.note))
    return found


def shift_for(at: datetime, shifts: Sequence[Shift]) -> int | None:
    """Return the place of the shift that holds `at`, else of the next one; None after the last."""
    place = bisect_right(shifts, at, key=lambda shift: shift.start) - 1
    if place >= 0 and at < shifts[place].stop:
        return place
    return place + 1 if place + 1 < len(shifts) else None


def _not_run(
    rows: Sequence[tuple[datetime, int, StreamKey]],
    times: IntArray,
    shifts: Sequence[Shift],
    calendar: SiteCalendar,
) -> tuple[list[Rest], list[str]]:
    """Return the rests that rows "not run" speak of, and a sentence for every shift in which the line did run."""
    rests: list[Rest] = []
    against: dict[int, list[int]] = {}
    for at, row, _ in rows:
        if not calendar.shifts:
            place = int(np.searchsorted(times, to_microseconds(at), side="right"))
            stop = min(from_microseconds(int(times[place])), at + DAY) if place < len(times) else at + DAY
            rests.append(Rest(at, stop, "not run"))
            continue
        number = shift_for(at, shifts)
        if number is None:
            continue
        shift = shifts[number]
        if _before(times, shift.start) < _before(times, shift.stop):
            against.setdefault(number, []).append(row)
        else:
            rests.append(Rest(shift.start, shift.stop, "not run"))
    return rests, [
        f"{'rows' if len(found) > 1 else 'row'} {', '.join(map(str, found))} {'say' if len(found) > 1 else 'says'} "
        f"that the line was not in operation, and other checks of it were read in that shift "
        f"({shifts[number].name} of {shifts[number].day}); taken for those checks alone"
        for number, found in against.items()
    ]


def excused_shifts(readings: Readings, operation: Operation) -> tuple[Rest, ...]:
    """Return the shifts in operation in which a row of this stream says "not run"."""
    if not operation.calendar.shifts:
        return ()
    found = []
    for at in readings.taken_at[~was_running(readings)].tolist():
        number = shift_for(from_microseconds(at), operation.shifts)
        if number is not None:
            found.append(Rest(operation.shifts[number].start, operation.shifts[number].stop, "not run"))
    return tuple(rest for rest in found if operation.time_between(rest.start, rest.stop))


def without(operation: Operation, rests: Sequence[Rest]) -> Operation:
    """Return `operation` with more rests taken away."""
    if not rests:
        return operation
    every = _within_shifts([*operation.rests, *rests], operation.shifts)
    stretches = _stretches(operation.shifts, every)
    return Operation(
        operation.line,
        operation.zone,
        operation.calendar,
        operation.shifts,
        stretches,
        tuple(every),
        tuple(each.start for each in stretches),
        operation.until,
    )


def _within_shifts(rests: Iterable[Rest], shifts: Sequence[Shift]) -> list[Rest]:
    """Return the parts of `rests` that lie in planned shifts, in time order, joined within one shift."""
    parts: list[tuple[int, Rest]] = []
    for rest in rests:
        place = max(bisect_right(shifts, rest.start, key=lambda shift: shift.start) - 1, 0)
        while place < len(shifts) and shifts[place].start < rest.stop:
            start, stop = max(rest.start, shifts[place].start), min(rest.stop, shifts[place].stop)
            if start < stop:
                parts.append((place, Rest(start, stop, rest.why, rest.note)))
            place += 1
    joined: list[tuple[int, Rest]] = []
    for place, rest in sorted(parts, key=lambda part: part[1].start):
        if joined and joined[-1][0] == place and rest.start <= joined[-1][1].stop:
            kept = joined[-1][1]
            joined[-1] = place, Rest(kept.start, max(kept.stop, rest.stop), kept.why, kept.note)
        else:
            joined.append((place, rest))
    return [rest for _, rest in joined]


def _stretches(shifts: Sequence[Shift], rests: Sequence[Rest]) -> tuple[Stretch, ...]:
    """Return what `rests`, in time order and each within one shift, leave of `shifts`."""
    found: list[Stretch] = []
    place = 0
    for number, shift in enumerate(shifts):
        start = shift.start
        while place < len(rests) and rests[place].start < shift.stop:
            if start < rests[place].start:
                found.append(Stretch(start, rests[place].start, number))
            start = rests[place].stop
            place += 1
        if start < shift.stop:
            found.append(Stretch(start, shift.stop, number))
    return tuple(found)


def _contradictions(line: str, operation: Operation, times: IntArray) -> list[str]:
    """Return a sentence for readings taken while the line is said to be closed or idle."""
    said = []
    for why, words, remedy in (
        ("idle", "while it was idle by the events", "write line_running when it ran again, if it did"),
        ("closed", "on days the calendar calls closed", "correct the calendar, if it ran"),
    ):
        rests = [rest for rest in operation.rests if rest.why == why]
        starts, stops = (
            np.searchsorted(times, [to_microseconds(each) for each in ends], side="left").tolist()
            for ends in ([rest.start for rest in rests], [rest.stop for rest in rests])
        )
        inside = [times[i] for start, stop in zip(starts, stops, strict=True) for i in range(start, stop)]
        if inside:
            first = f"{from_microseconds(int(inside[0])).astimezone(operation.zone):%Y-%m-%d %H:%M}"
            said.append(f"{line} has {len(inside)} readings {words}, the first at {first}; {remedy}")
    return said
