"""Instruments: which calibration is whose, and what is due."""

from datetime import date, timedelta

import pytest

from spc.catalogue.check import Catalogue
from spc.catalogue.load import starter
from spc.errors import CatalogueError
from spc.instruments import (
    Calibration,
    Instrument,
    InstrumentFile,
    calibrations_due,
    calibrations_from_events,
    instruments_from,
    load_instruments,
)
from spc.records import Readings, StreamKey
from tests.made import made_readings
from tests.schedule.made_site import LINE, VIENNA, happened, local

CATALOGUE: Catalogue = starter()


def used(times: list[str], meters: list[str], check: str = "uva_irradiance", position: str = "lamp 1") -> Readings:
    return made_readings(
        [1500.0] * len(times),
        key=StreamKey(LINE, check, position),
        times=[local(at) for at in times],
        columns={"instrument": meters},
    )


def of_file(text_of_interval: str = "12 months") -> InstrumentFile:
    return instruments_from(
        {
            "instrument": [{"name": "rad-1", "title": "UV-A radiometer", "every": text_of_interval}, {"name": "rad-2"}],
            "calibration": [{"instrument": "rad-1", "on": date(2024, 2, 29), "good": True, "words": "within 2 %"}],
        },
        "instruments.toml",
        VIENNA,
    )


@pytest.mark.parametrize(
    ("every", "now", "due", "state"),
    [
        ("12 months", "2025-01-20T12:00", date(2025, 2, 28), "valid"),
        ("12 months", "2025-01-30T12:00", date(2025, 2, 28), "due soon"),
        ("12 months", "2025-02-28T23:59", date(2025, 2, 28), "due soon"),  # on its last day
        ("12 months", "2025-03-01T00:01", date(2025, 2, 28), "overdue"),
        ("6 months", "2024-08-29T12:00", date(2024, 8, 29), "due soon"),
        ("4 weeks", "2024-03-29T12:00", date(2024, 3, 28), "overdue"),
    ],
)
def test_a_calibration_is_due_by_its_date(every, now, due, state):
    found = of_file(every)

    (rad_1, rad_2) = calibrations_due(found.instruments, found.calibrations, {}, zone=VIENNA, now=local(now))

    assert (rad_1.due, rad_1.state) == (due, state)
    assert (rad_2.due, rad_2.state, rad_2.last) == (None, "not known", None)


def test_readings_made_after_it_ran_out_are_counted_each_against_the_calibration_before_it():
    readings = used(["2025-02-28T08:00", "2025-03-01T08:00", "2025-03-04T08:00", "2025-03-06T08:00"], ["rad-1"] * 4)
    found = of_file()
    again = Calibration("rad-1", local("2025-03-05T06:00"), True)

    rad_1, _ = calibrations_due(
        found.instruments,
        [*found.calibrations, again],
        {readings.key: readings},
        zone=VIENNA,
        now=local("2025-03-07T08:00"),
    )

    assert (rad_1.used, rad_1.used_overdue) == (4, 2)
    assert rad_1.last == again
    assert rad_1.last_used == local("2025-03-06T08:00")


def test_an_instrument_of_the_log_that_no_file_names_is_listed():
    readings = used(["2025-02-28T08:00"], ["rad-9"])

    (found,) = calibrations_due((), (), {readings.key: readings}, zone=VIENNA, now=local("2025-03-07T08:00"))

    assert found.instrument == Instrument("rad-9")
    assert (found.used, found.state) == (1, "not known")


def test_what_comes_after_now_is_not_known():
    readings = used(["2025-02-28T08:00", "2025-04-01T08:00"], ["rad-1"] * 2)
    found = of_file()
    later = Calibration("rad-1", local("2025-04-01T06:00"), True)

    rad_1, _ = calibrations_due(
        found.instruments,
        [later, *found.calibrations],
        {readings.key: readings},
        zone=VIENNA,
        now=local("2025-03-07T08:00"),
    )

    assert (rad_1.used, rad_1.last) == (1, found.calibrations[0])


TIMES = ["2025-03-03T08:00", "2025-03-04T08:00"]


