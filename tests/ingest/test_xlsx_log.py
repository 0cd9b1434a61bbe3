"""Workbooks: tidy logs in a tab, what is no workbook, and what a cell shows beside its value."""

import random
import zipfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from spc.catalogue.load import starter
from spc.errors import LogError
from spc.ingest.csv_log import read_log
from spc.ingest.log_file import read_log_file
from spc.ingest.sheet import letters, place_of
from spc.ingest.xlsx_log import is_workbook, read_tabs

HEADER = ["taken_at", "line", "check", "position", "value", "note"]
ROWS: list[list[Any]] = [
    [datetime(2025, 3, 4, 6, 10), "Line A", "bath_concentration", "tank", 0.21, "first"],  # noqa: DTZ001
    ["2025-03-04T14:10", "Line A", "bath_concentration", "tank", "<0.1", None],
    [None] * 6,
    ["2025-03-04T22:10", "Line A", "bath_concentration", "tank", 0.1 + 0.2, None],
    ["2025-03-04T22:10", "Line A", "bath_concentration", "tank", 0.3, None],
    ["2025-03-05T06:10", "Line A", "uva_irradiance", "left", 2450, "a, b"],
    ["2025-03-05T06:20", "Line A", "uva_irradiance", "left", "broken", None],
]


def workbook(tmp_path: Path, tabs: dict[str, list[list[Any]]]) -> Path:
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for name, rows in tabs.items():
        tab = book.create_sheet(name)
        for row in rows:
            tab.append(row)
    path = tmp_path / "log.xlsx"
    book.save(path)
    return path


def test_a_tidy_log_in_a_tab_is_read_like_its_text(tmp_path):
    path = workbook(tmp_path, {"Cover": [["Line A"]], "Log": [HEADER, *ROWS]})

    log = read_log_file(path, starter(), zone=UTC)

    assert (log.rows.read, log.rows.accepted, log.rows.duplicate, log.rows.quarantined) == (6, 4, 1, 1)
    assert [(bad.row, bad.text) for bad in log.quarantine] == [(8, "broken")]
    concentration = next(r for key, r in log.streams.items() if key.check == "bath_concentration")
    assert concentration.value.tolist() == [0.21, 0.1, 0.3]
    assert concentration.row.tolist() == [2, 3, 5]
    assert "read from the tab 'Log' of the workbook" in log.notes
    assert "tabs not read: Cover" in log.notes


def test_the_same_log_as_text_gives_the_same_streams(tmp_path):
    path = workbook(tmp_path, {"Log": [HEADER, *ROWS]})
    text = tmp_path / "log.csv"
    lines = [",".join(HEADER)]
    for row in ROWS:
        cells = ["" if cell is None else cell for cell in row]
        first = cells[0].isoformat() if isinstance(cells[0], datetime) else cells[0]
        number = f"{cells[4]:.15g}" if isinstance(cells[4], float | int) else cells[4]
        lines.append(",".join([str(first), *map(str, cells[1:4]), number, f'"{cells[5]}"']) if any(cells) else "")
    text.write_text("\n".join(lines) + "\n")

    one, other = read_log_file(path, starter(), zone=UTC), read_log(text, starter(), zone=UTC)

    assert one.rows == other.rows
    assert one.streams.keys() == other.streams.keys()
    for key, readings in one.streams.items():
        assert readings.value.tolist() == other.streams[key].value.tolist()
        assert readings.taken_at.tolist() == other.streams[key].taken_at.tolist()
        assert readings.row.tolist() == other.streams[key].row.tolist()


def test_a_workbook_without_a_tidy_tab_says_how_to_go_on(tmp_path):
    path = workbook(tmp_path, {"March": [["Date", "Conc"], ["2025-03-04", 0.2]]})

    with pytest.raises(LogError, match=r"no tab of the workbook names the columns .* --layout"):
        read_log_file(path, starter(), zone=UTC)


def test_two_tidy_tabs_are_not_chosen_between(tmp_path):
    path = workbook(tmp_path, {"A": [HEADER, *ROWS], "B": [HEADER, *ROWS]})

    with pytest.raises(LogError, match="the tabs 'A', 'B' each name"):
        read_log_file(path, starter(), zone=UTC)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"PK\x03\x04 and nothing else", "damaged"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "old .xls form"),
    ],
)
def test_what_is_no_workbook_is_refused_in_one_line(data, says, tmp_path):
    path = tmp_path / "log.xlsx"
    path.write_bytes(data)

    with pytest.raises(LogError) as refusal:
        read_log_file(path, starter(), zone=UTC)

    assert says in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_an_archive_of_another_kind_is_refused(tmp_path):
    path = tmp_path / "log.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("content.xml", "<x/>")

    with pytest.raises(LogError, match="an archive, not a workbook"):
        read_tabs(path)


def test_a_workbook_cut_short_is_refused_wherever_it_is_cut(tmp_path):
    whole = workbook(tmp_path, {"Log": [HEADER, *ROWS]}).read_bytes()
    path = tmp_path / "cut.xlsx"
    for share in range(1, 20):
        path.write_bytes(whole[: len(whole) * share // 20])

        with pytest.raises(LogError):
            read_log_file(path, starter(), zone=UTC)


def test_a_workbook_damaged_anywhere_is_read_or_refused(tmp_path):
    whole = workbook(tmp_path, {"Log": [HEADER, *ROWS]}).read_bytes()
    rng = random.Random(20250304)
    path = tmp_path / "damaged.xlsx"
    refused = 0
    for _ in range(200):
        data = bytearray(whole)
        for _ in range(rng.randint(1, 4)):
            data[rng.randrange(len(data))] = rng.randrange(256)
        path.write_bytes(bytes(data))

        refused += refusal_of(path) != ""

    assert 0 < refused <= 200


def refusal_of(path: Path) -> str:
    """Return the refusal of a workbook in one line, "" where it is read; whatever else is raised fails the test."""
    try:
        read_tabs(path)
    except LogError as refusal:
        assert "\n" not in str(refusal)  # noqa: PT017 - what is raised is looked at, not that it is
        return str(refusal)
    return ""


def test_an_empty_workbook_is_refused_and_a_hidden_tab_is_named(tmp_path):
    with pytest.raises(LogError, match="no visible tab"):
        read_tabs(workbook(tmp_path, {"A": []}))

    book = openpyxl.Workbook()
    book.worksheets[0].append(["Date"])
    book.create_sheet("old").sheet_state = "hidden"
    book.save(tmp_path / "hidden.xlsx")

    assert "1 hidden tab was not read" in read_tabs(tmp_path / "hidden.xlsx")[0].notes


def test_a_missing_file_is_no_workbook_and_is_refused_as_missing(tmp_path):
    assert not is_workbook(tmp_path / "none.xlsx")
    with pytest.raises(LogError, match="no such file"):
        read_log_file(tmp_path / "none.xlsx", starter(), zone=UTC)


@pytest.mark.parametrize(
    ("place", "name"), [(0, "A"), (25, "Z"), (26, "AA"), (51, "AZ"), (52, "BA"), (701, "ZZ"), (702, "AAA")]
)
def test_columns_are_named_as_spreadsheets_name_them(place, name):
    assert letters(place) == name
    assert place_of(name) == place


@pytest.mark.parametrize("name", ["", "a", "A1", "AAAA", "1", "\u00c4"])
def test_what_is_no_name_of_a_column_is_none(name):
    assert place_of(name) is None
