from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from spc.errors import InputError
from spc.ingest.dates import TimeReader, machine_zone
from spc.records import NO_OFFSET
from spc.times import from_microseconds

VIENNA = ZoneInfo("Europe/Vienna")
SIX_TEN = datetime(2025, 3, 4, 6, 10, tzinfo=UTC)


def read(*texts: str, zone=UTC, dates: str | None = None):
    return TimeReader(zone, dates).read(texts)


def moment(text: str, *, zone=UTC, dates: str | None = None) -> datetime:
    times = read(text, zone=zone, dates=dates)
    assert (times.faults, times.needs_dates) == ({}, None)
    return from_microseconds(times.microseconds[0])


@pytest.mark.parametrize(
    ("text", "offset", "expected"),
    [
        ("2025-03-04T06:10", NO_OFFSET, SIX_TEN),
        ("2025-03-04 06:10", NO_OFFSET, SIX_TEN),
        ("  2025-03-04T06:10\xa0", NO_OFFSET, SIX_TEN),
        ("2025-03-04T06:10:30", NO_OFFSET, SIX_TEN + timedelta(seconds=30)),
        ("2025-03-04T06:10:30.25", NO_OFFSET, SIX_TEN + timedelta(seconds=30.25)),
        ("2025-03-04T06:10:30,250000", NO_OFFSET, SIX_TEN + timedelta(seconds=30.25)),
        ("2025-03-04T06:10:30.2500000", NO_OFFSET, SIX_TEN + timedelta(seconds=30.25)),
        ("2025-03-04T06:10Z", 0, SIX_TEN),
        ("2025-03-04T07:10+01:00", 60, SIX_TEN),
        ("2025-03-04T07:10+0100", 60, SIX_TEN),
        ("2025-03-04T07:10+01", 60, SIX_TEN),
        ("2025-03-04 07:10:00 +01:00", 60, SIX_TEN),
        ("2025-03-04T01:10-05:00", -300, SIX_TEN),
        ("2025-03-04T01:10\u221205:00", -300, SIX_TEN),
        ("2025-03-04T11:40+05:30", 330, SIX_TEN),
        ("20250304T0610", NO_OFFSET, SIX_TEN),
        ("20250304T061000Z", 0, SIX_TEN),
        ("2024-02-29T23:59", NO_OFFSET, datetime(2024, 2, 29, 23, 59, tzinfo=UTC)),
    ],
)
def test_iso_8601_is_read_with_or_without_an_offset(text, offset, expected):
    times = read(text)

    assert times.faults == {}
    assert from_microseconds(times.microseconds[0]) == expected
    assert times.offset[0] == offset


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "missing"),
        ("yesterday", "no date and time"),
        ("06:10", "no date and time"),
        ("45720.257", "no date and time"),
        ("maybe 2 or 3", "no date and time"),
        ("2025-03-04", "without a time of day"),
        ("2025-03-04T06", "no date and time"),
        ("2025-03-04x06:10", "no date and time"),
        ("2025-W10-2T06:10", "no date and time"),
        ("2025-063T06:10", "no date and time"),
        ("٢025-03-04T06:10", "no date and time"),
        ("2025-03-04T06:10 uhr", "no date and time"),
        ("2025-03-04T06:10:30.1234567", "no date and time"),  # finer than can be kept
        ("2025-13-40T06:00", "no such date"),
        ("2025-02-30T06:00", "no such date"),
        ("2025-02-29T06:00", "no such date"),
        ("2025-04-31", "no such date"),
        ("2025-00-10T06:00", "no such date"),
        ("2025-03-00T06:00", "no such date"),
        ("2025-03-04T25:24", "no such date"),
        ("2025-03-04T06:60", "no such date"),
        ("2025-03-04T06:10:60", "no such date"),
        ("31/02/2025 06:10", "no such date"),
        ("99/99/9999", "no such date"),
        ("2025-03-04T24:00", "00:00 of the next day"),
        ("0025-03-04T06:10", "in the year 0025"),
        ("2205-03-04T06:10", "in the year 2205"),
        ("2025-03-04T06:10+15:00", "offset"),
        ("2025-03-04T06:10+01:75", "offset"),
    ],
)
def test_an_impossible_time_is_a_fault_of_its_own_row(text, says):
    times = read("2025-03-04T06:10", text, "2025-03-04T06:11:30+01:00")

    assert list(times.faults) == [1]
    assert says in times.faults[1]
    assert times.needs_dates is None
    assert from_microseconds(times.microseconds[0]) == SIX_TEN


