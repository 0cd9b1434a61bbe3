"""The reader of large logs gives what the reader of every log gives: rows tidy or messy, in pieces of any size."""

import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.arrays import shared
from spc.errors import LogError
from spc.ingest import large_log
from spc.ingest.csv_log import read_log
from spc.ingest.large_log import ColumnarTable, is_large, read_large_log
from spc.ingest.log_file import read_log_file
from tests.ingest.made_log import CATALOGUE, CONTRACT, HEADER, ZONE, contents

TIMES = (
    "2025-03-04T06:10", "2025-03-04 06:10", "2025-03-04T06:10:30", "2025-03-04T06:10:00+01:00", "2025-03-30T02:30",
    "2025-10-26T02:30", "2025-02-30T06:10", "20250304T0610", "2025-03-04", "", "soon", "2025-03-04T24:00",
    " 2025-03-04T06:10",    "2025-03-04T06:1ö", "2025-03-04T06:10\u221201:00",
)  # fmt: skip
VALUES = (
    "0.21", "0,21", "<0.05", "> 5000", "not run", "shown", "1,200", "1.2.3", "", "-1", "1e400", "nan", '"0.2"', '"0,2"',
    '0.2"', '"0.2', '"a ""b"" c"', "\u22120.2", "\x00", "1.234,5", "2.450", "2,450",
)  # fmt: skip
CHECKS = ("bath_concentration", "uva_irradiance", "ammeter", "notched_shim", "Bath Concentration", "unknown", "")
UNITS = ("", "mL/100mL", "uW/cm2", "mW/cm2", "A", "%", "furlong")
ENDS = ("ktl,A,", "ktl,A,after cleaning", 'ktl,A,"topped up, stirred"', "ktl,A,née", "ktl,A", "ktl,A,,", "", '"ktl,A,x')


LONG_ROW = f"2025-03-04T06:10,Line A,bath_concentration,tank,0.2,,,,,,{'x' * 1024}\n"
"""Keeps a NUL out of the start of the file, where it would tell that the file is no text."""


def messy_rows(rng: random.Random, n: int, share: float) -> str:
    """Return `n` rows, a `share` of them with something out of the ordinary in each cell."""
    rows = []
    for i in range(n):
        odd = rng.random() < share
        at = rng.choice(TIMES) if odd else f"2025-03-{1 + i % 28:02}T{i % 24:02}:{rng.randint(0, 59):02}"
        check, value = (rng.choice(CHECKS), rng.choice(VALUES)) if odd else (CHECKS[0], f"0.{rng.randint(15, 25)}")
        unit, end = (rng.choice(UNITS), rng.choice(ENDS)) if odd else ("mL/100mL", "ktl,A,")
        rows.append(f"{at},Line {rng.randint(1, 3)},{check},tank,{value},,{unit},tube-{i % 3},{end}")
        if odd and rng.random() < 0.2:
            rows.append(rng.choice(["", "  ", "x", rows[-1]]))
    return "\n".join(rows) + rng.choice(["", "\n"])


def compared(path, piece=large_log.PIECE, **how):
    """Read a file by both readers and hold them equal; return what the one for large logs says."""
    plain, large = (
        read_log(path, CATALOGUE, zone=ZONE, **how),
        read_large_log(path, CATALOGUE, zone=ZONE, piece=piece, **how),
    )
    assert contents(large) == contents(plain)
    assert replace(large, streams={}) == replace(plain, streams={})
    return large


