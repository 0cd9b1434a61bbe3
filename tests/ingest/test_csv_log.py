"""The contract of a tidy check log, sentence by sentence."""

import math
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.errors import LogError
from spc.ingest.csv_log import CheckLog, read_log
from spc.records import NO_OFFSET, NOT_RUN, Bound, RowCount, StreamKey
from tests.ingest.made_log import (
    BATH,
    CATALOGUE,
    CONTRACT,
    HEADER,
    ZONE,
    contents,
    read_rows,
    read_text,
    reading,
    reasons,
    times,
    values,
)


def test_the_log_of_the_contract(tmp_path):
    log = read_text(tmp_path, CONTRACT)

    assert log.rows == RowCount(read=4, accepted=4, duplicate=0, quarantined=0)
    assert set(log.streams) == {
        StreamKey("Line A", "bath_concentration", "tank"),
        StreamKey("Line A", "uva_irradiance", "lamp 1"),
        StreamKey("Line A", "ammeter", "head"),
        StreamKey("Line A", "notched_shim", "bracket"),
    }
    lamp = log.streams[StreamKey("Line A", "uva_irradiance", "lamp 1")]
    assert (lamp.value[0], lamp.row[0], lamp.offset[0], lamp.bound[0]) == (2450.0, 3, NO_OFFSET, Bound.EXACT)
    assert (lamp.instrument[0], lamp.technician[0], lamp.shift[0], lamp.note[0]) == (
        "rad-2",
        "ktl",
        "A",
        "after cleaning",
    )
    assert times(log, lamp.key) == [datetime(2025, 3, 4, 5, 15, tzinfo=UTC)]
    meter = log.streams[StreamKey("Line A", "ammeter", "head")]
    assert (meter.value[0], meter.reference[0]) == (1010.0, 1000.0)
    shim = log.streams[StreamKey("Line A", "notched_shim", "bracket")]
    assert (shim.word[0], math.isnan(shim.value[0]), math.isnan(shim.reference[0])) == ("shown", True, True)
    assert log.zone is ZONE


# Columns


def test_four_columns_are_enough(tmp_path):
    log = read_rows(tmp_path, "2025-03-04T06:10,Line A,bath_concentration,0.21", header="taken_at,line,check,value")

    key = StreamKey("Line A", "bath_concentration", "")
    assert values(log, key) == [0.21]
    assert log.streams[key].note[0] == ""


@pytest.mark.parametrize("lacking", ["taken_at", "line", "check", "value"])
def test_a_log_without_a_required_column_is_refused(tmp_path, lacking):
    names = [name for name in HEADER.split(",") if name != lacking]

    with pytest.raises(LogError, match=f"lacks the column {lacking}; found"):
        read_rows(tmp_path, header=",".join(names))


def test_columns_come_in_any_order(tmp_path):
    log = read_rows(
        tmp_path, "0.21,tank,bath_concentration,Line A,2025-03-04T06:10", header="value,position,check,line,taken_at"
    )

    assert values(log) == [0.21]


@pytest.mark.parametrize("header", ["Taken At,LINE,check,Position,VALUE", "taken-at,l i n e,che_ck,position,val ue"])
def test_names_are_matched_without_case_spaces_hyphens_underscores(tmp_path, header):
    assert values(read_rows(tmp_path, "2025-03-04T06:10,Line A,bath_concentration,tank,0.21", header=header)) == [0.21]


def test_an_unknown_column_is_kept_with_the_row(tmp_path):
    log = read_rows(
        tmp_path,
        "b,2025-03-04T07:10,Line A,bath_concentration,tank,0.22",
        " a ,2025-03-04T06:10,Line A,bath_concentration,tank,0.21",
        header="Lot No,taken_at,line,check,position,value",
    )

    assert log.streams[BATH].other["Lot No"].tolist() == ["a", "b"]
    assert "kept with the rows, not used: Lot No" in log.notes


# Encodings, delimiters, decimals

ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_every_way_to_write_a_log_gives_the_same_readings(tmp_path, encoding, delimiter, end):
    text = CONTRACT.replace("after cleaning", "für Müller").replace("0.21", "0,21" if delimiter != "," else "0.21")
    text = text.replace(",", delimiter) if delimiter == "," else _parted(text, delimiter)

    log = read_text(tmp_path, text.replace("\n", end).encode(encoding))

    expected = read_text(tmp_path, CONTRACT.replace("after cleaning", "für Müller"))
    assert contents(log) == contents(expected)
    assert log.rows == expected.rows


