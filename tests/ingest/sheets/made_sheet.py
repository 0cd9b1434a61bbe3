"""A sheet of the corpus: read from its description (TOML), written to a file as people have it.

A description holds what the sheet is about, its text (`csv`) or its rows (`rows`, `tabs`) with merged cells, number
formats and failed formulas, a layout, and what has to come out of reading it.
"""

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from openpyxl.worksheet.worksheet import Worksheet

FOLDER = Path(__file__).parent
NAMES = sorted(path.stem for path in FOLDER.glob("*.toml"))


@dataclass(frozen=True, slots=True)
class MadeSheet:
    """A sheet and its layout as files, and its description."""

    sheet: Path
    layout: Path
    about: dict[str, Any]
    cells: int  # that the file holds


def made_sheet(name: str, folder: Path) -> MadeSheet:
    """Write the sheet `name` of the corpus and its layout into `folder`."""
    about = tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"))
    layout = folder / "layout.toml"
    layout.write_text(about["layout"], encoding="utf-8")
    sheet, cells = _text(about, folder) if "csv" in about else _workbook(about, folder)
    return MadeSheet(sheet, layout, about, cells)


def _text(about: dict[str, Any], folder: Path) -> tuple[Path, int]:
    sheet = folder / "sheet.csv"
    sheet.write_bytes(about["csv"].encode(about.get("encoding", "utf-8")))
    return sheet, -1  # how many cells a broken row has is a matter of reading it


def _workbook(about: dict[str, Any], folder: Path) -> tuple[Path, int]:
    book = openpyxl.Workbook()
    if about.get("epoch") == 1904:
        book.epoch = CALENDAR_MAC_1904
    first = book.worksheets[0]
    _fill(first, about["rows"])
    for span in about.get("merged", []):
        first.merge_cells(span)
    for place, form in about.get("formats", {}).items():
        first[place].number_format = form
    for place, text in about.get("errors", {}).items():
        first[place].value, first[place].data_type = text, "e"
    for place, formula in about.get("formulas", {}).items():
        first[place].value = formula
    for name, rows in about.get("tabs", {}).items():
        _fill(book.create_sheet(name), rows)
    sheet = folder / "sheet.xlsx"
    book.save(sheet)
    read = ["Sheet", *about.get("tabs", {})] if "sheets" in tomllib.loads(about["layout"]) else ["Sheet"]
    wanted = tomllib.loads(about["layout"]).get("sheets", read)
    return sheet, sum(book[name].max_row * book[name].max_column for name in wanted)


def _fill(tab: Worksheet, rows: list[list[Any]]) -> None:
    for row, cells in enumerate(rows, start=1):
        for column, value in enumerate(cells, start=1):
            if value != "":
                tab.cell(row, column, value)
