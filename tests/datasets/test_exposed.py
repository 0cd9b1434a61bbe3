"""The demo line's failed checks and its damaged radiometer: what they leave open."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from spc.containment import windows_of
from spc.demo import DEMO_ZONE
from spc.instruments import calibrations_from_events
from spc.look_back import AsFound, look_back
from spc.scan import scan
from spc.schedule.ledger import ledger
from spc.schedule.site_calendar import load_calendar
from tests.datasets.truth import DATASETS, EVENTS, FAULTS, LOG, number, rows

ZONE = ZoneInfo(DEMO_ZONE)
NOW = datetime(2026, 11, 21, tzinfo=ZONE).astimezone(UTC)
FAILED = sorted(name for name, fault in FAULTS.items() if fault["ends"] == "failed check")
RADIOMETER = FAULTS["radiometer-damaged"]


class Demo:
    def __init__(self) -> None:
        self.scan = scan(LOG, events=EVENTS, zone=ZONE)
        assert self.scan.events is not None
        self.events = self.scan.events.events
        calendar = load_calendar(DATASETS / "site-calendar.toml", self.scan.catalogue)
        kept = ledger(self.scan.log.streams, self.events, self.scan.catalogue, calendar=calendar, zone=ZONE, now=NOW)
        self.operations = kept.operations
        self.windows = windows_of(self.scan.streams, self.scan.log.streams, self.operations, now=NOW)


@pytest.fixture(scope="module")
def demo():
    return Demo()


def written(at: datetime | None) -> str:
    return "" if at is None else f"{at.astimezone(ZONE):%Y-%m-%dT%H:%M}"


@pytest.mark.parametrize("name", FAILED)
def test_every_fault_that_failed_a_check_has_its_window(demo, name):
    fault = FAULTS[name]

    found = [
        window
        for window in demo.windows
        if (window.key.line, window.key.check) == (fault["line"], fault["check"])
        and (not fault["positions"] or window.key.position in fault["positions"])
        and fault["from"] <= written(window.failed_at) < fault["to"]
    ]

    assert found
    assert all(window.last_good is not None and window.last_good < window.failed_at for window in found)
    assert all(window.passed_at is not None for window in found)


def test_the_failed_lamp_is_the_one_of_the_4th_of_april(demo):
    (window,) = (w for w in demo.windows if written(w.failed_at).startswith("2025-04-04"))

    assert (window.key.line, window.key.position) == ("Line A", "lamp 2")
    assert written(window.last_good) == "2025-04-04T06:26"
    assert written(window.passed_at) == "2025-04-07T14:23"  # cleaned at 13:00, read again in the late shift
    assert [shift.name for shift in window.shifts] == ["A", "B"]
    assert window.failures == 2


def test_every_window_begins_with_the_last_good_row_before_it(demo):
    good = {
        (row["line"], row["taken_at"])
        for row in rows()
        if row["check"] == "residual_field" and row["value"] != "not run" and number(row) <= 3
    }

    found = [w for w in demo.windows if w.key.check == "residual_field"]

    assert found
    for window in found:
        times = [at for line, at in good if line == window.key.line and at < written(window.failed_at)]
        assert written(window.last_good) == max(times)


def test_the_event_of_the_calibration_is_that_of_the_damaged_radiometer(demo):
    found, unknown = calibrations_from_events(demo.events, demo.scan.log.streams, demo.scan.catalogue)

    assert ("rad-1", RADIOMETER["to"]) in {(each.instrument, written(each.at)) for each in found}
    assert len(unknown) == 2  # the panel meters of Line A's two circuits


def test_every_reading_of_the_damaged_radiometer_is_looked_at_and_none_would_have_failed(demo):
    found = look_back(
        "rad-1",
        AsFound(RADIOMETER["size"] - 1),
        demo.scan.streams,
        demo.scan.log.streams,
        demo.operations,
        found_at=datetime.fromisoformat(RADIOMETER["to"]).replace(tzinfo=ZONE),
        since=datetime.fromisoformat(RADIOMETER["from"]).replace(tzinfo=ZONE),
        now=NOW,
    )

    made = {
        position: sum(
            (row["line"], row["check"], row["instrument"]) == ("Line A", "uva_irradiance", "rad-1")
            and row["position"] == position
            and RADIOMETER["from"] < row["taken_at"] <= RADIOMETER["to"]
            for row in rows()
        )
        for position in ("lamp 1", "lamp 2")
    }
    assert {stream.key.position: stream.readings for stream in found.streams} == made
    assert found.count("constant", "would_have_failed") == 0  # it read low: the lamps were better than written down
    assert found.count("linear", "would_have_failed") == 0


def test_had_it_read_high_instead_the_failures_it_hid_would_show(demo):
    found = look_back(
        "rad-1",
        AsFound(0.12),
        demo.scan.streams,
        demo.scan.log.streams,
        demo.operations,
        found_at=datetime.fromisoformat(RADIOMETER["to"]).replace(tzinfo=ZONE),
        since=None,
        now=NOW,
    )

    hidden = [
        row
        for row in rows()
        if (row["line"], row["check"], row["instrument"]) == ("Line A", "uva_irradiance", "rad-1")
        and row["unit"] == "uW/cm2"
        and row["taken_at"] <= RADIOMETER["to"]
        and 1000 <= number(row) < 1120
    ]
    assert found.count("constant", "would_have_failed") == len(hidden) > 0
    assert all(stream.windows for stream in found.streams if stream.would_have_failed)
