"""The ledger by tables: what is due, done, late, missed and not in operation. 2025-03-03 is a Monday.

No published table of such a ledger is known; each expected line was worked out by hand from the definitions at the
top of `spc.schedule.ledger` and `spc.schedule.obligation`. That "not in operation" is no missed check: a footnote of
ASTM E3024-16, Table 1.
"""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.catalogue.load import starter
from spc.errors import InputError
from spc.records import StreamKey
from spc.schedule.ledger import NO_CALENDAR, STATUSES, ledger
from spc.schedule.site_calendar import AROUND_THE_CLOCK
from tests.schedule.made_site import (
    DAY_SHIFTS,
    LINE,
    THREE_SHIFTS,
    VIENNA,
    calendar,
    every,
    happened,
    kept,
    local,
    shown,
    stream,
    table,
    whole,
)

HOURS = [
    pytest.param(
        ["2025-03-03T06:10", "2025-03-03T14:16"],
        "2025-03-03T15:00",
        [
            ("done", "2025-03-03T14:10", "2025-03-03T14:16"),  # 6 min after its moment, within the grace of 30 min
            ("due", "2025-03-04T06:00", None),  # 22:16 the line rests: before use
        ],
        id="the next shift and the next morning",
    ),
    pytest.param(
        ["2025-03-03T06:10", "2025-03-03T14:41"],
        "2025-03-03T15:00",
        [("late", "2025-03-03T14:10", "2025-03-03T14:41"), ("due", "2025-03-04T06:00", None)],
        id="a minute after the grace",
    ),
    pytest.param(
        ["2025-03-03T06:10", "2025-03-03T14:40"],
        "2025-03-03T15:00",
        [("done", "2025-03-03T14:10", "2025-03-03T14:40"), ("due", "2025-03-04T06:00", None)],
        id="to the minute of the grace",
    ),
    pytest.param(
        ["2025-03-03T06:10", "2025-03-04T06:10"],
        "2025-03-04T07:00",
        [
            ("missed", "2025-03-03T14:10", None),
            ("done", "2025-03-04T06:00", "2025-03-04T06:10"),
            ("due", "2025-03-04T14:10", None),
        ],
        id="a shift left out",
    ),
    pytest.param(
        ["2025-03-03T06:10"],
        "2025-03-04T15:00",
        [
            ("missed", "2025-03-03T14:10", None),
            ("missed", "2025-03-04T06:00", None),
            ("overdue", "2025-03-04T14:00", None),
        ],
        id="never again",
    ),
    pytest.param(
        ["2025-03-07T14:10", "2025-03-10T06:20"],
        "2025-03-10T07:00",
        [("done", "2025-03-10T06:00", "2025-03-10T06:20"), ("due", "2025-03-10T14:20", None)],
        id="over the weekend, no entry for it",
    ),
    pytest.param(
        ["2025-03-03T06:10", "2025-03-03T14:12-", "2025-03-04T06:10"],
        "2025-03-04T07:00",
        [
            ("not in operation", "2025-03-03T14:10", None),
            ("done", "2025-03-04T06:00", "2025-03-04T06:10"),
            ("due", "2025-03-04T14:10", None),
        ],
        id="a shift not run is no missed check",
    ),
    pytest.param(
        ["2025-03-03T13:45", "2025-03-04T06:10"],
        "2025-03-04T07:00",
        [("done", "2025-03-03T21:45", "2025-03-04T06:10"), ("due", "2025-03-04T14:10", None)],
        id="the grace is counted in operation: 15 min that evening, 15 min the next morning",
    ),
]


@pytest.mark.parametrize(("times", "now", "expected"), HOURS)
def test_hours_are_counted_to_the_minute(times, now, expected):
    assert table(kept(times, "8 h", now)) == expected


