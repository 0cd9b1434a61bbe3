"""An instrument out of tolerance: readings corrected by hand, and what they would have been."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.arrays import frozen
from spc.catalogue.load import starter
from spc.errors import InputError
from spc.look_back import AsFound, LookBack, look_back
from spc.monitor import monitor_stream
from spc.records import Readings, StreamKey
from spc.schedule.operation import line_operation
from tests.made import made_readings
from tests.schedule.made_site import LINE, VIENNA, calendar, local, shown

NOW = local("2025-03-14T12:00")
LAMP = StreamKey(LINE, "uva_irradiance", "lamp 1")
FOUND = local("2025-03-11T06:00")  # eight days after the last good calibration
CALIBRATED = local("2025-03-03T06:00")


def lamp(
    values: list[float], *, meters: list[str] | None = None, key: StreamKey = LAMP, start: str = "2025-03-03T08:00"
) -> Readings:
    """Return a reading a day; every one with rad-1 unless `meters` says otherwise."""
    n = len(values)
    return made_readings(
        values,
        key=key,
        times=[local(start) + timedelta(days=i) for i in range(n)],
        columns={"instrument": meters or ["rad-1"] * n},
    )


def looked(*all_readings: Readings, error: AsFound, since: bool = True) -> LookBack:
    streams = {readings.key: readings for readings in all_readings}
    results = [monitor_stream(each, (), starter().checks[key.check]) for key, each in streams.items()]
    operation, _ = line_operation(LINE, streams, (), calendar(), zone=VIENNA, now=NOW)
    return look_back(
        "rad-1",
        error,
        results,
        streams,
        {LINE: operation},
        found_at=FOUND,
        since=CALIBRATED if since else None,
        now=NOW,
    )


def test_a_meter_that_showed_too_much_hides_failures():
    # 20 % too much: 1150 was 958, which fails 1000; 1250 was 1042, which passes.
    constant, linear = looked(lamp([1250, 1150, 1250, 1300]), error=AsFound(0.20)).streams

    assert constant.corrected.value.tolist() == pytest.approx([1250 / 1.2, 1150 / 1.2, 1250 / 1.2, 1300 / 1.2])
    assert (constant.readings, constant.would_have_failed, constant.would_have_passed) == (4, 1, 0)
    assert shown(constant.first_failed) == "2025-03-04T08:00"
    assert [(shown(w.last_good), shown(w.failed_at), shown(w.passed_at)) for w in constant.windows] == [
        ("2025-03-03T08:00", "2025-03-04T08:00", "2025-03-05T08:00")
    ]
    assert constant.windows[0].in_operation == timedelta(hours=16)
    # 26 h of 192 h gone: 1150 / (1 + 0.2 * 26 / 192) = 1119.7 passes
    assert linear.corrected.value[1] == pytest.approx(1150 / (1 + 0.2 * 26 / 192))
    assert (linear.would_have_failed, linear.windows) == (0, ())


def test_a_meter_that_showed_too_little_failed_good_lamps():
    constant, _ = looked(lamp([1100, 950, 1100]), error=AsFound(-0.12)).streams

    assert (constant.would_have_failed, constant.would_have_passed) == (0, 1)
    assert constant.windows == ()


def test_the_error_grows_in_a_line_to_the_day_it_was_found():
    # noon of the fourth day is half way
    halfway = lamp([1000.0], start="2025-03-07T06:00")
    _, linear = looked(halfway, error=AsFound(offset=100.0)).streams

    assert linear.corrected.value.tolist() == [950.0]


def test_an_offset_is_taken_off_in_the_unit_of_the_check():
    constant, _ = looked(lamp([1050.0, 1200.0]), error=AsFound(offset=100.0)).streams

    assert constant.corrected.value.tolist() == [950.0, 1100.0]
    assert constant.would_have_failed == 1


def test_only_readings_made_with_it_since_its_last_good_calibration_are_touched():
    before = lamp([1100.0] * 12, start="2025-03-01T08:00", meters=["rad-1", "rad-2"] * 6)

    constant, _ = looked(before, error=AsFound(0.20)).streams
    every, _ = looked(before, error=AsFound(0.20), since=False).streams

    # 1 March lies before the calibration, 11 March and later after the finding; rad-2 has every second day
    changed = np.flatnonzero(constant.corrected.value != before.value).tolist()
    assert changed == [2, 4, 6, 8]
    assert constant.readings == 4
    assert every.readings == 5


def test_streams_without_a_reading_of_it_are_left_out():
    other = lamp([1100.0], key=replace(LAMP, position="lamp 2"), meters=["rad-2"])

    found = looked(lamp([1100.0]), other, error=AsFound(0.20))

    assert {stream.key for stream in found.streams} == {LAMP}
    assert found.count("constant", "would_have_failed") == 1
    assert found.count("linear", "readings") == 1


def test_on_a_deviation_the_reference_is_what_was_wrong():
    readings = replace(
        lamp([1000.0], key=StreamKey(LINE, "ammeter", "head")),
        reference=frozen(np.array([1000.0])),
    )

    constant, _ = looked(readings, error=AsFound(-0.12)).streams

    # the shunt showed 1000 where 1136 A flowed: the panel's 1000 is 12 % low
    assert constant.corrected.value.tolist() == [1000.0]
    assert constant.corrected.reference.tolist() == pytest.approx([1000 / 0.88])
    assert constant.would_have_failed == 1


def test_a_censored_reading_that_can_no_longer_be_judged_is_counted():
    readings = replace(lamp([1100.0]), bound=frozen(np.array([1], dtype=np.int8)))  # ">1100"

    constant, _ = looked(readings, error=AsFound(0.20)).streams

    assert (constant.would_have_failed, constant.undecided) == (0, 1)


def test_the_record_is_left_as_it_is():
    readings = lamp([1100.0, 1150.0])
    looked(readings, error=AsFound(0.20))

    assert readings.value.tolist() == [1100.0, 1150.0]


@pytest.mark.parametrize(
    ("error", "says"),
    [
        (AsFound(), "found without error"),
        (AsFound(-1.0), "leaves no reading to correct"),
        (AsFound(float("nan")), "leaves no reading to correct"),
    ],
)
def test_an_error_that_says_nothing_is_refused(error, says):
    with pytest.raises(InputError, match=says):
        looked(lamp([1100.0]), error=error)


def test_an_instrument_that_nobody_used_is_refused_with_those_that_were():
    with pytest.raises(InputError, match=r"no reading was made with 'rad-1' .* the log names rad-7"):
        looked(lamp([1100.0], meters=["rad-7"]), error=AsFound(0.1))


@given(st.floats(-0.5, 0.5).filter(bool), st.lists(st.floats(500, 5000), min_size=1, max_size=7))
def test_correcting_undoes_what_the_error_did(relative, true):
    read = [value * (1 + relative) for value in true]

    constant, linear = looked(lamp(read), error=AsFound(relative)).streams

    assert constant.corrected.value.tolist() == pytest.approx(true)
    # the linear correction lies between the reading and the whole one
    low, high = np.minimum(read, true), np.maximum(read, true)
    assert np.all(linear.corrected.value >= low - 1e-9)
    assert np.all(linear.corrected.value <= high + 1e-9)
