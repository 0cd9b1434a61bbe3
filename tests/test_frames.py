"""Logs as frames and back: the same readings, every row accounted for, nothing guessed."""

from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import spc
from spc.catalogue.load import starter
from spc.errors import InputError, LogError
from spc.ingest.csv_log import LogReader
from spc.records import NO_OFFSET

DATASETS = Path(__file__).parent.parent / "datasets"
VIENNA = ZoneInfo("Europe/Vienna")
COLUMNS = ("taken_at", "offset", "row", "value", "bound", "word", "reference", "instrument", "technician", "shift")
LOG = """\
taken_at,line,check,position,value,reference,unit,instrument,technician,shift,note,lot,row
2025-03-04T06:10,Line A,bath_concentration,tank,0.21,,mL/100mL,tube-03,ktl,A,,17,x
2025-10-26T02:30+01:00,Line A,bath_concentration,tank,<0.05,,,,,,"two
lines, and ""a quote"" in it",18,
2025-03-04T06:20:31.5,Line A,ammeter,head,1010,1000,A,shunt-1,ktl,A,,,y
2025-03-04T06:25,Line A,notched_shim,bracket,shown,,,,ktl,A,,,
2025-03-04T06:25,Line A,notched_shim,bracket,shown,,,,ktl,A,,,
2025-03-04T06:30,Line A,uva_irradiance,lamp 1,>5000,,uW/cm2,rad-2,,B,,,
2025-03-04T06:35,Line A,uva_irradiance,lamp 1,much,,uW/cm2,rad-2,,B,,,
2025-03-05T06:35,Line A,uva_irradiance,lamp 1,not run,,,,,B,,,
"""


def log(text: str = LOG) -> spc.CheckLog:
    return LogReader("log.csv", starter(), zone=VIENNA).feed(text.encode(), final=True)


def assert_same(one: spc.CheckLog, other: spc.CheckLog) -> None:
    assert one.streams.keys() == other.streams.keys()
    for key, readings in one.streams.items():
        for name in (*COLUMNS, "note"):
            np.testing.assert_array_equal(getattr(readings, name), getattr(other.streams[key], name), err_msg=name)


@pytest.fixture(scope="module")
def demo() -> spc.Scan:
    return spc.scan_log(DATASETS / "demo-log.csv", events=DATASETS / "demo-events.csv", zone=VIENNA)


def test_the_demo_log_comes_back_from_its_frame_reading_by_reading(demo):
    frame = spc.log_frame(demo)

    back = spc.log_of(frame, demo.catalogue, zone=VIENNA)

    assert len(frame) == demo.log.rows.accepted == back.rows.accepted == back.rows.read
    assert_same(demo.log, back)


def test_a_scan_of_the_frame_says_what_the_scan_of_the_file_says(demo):
    frame = spc.log_frame(demo)
    of_line = frame[frame["line"] == "Line B"]

    scan = spc.scan_frame(of_line, events=DATASETS / "demo-events.csv", zone=VIENNA)

    wanted = {result.key: (result.signals, result.failures) for result in demo.streams if result.key.line == "Line B"}
    assert {result.key: (result.signals, result.failures) for result in scan.streams} == wanted
    assert sum(len(result.failures) for result in scan.streams) > 5


def test_signs_words_offsets_and_notes_of_several_lines_survive():
    read = log()
    frame = spc.log_frame(read, starter())

    assert read.rows == spc.RowCount(read=8, accepted=6, duplicate=1, quarantined=1)
    assert frame["value"].tolist()[:3] == [0.21, 0.05, 1010.0]
    assert frame["bound"].tolist() == ["", "<", "", "", ">", ""]
    assert frame["word"].tolist() == ["", "", "", "shown", "", "not run"]
    assert frame["offset"].tolist() == [pd.NA, 60, pd.NA, pd.NA, pd.NA, pd.NA]
    assert frame["note"][1] == 'two\nlines, and "a quote" in it'
    assert frame["row"].tolist() == [2, 3, 5, 6, 8, 10]
    assert frame["unit"].tolist() == ["mL/100mL", "mL/100mL", "A", "", "uW/cm2", "uW/cm2"]
    back = spc.log_of(frame, starter(), zone=VIENNA)
    assert_same(read, back)
    assert back.streams[spc.StreamKey("Line A", "ammeter", "head")].offset.tolist() == [NO_OFFSET]


def test_a_column_of_the_log_that_is_called_like_one_of_the_frame_is_kept_apart():
    frame = spc.log_frame(log(), starter())

    assert frame["row (2)"].tolist() == ["x", "", "y", "", "", ""]
    assert frame["lot"].tolist() == ["17", "18", "", "", "", ""]
    back = spc.log_of(frame, starter(), zone=VIENNA)
    assert back.streams[spc.StreamKey("Line A", "ammeter", "head")].other["row (2)"].tolist() == ["y"]