DATES = [
    pytest.param(
        "1 day",
        ["2025-03-03T06:10", "2025-03-04T21:50", "2025-03-05T06:05"],
        "2025-03-05T12:00",
        [
            ("done", "2025-03-04T06:00", "2025-03-04T21:50"),  # at any time of the day
            ("done", "2025-03-05T06:00", "2025-03-05T06:05"),
            ("due", "2025-03-06T06:00", None),
        ],
        id="every day",
    ),
    pytest.param(
        "1 day",
        ["2025-03-03T06:10", "2025-03-05T06:10"],
        "2025-03-05T12:00",
        [
            ("missed", "2025-03-04T06:00", None),
            ("done", "2025-03-05T06:00", "2025-03-05T06:10"),
            ("due", "2025-03-06T06:00", None),
        ],
        id="a day left out",
    ),
    pytest.param(
        "1 day",
        ["2025-03-07T06:10", "2025-03-10T06:10"],
        "2025-03-10T12:00",
        [("done", "2025-03-10T06:00", "2025-03-10T06:10"), ("due", "2025-03-11T06:00", None)],
        id="a weekend",
    ),
    pytest.param(
        "1 week",
        ["2025-03-03T06:10", "2025-03-11T06:10", "2025-03-17T06:10", "2025-03-24T09:00"],
        "2025-03-24T12:00",
        [
            ("late", "2025-03-10T06:00", "2025-03-11T06:10"),
            ("done", "2025-03-18T06:00", "2025-03-17T06:10"),  # a day before it is due
            ("done", "2025-03-24T06:00", "2025-03-24T09:00"),
            ("due", "2025-03-31T06:00", None),
        ],
        id="every week",
    ),
    pytest.param(
        "6 months",
        ["2024-08-30T08:00", "2025-02-28T09:00", "2025-08-29T09:00"],
        "2025-09-01T12:00",
        [
            ("done", "2025-02-28T06:00", "2025-02-28T09:00"),  # February has no 30th
            ("late", "2025-08-28T06:00", "2025-08-29T09:00"),
            ("due", "2026-03-02T06:00", None),  # 28 February 2026 is a Saturday, 1 March a Sunday
        ],
        id="half a year to the date",
    ),
]


@pytest.mark.parametrize(("interval", "times", "now", "expected"), DATES)
def test_days_and_longer_are_counted_by_dates(interval, times, now, expected):
    assert table(kept(times, interval, now)) == expected


SHIFTS = [
    pytest.param(
        "1 shift",
        ["2025-03-03T06:10", "2025-03-03T21:00", "2025-03-05T05:30", "2025-03-05T20:00"],
        "2025-03-05T21:00",
        [
            ("done", "2025-03-03T14:00", "2025-03-03T21:00"),
            ("missed", "2025-03-04T06:00", None),
            ("missed", "2025-03-04T14:00", None),
            ("done", "2025-03-05T06:00", "2025-03-05T05:30"),  # just before the shift: its own
            ("done", "2025-03-05T14:00", "2025-03-05T20:00"),
            ("due", "2025-03-06T06:00", None),
        ],
        id="every shift",
    ),
    pytest.param(
        "2 shifts",
        ["2025-03-03T06:10", "2025-03-04T13:00", "2025-03-05T14:30"],
        "2025-03-05T15:00",
        [
            ("done", "2025-03-04T06:00", "2025-03-04T13:00"),
            ("late", "2025-03-05T06:00", "2025-03-05T14:30"),
            ("due", "2025-03-06T14:00", None),
        ],
        id="every second shift",
    ),
    pytest.param(
        "1 shift",
        ["2025-03-03T06:10", "2025-03-03T14:10-", "2025-03-04T06:10"],
        "2025-03-04T07:00",
        [
            ("not in operation", "2025-03-03T14:00", None),
            ("done", "2025-03-04T06:00", "2025-03-04T06:10"),
            ("due", "2025-03-04T14:00", None),
        ],
        id="a shift not run",
    ),
    pytest.param(
        "1 shift",
        ["2025-03-07T14:10", "2025-03-10T06:10"],
        "2025-03-10T07:00",
        [("done", "2025-03-10T06:00", "2025-03-10T06:10"), ("due", "2025-03-10T14:00", None)],
        id="a weekend",
    ),
]


