"""The ledger of checks: each one due, done, late, missed, or not in operation, with exact gaps.

done              made by its deadline (`spc.schedule.obligation` says what that is).
late              made after its deadline, but before the next one was due.
missed            not made before the next one was due, though the line was in operation.
not in operation  fell due while the line stood still by the calendar's closed days, by events or by "not run" rows; a
                  legitimate status and no missed check (footnote of ASTM E3024-16, Table 1, found). The check is then
                  due before use, and that obligation stands in the ledger by itself.
due, overdue      the last one of a stream: not made yet; overdue once its deadline has passed.

Checks of one stream that follow each other within the grace, or on one date where dates are counted, are one check:
the levels of an ammeter, a retest. Nights and weekends without a planned shift are no entry.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import Literal

import numpy as np

from spc.catalogue.check import Catalogue, Check
from spc.charted import was_running
from spc.errors import InputError
from spc.records import Event, Readings, StreamKey
from spc.schedule.obligation import NEVER, Due, due_after, due_on
from spc.schedule.operation import Operation, Rest, excused_shifts, line_operation, without
from spc.schedule.site_calendar import AROUND_THE_CLOCK, YEARS, SiteCalendar
from spc.times import from_microseconds

Status = Literal["done", "late", "missed", "not in operation", "due", "overdue"]
STATUSES: tuple[Status, ...] = ("done", "late", "missed", "not in operation", "due", "overdue")


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the ledger; times are UTC."""

    status: Status
    due: datetime | None  # None: before the line runs again, whenever that is
    deadline: datetime | None
    previous: datetime | None  # the check before; None where there is none
    done_at: datetime | None = None
    row: int | None = None  # of the first reading of the check
    gap: timedelta | None = None  # from the check before to this one
    gap_in_operation: timedelta | None = None  # of it, the time the line was in operation
    over: timedelta = timedelta()  # how long after its deadline it was made, or has not been made
    before_use: bool = False  # whether it fell due while the line was not in operation
    until: datetime | None = None  # not in operation: until when; None: to this day
    why: str = ""  # not in operation: who says so

    @property
    def open(self) -> bool:
        """Whether the check is still to be made."""
        return self.status in ("due", "overdue")


@dataclass(frozen=True, slots=True)
class StreamLedger:
    """The ledger of one check on one bath, lamp or machine."""

    key: StreamKey
    check: Check
    entries: tuple[Entry, ...]  # in time order; the open one last
    first: datetime | None  # the first check; None where none was ever made
    last: datetime | None  # the last one

    def count(self, status: Status) -> int:
        """Return how many entries have this status."""
        return sum(entry.status == status for entry in self.entries)

    @property
    def next(self) -> Entry | None:
        """Return the obligation that is still open; None on condition, or where the check is no longer asked."""
        return self.entries[-1] if self.entries and self.entries[-1].open else None

    @property
    def longest_gap(self) -> Entry | None:
        """Return the entry with the longest time between two checks."""
        gaps = [entry for entry in self.entries if entry.gap is not None]
        return max(gaps, key=lambda entry: entry.gap or timedelta(), default=None)


@dataclass(frozen=True, slots=True)
class Ledger:
    """The ledgers of all streams of a site."""

    streams: tuple[StreamLedger, ...]  # in order of line, catalogue, position
    operations: Mapping[str, Operation]  # by line
    notes: tuple[str, ...]  # what does not fit together, and what was assumed, a sentence each
    now: datetime
    zone: tzinfo

    def of(self, key: StreamKey) -> StreamLedger:
        """Return the ledger of one stream.

        Raises:
            InputError: there is none.
        """
        for stream in self.streams:
            if stream.key == key:
                return stream
        raise InputError(f"there is no stream {key} in the ledger; name a line, check and position of the log")


def ledger(
    streams: Mapping[StreamKey, Readings],
    events: Iterable[Event],
    catalogue: Catalogue,
    *,
    calendar: SiteCalendar = AROUND_THE_CLOCK,
    zone: tzinfo,
    now: datetime,
) -> Ledger:
    """Return what was due and what was done on every stream up to `now`.

    Args:
        streams: the readings of the log, "not run" rows among them.
        events: what was done to the lines; of these, line_idle and line_running count.
        catalogue: its intervals say how often.
        calendar: when the site works and which checks it is asked for.
        zone: the site's zone.
        now: aware; readings and events after it are left out.

    Raises:
        InputError: `now` has no zone, or no year that a calendar can be laid out for.
    """
    if now.tzinfo is None:
        raise InputError(f"now {now.isoformat()} has no zone; give an aware time")
    if now.year not in YEARS:
        raise InputError(f"now {now.isoformat()} is outside the years {YEARS[0]} to {YEARS[-1]}; correct it")
    happened = tuple(events)
    order = {key: place for place, key in enumerate(catalogue.checks)}
    keys = {*streams, *(asked.key for asked in calendar.asked)}
    found = {
        line: line_operation(line, streams, happened, calendar, zone=zone, now=now)
        for line in sorted({key.line for key in keys})
    }
    ledgers = tuple(
        stream_ledger(key, streams.get(key), catalogue.checks[key.check], found[key.line][0], now=now)
        for key in sorted(keys, key=lambda key: (key.line, order[key.check], key.position))
    )
    said = [] if calendar.shifts else [NO_CALENDAR]
    said += _misfits(calendar, {line: operation for line, (operation, _) in found.items()})
    said += [f"{line}: {note}" if not note.startswith(line) else note for line in found for note in found[line][1]]
    return Ledger(ledgers, {line: operation for line, (operation, _) in found.items()}, tuple(said), now, zone)