def _parted(text: str, delimiter: str) -> str:
    """Return `text` with another delimiter, its decimal commas kept."""
    return text.replace("0,21", "0\0021").replace(",", delimiter).replace("0\0021", "0,21")


def test_a_decimal_comma_in_a_log_parted_by_commas_is_quoted(tmp_path):
    log = read_rows(tmp_path, reading('"0,21"'))

    assert values(log) == [0.21]
    assert "1 reading with a decimal comma" in log.notes


def test_a_bare_decimal_comma_makes_the_row_too_long(tmp_path):
    log = read_rows(tmp_path, reading("0,21"))

    assert "decimals with a point" in log.quarantine[0].reason


# Times


def test_times_without_an_offset_are_of_the_site(tmp_path):
    log = read_rows(tmp_path, reading("0.21"))

    assert times(log) == [datetime(2025, 3, 4, 5, 10, tzinfo=UTC)]
    assert "1 time without an offset, read in Europe/Vienna" in log.notes


def test_times_with_an_offset_keep_it(tmp_path):
    log = read_rows(tmp_path, reading("0.21").replace("06:10", "06:10+05:30"))

    assert times(log) == [datetime(2025, 3, 4, 0, 40, tzinfo=UTC)]
    assert log.streams[BATH].offset[0] == 330