@pytest.mark.parametrize(("interval", "times", "now", "expected"), SHIFTS)
def test_shifts_are_those_in_operation(interval, times, now, expected):
    assert table(kept(times, interval, now)) == expected


def test_operating_hours_leave_out_nights_and_weekends():
    # 16 h of operation a day: 40 h after Monday 06:00 is Wednesday 14:00.
    found = kept(["2025-03-03T06:00", "2025-03-05T14:10"], "40 operating hours", "2025-03-06T00:00")

    assert table(found) == [("done", "2025-03-05T14:00", "2025-03-05T14:10"), ("due", "2025-03-10T06:10", None)]


def test_operating_hours_leave_out_idle_time():
    idle = [happened("line_idle", "2025-03-03T10:00"), happened("line_running", "2025-03-04T10:00")]

    found = kept(["2025-03-03T06:00"], "8 operating hours", "2025-03-03T11:00", events=idle)

    # 4 h on Monday; the line_running lies ahead of now and is not known yet
    assert [(entry.status, entry.due) for entry in found.entries] == [("due", None)]
    later = kept(["2025-03-03T06:00"], "8 operating hours", "2025-03-04T11:00", events=idle)
    assert shown(later.entries[-1].due) == "2025-03-04T14:00"


def test_a_line_down_for_a_month_misses_nothing_and_checks_before_use():
    idle = [
        happened("line_idle", "2025-03-03T22:00", note="overhaul"),
        happened("line_running", "2025-04-03T05:30"),
    ]

    found = kept(["2025-03-03T06:10", "2025-03-03T14:10", "2025-04-03T06:10"], "8 h", "2025-04-03T07:00", events=idle)

    assert table(found) == [
        ("done", "2025-03-03T14:10", "2025-03-03T14:10"),
        ("not in operation", "2025-03-03T22:10", None),
        ("done", "2025-04-03T06:00", "2025-04-03T06:10"),
        ("due", "2025-04-03T14:10", None),
    ]
    assert found.entries[1].why == "idle: overhaul"
    assert shown(found.entries[1].until) == "2025-04-03T06:00"
    assert found.entries[2].gap == timedelta(days=31, hours=-9)  # summer time began on 30 March: 30 d 15 h elapsed
    assert found.entries[2].gap_in_operation == timedelta(hours=8)  # 14:10 to 22:00, and 06:00 to 06:10
    assert found.longest_gap is found.entries[2]


def test_an_idle_line_has_no_moment_at_which_a_check_is_due():
    found = kept(["2025-03-03T06:10"], "8 h", "2025-03-20T12:00", events=[happened("line_idle", "2025-03-03T12:00")])

    assert [entry.status for entry in found.entries] == ["not in operation", "due"]
    assert found.next is not None
    assert (found.next.due, found.next.before_use) == (None, True)


def test_closed_days_are_no_missed_checks_and_say_why():
    site = calendar(closed=[{"from": local("2025-03-04T12:00").date(), "note": "holiday"}])

    found = kept(["2025-03-03T06:10", "2025-03-05T06:10"], "1 day", "2025-03-05T12:00", site=site)

    assert table(found)[:2] == [
        ("not in operation", "2025-03-04T00:00", None),
        ("done", "2025-03-05T06:00", "2025-03-05T06:10"),
    ]
    assert found.entries[0].why == "closed: holiday"


def test_a_week_that_ends_in_a_holiday_is_due_on_the_next_working_day():
    site = calendar(closed=[{"from": local("2025-03-10T12:00").date()}])

    found = kept(["2025-03-03T06:10", "2025-03-11T06:10"], "1 week", "2025-03-11T12:00", site=site)

    assert table(found)[:2] == [
        ("not in operation", "2025-03-10T00:00", None),
        ("done", "2025-03-11T06:00", "2025-03-11T06:10"),
    ]


