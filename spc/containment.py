"""What a failed check leaves open: everything processed since the last good one.

An exposure window runs from the last good check of a stream to the check that failed. Failures that follow before the
check passes again belong to the same window; what the line did between the failure and the pass is told beside it.

- Good is a reading surely inside its acceptance limits, or a word that passes. A reading that cannot be judged
  (censored across the limit, without the reference it needs) neither opens a window nor closes one.
- Where readings carry a reference (amperes), each level counts by itself: a pass at 1000 A is none at 2500 A.
- A "not in operation" gap inside does not end a window: parts processed before it are still exposed. Only where the
  line was in operation at no moment of it was nothing processed, as far as calendar, events and rows know.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

import numpy as np

from spc.arrays import IntArray
from spc.catalogue.acceptance import plain_word, verdict
from spc.catalogue.check import Check
from spc.charted import check_on, limits_by_day, was_running
from spc.failed_reading import failed_text
from spc.records import Readings, StreamKey
from spc.results import Failure, StreamResult
from spc.schedule.operation import Operation, Rest
from spc.schedule.site_calendar import Shift
from spc.times import from_microseconds, to_microseconds

SAME_LEVEL = 0.1
"""References that differ by no more than this part of the larger are one level (common practice, no source)."""

LOT_COLUMNS = frozenset({"lot", "lots", "lotno", "lotnumber", "batch", "order", "workorder", "job", "jobnumber"})
PART_COLUMNS = frozenset({"part", "parts", "partno", "partnumber", "pn", "partnumbers"})
"""Columns of a log that name what was processed, in small letters without spaces and signs."""


@dataclass(frozen=True, slots=True)
class ExposureWindow:
    """What was processed between the last good check and a failed one; times are UTC."""

    key: StreamKey
    check: Check  # with the acceptance limits the reading failed
    last_good: datetime | None  # None: the log holds no good check before the failure
    last_good_row: int | None
    first: datetime  # start of the window: the last good check, else the stream's first reading
    failed_at: datetime
    failed_row: int
    failed: str  # what was read, as people read it
    failures: int  # failed readings until the check passed again
    passed_at: datetime | None  # None: it has not passed since
    passed_row: int | None
    in_operation: timedelta  # time the line was in operation from `first` to `failed_at`
    in_operation_after: timedelta  # and from there until it passed again, or to `now`
    shifts: tuple[Shift, ...]  # those in operation from `first` to `failed_at`
    rests: tuple[Rest, ...]  # when it was not in operation in that time
    lots: tuple[str, ...]  # written down from `first` until it passed again, or to `now`
    parts: tuple[str, ...]
    lots_recorded: bool  # whether the log has a column for either at all

    @property
    def nothing_processed(self) -> bool:
        """Whether the line was not in operation at all in the window, as far as is known."""
        return self.in_operation == timedelta() and self.last_good is not None

    @property
    def open(self) -> bool:
        """Whether the check has not passed since."""
        return self.passed_at is None

    @property
    def obliges(self) -> tuple[str, ...]:
        """What the failed check obliges, in order."""
        return self.check.obliges


Judged = Literal[-1, 0, 1]
"""A reading failed, cannot be judged, or is good."""


def judged(result: StreamResult) -> IntArray:
    """Return of each reading of a stream whether it failed (-1), cannot be judged (0) or is good (1), shape (n,)."""
    found = np.zeros(len(result.readings), dtype=np.int64)
    charted = result.charted
    if result.check.kind == "judged":
        for acceptance, part in limits_by_day(result.readings.taken_at, result.check):
            good = {plain_word(word) for word in acceptance.good}
            found[part][[plain_word(word) in good for word in result.readings.word[part]]] = 1
    else:
        found[charted.index] = verdict(charted.x, charted.bound, charted.lower, charted.upper)
    found[[failure.index for failure in result.failures]] = -1
    found[~was_running(result.readings)] = 0
    return found


@dataclass(slots=True)
class _Open:
    """A window that is still being followed along the readings."""

    failure: Failure
    last_good: int | None
    levels: list[float]  # references that failed and have not passed since; NaN for none
    failures: int = 1


def exposure_windows(
    result: StreamResult,
    streams: Mapping[StreamKey, Readings],
    operation: Operation,
    *,
    now: datetime,
) -> tuple[ExposureWindow, ...]:
    """Return the exposure windows of a stream, in time order.

    Args:
        result: the stream.
        streams: all streams of the log: lots and parts are looked for on every row of the line.
        operation: when the line was in operation.
        now: aware; until when a window is followed that no pass has closed.
    """
    states = judged(result)
    failures = {failure.index: failure for failure in result.failures}
    references = result.readings.reference
    good: list[int] = []
    found: list[tuple[_Open, int | None]] = []
    open_: _Open | None = None
    for i in np.flatnonzero(states).tolist():
        level = float(references[i])
        if states[i] < 0:
            if open_ is None:
                open_ = _Open(failures[i], _last_good(good, level, result), [level])
            else:
                open_.failures += 1
                open_.levels += [] if any(same_level(level, other) for other in open_.levels) else [level]
        else:
            good.append(i)
            if open_ is not None:
                open_.levels = [other for other in open_.levels if not same_level(level, other)]
                if not open_.levels:
                    found.append((open_, i))
                    open_ = None
    if open_ is not None:
        found.append((open_, None))
    return tuple(_window(each, passed, result, streams, operation, now) for each, passed in found)


def same_level(a: float, b: float) -> bool:
    """Return whether two references are one level; two readings without reference are."""
    if np.isnan(a) or np.isnan(b):
        return bool(np.isnan(a) and np.isnan(b))
    return abs(a - b) <= SAME_LEVEL * max(abs(a), abs(b))


def _last_good(good: list[int], level: float, result: StreamResult) -> int | None:
    """Return the last good reading at this level; where the level was never read before, the last one at any."""
    references = result.readings.reference
    at_level = next((i for i in reversed(good) if same_level(float(references[i]), level)), None)
    return at_level if at_level is not None else (good[-1] if good else None)


def _window(
    found: _Open,
    passed: int | None,
    result: StreamResult,
    streams: Mapping[StreamKey, Readings],
    operation: Operation,
    now: datetime,
) -> ExposureWindow:
    readings, good = result.readings, found.last_good
    failed_at = from_microseconds(found.failure.taken_at)
    last_good = None if good is None else from_microseconds(int(readings.taken_at[good]))
    passed_at = None if passed is None else from_microseconds(int(readings.taken_at[passed]))
    first = last_good or from_microseconds(int(readings.taken_at[0]))
    until = passed_at or max(now, failed_at)
    lots, parts, recorded = processed(streams, result.key.line, first, until)
    return ExposureWindow(
        key=result.key,
        check=check_on(result.check, found.failure.taken_at),
        last_good=last_good,
        last_good_row=None if good is None else int(readings.row[good]),
        first=first,
        failed_at=failed_at,
        failed_row=found.failure.row,
        failed=failed_text(found.failure, result),
        failures=found.failures,
        passed_at=passed_at,
        passed_row=None if passed is None else int(readings.row[passed]),
        in_operation=operation.time_between(first, failed_at),
        in_operation_after=operation.time_between(failed_at, until),
        shifts=operation.shifts_between(first, failed_at),
        rests=operation.rests_between(first, failed_at),
        lots=lots,
        parts=parts,
        lots_recorded=recorded,
    )


def processed(
    streams: Mapping[StreamKey, Readings], line: str, first: datetime, last: datetime
) -> tuple[tuple[str, ...], tuple[str, ...], bool]:
    """Return the lots and the parts on rows of `line` from `first` to `last`, and whether the log has such columns."""
    lots: dict[str, None] = {}
    parts: dict[str, None] = {}
    recorded = False
    for key in sorted(key for key in streams if key.line == line):
        readings = streams[key]
        inside = _between(readings, first, last)
        for name, column in readings.other.items():
            plain = "".join(letter for letter in name.casefold() if letter.isalnum())
            kept = lots if plain in LOT_COLUMNS else parts if plain in PART_COLUMNS else None
            if kept is not None:
                recorded = True
                kept |= dict.fromkeys(str(text).strip() for text in column[inside] if str(text).strip())
    return tuple(lots), tuple(parts), recorded


def _between(readings: Readings, first: datetime, last: datetime) -> slice:
    low = np.searchsorted(readings.taken_at, to_microseconds(first), side="left")
    high = np.searchsorted(readings.taken_at, to_microseconds(last), side="right")
    return slice(int(low), int(high))


def windows_of(
    results: Iterable[StreamResult],
    streams: Mapping[StreamKey, Readings],
    operations: Mapping[str, Operation],
    *,
    now: datetime,
) -> tuple[ExposureWindow, ...]:
    """Return the exposure windows of all of `results`, in time order; `operations` by line."""
    found = [
        window
        for result in results
        if result.failures
        for window in exposure_windows(result, streams, operations[result.key.line], now=now)
    ]
    return tuple(sorted(found, key=lambda window: (window.failed_at, window.key)))
