"""The period that a review looks at: whole days of the site."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo

import numpy as np

from spc.arrays import IntArray
from spc.errors import InputError
from spc.formats import formats_now
from spc.times import to_microseconds

USUAL_DAYS = 91
"""Days of a review when nobody said: a quarter."""


@dataclass(frozen=True, slots=True)
class Period:
    """From the first day to the last, both included, by the clocks of the site.

    Raises:
        InputError: the last day is before the first.
    """

    first: date
    last: date
    zone: tzinfo

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise InputError(f"the period ends on {self.last}, before its first day {self.first}; swap or correct them")

    @property
    def start(self) -> datetime:
        """Local midnight before the first day, aware."""
        return datetime.combine(self.first, time(), self.zone)

    @property
    def stop(self) -> datetime:
        """Local midnight after the last day, aware; no longer in the period."""
        return datetime.combine(self.last + timedelta(days=1), time(), self.zone)

    @property
    def days(self) -> int:
        """How many days it has."""
        return (self.last - self.first).days + 1

    @property
    def words(self) -> str:
        """The period as people read it: "1 Oct 2026 to 20 Nov 2026"."""
        return f"{day_text(self.first)} to {day_text(self.last)}"

    def holds(self, at: datetime) -> bool:
        """Return whether an aware time lies in the period."""
        return self.start <= at < self.stop

    def places(self, taken_at: IntArray) -> slice:
        """Return the places of the times, in microseconds since 1970-01-01 UTC and in order, that lie in the period."""
        low, high = np.searchsorted(taken_at, [to_microseconds(self.start), to_microseconds(self.stop)], side="left")
        return slice(int(low), int(high))


def day_text(day: date) -> str:
    """Return a day that cannot be read two ways, as the site writes it: "4 Mar 2025"."""
    return formats_now().day(day)


def calendar_periods(now: datetime, zone: tzinfo) -> tuple[tuple[str, Period], ...]:
    """Return the periods of the calendar that people ask for, each with its name, as of `now` (aware).

    Months are whole ones, of the site's zone; what goes on ends with the day of `now`.
    """
    today = now.astimezone(zone).date()
    month = today.replace(day=1)
    last = month - timedelta(days=1)
    year = today.replace(month=1, day=1)
    periods = (
        ("This month so far", month, today),
        ("Last month", last.replace(day=1), last),
        ("Last three months", _months_before(month, 3), last),
        ("This year so far", year, today),
        ("Last year", _months_before(year, 12), year - timedelta(days=1)),
    )
    return tuple((words, Period(first, end, zone)) for words, first, end in periods)


def _months_before(first: date, months: int) -> date:
    """Return the first day of the month that many months before that of `first`, itself the first of one."""
    year, month = divmod(12 * first.year + first.month - 1 - months, 12)
    return date(year, month + 1, 1)


def period_before(period: Period) -> Period:
    """Return the period of as many days that ends the day before."""
    last = period.first - timedelta(days=1)
    return Period(last - timedelta(days=period.days - 1), last, period.zone)
