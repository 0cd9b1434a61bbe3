"""Exposure windows by tables. 2025-03-03 is a Monday; the site works from 6:00 to 22:00 on weekdays.

No published table is known; what a window is, is the practice that audits ask for (the parts since the last good
check), and each line was worked out by hand.
"""

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from spc.arrays import frozen
from spc.catalogue.acceptance import Acceptance
from spc.catalogue.load import starter
from spc.containment import ExposureWindow, exposure_windows, judged, same_level, windows_of
from spc.monitor import monitor_stream
from spc.records import NOT_RUN, Event, Readings, StreamKey
from spc.schedule.operation import line_operation
from tests.made import made_check, made_readings
from tests.schedule.made_site import LINE, VIENNA, calendar, happened, local, shown

NOW = local("2025-03-14T12:00")
BATH = StreamKey(LINE, "bath_concentration", "tank")


def bath(rows: list[tuple[str, float | str]], **columns: list[str]) -> Readings:
    """Return readings of the bath; a text "<0.2" is censored, "not run" stands for itself."""
    values = [float(str(v).lstrip("<>")) if v != NOT_RUN else float("nan") for _, v in rows]
    readings = made_readings(
        values,
        key=BATH,
        times=[local(at) for at, _ in rows],
        bounds=[{"<": -1, ">": 1}.get(str(v)[0], 0) for _, v in rows],
        words=[NOT_RUN if v == NOT_RUN else "" for _, v in rows],
    )
    other = {name: frozen(np.array(column, dtype=object)) for name, column in columns.items()}
    return replace(readings, other=other)


def windows(readings: Readings, *events: Event, now: datetime = NOW) -> tuple[ExposureWindow, ...]:
    check = starter().checks[readings.key.check]
    streams = {readings.key: readings}
    operation, _ = line_operation(LINE, streams, events, calendar(), zone=VIENNA, now=now)
    return exposure_windows(monitor_stream(readings, events, check), streams, operation, now=now)


CASES = [
    pytest.param(
        [("2025-03-03T06:10", 0.2), ("2025-03-03T14:10", 0.05), ("2025-03-04T06:10", 0.2)],
        [("2025-03-03T06:10", "2025-03-03T14:10", "2025-03-04T06:10", 1)],
        id="one failed check",
    ),
    pytest.param(
        [("2025-03-03T06:10", 0.2), ("2025-03-03T14:10", 0.05), ("2025-03-04T06:10", 0.05), ("2025-03-04T14:10", 0.2)],
        [("2025-03-03T06:10", "2025-03-03T14:10", "2025-03-04T14:10", 2)],
        id="failures that follow each other are one window",
    ),
    pytest.param(
        [("2025-03-03T06:10", 0.05), ("2025-03-03T14:10", 0.2)],
        [(None, "2025-03-03T06:10", "2025-03-03T14:10", 1)],
        id="no good check before",
    ),
    pytest.param(
        [("2025-03-03T06:10", 0.2), ("2025-03-03T14:10", 0.05)],
        [("2025-03-03T06:10", "2025-03-03T14:10", None, 1)],
        id="not passed since",
    ),
    pytest.param(
        [("2025-03-03T06:10", 0.2), ("2025-03-03T14:10", 0.1), ("2025-03-04T06:10", 0.09)],
        [("2025-03-03T14:10", "2025-03-04T06:10", None, 1)],
        id="a reading on the limit is good",
    ),
    pytest.param(
        [
            ("2025-03-03T06:10", 0.2),
            ("2025-03-03T14:10", "<0.2"),
            ("2025-03-04T06:10", 0.05),
            ("2025-03-04T14:10", "<0.2"),
        ],
        [("2025-03-03T06:10", "2025-03-04T06:10", None, 1)],
        id="what cannot be judged neither opens nor closes",
    ),
    pytest.param(
        [
            ("2025-03-03T06:10", 0.2),
            ("2025-03-03T14:10", NOT_RUN),
            ("2025-03-04T06:10", 0.05),
            ("2025-03-05T06:10", NOT_RUN),
        ],
        [("2025-03-03T06:10", "2025-03-04T06:10", None, 1)],
        id="a gap not in operation ends nothing",
    ),
    pytest.param([("2025-03-03T06:10", 0.2), ("2025-03-03T14:10", 0.3)], [], id="nothing failed"),
]


@pytest.mark.parametrize(("rows", "expected"), CASES)
def test_a_window_runs_from_the_last_good_check_to_the_failed_one(rows, expected):
    found = windows(bath(rows))

    assert [(shown(w.last_good), shown(w.failed_at), shown(w.passed_at), w.failures) for w in found] == expected


def test_shifts_and_operating_time_leave_out_night_weekend_and_rest():
    found = windows(
        bath(
            [
                ("2025-03-06T14:10", 0.2),  # Thursday
                ("2025-03-07T06:10", NOT_RUN),
                ("2025-03-07T14:10", "<0.5"),
                ("2025-03-10T06:40", 0.05),  # Monday
            ]
        )
    )

    (window,) = found
    assert [(shift.day.day, shift.name) for shift in window.shifts] == [(6, "B"), (7, "B"), (10, "A")]
    assert window.in_operation == timedelta(hours=7, minutes=50) + timedelta(hours=8) + timedelta(minutes=40)
    assert [rest.why for rest in window.rests] == ["not run"]
    assert window.in_operation_after > timedelta(days=2)
    assert not window.nothing_processed


