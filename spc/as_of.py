"""A stream as it stands at a moment: a row dated ahead of the clock must not pass for the newest one."""

from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from datetime import datetime, tzinfo

import numpy as np

from spc.by_identity import by_identity
from spc.monitor import monitor_stream, pays_to_compile
from spc.records import Event, Readings, StreamKey
from spc.results import StreamResult
from spc.times import from_microseconds, to_microseconds
from spc.wording import CLOCKS_DIFFER, time_text


@dataclass(frozen=True, slots=True)
class RowsAhead:
    """Rows of one stream that are dated ahead of the clock."""

    key: StreamKey
    rows: tuple[int, ...]  # line numbers in the log, in order of time
    first: datetime  # aware, UTC: the earliest time on them

    @property
    def words(self) -> str:
        """The rows as people name them: "row 12", "rows 12, 13 and 4 more"."""
        if len(self.rows) == 1:
            return f"row {self.rows[0]}"
        named, more = ", ".join(map(str, self.rows[:NAMED])), len(self.rows) - NAMED
        return f"rows {named} and {more} more" if more > 0 else f"rows {named}"


NAMED = 3


def readings_until(readings: Readings, now: datetime) -> int:
    """Return how many readings of a stream are dated up to `now`, or so little later that two clocks may differ."""
    return int(np.searchsorted(readings.taken_at, to_microseconds(now + CLOCKS_DIFFER), side="right"))


def as_of(result: StreamResult, now: datetime) -> StreamResult:
    """Return what is known of a stream from readings and events up to `now`; `result` itself where none lies ahead."""
    n = readings_until(result.readings, now)
    events = events_until(result.events, now)
    if n == len(result.readings) and len(events) == len(result.events):
        return result
    kept, asked = _cut(result), (n, len(events))
    found = kept.get(asked)
    if found is None:
        part = first_readings(result.readings, n)
        found = monitor_stream(part, events, result.check, compiled=pays_to_compile(n))
        kept.clear()
        kept[asked] = found
    return found


@by_identity
def _cut(result: StreamResult) -> dict[tuple[int, int], StreamResult]:
    """Return where to keep a stream as it stands, for as long as no other row or event comes to be past."""
    return {}


def events_until(events: Iterable[Event], now: datetime) -> tuple[Event, ...]:
    """Return the events dated up to `now`, or so little later that two clocks may differ."""
    return tuple(event for event in events if event.at <= now + CLOCKS_DIFFER)


def first_readings(readings: Readings, n: int) -> Readings:
    """Return the first `n` readings of a stream."""
    columns = {field.name: getattr(readings, field.name) for field in fields(readings)}
    del columns["key"], columns["other"]
    other = {name: column[:n] for name, column in readings.other.items()}
    return replace(readings, other=other, **{name: column[:n] for name, column in columns.items()})


def rows_ahead(readings: Readings, now: datetime) -> RowsAhead | None:
    """Return the rows of a stream that are dated ahead of `now`; None where there is none."""
    n = readings_until(readings, now)
    if n == len(readings):
        return None
    return RowsAhead(readings.key, tuple(readings.row[n:].tolist()), from_microseconds(int(readings.taken_at[n])))


def ahead_notes(results: Iterable[StreamResult], zone: tzinfo, now: datetime) -> tuple[str, ...]:
    """Return a sentence for each stream with rows dated ahead of `now`: which they are, and what to do."""
    found = [rows_ahead(result.readings, now) for result in results]
    return tuple(
        f"{ahead.words}: {ahead.key} is dated {time_text(ahead.first, zone)}, ahead of the clock; what is said of it "
        "leaves that out until then; correct the time if it is wrong"
        for ahead in found
        if ahead is not None
    )
