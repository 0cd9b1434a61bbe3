"""When the demo line works: two shifts, five days a week, with holidays and two shutdowns a year."""

from datetime import date, datetime, time, timedelta

SHIFT_STARTS = {"A": time(6), "B": time(14)}
SHIFTS_END = time(22)
BEFORE_WORK = time(5, 30)

_HOLIDAYS = {(1, 6), (5, 1), (8, 15), (10, 26), (12, 8)}  # (month, day); the plant is staffed, the lines rest


def working(day: date) -> bool:
    """Return whether the lines work on `day`."""
    return day.weekday() < 5 and not shut_down(day) and not holiday(day)


def holiday(day: date) -> bool:
    """Return whether `day` is a weekday on which the lines rest and somebody writes so."""
    return day.weekday() < 5 and (day.month, day.day) in _HOLIDAYS and not shut_down(day)


def shut_down(day: date) -> bool:
    """Return whether the plant is closed: the year's end, and two weeks from the first Monday of August."""
    if (day.month == 12 and day.day >= 24) or (day.month == 1 and day.day <= 2):
        return True
    first = date(day.year, 8, 1)
    monday = first + timedelta(days=-first.weekday() % 7)
    return monday <= day < monday + timedelta(days=14)


def shift_start(day: date, shift: str) -> datetime:
    """Return the site's local time at which `shift` begins."""
    return datetime.combine(day, SHIFT_STARTS[shift])
