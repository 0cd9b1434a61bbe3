"""Any sheet through a layout: no cell is lost and none is read twice, whatever stands in it."""

import csv
import io
import json
import subprocess
import sys
from datetime import UTC, time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.catalogue.load import starter
from spc.errors import InputError, LayoutError
from spc.ingest.layouts import Shift, layout_from
from spc.ingest.moments import _side_of_midnight
from spc.ingest.wide import read_wide

LAYOUT = """
header = 1
line = "Line A"
date = "A"
shift = "B"
dates = "dmy"
night = "start"
remarks = ["G"]
ignore = ["F"]
column = [
  {at = "C", check = "bath_concentration", unit = "mL/100mL"},
  {at = "D", check = "uva_irradiance", unit = "uW/cm2"},
  {at = "E", check = "water_break"},
]
[shifts]
D = {start = "06:00", end = "14:00"}
N = {start = "22:00", end = "06:00"}
[words]
down = "not run"
OK = "pass"
"-" = "blank"
"""
HEADER = "Date,Shift,Conc,UV,WB,Other,Remarks"
CELL = st.sampled_from(
    ["", "0.2", ".20", "0,20", "20", "1/5", "<0.05", "OK", "down", "-", "pass", "1,200", "4.5 mW/cm2", "2450", "1e400",
     "nan", "04/03/2025", "31/02/2025", "D", "N", "new bath", '"', "a\nb", "0.2 ok", "\u2713", "-1", "=1+1", "\ufeff"]
)  # fmt: skip
ROWS = st.lists(st.lists(CELL, min_size=0, max_size=9), max_size=12)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(ROWS)
def test_every_cell_of_any_sheet_ends_in_one_place(tmp_path_factory, rows):
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    path = tmp_path_factory.mktemp("any") / "sheet.csv"
    path.write_text(f"{HEADER}\n{text.getvalue()}", encoding="utf-8")

    log = read_wide(path, starter(), layout_from(LAYOUT, "layout.toml", starter()), zone=UTC)

    cells = log.cells
    assert cells is not None
    assert cells.read == (
        cells.accepted + cells.duplicate + cells.quarantined + cells.blank + cells.ignored + cells.context
    )
    assert cells.quarantined == len(log.quarantine)
    assert cells.accepted == sum(len(readings) for readings in log.streams.values())
    named = [(bad.row, bad.column) for bad in log.quarantine]
    assert len(named) == len(set(named))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.binary(max_size=300))
def test_bytes_of_any_kind_are_read_or_refused(tmp_path_factory, data):
    path = tmp_path_factory.mktemp("bytes") / "sheet.csv"
    path.write_bytes(f"{HEADER}\n".encode() + data)

    said = outcome(path)

    assert said == "read" or ("\n" not in said and str(path) in said)


def outcome(path: Path) -> str:
    """Return "read", or the refusal; whatever else is raised fails the test."""
    try:
        log = read_wide(path, starter(), layout_from(LAYOUT, "layout.toml", starter()), zone=UTC)
    except InputError as refusal:
        return str(refusal)
    return "read" if log.cells is not None else "not counted"


@pytest.mark.parametrize("dates", ["%d.%m", "day first", "%d %b %Y %Z"])
def test_a_form_of_dates_that_leaves_something_open_is_refused(dates, tmp_path):
    path = tmp_path / "sheet.csv"
    path.write_text(f"{HEADER}\n04.03,D,0.2,,,,\n")
    layout = layout_from(LAYOUT.replace('dates = "dmy"', f"dates = {json.dumps(dates)}"), "layout.toml", starter())

    with pytest.raises(LayoutError, match="is no form of dates that tells day, month and year"):
        read_wide(path, starter(), layout, zone=UTC)


@pytest.mark.parametrize(
    ("clock", "side"),
    [("22:00", -1), ("23:59", -1), ("00:00", 1), ("05:59", 1), ("06:00", 1), ("08:00", 1), ("20:00", -1), ("08:01", 0),
     ("14:00", 0), ("19:59", 0)],
)  # fmt: skip
def test_a_time_of_a_night_shift_lies_on_one_side_of_midnight_or_is_not_placed(clock, side):
    assert _side_of_midnight(time.fromisoformat(clock), Shift(time(22), time(6))) == side


def spc(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "spc", *words], capture_output=True, text=True, check=False)


def test_the_command_line_reads_a_sheet_and_lists_what_is_blank_and_set_aside(tmp_path):
    sheet, layout = tmp_path / "sheet.csv", tmp_path / "layout.toml"
    sheet.write_text(f"{HEADER}\n04/03/2025,D,0.2,1/5,OK,x,new bath\n04/03/2025,N,,2450,down,,\n")
    layout.write_text(LAYOUT)

    done = spc("scan", str(sheet), "--layout", str(layout), "--zone", "UTC", "--json")

    assert (done.returncode, done.stderr) == (0, "")
    result = json.loads(done.stdout)
    assert result["rows"] == {"read": 5, "accepted": 4, "duplicate": 0, "quarantined": 1}
    assert result["blank"] == [{"row": 3, "column": "C (Conc)"}]
    assert result["quarantine"][0]["column"] == "D (UV)"
    assert sum(result["cells"].values()) == 2 * result["cells"]["read"]


def test_the_command_line_refuses_a_wrong_layout_in_one_line(tmp_path):
    sheet, layout = tmp_path / "sheet.csv", tmp_path / "layout.toml"
    sheet.write_text(f"{HEADER}\n")
    layout.write_text(LAYOUT.replace("header = 1", "header = 1\nheadr = 2"))

    done = spc("scan", str(sheet), "--layout", str(layout), "--zone", "UTC")

    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr == f"spc: {layout}: unknown key 'headr'; did you mean 'header'?\n"


def test_a_sheet_enters_the_store_once(tmp_path):
    sheet, layout, store = tmp_path / "sheet.csv", tmp_path / "layout.toml", tmp_path / "spc.db"
    sheet.write_text(f"{HEADER}\n04/03/2025,D,0.2,1/5,OK,x,new bath\n04/03/2025,N,,2450,down,,\n")
    layout.write_text(LAYOUT)
    words = ("import", str(sheet), "--layout", str(layout), "--zone", "UTC", "--store", str(store), "--json")

    first, second = (json.loads(spc(*words).stdout)["files"][0] for _ in range(2))

    assert (first["rows"]["accepted"], first["rows"]["quarantined"], first["newly_quarantined"]) == (4, 1, 1)
    assert (second["rows"]["accepted"], second["rows"]["present"], second["newly_quarantined"]) == (0, 4, 0)
