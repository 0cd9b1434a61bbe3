"""Where a value stands on the paper, and where the ticks of an axis stand: linear, logarithmic and date axes."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 - times on an axis are local and have no zone
DAY = 86_400.0
STEPS = (60.0, 300.0, 900.0, 3600.0, 3 * 3600.0, 6 * 3600.0, 12 * 3600.0, DAY, 2 * DAY, 7 * DAY, 14 * DAY)
MONTHS = (1, 2, 3, 6, 12, 24, 60)


@dataclass(frozen=True, slots=True)
class Tick:
    """One tick of an axis."""

    at: float  # as `Scale.number` gives it
    words: str  # lines parted by a line feed


@dataclass(frozen=True, slots=True)
class Scale:
    """One axis on the paper."""

    kind: str  # "linear", "log" or "date"
    low: float  # at `start`; of a log axis the logarithm
    high: float  # at `stop`
    start: float  # in pixels
    stop: float

    def number(self, value: Any) -> float | None:
        """Return a value as a number on this axis; None where it has no place there."""
        if value is None:
            return None
        if self.kind == "date":
            return seconds(value)
        number = float(value)
        if self.kind == "log":
            return math.log10(number) if number > 0 else None
        return number if math.isfinite(number) else None

    def pixel(self, number: float) -> float:
        """Return where a number stands, in pixels."""
        width = self.high - self.low or 1.0
        return self.start + (number - self.low) / width * (self.stop - self.start)

    def place(self, value: Any) -> float | None:
        """Return where a value stands, in pixels; None where it has no place."""
        number = self.number(value)
        return None if number is None else self.pixel(number)


def seconds(value: Any) -> float:
    """Return a local time or day, written in ISO 8601, in seconds since 1970."""
    if isinstance(value, (int, float)):
        return float(value) / 1000.0  # plotly's own dates are milliseconds
    at = value if isinstance(value, datetime) else datetime.fromisoformat(str(value))
    return (at.replace(tzinfo=None) - EPOCH).total_seconds()


def scale_of(axis: Mapping[str, Any], start: float, stop: float, values: Sequence[Any]) -> Scale:
    """Return the scale of a plotly axis between two pixels.

    Args:
        axis: of the layout.
        start: pixel of its low end.
        stop: pixel of its high end.
        values: what is drawn on it, where it has no range of its own.
    """
    kind = axis.get("type", "linear")
    ends = axis.get("range")
    if ends is not None:
        low, high = (seconds(end) if kind == "date" else float(end) for end in ends)
        return Scale(kind, low, high, start, stop)
    bare = Scale(kind, 0.0, 1.0, 0.0, 1.0)
    numbers = [number for value in values if (number := bare.number(value)) is not None] or [0.0, 1.0]
    low, high = min(numbers), max(numbers)
    room = 0.05 * (high - low) or 0.5
    return Scale(kind, low - room, high + room, start, stop)


def ticks_of(axis: Mapping[str, Any], scale: Scale, most: int) -> list[Tick]:
    """Return the ticks of an axis, `most` at most where it names none itself."""
    if axis.get("tickvals") is not None:
        values = list(axis["tickvals"])
        words = list(axis.get("ticktext") or [])
        words = words if words else [f"{value:g}" for value in values]
        placed = [(scale.number(value), str(word)) for value, word in zip(values, words, strict=False)]
        ticks = [Tick(number, word.replace("<br>", "\n")) for number, word in placed if number is not None]
    elif scale.kind == "date":
        ticks = date_ticks(scale, most)
    elif scale.kind == "log":
        ticks = log_ticks(scale)
    else:
        ticks = linear_ticks(scale, most)
    low, high = sorted((scale.low, scale.high))
    slack = 1e-9 * (high - low)
    return [tick for tick in ticks if low - slack <= tick.at <= high + slack]


def linear_ticks(scale: Scale, most: int) -> list[Tick]:
    """Return ticks at 1, 2 or 5 times a power of ten."""
    low, high = sorted((scale.low, scale.high))
    rough = (high - low) / max(most - 1, 1)
    if rough <= 0:
        return []
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(times * power for times in (1.0, 2.0, 5.0, 10.0) if times * power >= rough * (1 - 1e-9))
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    first = math.ceil(low / step - 1e-9)
    count = math.floor(high / step + 1e-9) - first + 1
    words = [f"{(first + i) * step:,.{places}f}".replace("-", "\N{MINUS SIGN}") for i in range(count)]
    return [Tick((first + i) * step, words[i]) for i in range(count)]


def log_ticks(scale: Scale) -> list[Tick]:
    """Return a tick at each power of ten, and at 2 and 5 where there are few."""
    low, high = sorted((scale.low, scale.high))
    times = (1,) if high - low > 2.5 else (1, 2, 5)
    powers = range(math.floor(low), math.ceil(high) + 1)
    return [Tick(power + math.log10(each), f"{each * 10.0**power:,.10g}") for power in powers for each in times]


def date_ticks(scale: Scale, most: int) -> list[Tick]:
    """Return ticks at whole hours, days, months or years, day before month in words."""
    low, high = sorted((scale.low, scale.high))
    rough = (high - low) / max(most, 1)
    step = next((each for each in STEPS if each >= rough), None)
    if step is not None:
        anchor = 4 * DAY if step % (7 * DAY) == 0 else 0.0  # weeks begin on Monday: 5 January 1970 was one
        first = math.ceil((low - anchor) / step)
        count = math.floor((high - anchor) / step) - first + 1
        return [_date_tick(anchor + (first + i) * step, "%H:%M\n%d" if step < DAY else "%d") for i in range(count)]
    months = next((each for each in MONTHS if each * 30.4 * DAY >= rough), MONTHS[-1])
    start, end = (EPOCH + timedelta(seconds=at) for at in (low, high))
    at, found = start.year * 12, []
    while at <= end.year * 12 + end.month:
        day = datetime(at // 12, at % 12 + 1, 1)  # noqa: DTZ001 - local, as all times on an axis
        found.append(_date_tick((day - EPOCH).total_seconds(), "%Y" if months >= 12 else "%b"))
        at += months
    return found


def _date_tick(at: float, form: str) -> Tick:
    moment = EPOCH + timedelta(seconds=at)
    day = f"{moment.day} {moment:%b}"
    words = {
        "%H:%M\n%d": f"{moment:%H:%M}\n{day} {moment.year}",
        "%d": f"{day}\n{moment.year}",
        "%b": f"{moment:%b}\n{moment.year}",
        "%Y": f"{moment.year}",
    }
    return Tick(at, words[form])