@pytest.mark.parametrize(
    "text",
    [
        "04/03/2025 06:10",
        "13/04/2025 06:10",  # could only be day first, and is no ISO 8601 all the same
        "4.3.25",
        "4.3.25 6:10",
        "04-03-2025 06:10",
        "2025/03/04 06:10",
        "2025-3-4 06:10",
        "3/4/2025 6:10 AM",
        "4.3.2025 6:10 Uhr",
        "Tue 4/3/25 06:10",
        "4 Mar 2025 06:10",
        "March 4, 2025 6:10 am",
        "4. März 2025 06:10",
        "04Mar2025 06:10",
    ],
)
def test_another_date_form_needs_to_be_named(text):
    times = read("2025-03-04T06:10", text)

    assert times.needs_dates == 1


@pytest.mark.parametrize(
    ("text", "dates", "expected"),
    [
        ("04/03/2025 06:10", "dmy", SIX_TEN),
        ("03/04/2025 06:10", "mdy", SIX_TEN),
        ("4.3.25 6:10", "dmy", SIX_TEN),
        ("04-03-2025T06:10:00", "dmy", SIX_TEN),
        ("3/4/2025, 6:10 AM", "mdy", SIX_TEN),
        ("3/4/2025 6:10 p.m.", "mdy", SIX_TEN + timedelta(hours=12)),
        ("3/4/2025 12:10 am", "mdy", SIX_TEN - timedelta(hours=6)),
        ("3/4/2025 12:10 pm", "mdy", SIX_TEN + timedelta(hours=6)),
        ("04/03/2025 07:10+01:00", "dmy", SIX_TEN),
        ("04/03/2025 07:10:00 +01:00", "dmy", SIX_TEN),
        ("04/03/2025 06:10Z", "dmy", SIX_TEN),
        ("2025-03-04T06:10", "dmy", SIX_TEN),  # cannot be taken for another date
        ("4 3 2025 06h10", "%d %m %Y %Hh%M", SIX_TEN),
        ("2025-04-03 06:10", "%Y-%d-%m %H:%M", SIX_TEN),
        ("04.03.25 06:10:00.5", "%d.%m.%y %H:%M:%S.%f", SIX_TEN + timedelta(seconds=0.5)),
        ("04.03.2025 07:10 +0100", "%d.%m.%Y %H:%M %z", SIX_TEN),
    ],
)
def test_dates_are_read_in_the_form_that_is_named(text, dates, expected):
    assert moment(text, dates=dates) == expected


@pytest.mark.parametrize(
    ("text", "dates", "says"),
    [
        ("13/04/2025 06:10", "mdy", "no such date"),
        ("04/13/2025 06:10", "dmy", "no such date"),
        ("04/03/2025", "dmy", "without a time of day"),
        ("31/02/2025", "dmy", "no such date"),
        ("2025/03/04 06:10", "dmy", "no date of the form 'dmy'"),
        ("4/3/5 06:10", "dmy", "no date of the form 'dmy'"),
        ("3/4/2025 13:10 pm", "mdy", "no such date"),
        ("3/4/2025 0:10 am", "mdy", "no such date"),
        ("4 Mar 2025 06:10", "dmy", "no date and time"),
        ("2025-03-25 06:10", "%Y-%d-%m %H:%M", "no time of the form"),
        ("2025-03-04T06:10", "%d.%m.%Y %H:%M", "no time of the form"),
    ],
)
def test_what_is_not_in_the_named_form_is_a_fault_of_its_row(text, dates, says):
    times = read(text, dates=dates)

    assert says in times.faults[0]
    assert times.needs_dates is None


def test_a_two_digit_year_is_told():
    times = read("04/03/25 06:10", "04/03/2025 06:10", dates="dmy")

    assert times.short_year.tolist() == [True, False]
    assert times.microseconds[0] == times.microseconds[1]


@pytest.mark.parametrize(
    ("dates", "says"),
    [
        ("ymd", "no date form"),
        ("", "no date form"),
        ("%d.%m %H:%M", "leaves"),
        ("%d.%m.%%Y %H:%M", "leaves"),
        ("%d.%m.%Y", "leaves"),
        ("%d.%m.%Y %I:%M", "leaves"),
        ("%d.%m.%Y %H:%M %Z", "leaves"),
        ("%d.%m.%Y %Q", "cannot be used"),
        ("%d.%m.%Y %H:%M %", "cannot be used"),
        ("%d %d %Y %m %H", "cannot be used"),
    ],
)
def test_a_form_that_leaves_something_open_is_refused(dates, says):
    with pytest.raises(InputError, match=says):
        TimeReader(UTC, dates)