@pytest.mark.parametrize(
    ("first", "second", "elapsed"),
    [
        ("2025-03-29T22:10", "2025-03-30T06:10", 7),  # the clock goes from 2:00 to 3:00
        ("2025-10-25T22:10", "2025-10-26T06:10", 9),  # and back from 3:00 to 2:00
    ],
)
def test_a_clock_change_in_the_night_shift(first, second, elapsed):
    nights = {"shift": [{**shift, "days": ["sat", "sun", "mon"]} for shift in THREE_SHIFTS["shift"]]}
    site = calendar(nights)

    by_hours = kept([first, second], "8 h", second, site=site)
    by_shift = kept([first, second], "1 shift", second, site=site)

    assert by_hours.entries[0].gap == timedelta(hours=elapsed)
    assert by_hours.entries[0].gap_in_operation == timedelta(hours=elapsed)
    assert by_hours.entries[0].status == ("done" if elapsed < 8 else "late")  # 9 h is an hour after it was due
    assert by_shift.entries[0].status == "done"


def test_a_shift_past_midnight_belongs_to_the_day_it_starts_on():
    site = calendar(THREE_SHIFTS)

    found = kept(["2025-03-03T22:30", "2025-03-05T02:00"], "1 day", "2025-03-05T05:00", site=site)

    # 02:00 on Wednesday is still Tuesday's night shift
    assert [entry.status for entry in found.entries] == ["done", "due"]
    assert shown(found.entries[1].deadline) == "2025-03-06T06:00"


def test_the_levels_of_one_check_are_one_check():
    found = kept(
        ["2025-03-03T06:10", "2025-03-03T06:13", "2025-03-03T06:16", "2025-03-03T14:10"], "8 h", "2025-03-03T15:00"
    )

    assert found.count("done") == 1
    assert found.first == local("2025-03-03T06:10")


def test_a_check_before_its_time_starts_its_interval_anew():
    found = kept(["2025-03-03T06:10", "2025-03-03T10:00"], "8 h", "2025-03-03T12:00")

    assert table(found) == [("done", "2025-03-03T14:10", "2025-03-03T10:00"), ("due", "2025-03-03T18:00", None)]


def test_a_row_that_says_not_run_while_the_line_ran_excuses_its_own_check_alone():
    mine = stream(["2025-03-03T06:10", "2025-03-03T14:12-", "2025-03-04T06:10"])
    lamp = stream(
        ["2025-03-03T06:10", "2025-03-03T14:20", "2025-03-04T06:10"], check="uva_irradiance", position="lamp 1"
    )

    found = whole([mine, lamp], "8 h", "2025-03-04T07:00")

    assert found.of(mine.key).count("not in operation") == 1
    assert found.of(mine.key).count("missed") == 0
    assert any("row 3 says that the line was not in operation" in note for note in found.notes)
    assert found.operations[LINE].running(local("2025-03-03T16:00"))


def test_readings_of_an_idle_line_are_named():
    found = whole(
        [stream(["2025-03-03T06:10", "2025-03-05T06:10"])],
        "8 h",
        "2025-03-06T07:00",
        events=[happened("line_idle", "2025-03-04T00:00")],
    )

    assert any("has 1 readings while it was idle" in note and "line_running" in note for note in found.notes)


def test_a_check_that_was_never_made_is_missed_from_the_day_it_is_asked():
    asked = [{"line": LINE, "check": "yoke_lift", "position": "yoke 1", "from": local("2025-03-03T12:00").date()}]
    site = calendar(stream=asked)

    found = ledger({}, (), every("1 day", "yoke_lift"), calendar=site, zone=VIENNA, now=local("2025-03-05T09:00"))

    assert [entry.status for entry in found.of(StreamKey(LINE, "yoke_lift", "yoke 1")).entries] == [
        "missed",
        "missed",
        "due",
    ]


def test_a_check_no_longer_asked_is_not_missed():
    last = local("2025-03-04T12:00").date()
    site = calendar(stream=[{"line": LINE, "check": "bath_concentration", "position": "tank", "to": last}])

    found = kept(["2025-03-03T06:10", "2025-03-04T06:10"], "1 day", "2025-06-02T12:00", site=site)

    assert [entry.status for entry in found.entries] == ["done"]
    assert found.next is None


def test_on_condition_there_is_no_ledger():
    found = kept(["2025-03-03T06:10", "2025-03-04T06:10"], "on condition", "2025-03-05T12:00")

    assert found.entries == ()
    assert found.next is None


