from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.catalogue.check import EVENT_KINDS, EXPLAINING_EVENTS, LINE_EVENTS, RESETTING_EVENTS, Interval

BERLIN = ZoneInfo("Europe/Berlin")
SIX_MONTHS = Interval(timedelta(days=182.625), "every 6 months", months=6)


@pytest.mark.parametrize(
    ("last", "due"),
    [
        ("2025-01-15", "2025-07-15"),
        ("2025-08-31", "2026-02-28"),  # February has no 31st
        ("2023-08-31", "2024-02-29"),  # a leap year
        ("2025-12-31", "2026-06-30"),
        ("2025-06-30", "2025-12-30"),
    ],
)
def test_months_are_counted_on_the_calendar(last, due):
    at = {day: datetime.fromisoformat(f"{day}T06:10Z") for day in (last, due)}

    assert SIX_MONTHS.due(at[last]) == at[due]


def test_hours_are_counted_across_a_clock_change():
    before = datetime(2025, 3, 30, 0, 30, tzinfo=BERLIN)  # the clock goes from 2:00 to 3:00 that night

    due = Interval(timedelta(hours=8), "every shift").due(before)

    assert due == datetime(2025, 3, 30, 9, 30, tzinfo=BERLIN)
    assert due - before.astimezone(UTC) == timedelta(hours=8)


def test_what_no_clock_sets_is_never_due():
    assert Interval(None, "on condition").due(datetime(2025, 1, 1, tzinfo=UTC)) is None


@given(st.integers(0, 40_000), st.integers(1, 60))
def test_calendar_months_stay_near_their_mean_length(day, months):
    last = datetime(1990, 1, 1, tzinfo=UTC) + timedelta(days=day)
    interval = Interval(months * timedelta(days=365.25 / 12), "", months=months)

    due = interval.due(last)

    assert due is not None
    assert interval.every is not None
    assert abs(due - last - interval.every) < timedelta(days=4)


def test_every_event_kind_does_one_thing():
    assert len(EVENT_KINDS) == len(RESETTING_EVENTS) + len(EXPLAINING_EVENTS) + len(LINE_EVENTS) == 11