def test_a_time_that_the_clocks_skip_does_not_exist():
    times = read("2025-03-30T01:59", "2025-03-30T02:00", "2025-03-30T02:59", "2025-03-30T03:00", zone=VIENNA)

    assert sorted(times.faults) == [1, 2]
    assert "Europe/Vienna" in times.faults[1]
    assert times.microseconds[3] - times.microseconds[0] == 60_000_000


def test_a_skipped_time_with_its_offset_exists():
    assert moment("2025-03-30T02:30+01:00", zone=VIENNA) == datetime(2025, 3, 30, 1, 30, tzinfo=UTC)


def test_a_repeated_hour_is_read_as_its_first_pass_and_told():
    times = read("2025-10-26T01:59", "2025-10-26T02:00", "2025-10-26T02:59", "2025-10-26T03:00", zone=VIENNA)

    assert times.repeated.tolist() == [False, True, True, False]
    assert from_microseconds(times.microseconds[1]) == datetime(2025, 10, 26, 0, 0, tzinfo=UTC)
    assert from_microseconds(times.microseconds[3]) == datetime(2025, 10, 26, 2, 0, tzinfo=UTC)


FIRST, LAST = (datetime(year, 1, 1) for year in (1980, 2038))  # noqa: DTZ001 - clocks on the wall have no zone
ZONES = ["Europe/Vienna", "America/New_York", "Asia/Kolkata", "Australia/Lord_Howe", "America/Sao_Paulo", "Asia/Beirut"]


def clocks(*texts: str) -> list[datetime]:
    return [datetime.fromisoformat(text) for text in texts]


@given(st.sampled_from(ZONES), st.lists(st.datetimes(FIRST, LAST), min_size=1))
@example("Australia/Lord_Howe", clocks("2025-04-06T01:45", "2025-10-05T02:15"))  # half an hour
@example("America/Sao_Paulo", clocks("2018-11-04T00:30", "2018-02-17T23:30"))  # at midnight
@example("Asia/Beirut", clocks("2023-03-30T00:30", "2022-10-29T23:30"))
def test_local_times_agree_with_the_standard_library(name, moments):
    zone = ZoneInfo(name)
    local = [moment.replace(second=0, microsecond=0) for moment in moments]

    times = read(*(f"{moment:%Y-%m-%dT%H:%M}" for moment in local), zone=zone)

    for place, moment in enumerate(local):
        first = moment.replace(tzinfo=zone, fold=0).astimezone(UTC)
        exists = first.astimezone(zone).replace(tzinfo=None) == moment
        assert (place in times.faults) is not exists
        if exists:
            assert from_microseconds(times.microseconds[place]) == first
            second = moment.replace(tzinfo=zone, fold=1).astimezone(UTC)
            assert times.repeated[place] == (second != first)


@given(st.datetimes(FIRST, LAST), st.integers(-840, 840), st.sampled_from("T "))
def test_what_the_standard_library_writes_is_read_back(moment, minutes, sep):
    text = moment.replace(tzinfo=timezone(timedelta(minutes=minutes))).isoformat(sep=sep)

    times = read(text)

    assert from_microseconds(times.microseconds[0]) == datetime.fromisoformat(text)
    assert times.offset[0] == minutes


LIKE_TIMES = st.text(st.sampled_from("0123456789-/.:,+TZapm MärzMay\N{MINUS SIGN}\u0663\U0001f300"), max_size=25)


@given(st.lists(LIKE_TIMES, max_size=8), st.sampled_from([None, "dmy", "%d.%m.%Y %H:%M"]))
def test_any_text_is_a_time_or_has_its_reason(texts, dates):
    times = read(*texts, zone=VIENNA, dates=dates)

    assert times.microseconds.shape == (len(texts),)
    assert all(0 <= place < len(texts) and reason for place, reason in times.faults.items())


@given(
    st.lists(st.sampled_from(["2025-03-04T06:10", "2025-03-30T02:30", "x", "2025-03-04T06:10:30Z", "20250304T0610"]))
)
def test_a_cell_means_the_same_whatever_stands_around_it(texts):
    together = read(*texts, zone=VIENNA)

    for place, text in enumerate(texts):
        alone = read(text, zone=VIENNA)
        assert together.faults.get(place) == alone.faults.get(0)
        if 0 not in alone.faults:
            assert together.microseconds[place] == alone.microseconds[0]
            assert together.offset[place] == alone.offset[0]


def test_no_cells_are_no_times():
    assert np.array_equal(read().microseconds, [])


def test_the_machine_has_a_zone():
    assert machine_zone().utcoffset(datetime(2025, 1, 1)) is not None  # noqa: DTZ001 - asked for a local time
