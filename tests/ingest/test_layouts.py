"""Layouts: every mistake is refused with file, key, value and remedy; what is right is read as written."""

from datetime import time

import pytest

from spc.catalogue.load import starter
from spc.errors import LayoutError
from spc.ingest.layouts import Shift, layout_from, load_layout

COLUMN = '{at = "C", check = "bath_concentration", unit = "mL/100mL"}'
GOOD = f'header = 1\nline = "Line A"\ndate = "A"\nshift = "B"\ncolumn = [{COLUMN}]\n'
SHIFTS = '[shifts]\nD = {start = "06:00", end = "14:00"}\n'


def changed(**keys: str) -> str:
    """Return GOOD with other values (TOML) of some keys; "" takes a key out."""
    lines = dict(line.split(" = ", 1) for line in GOOD.splitlines()) | keys
    return "".join(f"{key} = {value}\n" for key, value in lines.items() if value) + SHIFTS


MISTAKES = [
    ("header = ", "", "correct the TOML there"),
    (changed(header=""), "header", "header is missing"),
    (changed(header="0"), "header", "0 is no row"),
    (changed(header="[3, 5]"), "header", "not rows that follow one another"),
    (changed(header="true"), "header", "true is no row"),
    (changed(first_row="1"), "first_row", "whole number from 2"),
    (changed(date=""), "", 'date is missing; name its column, such as date = "A"'),
    (changed(date='"Date"'), "date", "'Date' is no column; write its letters"),
    (changed(date="1"), "date", "1 is no column"),
    (changed(shfit='"B"'), "", "unknown key 'shfit'; did you mean 'shift'?"),
    (changed(line=""), "line", "give one of line"),
    (changed(line_column='"D"'), "line", "give one of line"),
    (changed(year="2025"), "year", "pattern of dates without a year"),
    (changed(decimal='"dot"'), "decimal", "there is no 'dot'"),
    (changed(night='"begin"'), "night", "there is no 'begin'"),
    (changed(time_of_day='"7 o\'clock"'), "time_of_day", "no time of day"),
    (changed(times='"hhmm"'), "times", "no pattern of a time of day"),
    (changed(times='"%H%Q"'), "times", "no pattern of a time of day"),
    (changed(column="[]"), "", "no column holds readings"),
    (changed(column='[{at = "C"}]'), "column[1]", "check is missing"),
    (changed(column='[{at = "C", check = "bath_conc"}]'), "column[1].check", "did you mean 'bath_concentration'?"),
    (changed(column='[{at = "C", check = "bath_concentration"}]'), "column[1].unit", "the unit is not given"),
    (
        changed(column='[{at = "C", check = "bath_concentration", unit = ""}]'),
        "column[1].unit",
        "the unit is not given",
    ),
    (changed(column='[{at = "C", check = "bath_concentration", unit = "lx"}]'), "column[1].unit", "'lx' is no unit of"),
    (changed(column='[{at = "C", check = "water_break", unit = "%"}]'), "column[1].unit", "has no unit"),
    (changed(column='[{at = "C", check = "water_break", read = "fraction"}]'), "column[1].read", "holds no numbers"),
    (changed(column='[{at = "A", check = "water_break"}]'), "column[1].at", "'A' is named twice"),
    (changed(column=f"[{COLUMN}, {COLUMN}]"), "column[2].at", "'C' is named twice"),
    (changed(column=f"[{COLUMN}, {COLUMN.replace('C', 'D')}]"), "column[2].position", "has a column already"),
    (changed(ignore='["B"]'), "ignore", "'B' is the column of the shift"),
    (
        changed(column='[{at = "C", check = "ammeter", unit = "A", reference = 1, reference_column = "D"}]'),
        "column[1].reference",
        "reference_column is given too",
    ),
    (
        changed(column='[{at = "C", check = "ammeter", unit = "A", reference = -5}]'),
        "column[1].reference",
        "not above 0",
    ),
    (GOOD, "shifts", "no hours are given"),
    (GOOD + '[shifts]\nD = {start = "6", end = "14:00"}', "shifts.D.start", "'6' is no time of day"),
    (GOOD + '[shifts]\nD = {start = "06:00"}', "shifts.D.end", "it is missing"),
    (GOOD + '[shifts]\nN = {start = "22:00", end = "06:00"}', "night", "goes over midnight"),
    (GOOD + SHIFTS + '[units]\nuW = "uW"', "units.uW", "'uW' is no unit that is known"),
    (GOOD + SHIFTS + "[words]\nOK = 1", "words.OK", "1 is no text"),
    (GOOD + SHIFTS + '[headers]\nConc = "x"', "headers.Conc", "'Conc' is no column"),
]


@pytest.mark.parametrize(("text", "key", "says"), MISTAKES)
def test_a_mistake_is_refused_with_file_key_and_remedy(text, key, says):
    with pytest.raises(LayoutError) as refusal:
        layout_from(text, "sheet.toml", starter())

    message = str(refusal.value)
    assert message.startswith(f"sheet.toml: {key.strip()}")
    assert says in message
    assert "\n" not in message


def test_a_layout_is_read_as_written():
    layout = layout_from(changed(last_row="9", remarks='["H", "AA"]'), "sheet.toml", starter())

    assert (layout.header, layout.first_row, layout.last_row) == ((1,), 2, 9)
    assert (layout.date, layout.shift, layout.remarks) == (0, 1, (7, 26))
    assert layout.shifts == {"d": Shift(time(6), time(14))}
    assert [(column.at, column.check.key, column.unit) for column in layout.columns] == [
        (2, "bath_concentration", "mL/100mL")
    ]


def test_two_ammeter_columns_of_one_head_may_differ_by_their_reference():
    columns = ", ".join(
        f'{{at = "{at}", check = "ammeter", position = "head", unit = "A", reference = {amperes}}}'
        for at, amperes in (("C", 1000), ("D", 2000))
    )

    layout = layout_from(changed(column=f"[{columns}]"), "sheet.toml", starter())

    assert [column.reference for column in layout.columns] == [1000, 2000]


def test_a_shift_over_midnight_is_told_by_its_hours():
    assert Shift(time(22), time(6)).over_midnight
    assert not Shift(time(14), time(22)).over_midnight


def test_a_file_that_cannot_be_read_is_refused(tmp_path):
    bad = tmp_path / "layout.toml"
    bad.write_bytes(b"line = \xff")

    with pytest.raises(LayoutError, match="no UTF-8"):
        load_layout(bad, starter())
    with pytest.raises(LayoutError, match="spc layout"):
        load_layout(tmp_path / "none.toml", starter())
    with pytest.raises(LayoutError, match="cannot be read"):
        load_layout(tmp_path, starter())
