"""What is checked on the demo line, and when."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal

from spc.records import StreamKey

ZONE = "Europe/Vienna"
"""The site's zone; the log's times stand without an offset."""

A, B = "Line A", "Line B"

Every = Literal["shift", "day", "week", "month", "half_year"]
Form = Literal["bath", "share", "lamp", "level", "skewed", "deviation", "count", "word"]


@dataclass(frozen=True, slots=True)
class StreamPlan:
    """One stream of the demo line: when it is checked and how its readings lie."""

    key: StreamKey
    form: Form
    every: Every
    minute: int  # after the start of the shift
    step: Decimal = Decimal(1)  # what readings are rounded to
    centre: float = 0.0  # in the check's unit; % for a deviation
    spread: float = 0.0  # standard deviation; relative for a lamp and a skewed stream
    carry: float = 0.0  # correlation of successive readings
    season: float = 0.0  # how much higher in July than over the year
    below: Decimal | None = None  # a reading under this is written "<" and this
    unit: str = ""
    instrument: str = ""
    references: tuple[int, ...] = ()
    shift: str = "A"  # on which shift, unless checked every shift
    weekday: int = 0  # of a weekly check; 0 is Monday

    def due(self, day: date, shift: str) -> bool:
        """Return whether the check is done on this shift of a working day."""
        if self.every == "shift":
            return True
        if shift != self.shift:
            return False
        if self.every == "week":
            return day.weekday() == self.weekday
        if self.every == "month":
            return _first_wednesday(day)
        if self.every == "half_year":
            return _first_wednesday(day) and day.month in (5, 11)
        return True


def _first_wednesday(day: date) -> bool:
    return day.weekday() == 2 and day.day <= 7
