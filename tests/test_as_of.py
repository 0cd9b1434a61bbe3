"""A stream as it stands at a moment, whatever is dated ahead of it."""

from datetime import timedelta

import numpy as np

from spc.as_of import as_of, events_until, rows_ahead
from spc.monitor import monitor_stream
from spc.records import NO_OFFSET
from tests.made import START, made_check, made_event, made_readings

VALUES = [0.19, 0.21] * 10 + [0.05]


def at_reading(i: float):
    return START + timedelta(hours=8 * i)


def test_nothing_is_done_where_nothing_lies_ahead():
    result = monitor_stream(made_readings(VALUES), (), made_check())

    assert as_of(result, at_reading(20)) is result
    assert rows_ahead(result.readings, at_reading(20)) is None


def test_clocks_may_differ_by_a_little():
    result = monitor_stream(made_readings(VALUES), (), made_check())

    assert as_of(result, at_reading(20) - timedelta(minutes=4)) is result
    assert len(as_of(result, at_reading(20) - timedelta(minutes=6)).readings) == 20


def test_a_row_ahead_is_the_same_as_one_not_yet_written():
    changed = made_event("bath_changed", at_reading(18))
    whole = monitor_stream(made_readings(VALUES), (changed,), made_check())
    cut = as_of(whole, at_reading(19))
    without = monitor_stream(made_readings(VALUES[:20]), (changed,), made_check())

    assert len(whole.failures) == 1
    assert cut.failures == without.failures == ()
    assert cut.segments == without.segments
    assert cut.forecast == without.forecast
    assert np.array_equal(cut.charted.x, without.charted.x)
    assert cut.readings.offset.tolist() == [NO_OFFSET] * 20


def test_a_row_ahead_is_named_by_its_line_in_the_file():
    found = rows_ahead(made_readings(VALUES), at_reading(18))

    assert found is not None
    assert found.rows == (21, 22)  # the header is row 1
    assert found.first == at_reading(19)


def test_an_event_ahead_has_not_happened():
    changed = made_event("bath_changed", at_reading(30))
    result = monitor_stream(made_readings(VALUES), (changed,), made_check())

    assert as_of(result, at_reading(21)).events == ()
    assert events_until((changed,), at_reading(30)) == (changed,)


def test_a_stream_that_lies_ahead_as_a_whole_has_no_reading():
    result = as_of(monitor_stream(made_readings(VALUES), (), made_check()), START - timedelta(days=1))

    assert len(result.readings) == len(result.charted.x) == 0
    assert (result.segments, result.failures, result.signals) == ((), (), ())