def test_nothing_was_processed_only_where_the_line_was_not_in_operation_at_all():
    rows: list[tuple[str, float | str]] = [("2025-03-03T22:00", 0.2), ("2025-03-05T05:50", 0.05)]
    idle = [happened("line_idle", "2025-03-03T22:00"), happened("line_running", "2025-03-05T06:00")]

    (stood,), (ran,) = windows(bath(rows), *idle), windows(bath(rows))

    assert stood.nothing_processed
    assert stood.in_operation == timedelta()
    assert not ran.nothing_processed
    assert ran.in_operation == timedelta(hours=16)


def test_an_unknown_start_is_never_told_as_nothing_processed():
    (window,) = windows(bath([("2025-03-03T06:10", 0.05)]))

    assert window.last_good is None
    assert not window.nothing_processed


def test_lots_and_parts_are_those_of_every_row_of_the_line_in_the_window():
    readings = bath(
        [
            ("2025-03-03T06:10", 0.2),
            ("2025-03-03T14:10", 0.2),
            ("2025-03-04T06:10", 0.05),
            ("2025-03-05T06:10", 0.2),
            ("2025-03-05T14:10", 0.2),
        ],
        **{"Lot No.": ["L1", "L2", "L2", "L3", "L4"], "part-number": ["P1", "P1", "", "P2", "P3"]},
    )

    (window,) = windows(readings)

    assert window.lots == ("L2", "L3")
    assert window.parts == ("P1", "P2")
    assert window.lots_recorded


def test_a_log_without_such_columns_says_so():
    (window,) = windows(bath([("2025-03-03T06:10", 0.2), ("2025-03-03T14:10", 0.05)]))

    assert (window.lots, window.parts, window.lots_recorded) == ((), (), False)


def ammeter(rows: list[tuple[str, float, float]]) -> Readings:
    return made_readings(
        [value for _, value, _ in rows],
        key=StreamKey(LINE, "ammeter", "head"),
        times=[local(at) for at, _, _ in rows],
        references=[reference for _, _, reference in rows],
    )


def test_each_level_of_an_ammeter_counts_by_itself():
    found = windows(
        ammeter(
            [
                ("2025-03-03T06:10", 1010, 1000),
                ("2025-03-03T06:13", 2510, 2500),
                ("2025-03-04T06:10", 1005, 1003),
                ("2025-03-05T06:10", 1004, 1000),
                ("2025-03-05T06:13", 2000, 2490),  # fails; the last good one at this level is of Monday
                ("2025-03-06T06:10", 1004, 1000),  # no pass at the level that failed
                ("2025-03-07T06:13", 2500, 2510),
            ]
        )
    )

    assert [(shown(w.last_good), shown(w.failed_at), shown(w.passed_at)) for w in found] == [
        ("2025-03-03T06:13", "2025-03-05T06:13", "2025-03-07T06:13")
    ]


def test_a_level_never_read_before_takes_the_last_good_check_at_any():
    (window,) = windows(ammeter([("2025-03-03T06:10", 1010, 1000), ("2025-03-03T06:13", 2000, 2500)]))

    assert shown(window.last_good) == "2025-03-03T06:10"


@pytest.mark.parametrize(
    ("a", "b", "same"),
    [(1000, 1100, True), (1000, 1120, False), (float("nan"), float("nan"), True), (float("nan"), 1000, False)],
)
def test_what_one_level_is(a, b, same):
    assert same_level(a, b) is same
    assert same_level(b, a) is same


def test_words_are_judged_too():
    check = made_check(
        key="notched_shim",
        kind="judged",
        charted="none",
        acceptance=Acceptance(rule="words", good=("shown",), bad=("partly", "not shown")),
    )
    words = ["shown", "Partly", NOT_RUN, "", "shown"]
    readings = made_readings([float("nan")] * 5, words=words, key=StreamKey(LINE, "notched_shim", "hub"))

    assert judged(monitor_stream(readings, (), check)).tolist() == [1, -1, 0, 0, 1]


def test_windows_of_many_streams_are_in_order_of_time():
    first = bath([("2025-03-03T06:10", 0.2), ("2025-03-05T06:10", 0.05)])
    second = ammeter([("2025-03-03T06:10", 1000, 1000), ("2025-03-04T06:10", 500, 1000)])
    streams = {first.key: first, second.key: second}
    operation, _ = line_operation(LINE, streams, (), calendar(), zone=VIENNA, now=NOW)
    results = [monitor_stream(each, (), starter().checks[key.check]) for key, each in streams.items()]

    found = windows_of(results, streams, {LINE: operation}, now=NOW)

    assert [window.key.check for window in found] == ["ammeter", "bath_concentration"]
    assert found[0].obliges == starter().checks["ammeter"].obliges