def _misfits(calendar: SiteCalendar, operations: Mapping[str, Operation]) -> list[str]:
    """Return a sentence for each line that calendar and log do not share: a misspelt name would hide missed checks."""
    said = [
        f"{line}: {calendar.source} has no shift for it, so nothing falls due there; correct its lines"
        for line, operation in operations.items()
        if not operation.shifts
    ]
    every = [part.lines for part in calendar.shifts]
    every += [part.lines for part in calendar.closed] + [part.lines for part in calendar.extra]
    named = frozenset[str]().union(*every)
    return said + [
        f"{line}: {calendar.source} names it, and no row of the log does; it was not used"
        for line in sorted(named - operations.keys())
    ]


NO_CALENDAR = (
    "No site calendar was given: the lines are taken to work around the clock, except where events and 'not run' rows "
    "say otherwise. Give --calendar to leave out nights, weekends and holidays."
)


def stream_ledger(
    key: StreamKey, readings: Readings | None, check: Check, operation: Operation, *, now: datetime
) -> StreamLedger:
    """Return the ledger of one stream.

    Args:
        key: the stream.
        readings: its readings; None where the log has none.
        check: its catalogue entry.
        operation: when its line was in operation.
        now: aware; readings after it are left out.
    """
    asked = operation.calendar.asked_at(key)
    made = _occasions(readings, check, operation, now)
    if readings is not None:
        operation = without(operation, excused_shifts(readings, operation))
    ends = [now] if asked.last is None else [now, operation.day_end(asked.last)]
    walk = _Walk(check, operation, made, min(ends), no_longer=len(ends) > 1 and ends[1] <= now)
    start = None if asked.first is None else operation.day_start(asked.first)
    entries = () if check.interval.every is None else tuple(walk.entries(start))
    first, last = (made[0][0], made[-1][0]) if made else (None, None)
    return StreamLedger(key, check, entries, first, last)


Made = tuple[datetime, int]  # when, and the row


def _occasions(readings: Readings | None, check: Check, operation: Operation, now: datetime) -> list[Made]:
    """Return the checks made up to `now`, readings that belong to one check joined, as time and row of the first."""
    if readings is None:
        return []
    ran = np.flatnonzero(was_running(readings))
    found: list[Made] = []
    before: datetime | None = None
    for at, row in zip(readings.taken_at[ran].tolist(), readings.row[ran].tolist(), strict=True):
        moment = from_microseconds(at)
        if moment > now:
            break
        same = before is not None and (
            operation.day_of(before) == operation.day_of(moment)
            if check.interval.counted == "dates"
            else moment - before <= operation.calendar.grace
        )
        if not same:
            found.append((moment, row))
        before = moment
    return found


@dataclass(frozen=True, slots=True)
class _Walk:
    """From obligation to obligation along the checks made."""

    check: Check
    operation: Operation
    made: Sequence[Made]
    end: datetime  # nothing is asked after it
    no_longer: bool  # whether the check is no longer asked at `end`

    def entries(self, start: datetime | None) -> Iterable[Entry]:
        """Yield the entries in time order; `start`: from when the check is asked, None: from the first one made."""
        interval = self.check.interval
        place, previous = 0, None
        if start is not None and (not self.made or self.made[0][0] > start):
            due = self._first(start)
        elif self.made:
            previous = self.made[0][0]
            place, due = 1, due_after(previous, interval, self.operation)
        else:
            return
        while True:
            yield from self._rest(due, previous)
            following = NEVER if due.at is None else due_after(due.at, interval, self.operation)
            if place < len(self.made) and _belongs(self.made[place][0], due, following, self.end):
                at, row = self.made[place]
                yield self._made(due, at, row, previous)
                previous, place = at, place + 1
                due = due_after(at, interval, self.operation)
            elif following.at is not None and following.at <= self.end:
                yield Entry("missed", due.at, due.deadline, previous, before_use=due.before_use)
                due = following
            else:
                break
        if not self.no_longer:
            yield self._still(due, previous)

    def _first(self, start: datetime) -> Due:
        """Return the first obligation of a check asked from `start` on."""
        return due_on(self.operation.day_of(start), self.operation)

    def _made(self, due: Due, at: datetime, row: int, previous: datetime | None) -> Entry:
        late = due.deadline is not None and at > due.deadline
        return Entry(
            "late" if late else "done",
            due.at,
            due.deadline,
            previous,
            done_at=at,
            row=row,
            gap=None if previous is None else at - previous,
            gap_in_operation=None if previous is None else self.operation.time_between(previous, at),
            over=at - due.deadline if late and due.deadline is not None else timedelta(),
            before_use=due.before_use,
        )

    def _rest(self, due: Due, previous: datetime | None) -> Iterable[Entry]:
        """Yield the stated rest in which the check fell due, if there is one."""
        if due.fell is None or not due.before_use or due.fell > self.end:
            return
        rests = self.operation.rests_between(due.fell, due.at or self.end)
        if rests:
            why = ", ".join(dict.fromkeys(map(_words, rests)))
            yield Entry("not in operation", due.fell, None, previous, until=due.at, why=why)

    def _still(self, due: Due, previous: datetime | None) -> Entry:
        over = self.end - due.deadline if due.deadline is not None else timedelta()
        overdue = over > timedelta()
        return Entry(
            "overdue" if overdue else "due",
            due.at,
            due.deadline,
            previous,
            over=over if overdue else timedelta(),
            before_use=due.before_use,
        )


def _belongs(made: datetime, due: Due, following: Due, end: datetime) -> bool:
    """Return whether a check counts for the obligation `due`, not for the `following` one."""
    in_time = due.deadline is not None and made <= due.deadline
    return made <= end and (in_time or following.opens is None or made < following.opens)


def _words(rest: Rest) -> str:
    return f"{rest.why}: {rest.note}" if rest.note else rest.why