def test_a_frame_of_ones_own_is_read_as_a_file_and_its_bad_rows_are_told():
    times = pd.date_range("2025-03-04 06:10", periods=5, freq="8h").to_series()
    frame = pd.DataFrame({"Taken At": times.where(times != times.iloc[3]), "line": "Line A"})
    frame["check"] = ["bath_concentration"] * 4 + ["bath_consentration"]
    frame["value"] = [0.21, -0.2, np.nan, 0.2, 0.2]

    read = spc.log_of(frame, starter(), zone=VIENNA)

    assert read.rows == spc.RowCount(read=5, accepted=1, duplicate=0, quarantined=4)
    assert [(bad.file, bad.row, bad.column) for bad in read.quarantine] == [
        ("frame", 3, "value"),
        ("frame", 4, "value"),
        ("frame", 5, "taken_at"),
        ("frame", 6, "check"),
    ]
    (readings,) = read.streams.values()
    assert readings.taken_at.tolist() == [int(pd.Timestamp("2025-03-04 05:10", tz="UTC").value) // 1000]


def test_quarantined_rows_are_named_by_the_rows_of_the_frame():
    frame = spc.log_frame(log(), starter())
    frame.loc[4, "word"] = "pass"

    read = spc.log_of(frame, starter(), zone=VIENNA)

    assert [(bad.row, bad.text) for bad in read.quarantine] == [(8, ">5000 pass")]
    assert read.rows.read == 6


def test_times_may_stand_in_the_index_and_values_as_text():
    frame = pd.DataFrame(
        {"line": "Line A", "check": ["uva_irradiance", "notched_shim"], "value": ["<900", "partly"]},
        index=pd.Index(["2025-03-04T06:10Z", "2025-03-04T06:12Z"], name="taken_at"),
    )

    read = spc.log_of(frame, starter(), zone=VIENNA)

    assert [each.word.tolist() for each in read.streams.values()] == [[""], ["partly"]]
    assert [each.offset.tolist() for each in read.streams.values()] == [[0], [0]]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda frame: frame.drop(columns="check"), "lacks the column check"),
        (lambda frame: frame.assign(row=1.5), "'row' holds '1.5', which is no line of a file"),
        (lambda frame: frame.assign(row=pd.NA), "'row' holds '<NA>', which is no line of a file"),
        (lambda frame: frame.assign(offset="far"), "'offset' holds 'far', which is no offset in minutes"),
        (lambda frame: frame.assign(offset=900), "'offset' holds '900'"),
        (lambda frame: pd.concat([frame, frame[["value"]]], axis=1), "a column's name stands twice"),
        (lambda frame: frame.assign(taken_at="04/03/2025 06:10"), "--dates"),
    ],
)
def test_a_frame_that_is_no_log_is_refused(change, says):
    with pytest.raises((InputError, LogError), match=says):
        spc.log_of(change(spc.log_frame(log(), starter())), starter(), zone=VIENNA)


def test_a_log_without_its_catalogue_is_refused():
    with pytest.raises(InputError, match="does not know its units"):
        spc.log_frame(log())


def test_no_readings_are_a_frame_without_rows():
    empty = log(LOG.partition("\n")[0] + "\n")

    frame = spc.log_frame(empty, starter())

    assert len(frame) == 0
    assert spc.log_of(frame, starter(), zone=VIENNA).rows == spc.RowCount()


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.floats(0, 1e6, allow_subnormal=False), min_size=1, max_size=8),
    st.lists(st.integers(-(10**15), 4 * 10**15), min_size=8, max_size=8, unique=True),
    st.text(st.characters(blacklist_categories=("Cs", "Cc")), max_size=12),
)
def test_numbers_times_and_words_survive_to_the_last_digit(values, times, note):
    at = pd.to_datetime(np.array(times[: len(values)]), unit="us", utc=True)
    frame = pd.DataFrame({"taken_at": at, "line": "L", "check": "residual_field", "value": values, "note": note})

    read = spc.log_of(frame, starter(), zone=VIENNA)

    assert read.rows.read == len(values)
    assert read.rows.quarantined == 0
    again = spc.log_of(spc.log_frame(read, starter()), starter(), zone=VIENNA)
    assert_same(read, again)
    (readings,) = read.streams.values()
    assert sorted(readings.value) == sorted(values)
    assert sorted(readings.taken_at) == sorted(times[: len(values)])


def test_a_stream_frame_holds_what_the_chart_shows(demo):
    result = demo.stream("Line B", "ammeter")

    frame = spc.stream_frame(result, zone=VIENNA)

    assert len(frame) == len(result.readings)
    charted = frame["charted"].notna()
    np.testing.assert_array_equal(frame.loc[charted, "charted"], result.charted.x)
    assert frame["failed"].sum() == len(result.failures) == 1
    assert frame.loc[frame["failed"], "charted"].item() == result.failures[0].value
    assert frame.loc[frame["signals"] != "", "row"].tolist() == sorted({signal.row for signal in result.signals})
    limits = result.segments[-1].limits
    assert limits is not None
    assert frame["centre_line"].iloc[-1] == limits.centre_line
    assert frame["taken_at"].iloc[-1] == pd.Timestamp("2026-11-20 14:46", tz="Europe/Vienna")


def test_a_stream_of_a_judged_check_has_no_numbers_on_its_chart(demo):
    frame = spc.stream_frame(demo.stream("Line A", "notched_shim", "hub"), zone=VIENNA)

    assert frame["charted"].isna().all()
    assert frame["failed"].sum() == 12