def test_the_zone_is_the_machines_unless_named(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(CONTRACT)

    log = read_log(path, CATALOGUE)

    assert log.zone.utcoffset(datetime(2025, 3, 4)) is not None  # noqa: DTZ001 - asked for a local time


def test_a_date_form_that_is_not_named_refuses_the_log(tmp_path):
    with pytest.raises(
        LogError, match=r"row 3: taken_at '04/03/2025 06:10' .* give --dates dmy, --dates mdy or a strp"
    ):
        read_rows(tmp_path, reading("0.21"), reading("0.21").replace("2025-03-04T06:10", "04/03/2025 06:10"))


def test_a_misspelt_check_is_answered_with_the_nearest(tmp_path):
    log = read_rows(tmp_path, reading("0.21").replace("bath_concentration", "bath_concentratoin"))

    assert log.quarantine[0].reason.startswith("no check of the catalogue; write bath_concentration; or one of bath_")


def test_a_cell_that_is_no_date_at_all_is_a_quarantined_row(tmp_path):
    log = read_rows(tmp_path, reading("0.21"), reading("0.22").replace("2025-03-04T06:10", "yesterday"))

    assert reasons(log) == [(3, "taken_at", "yesterday")]
    assert values(log) == [0.21]


@pytest.mark.parametrize(("dates", "month"), [("dmy", 3), ("mdy", 4), ("%d/%m/%Y %H:%M", 3)])
def test_dates_are_read_as_named(tmp_path, dates, month):
    log = read_rows(tmp_path, reading("0.21").replace("2025-03-04T06:10", "04/03/2025 06:10"), dates=dates)

    assert times(log)[0].month == month


def test_an_unusable_date_form_is_refused(tmp_path):
    with pytest.raises(LogError, match=r"log.csv: --dates 'ymd' is no date form; give dmy"):
        read_rows(tmp_path, reading("0.21"), dates="ymd")


def test_a_repeated_hour_is_noted(tmp_path):
    log = read_rows(tmp_path, reading("0.21").replace("2025-03-04T06:10", "2025-10-26T02:30"))

    assert any("Europe/Vienna repeats" in note and "row 2" in note for note in log.notes)


# Values


@pytest.mark.parametrize(("text", "value", "bound"), [("<0.05", 0.05, Bound.BELOW), (">50", 50.0, Bound.ABOVE)])
def test_a_censored_number_is_kept_as_such(tmp_path, text, value, bound):
    stream = read_rows(tmp_path, reading(text)).streams[BATH]

    assert (stream.value[0], stream.bound[0]) == (value, bound)


@pytest.mark.parametrize("word", ["pass", "fail", "shown", "partly", "not shown", "Smeared"])
def test_a_judged_check_is_answered_in_words(tmp_path, word):
    log = read_rows(tmp_path, reading(word.upper(), check="notched_shim"))

    assert log.streams[StreamKey("Line A", "notched_shim", "tank")].word.tolist() == [word]


@pytest.mark.parametrize("check", ["bath_concentration", "notched_shim", "ammeter"])
def test_not_run_is_accepted_for_every_check(tmp_path, check):
    stream = read_rows(tmp_path, reading("Not run", check=check)).streams[StreamKey("Line A", check, "tank")]

    assert stream.word[0] == NOT_RUN
    assert math.isnan(stream.value[0])


# Units


@pytest.mark.parametrize(
    ("row", "value"),
    [
        (reading("10", check="uva_irradiance", unit="W/m2"), 1000.0),
        (reading("1.2", check="uva_irradiance", unit="mW/cm²"), 1200.0),
        (reading("21.5278208334", check="ambient_light", unit="lx"), 2.0),
        (reading("0.3", check="residual_field", unit="mT"), 3.0),
        (reading("140", check="bath_temperature", unit="°F"), 60.0),
        (reading("0.2", unit="%"), 0.2),
        (reading("<0.5", check="ambient_light", unit="klx"), 46.4515200000),
    ],
)
def test_a_converted_unit_is_reported(tmp_path, row, value):
    log = read_rows(tmp_path, row)

    (stream,) = log.streams.values()
    assert stream.value[0] == pytest.approx(value, rel=1e-9)
    assert any("1 reading converted from" in note for note in log.notes)


@pytest.mark.parametrize("unit", ["", "uW/cm2", "µW/cm²", "uW/cm^2"])
def test_a_spelling_of_the_catalogues_unit_is_no_conversion(tmp_path, unit):
    log = read_rows(tmp_path, reading("2450", check="uva_irradiance", unit=unit))

    assert not any("converted" in note for note in log.notes)


def test_a_reference_is_converted_with_its_value(tmp_path):
    log = read_rows(tmp_path, reading("1.01", check="ammeter", unit="kA", reference="1"))

    (stream,) = log.streams.values()
    assert (stream.value[0], stream.reference[0]) == (1010.0, 1000.0)


def test_the_reference_of_a_ring_stays_in_amperes(tmp_path):
    log = read_rows(tmp_path, reading("6", check="ring_holes", unit="Holes", reference="1000"))

    (stream,) = log.streams.values()
    assert (stream.value[0], stream.reference[0]) == (6.0, 1000.0)


def test_a_deviation_in_percent_becomes_what_the_meter_read(tmp_path):
    log = read_rows(tmp_path, reading("-1.3", check="ammeter", unit="%", reference="1000"))

    (stream,) = log.streams.values()
    assert (stream.value[0], stream.reference[0]) == (987.0, 1000.0)
    assert "ammeter: 1 reading converted from % of the reference to A" in log.notes


def test_a_unit_beside_a_word_is_noted(tmp_path):
    log = read_rows(tmp_path, reading("shown", check="notched_shim", unit="mm"))

    assert log.rows.accepted == 1
    assert any("the unit mm beside 1 reading" in note for note in log.notes)


def test_what_is_quarantined_is_not_counted_as_converted(tmp_path):
    rows = [reading(value, check="uva_irradiance", unit="mW/cm2") for value in ("1.2", "-1", "1.3", "x")]

    assert "uva_irradiance: 2 readings converted from mW/cm2 to uW/cm2" in read_rows(tmp_path, *rows).notes


# Quarantine


@pytest.mark.parametrize(
    ("row", "column", "says"),
    [
        ("2025-03-04T06:10,Line A,bath_concentration", "", "too short: 3 cells where the header has 11"),
        (reading("0.21") + ",", "", "too long: 12 cells where the header has 11"),
        (reading("0.21") + ",x", "", "too long"),
        (reading("0.21").replace("T06:10", "T25:10"), "taken_at", "no such date or time"),
        (
            reading("0.21").replace("2025-03-04T06:10", "2025-03-30T02:30"),
            "taken_at",
            "does not exist in Europe/Vienna",
        ),
        (reading("0.21").replace("2025-03-04T06:10", ""), "taken_at", "missing"),
        (reading("0.21").replace("Line A", " "), "line", "missing"),
        (reading("0.21", check=""), "check", "write one of bath_concentration, bath_contamination"),
        (reading("0.21", check="settling"), "check", "write one of bath_concentration, bath_contamination"),
        (reading("0.21", check="Bath concentration"), "check", "write bath_concentration; or one of"),
        (reading(""), "value", "missing"),
        (reading("1.2.3"), "value", "write a number, <number, >number or not run"),
        (reading("fine"), "value", "write a number, <number, >number or not run"),
        (reading("pass"), "value", "bath_concentration is measured"),
        (reading("0.2", check="notched_shim"), "value", "judged; write one of pass, fail, shown, partly, not shown"),
        (reading("OK", check="notched_shim"), "value", "judged; write one of pass, fail, shown, partly, not shown"),
        (reading("nan"), "value", "no finite number"),
        (reading("1e400"), "value", "no finite number"),
        (reading('"1,200"'), "value", "write 1200"),
        (reading("-0.1"), "value", "cannot be below 0 mL/100mL"),
        (reading("100.1"), "value", "cannot be above 100 mL/100mL"),
        (reading("<0"), "value", "cannot be below 0"),
        (reading(">100"), "value", "cannot be above 100"),
        (reading("-1", check="uva_irradiance", unit="mW/cm2"), "value", "cannot be below 0 uW/cm2"),
        (reading("-300", check="bath_temperature"), "value", "cannot be below -273.15 degC"),
        (reading("13", check="ring_holes"), "value", "cannot be above 12 holes"),
        (reading("1.7e308", check="uva_irradiance"), "value", "cannot be above 1e+30 uW/cm2"),
        (reading("1e300", check="ammeter", reference="1"), "value", "cannot be above 1e+30 A"),
        (reading("1", check="ammeter", reference="1e-300"), "reference", "no reference has this size"),
        (reading("1", check="ammeter", reference="1e300"), "reference", "no reference has this size"),
        (reading("0.2", unit="A"), "unit", "a unit of current; bath_concentration is written in mL/100mL or %"),
        (reading("0.2", unit="blobs"), "unit", "no unit that is known here"),
        (reading("5", check="bath_contamination", unit="mL/100mL"), "unit", "a unit of settled volume"),
        (reading("6", check="ring_holes", unit="A"), "unit", "a unit of current; ring_holes is written in holes"),
        (reading("not run", unit="A"), "unit", "a unit of current"),
        (reading("1010", check="ammeter", reference="about"), "reference", "one number"),
        (reading("1010", check="ammeter", reference=">1000"), "reference", "one number"),
        (reading("1010", check="ammeter", reference="inf"), "reference", "no finite number"),
        (reading("1010", check="ammeter", reference="0"), "reference", "a reference above 0"),
        (reading("1010", check="ammeter", reference="-1000"), "reference", "a reference above 0"),
        (reading("1.3", check="ammeter", unit="%"), "reference", "write the reference in A"),
        (reading("1e306", check="ammeter", unit="kA", reference="1"), "value", "too large"),
        (reading("1", check="ammeter", unit="kA", reference="1e306"), "reference", "too large"),
        (reading("1e308", check="ammeter", unit="%", reference="1e100"), "value", "too large"),
    ],
)
def test_a_bad_row_is_quarantined_and_the_rest_is_read(tmp_path, row, column, says):
    good = reading("0.33").replace("06:10", "07:10")

    log = read_rows(tmp_path, row, good)

    assert log.rows == RowCount(read=2, accepted=1, duplicate=0, quarantined=1)
    assert (log.quarantine[0].row, log.quarantine[0].column) == (2, column)
    assert says in log.quarantine[0].reason
    assert values(log) == [0.33]


def test_the_first_fault_of_a_row_is_told(tmp_path):
    log = read_rows(tmp_path, "2025-02-30T06:10,,settling,tank,1.2.3,x,blobs,,,,")

    assert reasons(log) == [(2, "taken_at", "2025-02-30T06:10")]


def test_the_limits_of_what_can_be_are_possible(tmp_path):
    assert read_rows(tmp_path, reading("0"), reading("100")).rows.accepted == 2


def test_the_quarantine_is_in_file_order_with_the_cell_as_written(tmp_path):
    log = read_rows(tmp_path, reading(" 1.2.3 "), "short", reading("0.2", check="settling"))

    assert reasons(log) == [(2, "value", " 1.2.3 "), (3, "", "short"), (4, "check", "settling")]
    assert log.quarantine[0].file == str(tmp_path / "log.csv")


# Duplicates


@pytest.mark.parametrize(
    "second",
    [
        reading("0.21"),
        reading("0.210"),
        reading("0.21").replace("06:10", "06:10:00"),
        reading("0.21").replace("06:10", "05:10Z"),
        reading("0.21", unit="%"),
        reading("0.21").replace("Line A", " Line A "),
        reading("0.21").replace(",,,,,,", ",,,tube-3,ktl,A,again"),
    ],
)  # fmt: skip
def test_the_same_stream_time_and_value_is_a_duplicate(tmp_path, second):
    log = read_rows(tmp_path, reading("0.21"), second)

    assert log.rows == RowCount(read=2, accepted=1, duplicate=1, quarantined=0)
    assert log.streams[BATH].row.tolist() == [2]


@pytest.mark.parametrize(
    "second",
    [
        reading("0.22"),
        reading("<0.21"),
        reading("not run"),
        reading("0.21").replace("06:10", "06:10:01"),
        reading("0.21").replace("tank", "tank 2"),
        reading("0.21").replace("Line A", "Line B"),
    ],
)
def test_another_stream_time_or_value_is_no_duplicate(tmp_path, second):
    assert read_rows(tmp_path, reading("0.21"), second).rows.accepted == 2


def test_equal_words_at_one_time_are_duplicates(tmp_path):
    rows = [reading("shown", check="notched_shim"), reading("SHOWN", check="notched_shim")]

    assert read_rows(tmp_path, *rows, reading("partly", check="notched_shim")).rows.duplicate == 1


def test_the_later_row_is_the_duplicate_even_if_the_file_is_not_in_time_order(tmp_path):
    late = reading("0.3").replace("06:10", "09:10")

    log = read_rows(tmp_path, late, reading("0.21"), reading("0.22"), late, reading("0.21"))

    assert log.streams[BATH].row.tolist() == [3, 4, 2]
    assert log.rows.duplicate == 2


# Order and shape


def test_readings_agree_with_pandas(tmp_path):
    import pandas as pd

    rng = np.random.default_rng(20250304)
    hours = rng.permutation(600)
    starts = pd.Timestamp("2025-03-01T00:00") + pd.to_timedelta(hours * 71, unit="min")
    numbers = rng.normal(2500.0, 90.0, 600).round(2)
    rows = [
        f"{at:%Y-%m-%dT%H:%M},Line A,uva_irradiance,lamp {i % 3},{number},,,,,,"
        for i, (at, number) in enumerate(zip(starts, numbers, strict=True))
    ]
    log = read_rows(tmp_path, *rows)
    table = pd.read_csv(tmp_path / "log.csv", parse_dates=["taken_at"])
    local = table["taken_at"].dt.tz_localize("Europe/Vienna", ambiguous=np.ones(600, dtype=bool), nonexistent="NaT")
    table["at"] = local.dt.tz_convert("UTC").astype("datetime64[us, UTC]").astype("int64").where(local.notna())

    for position, part in table[local.notna()].sort_values("at").groupby("position"):
        stream = log.streams[StreamKey("Line A", "uva_irradiance", str(position))]
        assert stream.value.tolist() == part["value"].tolist()
        assert stream.taken_at.tolist() == part["at"].tolist()
    assert log.rows.quarantined == int(local.isna().sum())


def test_a_stream_is_in_time_order_and_ties_are_in_file_order(tmp_path):
    rows = [
        reading(str(value / 100)).replace("06:10", f"{hour:02}:00") for value, hour in ((1, 9), (2, 7), (3, 9), (4, 7))
    ]

    assert values(read_rows(tmp_path, *rows)) == [0.02, 0.04, 0.01, 0.03]


def test_readings_are_frozen(tmp_path):
    stream = read_text(tmp_path, CONTRACT).streams[BATH]

    columns = [getattr(stream, name) for name in stream.__dataclass_fields__ if name not in ("key", "other")]
    assert not any(column.flags.writeable for column in columns)
    assert {len(column) for column in columns} == {1}


def test_columns_have_the_types_of_the_records(tmp_path):
    stream = read_text(tmp_path, CONTRACT).streams[BATH]

    names = ("taken_at", "offset", "row", "value", "bound", "word", "reference", "note")
    kinds = ["int64", "int16", "int64", "float64", "int8", "object", "float64", "object"]
    assert [getattr(stream, name).dtype.name for name in names] == kinds


@given(
    st.lists(
        st.sampled_from([reading(v).replace("06:10", f"{h:02}:10") for v in ("0.1", "x") for h in range(5)]), max_size=8
    )
)
def test_a_log_cut_off_reads_as_the_whole_log_up_to_there(tmp_path_factory, rows):
    folder = tmp_path_factory.mktemp("cut")
    whole = read_rows(folder, *rows)

    for n in range(len(rows) + 1):
        part = read_rows(folder, *rows[:n])
        kept = {key: [row for row in stream if int(str(row[2])) <= n + 1] for key, stream in contents(whole).items()}
        assert contents(part) == {key: stream for key, stream in kept.items() if stream}
        assert reasons(part) == [row for row in reasons(whole) if row[0] <= n + 1]


# Files


def test_a_header_without_rows_is_a_log_of_no_readings(tmp_path):
    log = read_text(tmp_path, HEADER)

    assert (log.rows, log.streams, log.quarantine) == (RowCount(), {}, ())


@pytest.mark.parametrize("data", [b"", b"\n \n", b"\xef\xbb\xbf", b"\xff\xfe", "\n".encode("utf-16")])
def test_an_empty_file_is_refused(tmp_path, data):
    with pytest.raises(LogError, match="the file is empty"):
        read_text(tmp_path, data)


@pytest.mark.parametrize("data", [b"PK\x03\x04 and more", b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", b"\0" * 40])
def test_what_is_not_text_is_refused(tmp_path, data):
    with pytest.raises(LogError, match="text"):
        read_text(tmp_path, data)


def test_a_file_that_cannot_be_read_is_refused(tmp_path):
    with pytest.raises(LogError, match="no such file"):
        read_log(tmp_path / "none.csv", CATALOGUE)
    with pytest.raises(LogError, match="a folder, not a file"):
        read_log(tmp_path, CATALOGUE)
    with pytest.raises(LogError, match="cannot be read"):
        read_log("nul\0byte.csv", CATALOGUE)


def test_damage_far_into_a_file_costs_its_rows_alone(tmp_path):
    rows = [reading("0.21").replace("06:10", f"{i // 60:02}:{i % 60:02}") for i in range(100)]

    log = read_text(tmp_path, "\n".join((HEADER, *rows)) + "\n" + "\0" * 30 + "\n" + reading("0.3") + "\n")

    assert log.rows == RowCount(read=102, accepted=101, duplicate=0, quarantined=1)
    assert "NUL" in log.quarantine[0].reason


# Nothing is lost

WORDS = ["", " ", "Line A", "bath_concentration", "notched_shim", "ammeter", "not run", "shown", "%", "kA", "µW/cm²"]
NUMBERS = ["0.21", "<0.05", "1,200", "0,21", "nan", "1e400", "-1", "2025-03-04T06:10", "2025-03-30T02:30"]
CELLS = st.sampled_from([*WORDS, *NUMBERS, '"', 'a"b', "\n", "\0"])
ROWS = st.lists(st.lists(CELLS, max_size=13).map(",".join), max_size=12)
ANY_ROW = st.text(max_size=40)


@given(ROWS | st.lists(ANY_ROW, max_size=8), st.sampled_from([",", ";", "\t"]))
def test_every_row_is_accepted_a_duplicate_or_quarantined(tmp_path_factory, rows, delimiter):
    text = "\n".join((HEADER, *rows)).replace(",", delimiter)
    log = read_or_refused(tmp_path_factory.mktemp("rows"), text.encode())
    if isinstance(log, str):
        assert "--dates" in log or ("\0" in text and "not text" in log)
        return

    count = log.rows
    assert count.accepted + count.duplicate + count.quarantined == count.read
    assert sum(len(stream) for stream in log.streams.values()) == count.accepted
    assert len(log.quarantine) == count.quarantined
    assert all(row.reason for row in log.quarantine)


@given(st.binary(max_size=200) | st.binary(max_size=80).map(lambda data: HEADER.encode() + b"\n" + data))
def test_any_bytes_are_read_or_refused_in_one_line(tmp_path_factory, data):
    log = read_or_refused(tmp_path_factory.mktemp("bytes"), data)

    if isinstance(log, str):
        assert "\n" not in log
    else:
        assert log.rows.accepted + log.rows.duplicate + log.rows.quarantined == log.rows.read


def read_or_refused(folder, data: bytes) -> CheckLog | str:
    """Return the log in `data`, or the words it is refused with; anything else that is raised fails the test."""
    try:
        return read_text(folder, data)
    except LogError as refusal:
        return str(refusal)


def test_a_small_log_needs_neither_pandas_nor_scipy_nor_pint(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(CONTRACT)
    program = (
        "import sys; from spc.catalogue.load import starter; from spc.ingest.csv_log import read_log;"
        f"assert read_log({str(path)!r}, starter()).rows.accepted == 4;"
        "sys.exit(bool({'pandas', 'scipy', 'pint'} & set(sys.modules)))"
    )

    ran = subprocess.run([sys.executable, "-c", program], check=False, cwd=Path(__file__).parent.parent.parent)

    assert ran.returncode == 0
