"""The demo line in the ledger: the missing fortnight is missed, what stood still is not."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from spc.demo import DEMO_ZONE
from spc.records import StreamKey
from spc.scan import scan
from spc.schedule.ledger import ledger
from spc.schedule.site_calendar import load_calendar
from tests.datasets.truth import DATASETS, EVENTS, FAULTS, LOG, rows

ZONE = ZoneInfo(DEMO_ZONE)
NOW = datetime(2026, 11, 21, tzinfo=ZONE)
FORTNIGHT = FAULTS["missing-fortnight"]
BATHS = [StreamKey(line, "bath_concentration", "tank") for line in ("Line A", "Line B")]


@pytest.fixture(scope="module")
def demo():
    found = scan(LOG, events=EVENTS, zone=ZONE)
    assert found.events is not None
    calendar = load_calendar(DATASETS / "site-calendar.toml", found.catalogue)
    return ledger(
        found.log.streams, found.events.events, found.catalogue, calendar=calendar, zone=ZONE, now=NOW.astimezone(UTC)
    )


def within(at: datetime | None) -> bool:
    return at is not None and FORTNIGHT["from"] <= f"{at.astimezone(ZONE):%Y-%m-%dT%H:%M}" < FORTNIGHT["to"]


def test_every_shift_of_the_missing_fortnight_is_missed(demo):
    bath = [entry for entry in demo.of(BATHS[1]).entries if within(entry.due)]

    assert [entry.status for entry in bath] == ["missed"] * 20  # two shifts on ten working days
    assert not any(within(row) for row in (entry.done_at for entry in demo.of(BATHS[1]).entries))


@pytest.mark.parametrize(
    ("check", "position"), [("water_break", "tank"), ("uva_irradiance", "lamp 1"), ("ring_holes", "ring 2")]
)
def test_every_day_of_the_missing_fortnight_is_missed(demo, check, position):
    found = [entry for entry in demo.of(StreamKey("Line B", check, position)).entries if within(entry.due)]

    assert [entry.status for entry in found] == ["missed"] * 10


def test_the_other_line_went_on(demo):
    found = [entry.status for entry in demo.of(BATHS[0]).entries if within(entry.due)]

    assert found.count("done") >= 18


@pytest.mark.parametrize("key", BATHS, ids=str)
def test_nothing_is_missed_while_the_plant_is_closed(demo, key):
    closed = [("2024-12-24", "2025-01-02"), ("2025-08-04", "2025-08-17"), ("2025-12-24", "2026-01-02")]
    closed.append(("2026-08-03", "2026-08-16"))
    inside = [
        entry
        for entry in demo.of(key).entries
        for first, last in closed
        if entry.due is not None and first <= f"{entry.due.astimezone(ZONE):%Y-%m-%d}" <= last
    ]

    assert {entry.status for entry in inside} <= {"not in operation"}
    idle = [entry for entry in demo.of(key).entries if "plant closed" in entry.why]
    assert len(idle) == 4
    assert all(entry.until is not None and entry.until - entry.due >= timedelta(days=9) for entry in idle)


def test_the_shifts_without_work_are_no_missed_checks(demo):
    written = [row for row in rows_not_run("Line A", "bath_concentration") if row["note"] != "holiday"]
    entries = demo.of(BATHS[0]).entries

    assert len(written) > 5
    for row in written:
        at = datetime.fromisoformat(row["taken_at"]).replace(tzinfo=ZONE)
        shift = at.replace(hour=6 if at.hour < 14 else 14, minute=0)
        assert not any(
            entry.status == "missed" and entry.due is not None and shift <= entry.due < shift + timedelta(hours=8)
            for entry in entries
        )


def rows_not_run(line: str, check: str) -> list[dict[str, str]]:
    return [row for row in rows() if (row["line"], row["check"], row["value"]) == (line, check, "not run")]


def test_line_b_stands_still_at_the_end_and_is_due_before_use(demo):
    bath = demo.of(BATHS[1]).next

    assert bath is not None
    assert (bath.status, bath.due, bath.before_use) == ("due", None, True)


def test_the_calendar_and_the_log_fit_together(demo):
    assert demo.notes == ()
