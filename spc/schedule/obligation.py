"""When a check is due again: from one check, or from one missed, to the next.

What a moment means depends on what the interval is counted in:

hours            that many hours after the last check, to the minute; 8 h after 06:10 is 14:10.
dates            on the date that many days, weeks or months later, at any time of that day: a check made on Monday is
                 due on Tuesday when it is due every day, and on the next Monday when it is due every week. The last
                 day of a month stands for a day that the month does not have. A shift past midnight belongs to the day
                 on which it starts.
operating hours  when the line has been in operation for that many hours since the last check.
shifts           in the shift in operation that many after the one of the last check, at any time of it.

A check that falls due while the line is not in operation is due before use: when the line next runs. It still counts
as done in time within the site's grace, counted in operating time, after its moment (`hours`, `operating hours`); what
is due on a date or in a shift has the whole of it.
"""

from bisect import bisect_left
from calendar import monthrange
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from spc.catalogue.check import Interval
from spc.schedule.operation import Operation
from spc.schedule.site_calendar import DAY

EARLY = timedelta(hours=1)
"""A check made this short a time before a shift is that shift's own (our own choice, no source)."""


@dataclass(frozen=True, slots=True)
class Due:
    """One obligation to check."""

    fell: datetime | None  # when the interval ran out, the line in operation or not; None where no moment is known
    at: datetime | None  # when the check is due: before use, where the line was not in operation; None: not known
    opens: datetime | None  # a check from here on counts for this obligation, not for the one before
    deadline: datetime | None  # until here it is done in time

    @property
    def before_use(self) -> bool:
        """Whether it fell due while the line was not in operation."""
        return self.at is None or (self.fell is not None and self.fell < self.at)


NEVER = Due(None, None, None, None)


def due_after(last: datetime, interval: Interval, operation: Operation) -> Due:
    """Return the obligation that follows a check made, or one missed, at `last` (UTC).

    The interval must be set by a clock, a calendar or the line's operation (`interval.every` is not None).
    """
    match interval.counted:
        case "hours":
            assert interval.every is not None
            return _at_moment(last + interval.every, operation)
        case "operating hours":
            assert interval.every is not None
            at = operation.after(last, interval.every)
            return NEVER if at is None else _at_moment(at, operation)
        case "shifts":
            return _in_shift(last, interval.shifts, operation)
        case "dates":
            return due_on(_date_after(operation.day_of(last), interval), operation)


def _at_moment(fell: datetime, operation: Operation) -> Due:
    at = operation.next_running(fell)
    if at is None:
        return Due(fell, None, None, None)
    grace = operation.calendar.grace
    deadline = operation.after(at, grace) if grace else at
    return Due(fell, at, at - grace, deadline or at + grace)


def _date_after(day: date, interval: Interval) -> date:
    if not interval.months:
        assert interval.every is not None
        return day + interval.every
    years, month = divmod(day.month - 1 + interval.months, 12)
    year, month = day.year + years, month + 1
    return date(year, month, min(day.day, monthrange(year, month)[1]))


def due_on(day: date, operation: Operation) -> Due:
    """Return the obligation of a check that is due on `day`, or on the next day on which the line works."""
    fell = operation.day_start(day)
    stretch = operation.first_of_day(day)
    if stretch is None:
        return Due(fell, None, None, None)
    found = operation.shifts[stretch.shift].day
    opens = operation.day_end(found - DAY)
    if found == day:  # due as planned, before the line starts that day
        return Due(stretch.start, stretch.start, min(opens, stretch.start), operation.day_end(found))
    return Due(fell, stretch.start, min(opens, stretch.start), operation.day_end(found))


def _in_shift(last: datetime, count: int, operation: Operation) -> Due:
    """Return the obligation of the `count`-th shift in operation after the one of `last`."""
    held = operation.stretch_from(last)
    if held is None:
        return NEVER
    place = bisect_left(operation.starts, held.start)
    early = last < operation.shifts[held.shift].start - EARLY
    number = held.shift
    left = count - 1 if early else count
    while left and place < len(operation.stretches):
        if operation.stretches[place].shift != number:
            number, left = operation.stretches[place].shift, left - 1
            if not left:
                break
        place += 1
    if place >= len(operation.stretches):
        return NEVER
    stretch, shift = operation.stretches[place], operation.shifts[number]
    fell = min(stretch.start, _next_planned(held.shift, early, count, operation))
    return Due(fell, stretch.start, shift.start - EARLY, shift.stop)


def _next_planned(shift: int, early: bool, count: int, operation: Operation) -> datetime:
    """Return when the `count`-th planned shift after `shift` starts, whether or not the line runs in it."""
    number = min(shift + count - early, len(operation.shifts) - 1)
    return operation.shifts[number].start