def test_without_a_calendar_the_line_works_around_the_clock_and_that_is_said():
    found = whole([stream(["2025-03-03T06:10", "2025-03-03T20:10"])], "8 h", "2025-03-03T21:00", site=AROUND_THE_CLOCK)

    assert found.notes[0] == NO_CALENDAR
    assert table(found.streams[0]) == [
        ("late", "2025-03-03T14:10", "2025-03-03T20:10"),
        ("due", "2025-03-04T04:10", None),
    ]


def test_without_a_calendar_not_run_lasts_to_the_next_reading():
    found = kept(
        ["2025-03-03T06:10", "2025-03-03T14:05-", "2025-03-03T22:20"], "8 h", "2025-03-03T23:00", site=AROUND_THE_CLOCK
    )

    assert [entry.status for entry in found.entries] == ["not in operation", "done", "due"]


def test_what_comes_after_now_is_not_known():
    times = ["2025-03-03T06:10", "2025-03-03T14:12", "2025-03-04T06:10"]

    assert kept(times, "8 h", "2025-03-03T13:00") == kept(times[:1], "8 h", "2025-03-03T13:00")


def test_now_needs_a_zone():
    with pytest.raises(InputError, match="has no zone"):
        ledger({}, (), starter(), zone=VIENNA, now=datetime(2025, 3, 3))  # noqa: DTZ001 - the refusal is the test


@pytest.mark.parametrize("year", [1, 1899, 2200, 9999])
def test_a_year_without_a_calendar_is_refused(year):
    with pytest.raises(InputError, match="outside the years 1900 to 2199"):
        ledger({}, (), starter(), zone=VIENNA, now=datetime(year, 6, 1, tzinfo=UTC))


def test_a_line_without_a_shift_of_its_own_is_never_in_operation_and_that_is_said():
    site = calendar({"shift": [{**DAY_SHIFTS["shift"][0], "lines": ["Line Z"]}]})

    for interval in ("8 h", "1 day", "1 shift", "8 operating hours"):
        found = kept(["2025-03-03T06:10", "2025-03-05T06:10"], interval, "2025-03-06T07:00", site=site)

        assert [(entry.status, entry.due) for entry in found.entries] == [("done", None), ("due", None)]
    notes = whole([stream(["2025-03-03T06:10"])], "8 h", "2025-03-06T07:00", site=site).notes
    assert [note.partition(":")[0] for note in notes] == [LINE, "Line Z"]
    assert "no shift for it" in notes[0]
    assert "no row of the log" in notes[1]


def test_a_stream_that_is_not_there_is_refused():
    with pytest.raises(InputError, match="there is no stream Line Z"):
        whole([], "8 h", "2025-03-03T06:00").of(StreamKey("Line Z", "timer", ""))


@given(
    st.lists(st.integers(0, 60 * 24 * 20), max_size=30, unique=True),
    st.sampled_from(["8 h", "1 shift", "3 shifts", "1 day", "1 week", "20 operating hours", "1 month"]),
)
def test_every_check_stands_once_and_the_ledger_is_in_order(minutes, interval):
    start = datetime(2025, 3, 17, tzinfo=UTC)  # a clock change lies in the second week
    times = [shown(start + timedelta(minutes=m)) or "" for m in sorted(minutes)]
    found = kept(times, interval, "2025-04-08T12:00", site=calendar(THREE_SHIFTS))

    made = [entry.done_at for entry in found.entries if entry.done_at is not None]
    dues = [entry.due for entry in found.entries if entry.due is not None and entry.status != "not in operation"]
    assert made == sorted(set(made))
    assert len(made) == found.count("done") + found.count("late")
    gaps = [entry.gap for entry in found.entries if entry.gap is not None]
    assert sum(gaps, timedelta()) == ((found.last - found.first) if found.first and found.last else timedelta())
    assert all(entry.status in STATUSES for entry in found.entries)
    assert dues == sorted(dues)
    assert sum(entry.open for entry in found.entries) == (1 if times else 0)