@pytest.mark.parametrize(
    ("meters", "note", "whose"),
    [
        (["rad-1", "rad-1"], "", "rad-1"),  # the one in use
        (["rad-2", "rad-1"], "", "rad-1"),  # the one last in use
        (["rad-2", "rad-1"], "rad-2 as found within 2 %", "rad-2"),  # the note says
        (["rad-1", ""], "", "rad-1"),
        (["", ""], "", ""),
    ],
)
def test_a_calibration_is_that_of_the_instrument_in_use(meters, note, whose):
    readings = used(TIMES, meters)
    event = happened("meter_calibrated", "2025-03-05T06:00", check="uva_irradiance", note=note)

    found, unknown = calibrations_from_events([event], {readings.key: readings}, CATALOGUE)

    assert [each.instrument for each in found] == ([whose] if whose else [])
    assert len(unknown) == (not whose)
    assert all(each.good is None for each in found)


def test_two_instruments_in_use_are_not_guessed_between():
    first, second = used(TIMES, ["rad-1"] * 2), used(TIMES, ["rad-2"] * 2, position="lamp 2")
    event = happened("meter_calibrated", "2025-03-05T06:00", check="uva_irradiance")

    found, unknown = calibrations_from_events([event], {first.key: first, second.key: second}, CATALOGUE)

    assert found == ()
    assert "write its name in the note" in unknown[0]


def test_the_panel_meter_of_an_ammeter_is_not_its_reference():
    readings = used(TIMES, ["shunt-1"] * 2, check="ammeter", position="head")
    streams = {readings.key: readings}
    event = happened("meter_calibrated", "2025-03-05T06:00", check="ammeter")
    named = happened("meter_calibrated", "2025-03-05T06:00", check="ammeter", note="shunt-1 back from the laboratory")

    assert calibrations_from_events([event], streams, CATALOGUE)[0] == ()
    assert [each.instrument for each in calibrations_from_events([named], streams, CATALOGUE)[0]] == ["shunt-1"]


REFUSED = [
    ("[[instrument]]\n", "name is missing"),
    ('[[instrument]]\nname = "a"\n[[instrument]]\nname = "a"\n', "'a' stands there twice"),
    ('[[instrument]]\nname = "a"\nevery = "8 h"\n', "a calibration is due by dates"),
    ('[[instrument]]\nname = "a"\nevery = "often"\n', "is no interval"),
    ('[[calibration]]\ninstrument = "b"\non = 2025-01-01\n', "there is no instrument 'b'"),
    ('[[instrument]]\nname = "a"\n[[calibration]]\ninstrument = "a"\n', "no date is given"),
    ('[[instrument]]\nname = "a"\n[[calibration]]\ninstrument = "a"\non = 2025-01-01\ngood = "yes"\n', "true or false"),
    ('[[instrument]]\nname = "a"\n[[calibration]]\ninstrument = "a"\non = 0001-01-01\n', "outside the years"),
    ("[[instruments]]\n", "unknown key 'instruments'"),
    ("[[instrument]\n", "correct the TOML"),
]


@pytest.mark.parametrize(("text", "says"), REFUSED)
def test_a_mistake_is_refused(tmp_path, text, says):
    path = tmp_path / "instruments.toml"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(CatalogueError) as refused:
        load_instruments(path, VIENNA)

    assert says in str(refused.value)
    assert str(path) in str(refused.value)


def test_a_date_is_the_local_midnight_and_a_time_the_local_time(tmp_path):
    path = tmp_path / "instruments.toml"
    path.write_text(
        '[[instrument]]\nname = "a"\n[[calibration]]\ninstrument = "a"\non = 2025-03-03\n'
        '[[calibration]]\ninstrument = "a"\non = 2025-03-04T06:30:00\n',
        encoding="utf-8",
    )

    first, second = load_instruments(path, VIENNA).calibrations

    assert (first.at, second.at) == (local("2025-03-03T00:00"), local("2025-03-04T06:30"))
    assert second.at - first.at == timedelta(hours=30, minutes=30)
