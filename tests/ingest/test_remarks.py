"""Remarks searched for events: proposed, never applied. The phrases are common practice, no source."""

import csv
import io
from zoneinfo import ZoneInfo

import pytest

from spc.catalogue.load import starter
from spc.ingest.csv_log import CheckLog, read_log
from spc.ingest.event_log import read_events
from spc.ingest.log_file import read_log_file
from spc.ingest.remarks import PHRASES, event_kinds, events_csv, remarks_json, search_remarks

ZONE = ZoneInfo("Europe/Vienna")


@pytest.mark.parametrize(
    ("remark", "kinds"),
    [
        ("added 2 oz", ("bath_topped_up",)),
        ("Added 40 g powder", ("bath_topped_up",)),
        ("topped up", ("bath_topped_up",)),
        ("added 5 L", ("carrier_added",)),
        ("added carrier to mark", ("carrier_added",)),
        ("new bath", ("bath_changed",)),
        ("Bath changed on nights", ("bath_changed",)),
        ("neues Bad", ("bath_changed",)),
        ("cleaned lens", ("lamp_cleaned",)),
        ("wiped the left filter", ("lamp_cleaned",)),
        ("lamp chg", ("lamp_replaced",)),
        ("replaced UV bulb", ("lamp_replaced",)),
        ("sent meter for cal", ("meter_calibrated",)),
        ("radiometer back from cal", ("meter_calibrated",)),
        ("new tube", ("instrument_changed",)),
        ("pump repaired", ("unit_repaired",)),
        ("new curtain", ("booth_repaired",)),
        ("line down 2 h", ("line_idle",)),
        ("restarted", ("line_running",)),
        ("new bath, cleaned lens", ("bath_changed", "lamp_cleaned")),
        ("pump noisy", ()),
        ("bathroom light out", ()),
        ("see page 2", ()),
        ("", ()),
    ],
)
def test_a_remark_tells_of_these_kinds(remark, kinds):
    assert event_kinds(remark) == kinds


def test_every_kind_sought_is_a_kind_of_event():
    assert PHRASES.keys() == starter().event_kinds


def log_with(notes: list[str], tmp_path) -> CheckLog:
    path = tmp_path / "log.csv"
    rows = [f"2025-03-{day:02}T06:10,Line A,bath_concentration,tank,0.2,{note}" for day, note in enumerate(notes, 1)]
    path.write_text("taken_at,line,check,position,value,note\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return read_log(path, starter(), zone=ZONE)


@pytest.mark.parametrize(
    "note", ["no new bath yet", "need new bath", "new bath tomorrow", "lamp chg due", "new bath?", "sent meter for cal"]
)
def test_what_was_perhaps_not_done_is_unsure(note, tmp_path):
    found = search_remarks(log_with([note], tmp_path)).events

    assert [event.unsure for event in found] == [True]


def test_amounts_are_taken_where_one_is_named(tmp_path):
    notes = ['"added 2,5 oz"', "added 40 g and 60 g", "topped up"]

    found = search_remarks(log_with(notes, tmp_path)).events

    assert [(event.amount, event.unit) for event in found] == [("2.5", "oz"), ("", ""), ("", "")]


def test_what_is_sure_reads_as_events_and_what_is_not_waits_for_a_person(tmp_path):
    log = log_with(["added 2 oz", "need new bath", "pump noisy", "new bath"], tmp_path)
    path = tmp_path / "events.csv"
    path.write_text(events_csv(search_remarks(log)), encoding="utf-8")

    events = read_events(path, starter(), zone=ZONE)

    assert [event.kind for event in events.events] == ["bath_topped_up", "bath_changed"]
    assert [(bad.column, bad.text) for bad in events.quarantine] == [("kind", "? bath_changed")]
    assert events.events[0].amount == 2


def test_every_remark_is_an_event_or_among_the_others(tmp_path):
    found = search_remarks(log_with(["added 2 oz", "pump noisy"], tmp_path))

    assert {event.row for event in found.events} | {row for row, _ in found.others} == {2, 3}
    assert remarks_json(found)["others"] == [{"row": 3, "text": "pump noisy"}]


def test_remarks_of_rows_without_readings_and_notes_below_the_table_are_searched(tmp_path):
    sheet, layout = tmp_path / "sheet.csv", tmp_path / "layout.toml"
    sheet.write_text("Date,Conc,Remarks\n2025-03-04,,new bath\n2025-03-05,0.2,\nLens cleaned in March,,\n")
    layout.write_text(
        'header = 1\nline = "Line A"\ndate = "A"\ntime_of_day = "07:00"\nremarks = ["C"]\n'
        'column = [{at = "B", check = "bath_concentration", unit = "mL/100mL"}]\n'
    )

    found = search_remarks(read_log_file(sheet, starter(), zone=ZONE, layout=layout))

    rows = list(csv.DictReader(io.StringIO(events_csv(found))))
    assert [(row["at"], row["kind"]) for row in rows] == [
        ("2025-03-04T07:00", "bath_changed"),
        ("", "? lamp_cleaned"),
    ]
