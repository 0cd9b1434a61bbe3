"""When each stream is to be checked again."""

from datetime import UTC, datetime, time, timedelta

import numpy as np
import pytest

from spc.catalogue.check import Interval
from spc.check_due import CheckDue, check_due, checks_due, due_soon
from spc.records import Event, StreamKey
from spc.schedule.operation import line_operation
from spc.schedule.site_calendar import AROUND_THE_CLOCK, ShiftPlan, SiteCalendar
from tests.made import KEY, START, made_check, made_event, made_readings

HOUR = timedelta(hours=1)
WEEK = SiteCalendar(
    (
        ShiftPlan("A", time(6), time(14), frozenset(range(5))),
        ShiftPlan("B", time(14), time(22), frozenset(range(5))),
    )
)
FRIDAY = datetime(2025, 3, 7, 14, 10, tzinfo=UTC)
MONDAY = datetime(2025, 3, 10, 6, tzinfo=UTC)


def due_at(now, *, times=(START,), events=(), calendar=AROUND_THE_CLOCK, words=None, interval=None):
    check = made_check() if interval is None else made_check(interval=interval)
    values = [np.nan if words and words[i] else 0.2 for i in range(len(times))]
    readings = made_readings(values, times=times, words=words)
    operation, _ = line_operation(KEY.line, {KEY: readings}, events, calendar, zone=UTC, now=now)
    return check_due(readings, check, operation, now)


def test_a_check_is_due_until_its_interval_and_the_grace_are_over():
    deadline = START + timedelta(hours=8.5)

    assert due_at(deadline) == CheckDue("due", deadline)
    assert due_at(deadline + timedelta(minutes=1)) == CheckDue("overdue", deadline)


def test_it_stays_overdue_since_the_first_time_it_was_not_made():
    assert due_at(START + timedelta(days=30)) == CheckDue("overdue", START + timedelta(hours=8.5))


def test_an_idle_line_is_not_in_operation():
    idle = made_event("line_idle", START + 2 * HOUR)
    found = due_at(START + timedelta(days=3), events=(idle,))

    assert found == CheckDue("not in operation", None, True, START + 2 * HOUR)


def test_a_line_that_runs_again_is_overdue_again():
    events = (made_event("line_idle", START + 2 * HOUR), made_event("line_running", START + 20 * HOUR))

    assert due_at(START + 20 * HOUR, events=events).word == "due"
    assert due_at(START + 21 * HOUR, events=events) == CheckDue("overdue", START + 20.5 * HOUR, True)


def test_a_line_that_went_idle_is_so_at_night_too():
    idle = made_event("line_idle", FRIDAY + 2 * HOUR)
    found = due_at(MONDAY - HOUR, times=(FRIDAY,), events=(idle,), calendar=WEEK)

    assert (found.word, found.resting_since) == ("not in operation", FRIDAY + 2 * HOUR)


def test_a_row_not_run_is_no_check_and_no_omission():
    found = due_at(START + 9 * HOUR, times=(START, START + 8 * HOUR), words=("", "not run"))

    assert found.word == "not in operation"
    assert found.resting_since == START + 8 * HOUR


def test_a_night_and_a_weekend_are_not_overdue():
    assert due_at(MONDAY - HOUR, times=(FRIDAY,), calendar=WEEK) == CheckDue("due", MONDAY + HOUR / 2, True)
    assert due_at(MONDAY + HOUR, times=(FRIDAY,), calendar=WEEK).word == "overdue"


@pytest.mark.parametrize("every", [None, timedelta(days=1)])
def test_nothing_is_asked_on_condition_or_of_a_stream_never_checked(every):
    interval = Interval(every, "as needed")
    times, words = ((START,), None) if every is None else ((START,), ("not run",))

    assert due_at(START + timedelta(days=9), times=times, words=words, interval=interval) is None


def test_every_stream_of_every_line_is_asked():
    other = StreamKey("Line B", KEY.check, KEY.position)
    streams = {key: (made_readings([0.2], key=key), made_check()) for key in (KEY, other)}
    idle = Event(at=START + HOUR, offset=0, row=2, line="Line B", kind="line_idle")
    found = checks_due(streams, (idle,), AROUND_THE_CLOCK, zone=UTC, now=START + 10 * HOUR)

    assert {key: due.word for key, due in found.items()} == {KEY: "overdue", other: "not in operation"}


def test_soon_is_within_a_shift():
    assert due_soon(CheckDue("due", START + 8 * HOUR), START)
    assert not due_soon(CheckDue("due", START + 9 * HOUR), START)
    assert not due_soon(CheckDue("overdue", START), START)
