"""When each stream is to be checked again: due, overdue, or its line not in operation."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import Literal

import numpy as np

from spc.catalogue.check import Check
from spc.charted import was_running
from spc.records import Event, Readings, StreamKey
from spc.schedule.obligation import due_after
from spc.schedule.operation import Operation, excused_shifts, line_operation, without
from spc.schedule.site_calendar import SiteCalendar
from spc.times import from_microseconds

DueWord = Literal["due", "overdue", "not in operation"]


@dataclass(frozen=True, slots=True)
class CheckDue:
    """How one stream stands to its interval at a moment; times are aware, UTC."""

    word: DueWord
    by: datetime | None  # until when it is done in time; None: before the line runs again, whenever that is
    before_use: bool = False  # whether the interval runs out while the line stands still
    resting_since: datetime | None = None  # not in operation: since when


def checks_due(
    streams: Mapping[StreamKey, tuple[Readings, Check]],
    events: tuple[Event, ...],
    calendar: SiteCalendar,
    *,
    zone: tzinfo,
    now: datetime,
) -> dict[StreamKey, CheckDue]:
    """Return when each stream is due again; one without a clock, or never checked, is not in it.

    Args:
        streams: readings and catalogue entry of every stream of the log.
        events: of the log.
        calendar: the site's, or `AROUND_THE_CLOCK`.
        zone: the site's zone.
        now: aware; readings and events after it are left out.
    """
    readings = {key: of_stream for key, (of_stream, _) in streams.items()}
    operations = {
        line: line_operation(line, readings, events, calendar, zone=zone, now=now)[0]
        for line in {key.line for key in streams}
    }
    found = {key: check_due(of_stream, check, operations[key.line], now) for key, (of_stream, check) in streams.items()}
    return {key: due for key, due in found.items() if due is not None}


def check_due(readings: Readings, check: Check, operation: Operation, now: datetime) -> CheckDue | None:
    """Return when one stream is due again; None where no clock sets it, or it was never checked while running."""
    resting = _resting_since(operation, now)
    running = np.flatnonzero(was_running(readings))
    if check.interval.every is None or not len(running):
        return CheckDue("not in operation", None, resting_since=resting) if resting else None
    last = from_microseconds(int(readings.taken_at[running[-1]]))
    own = without(operation, [rest for rest in excused_shifts(readings, operation) if rest.stop > last])
    due = due_after(last, check.interval, own)
    if resting is not None:  # what fell due before is due again before use
        return CheckDue("not in operation", due.deadline, due.before_use, resting)
    if due.deadline is not None and due.deadline < now:
        return CheckDue("overdue", due.deadline, due.before_use)
    return CheckDue("due", due.deadline, due.before_use)


def _resting_since(operation: Operation, now: datetime) -> datetime | None:
    """Return since when the line stands still by events or rows "not run"; None where it runs, or has its night."""
    since = None
    if operation.running(now):
        return None
    for rest in reversed(operation.rests):
        if rest.start > now:
            continue
        if operation.time_between(rest.start, now):
            break
        since = since if rest.why == "closed" else rest.start
    return since


SOON = timedelta(hours=8)
"""A check due this soon is told: about a shift ahead."""


def due_soon(due: CheckDue, now: datetime) -> bool:
    """Return whether a check is due within about a shift."""
    return due.word == "due" and due.by is not None and due.by - now <= SOON
