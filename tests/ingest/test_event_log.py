"""The contract of an event file, sentence by sentence."""

import math
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from spc.catalogue.check import EVENT_KINDS
from spc.errors import LogError
from spc.ingest.event_log import EventLog, read_events
from spc.records import NO_OFFSET, RowCount
from tests.ingest.made_log import CATALOGUE, ZONE

HEADER = "at,line,kind,check,position,amount,unit,note"
CHANGED = "2025-03-04T05:30,Line A,bath_changed,bath_concentration,tank,,,"


def read(folder, *rows: str, header: str = HEADER, dates: str | None = None) -> EventLog:
    path = folder / "events.csv"
    path.write_text("\n".join((header, *rows)) + "\n", encoding="utf-8")
    return read_events(path, CATALOGUE, zone=ZONE, dates=dates)


def test_the_event_of_the_contract(tmp_path):
    (event,) = read(tmp_path, CHANGED).events

    assert event.at == datetime(2025, 3, 4, 4, 30, tzinfo=UTC)
    assert (event.offset, event.row, event.line, event.kind) == (NO_OFFSET, 2, "Line A", "bath_changed")
    assert (event.check, event.position, event.unit, event.note) == ("bath_concentration", "tank", "", "")
    assert math.isnan(event.amount)


def test_a_file_read_again_gives_the_same_events(tmp_path):
    (once,), (again,) = read(tmp_path, CHANGED).events, read(tmp_path, CHANGED).events
    other = replace(again, amount=60.0, unit="g")

    assert once == again != other
    assert replace(other, amount=float("nan"), unit="") == once
    assert len({once, again, other}) == 2
    assert once != "bath_changed"


def test_time_line_and_kind_are_enough(tmp_path):
    (event,) = read(tmp_path, "2025-03-04T05:30+01:00,Line A,line_idle", header="At,Line,Kind").events

    assert (event.check, event.position, event.offset) == ("", "", 60)


@pytest.mark.parametrize("kind", sorted(EVENT_KINDS))
def test_every_kind_of_the_contract_is_read(tmp_path, kind):
    assert read(tmp_path, f"2025-03-04T05:30,Line A,{kind},,,,,").events[0].kind == kind


def test_the_kinds_are_those_of_the_contract():
    # shared contract, "Events": resetting, explaining, and those of the line.
    resetting = (
        "bath_changed lamp_replaced lamp_cleaned meter_calibrated unit_repaired booth_repaired instrument_changed"
    )

    assert set(f"{resetting} bath_topped_up carrier_added line_idle line_running".split()) == EVENT_KINDS


@pytest.mark.parametrize(("text", "amount"), [("15", 15.0), ('"0,5"', 0.5), ("1.5e1", 15.0)])
def test_an_amount_is_a_number_with_its_unit_beside_it(tmp_path, text, amount):
    (event,) = read(tmp_path, f"2025-03-04T05:30,Line A,bath_topped_up,,tank,{text},g,by hand").events

    assert (event.amount, event.unit, event.note) == (amount, "g", "by hand")


def test_events_are_in_time_order_and_ties_in_file_order(tmp_path):
    log = read(tmp_path, CHANGED, CHANGED.replace("05:30", "04:00"), CHANGED.replace("bath_changed", "bath_topped_up"))

    assert [event.row for event in log.events] == [3, 2, 4]


def test_the_same_event_twice_is_a_duplicate(tmp_path):
    log = read(tmp_path, CHANGED, CHANGED.replace("05:30", "04:30Z") + "again", CHANGED.replace("tank", "tank 2"))

    assert log.rows == RowCount(read=3, accepted=2, duplicate=1, quarantined=0)
    assert [event.row for event in log.events] == [2, 4]


@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        ("2025-03-04T05:30,Line A", "", "too short"),
        (CHANGED + ",", "", "too long"),
        (CHANGED.replace("2025-03-04T05:30", "2025-03-30T02:30"), "at", "does not exist in Europe/Vienna"),
        (CHANGED.replace("2025-03-04T05:30", "2025-03-04"), "at", "without a time of day"),
        (CHANGED.replace("Line A", ""), "line", "missing"),
        (CHANGED.replace("bath_changed", "bath_drained"), "kind", "write one of bath_changed, bath_topped_up"),
        (CHANGED.replace("bath_changed", ""), "kind", "write one of"),
        (CHANGED.replace("bath_concentration", "bath"), "check", "leave it empty for all"),
        (CHANGED.replace("tank,,", "tank,some,"), "amount", "one number"),
        (CHANGED.replace("tank,,", "tank,<5,"), "amount", "one number"),
        (CHANGED.replace("tank,,", "tank,nan,"), "amount", "no finite number"),
    ],
)
def test_a_bad_row_is_quarantined_and_the_rest_is_read(tmp_path, row, column, says):
    log = read(tmp_path, row, CHANGED)

    assert log.rows == RowCount(read=2, accepted=1, duplicate=0, quarantined=1)
    assert (log.quarantine[0].row, log.quarantine[0].column) == (2, column)
    assert says in log.quarantine[0].reason


def test_dates_are_never_guessed(tmp_path):
    row = CHANGED.replace("2025-03-04T05:30", "4/3/2025 5:30")

    with pytest.raises(LogError, match=r"row 2: at '4/3/2025 5:30' .* --dates"):
        read(tmp_path, row)
    assert read(tmp_path, row, dates="dmy").events[0].at == datetime(2025, 3, 4, 4, 30, tzinfo=UTC)


def test_what_was_decided_is_noted(tmp_path):
    log = read(tmp_path, CHANGED.replace("2025-03-04T05:30", "26.10.25 2:30") + "x", dates="dmy")

    assert any("without an offset, read in Europe/Vienna" in note for note in log.notes)
    assert any("read as its first pass: row 2" in note for note in log.notes)
    assert any("two-digit year" in note for note in log.notes)


def test_a_file_without_events_is_refused_only_if_it_has_no_header(tmp_path):
    assert read(tmp_path).rows == RowCount()
    with pytest.raises(LogError, match="the file is empty"):
        read(tmp_path, header="")
    with pytest.raises(LogError, match="lacks the column kind"):
        read(tmp_path, header="at,line")
    with pytest.raises(LogError, match="no such file"):
        read_events(tmp_path / "none.csv", CATALOGUE, zone=ZONE)