@settings(max_examples=120)
@given(
    st.integers(0, 2**32),
    st.integers(0, 60),
    st.sampled_from([0.0, 0.05, 0.5, 1.0]),
    st.integers(1, 4000),
    st.sampled_from(",;\t"),
)
def test_both_readers_say_the_same_of_any_log(tmp_path_factory, seed, n, share, piece, delimiter):
    path = tmp_path_factory.mktemp("logs") / "log.csv"
    rows = messy_rows(random.Random(seed), n, share)
    path.write_text(f"{HEADER}\n{LONG_ROW}{rows}".replace(",", delimiter), encoding="utf-8", newline="")

    log = compared(path, piece)

    assert log.rows.read == log.rows.accepted + log.rows.duplicate + log.rows.quarantined


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_however_it_is_written_down(tmp_path, encoding, end):
    path = tmp_path / "log.csv"
    text = CONTRACT.replace("after cleaning", "après nettoyage").replace("\n", end)
    path.write_bytes(text.encode(encoding))

    assert compared(path, 50).rows.accepted == 4


@pytest.mark.parametrize("piece", [1, 7, 50, 4000])
def test_a_byte_order_mark_inside_is_no_row_and_no_part_of_one(tmp_path, piece):
    path = tmp_path / "log.csv"
    first, *rows = CONTRACT.splitlines(keepends=True)
    path.write_text(first + "".join("\ufeff" + row + "\ufeff\n" for row in rows) + "\ufeff", encoding="utf-8")

    assert compared(path, piece).rows.read == 4


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_whatever_parts_its_cells(tmp_path, delimiter):
    path = tmp_path / "log.csv"
    path.write_text(CONTRACT.replace(",", delimiter).replace("0.21", "0,21"))

    assert compared(path).rows.accepted == 4


def test_dates_in_a_form_that_is_named(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(CONTRACT.replace("2025-03-04T", "4/3/25 "))

    assert compared(path, dates="dmy").rows.accepted == 4


@pytest.mark.parametrize(
    "text",
    ["", "a,b\n1,2\n", "PK\x03\x04rest", f"{HEADER}\n4/3/25 06:10,Line A,bath_concentration,tank,0.2,,,,,,\n"],
    ids=["empty", "no column", "a workbook", "dates to be named"],
)
def test_both_refuse_in_the_same_words(tmp_path, text):
    path = tmp_path / "log.csv"
    path.write_text(text)
    with pytest.raises(LogError) as plain:
        read_log(path, CATALOGUE, zone=ZONE)
    with pytest.raises(LogError) as large:
        read_large_log(path, CATALOGUE, zone=ZONE)

    assert str(large.value) == str(plain.value)


def test_a_missing_file_is_refused(tmp_path):
    with pytest.raises(LogError, match="there is no such file"):
        read_large_log(tmp_path / "none.csv", CATALOGUE, zone=ZONE)


def test_tidy_rows_are_split_by_column_and_faulty_ones_line_by_line(tmp_path, monkeypatch):
    by_line = []
    plain = ColumnarTable._split_lines

    def told(*args, **how):
        by_line.append(args[1])
        return plain(*args, **how)

    monkeypatch.setattr(ColumnarTable, "_split_lines", told)
    path = tmp_path / "log.csv"

    path.write_text(f"{HEADER}\n{messy_rows(random.Random(1), 500, 0.0)}")
    compared(path)
    assert by_line == []

    path.write_text(f"{HEADER}\n{messy_rows(random.Random(1), 500, 0.5)}")
    compared(path)
    assert by_line != []


def test_a_log_is_read_by_its_size(tmp_path, monkeypatch):
    path = tmp_path / "log.csv"
    path.write_text(CONTRACT)
    assert not is_large(path)
    monkeypatch.setattr(large_log, "LARGE", 10)

    assert is_large(path)
    assert contents(read_log_file(path, CATALOGUE, zone=ZONE)) == contents(read_log(path, CATALOGUE, zone=ZONE))
    assert not is_large(tmp_path / "none.csv")


def test_a_column_of_one_value_takes_no_room():
    one, nan, words = (shared(np.array([each] * 9)) for each in (2.5, np.nan, "A"))
    mixed = np.array([1.0, 2.0, 1.0])

    assert one.strides == nan.strides == words.strides == (0,)
    assert one.tolist() == [2.5] * 9
    assert np.isnan(nan).all()
    assert not one.flags.writeable
    assert shared(mixed) is mixed
