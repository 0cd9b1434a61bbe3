import csv
import io

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from spc.errors import LogError
from spc.ingest import table
from spc.ingest.decoder import Decoder
from spc.ingest.table import TableReader

HEADER = "at,line,note\n"


def read(text: str):
    """Return (line number, cells) of every row, and (line number, text) of the faulty ones."""
    reader = TableReader("log.csv", known=("at", "line", "note"), required=("at", "line"))
    rows = reader.feed(text, final=True)
    assert rows is not None
    columns = [rows.times, *([column.texts[code] for code in column.codes] for column in rows.columns.values())]
    whole = list(zip(rows.number.tolist(), zip(*columns, strict=True), strict=True))
    return whole, [(fault.row, fault.text) for fault in rows.faults]


def test_rows_are_numbered_by_the_line_they_start_on():
    whole, faults = read(HEADER + "2025,A,x\n\n  \n2026,B,y\n")

    assert whole == [(2, ("2025", "A", "x")), (5, ("2026", "B", "y"))]
    assert faults == []


def test_lines_before_the_header_are_counted():
    assert read("\n\n" + HEADER + "2025,A,x")[0] == [(4, ("2025", "A", "x"))]


def test_a_quoted_cell_may_hold_delimiters_quotes_and_line_ends():
    whole, faults = read(HEADER + '2025,A,"one, ""two""\nthree"\n2026,B,y\n')

    assert whole == [(2, ("2025", "A", 'one, "two"\nthree')), (4, ("2026", "B", "y"))]
    assert faults == []


def test_a_quote_inside_a_bare_cell_is_text():
    assert read(HEADER + '2025,A,15" from the lamp\n')[0] == [(2, ("2025", "A", '15" from the lamp'))]


def test_a_multi_line_cell_in_front_of_the_time_is_one_row():
    whole, faults = read('note,at,line\n"one\ntwo",2025-01-01,A\n"three\nfour",2025-01-02,B\n')

    assert [number for number, _ in whole] == [2, 4]
    assert faults == []


@pytest.mark.parametrize(
    ("rows", "kept", "faulty"),
    [
        # The first quote is never closed; the rows below it are whole rows.
        (['2025-01-01,A,"after cleaning', "2025-01-02,A,x", "2025-01-03,A,y"], [3, 4], [2]),
        # A quote further down would close it, and swallow the rows between.
        (['2025-01-01,A,"after cleaning', "2025-01-02,A,x", '2025-01-03,A,"y"'], [3, 4], [2]),
        (['2025-01-01,A,"after cleaning', '2025-01-02,A,15"', "2025-01-03,A,y"], [3, 4], [2]),
        (['2025-01-01,A,"after cleaning', '2025-01-02,A,"again', "2025-01-03,A,y"], [4], [2, 3]),
        (['2025-01-01,"A,x', "2025-01-02,A,x"], [3], [2]),
        # At the end of the file nothing closes it.
        (["2025-01-01,A,x", '2025-01-02,A,"y'], [2], [3]),
        (["2025-01-01,A,x", '2025-01-02,A,"y', "z"], [2], [3, 4]),
        # Text after a closing quote.
        (['2025-01-01,A,"x"y', "2025-01-02,A,z"], [3], [2]),
        # Too short, too long, too long by empty cells.
        (["2025-01-01,A", "2025-01-02,A,x,y", "2025-01-03,A,x,", "2025-01-04,A,x"], [5], [2, 3, 4]),
        (["2025-01-01,A,\0", "2025-01-02,A,x"], [3], [2]),
    ],
)
def test_a_faulty_row_costs_itself_alone(rows, kept, faulty):
    whole, faults = read(HEADER + "\n".join(rows) + "\n")

    assert [number for number, _ in whole] == kept
    assert [number for number, _ in faults] == faulty


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_the_header_tells_what_parts_the_cells(delimiter):
    text = "at,line,note\n2025,A,x\n".replace(",", delimiter)

    assert read(text)[0] == [(2, ("2025", "A", "x"))]


def test_a_delimiter_in_the_header_of_another_is_part_of_a_name():
    reader = TableReader("log.csv", known=("at", "line"), required=("at", "line"))
    reader.feed("at;line;remarks, if any\n", final=True)

    assert reader.header is not None
    assert reader.header.names == ("at", "line", "remarks, if any")


def test_columns_without_a_name_are_named_by_their_place():
    reader = TableReader("log.csv", known=("at", "line"), required=("at", "line"))
    reader.feed("at,line,,\n", final=True)

    assert reader.header is not None
    assert reader.header.names == ("at", "line", "column 3", "column 4")


def test_an_unknown_name_that_stands_twice_is_kept_with_its_number():
    reader = TableReader("log.csv", known=("at", "line"), required=("at", "line"))
    rows = reader.feed("at,line,Lot no,lot-NO,lot no (2),,\n6:10,A,7,8,9,x,y\n", final=True)

    assert reader.header is not None
    assert reader.header.names == ("at", "line", "Lot no", "lot-NO (3)", "lot no (2)", "column 6", "column 7")
    assert rows is not None
    assert [column.texts for column in rows.columns.values()] == [["A"], ["7"], ["8"], ["9"], ["x"], ["y"]]


