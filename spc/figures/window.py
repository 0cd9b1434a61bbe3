"""The stretch of time a chart shows."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from spc.errors import InputError
from spc.results import StreamResult, since_reset
from spc.times import from_microseconds, to_microseconds

MARGIN = 0.02
"""Room left free at each end, as a part of the time shown."""


@dataclass(frozen=True, slots=True)
class Window:
    """From `first` to `last`, both aware.

    Raises:
        InputError: a time without a zone, or an end that is not after the start.
    """

    first: datetime
    last: datetime

    def __post_init__(self) -> None:
        if self.first.tzinfo is None or self.last.tzinfo is None:
            raise InputError("a window needs times with a zone")
        if self.last <= self.first:
            raise InputError(f"the window ends at {self.last}, not after its start {self.first}; swap or correct them")

    def widened(self) -> "Window":
        """Return the window with its own length added at each end, as far as the calendar goes."""
        return Window(_moved(self.first, self.first - self.last), _moved(self.last, self.last - self.first))

    def places(self, result: StreamResult) -> slice:
        """Return the places of the stream's readings, charted or not, that lie in the window."""
        return _places(result.readings.taken_at, self)

    def charted_places(self, result: StreamResult) -> slice:
        """Return the places of the charted readings that lie in the window."""
        return _places(result.charted.taken_at, self)


def _moved(at: datetime, by: timedelta) -> datetime:
    try:
        return at + by
    except OverflowError:
        return at


def _places(taken_at: np.ndarray[tuple[int], np.dtype[np.int64]], window: Window) -> slice:
    start = np.searchsorted(taken_at, to_microseconds(window.first), side="left")
    stop = np.searchsorted(taken_at, to_microseconds(window.last), side="right")
    return slice(int(start), int(stop))


def all_readings(result: StreamResult) -> Window:
    """Return the window that shows every reading of the stream."""
    return _from_place(result, 0)


def last_readings(result: StreamResult, n: int) -> Window:
    """Return the window that shows the last `n` readings."""
    return _from_place(result, max(0, len(result.readings) - n))


def last_segment(result: StreamResult) -> Window:
    """Return the window that shows the current segment; every reading where nothing is charted."""
    if not result.segments:
        return all_readings(result)
    return _from_place(result, int(result.charted.index[since_reset(result.segments).first]))


def around(result: StreamResult, place: int, readings: int = 60) -> Window:
    """Return a window of about `readings` readings with the one at `place` in its last third."""
    stop = min(len(result.readings), place + readings // 3)
    start = max(0, stop - readings)
    return _between(result, start, min(len(result.readings), start + readings) - 1)


def _from_place(result: StreamResult, start: int) -> Window:
    return _between(result, start, len(result.readings) - 1)


def _between(result: StreamResult, start: int, last: int) -> Window:
    if not len(result.readings):
        return Window(datetime(1970, 1, 1, tzinfo=UTC), datetime(1970, 1, 2, tzinfo=UTC))
    first, end = (from_microseconds(int(result.readings.taken_at[place])) for place in (start, last))
    room = max((end - first) * MARGIN, timedelta(minutes=30))
    return Window(first - room, end + room)
