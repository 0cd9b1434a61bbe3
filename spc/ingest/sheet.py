"""A sheet as a grid of cells, whichever file it stands in: nothing is interpreted here and nothing is left out."""

import csv
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

from spc.errors import LogError
from spc.ingest.csv_log import file_bytes
from spc.ingest.decisions import encoding_notes
from spc.ingest.decoder import Decoder
from spc.ingest.table import AFTER_QUOTE, DELIMITERS, MOST_COLUMNS, NEVER_CLOSED

LINES_WEIGHED = 400  # lines that tell what parts the cells
LINES_JOINED = 10  # lines that one quoted cell may run over

Kind = Literal["text", "number", "date", "time", "moment", "error"]
Span = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class Cell:
    """What stands in a cell: its text without spaces around it, and what the file says it is."""

    text: str
    kind: Kind = "text"


BLANK = Cell("")


@dataclass(frozen=True, slots=True)
class Sheet:
    """A grid of cells. Places count from 0, numbers of rows from 1 as people see them."""

    file: str
    tab: str  # "" in a text file
    rows: tuple[tuple[Cell, ...], ...]
    numbers: tuple[int, ...]  # line or row number of each
    delimiter: str  # what parts the cells of a text file; "" in a workbook
    merged: tuple[Span, ...] = ()  # top, left, bottom, right: places, inclusive
    faults: Mapping[int, str] = field(default_factory=dict)  # place of a row to why its cells cannot be told apart
    notes: tuple[str, ...] = ()

    @property
    def width(self) -> int:
        """Cells of the widest row."""
        return max((len(row) for row in self.rows), default=0)

    def cell(self, row: int, column: int) -> Cell:
        """Return one cell, blank where the row ends before it."""
        return self.rows[row][column] if column < len(self.rows[row]) else BLANK

    def spread(self, row: int, column: int) -> Cell:
        """Return one cell; inside merged cells, what is written in them."""
        for top, left, bottom, right in self.merged:
            if top <= row <= bottom and left <= column <= right:
                return self.cell(top, left)
        return self.cell(row, column)

    def is_blank(self, row: int) -> bool:
        """Return whether nothing stands in a row."""
        return not any(cell.text for cell in self.rows[row])


def letters(place: int) -> str:
    """Return the name of a column as spreadsheets give it: 0 is A, 26 is AA."""
    name = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        name = chr(ord("A") + rest) + name
    return name


def place_of(name: str) -> int | None:
    """Return the place of a column by its letters, or None if it is no name of one."""
    if not re.fullmatch("[A-Z]{1,3}", name):
        return None
    place = 0
    for letter in name:
        place = place * 26 + ord(letter) - ord("A") + 1
    return place - 1


def read_text_sheet(path: Path | str) -> Sheet:
    """Read a sheet saved as text.

    Raises:
        LogError: the file cannot be read, is no text, or holds nothing.
    """
    decoder = Decoder(str(path))
    sheet = sheet_of_text(decoder.feed(file_bytes(path), final=True), str(path))
    return replace(sheet, notes=encoding_notes(decoder, f"cells parted by {DELIMITERS[sheet.delimiter]}"))


def sheet_of_text(text: str, file: str) -> Sheet:
    """Return the sheet that a text holds; `file` is what messages call it.

    Raises:
        LogError: it holds nothing.
    """
    lines = text.lstrip("\ufeff").split("\n")
    while lines and not lines[-1].strip():
        lines.pop()
    if not lines:
        raise LogError(f"{file}: the file is empty; give a sheet with a header and a row for each shift")
    delimiter, width = _delimiter(lines)
    if width > MOST_COLUMNS:
        raise LogError(
            f"{file}: {width:,} columns, and no more than {MOST_COLUMNS:,} are read; give the log's sheet alone"
        )
    rows, numbers, faults = _rows(lines, delimiter, width)
    return Sheet(file, "", tuple(rows), tuple(numbers), delimiter, faults=faults)


def _delimiter(lines: Sequence[str]) -> tuple[str, int]:
    """Return what parts the cells, and into how many: the delimiter that most lines hold equally often."""

    def weight(delimiter: str) -> tuple[int, int]:
        counts = Counter(_cells_in(line, delimiter) for line in lines[:LINES_WEIGHED] if line.strip())
        counts.pop(1, None)
        return max(((lines, cells) for cells, lines in counts.items()), default=(0, 1))

    delimiter = max(DELIMITERS, key=weight)
    return delimiter, weight(delimiter)[1]


def _cells_in(line: str, delimiter: str) -> int:
    try:
        return len(next(csv.reader([line], delimiter=delimiter, strict=True), []))
    except csv.Error:
        return line.count(delimiter) + 1


def _rows(lines: Sequence[str], delimiter: str, width: int) -> tuple[list[tuple[Cell, ...]], list[int], dict[int, str]]:
    """Return rows, their line numbers, and why the cells of some cannot be told apart."""
    rows: list[tuple[Cell, ...]] = []
    numbers: list[int] = []
    faults: dict[int, str] = {}
    at = 0
    while at < len(lines):
        cells, taken, fault = _row(lines, at, delimiter, width)
        if fault:
            faults[len(rows)] = fault
        rows.append(tuple(Cell(" ".join(cell.split())) for cell in cells))
        numbers.append(at + 1)
        at += taken
    return rows, numbers, faults


def _row(lines: Sequence[str], at: int, delimiter: str, width: int) -> tuple[list[str], int, str]:
    """Return the cells of the row that starts at line `at`, how many lines it takes, and what is wrong with it."""
    line = lines[at]
    if "\0" in line:
        reason = "the row holds NUL characters: the file is damaged here; write the row again"
        return line.replace("\0", "\ufffd").split(delimiter), 1, reason
    if '"' not in line:
        return line.split(delimiter), 1, ""
    for taken in range(1, LINES_JOINED + 1):
        text = "\n".join(lines[at : at + taken])
        try:
            cells = next(csv.reader([text], delimiter=delimiter, strict=True), [])
        except csv.Error as error:
            if "unexpected end of data" not in str(error):
                return line.split(delimiter), 1, AFTER_QUOTE if taken == 1 else NEVER_CLOSED
            continue
        if taken == 1 or len(cells) == width:
            return cells, taken, ""
        break
    return line.split(delimiter), 1, NEVER_CLOSED