@pytest.mark.parametrize("first", ["sep=;", '"sep=;"', "SEP=;", "\ufeffsep=;", "\n\nsep=;"])
def test_a_line_that_says_what_parts_the_cells_is_no_header(first):
    reader = TableReader("log.csv", known=("at", "line"), required=("at", "line"))
    rows = reader.feed(f"{first}\nat;line\n6:10;A\n", final=True)

    assert reader.header is not None
    assert (reader.header.names, reader.header.delimiter, reader.header.after_sep) == (("at", "line"), ";", True)
    assert rows is not None
    assert rows.number.tolist() == [first.count("\n") + 3]


@pytest.mark.parametrize("second", ["sep=;\nat;line", "sep=x"])
def test_only_one_such_line_is_none(second):
    with pytest.raises(LogError, match="lacks the columns"):
        read(f"sep=;\n{second}\n")


@pytest.mark.parametrize(
    ("header", "says"),
    [
        ("at,note", "lacks the column line; found 'at', 'note'"),
        ("x", "lacks the columns at, line; found 'x'"),
        ("March 2025,,", "lacks the columns at, line"),
        ("at,line,LINE", "names the column 'line' more than once"),
        ('at,"line', "lacks the column line"),
    ],
)
def test_a_header_that_cannot_be_used_is_refused_in_one_line(header, says):
    with pytest.raises(LogError, match=says) as refusal:
        read(header + "\n")

    assert "\n" not in str(refusal.value)


CELL = st.text(st.sampled_from(' ab",;\n0-'), max_size=4)
ROW = st.tuples(st.sampled_from(["2025-01-01", "2026-12-31"]), CELL, CELL)


@given(
    st.lists(ROW, max_size=12), st.sampled_from([1, 40, 10_000]), st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL])
)
def test_what_a_csv_writer_writes_is_read_back(rows, block, quoting):
    written = io.StringIO()
    csv.writer(written, lineterminator="\n", quoting=quoting).writerows([("at", "line", "note"), *rows])
    before, table.BLOCK = table.BLOCK, block
    try:
        whole, faults = read(written.getvalue())
    finally:
        table.BLOCK = before

    assert [cells for _, cells in whole] == rows
    assert faults == []


@example('"\n"', 1)  # a cell over two lines in a row that is too short
@given(st.text(st.sampled_from('2025-,"\n ;x\0'), max_size=60), st.sampled_from([1, 7, 10_000]))
def test_every_line_of_any_text_is_in_a_row_or_a_fault(text, block):
    before, table.BLOCK = table.BLOCK, block
    try:
        whole, faults = read(HEADER + text)
    finally:
        table.BLOCK = before

    starts = sorted([number for number, _ in whole] + [number for number, _ in faults])
    lines = (HEADER + text).split("\n")
    covered = {start + extra for start, cells in whole for extra in range(sum(cell.count("\n") for cell in cells) + 1)}
    covered |= {start + extra for start, _ in faults for extra in range(lines_of_a_row(lines[start - 1 :]))}
    assert len(set(starts)) == len(starts)
    assert {number for number, line in enumerate(lines, 1) if line.strip()} - {1} <= covered


def lines_of_a_row(lines: list[str]) -> int:
    """Return how many lines the first row runs over, by the csv module; 1 where it knows no row there."""
    reader = csv.reader(io.StringIO("\n".join(lines)), strict=True)
    try:
        next(reader)
    except csv.Error:
        return 1
    return reader.line_num


SAMPLE = "at,line,note\r\n2025,Früh,5 °C µW\r\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
def test_every_encoding_gives_the_same_text(encoding):
    decoder = Decoder("log.csv")

    assert decoder.feed(SAMPLE.encode(encoding), final=True) == SAMPLE.replace("\r\n", "\n")
    assert decoder.windows_lines == (encoding == "cp1252")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_bytes_one_by_one_give_the_same_text(encoding, end):
    data = SAMPLE.replace("\r\n", end).encode(encoding)
    decoder = Decoder("log.csv")

    pieces = [decoder.feed(data[at : at + 1], final=False) for at in range(len(data))]
    pieces.append(decoder.feed(b"", final=True))

    assert "".join(pieces) == SAMPLE.replace("\r\n", "\n")
    assert all(piece == "" or piece.endswith("\n") for piece in pieces)


def test_a_file_of_two_encodings_is_read_line_by_line():
    decoder = Decoder("log.csv")

    assert decoder.feed("µ\n".encode() + "µ\n".encode("cp1252"), final=True) == "µ\nµ\n"
    assert decoder.windows_lines == 1


def test_bytes_of_no_encoding_are_shown_as_damaged():
    decoder = Decoder("log.csv")

    assert decoder.feed(b"a\x81b\nok\n", final=True) == "a\ufffdb\nok\n"
    assert decoder.damaged_lines == 1


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"PK\x03\x04\x14\x00\x06\x00", "workbook"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "not text"),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF", "not text"),
        (b"taken_at,line\0,check", "not text"),
    ],
)
def test_what_is_no_text_is_refused(data, says):
    with pytest.raises(LogError, match=says):
        Decoder("log.csv").feed(data, final=False)
