"""Every table of a report as CSV and XLSX; numbers stay numbers, and no cell becomes a formula.

A spreadsheet takes a cell that begins with = + - @, a tab or a carriage return for a formula or a command. Words that
begin so are written with an apostrophe before them in CSV, and as text in XLSX. Numbers are none of these: a negative
number is a number.
"""

import csv
import io
from pathlib import Path
from typing import Any

from spc.errors import SetupError, StoreError
from spc.report.document import Document, Table, Value, names_apart

STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\N{FULLWIDTH EQUALS SIGN}", "\N{FULLWIDTH PLUS SIGN}",
                    "\N{FULLWIDTH HYPHEN-MINUS}", "\N{FULLWIDTH COMMERCIAL AT}")  # fmt: skip
"""OWASP, "CSV Injection" (memory): the ASCII ones; the wide forms are taken for them in some settings."""

LONGEST_CELL = 32_767
"""Letters that a cell of a workbook holds."""


def defused(value: Value) -> Value:
    """Return a cell that no spreadsheet takes for a formula: words that would be one get an apostrophe before them."""
    if isinstance(value, str) and value.lstrip(" ").startswith(STARTS_A_FORMULA):
        return "'" + value
    return value


def table_csv(table: Table) -> str:
    """Return a table as CSV, in UTF-8 once encoded."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([defused(column) for column in table.columns])
    writer.writerows([_csv_cell(value) for value in row] for row in table.rows)
    return text.getvalue()


def _csv_cell(value: Value) -> str:
    if value is None:
        return ""
    return repr(value) if isinstance(value, float) else str(defused(value))


def table_xlsx(table: Table) -> bytes:
    """Return a table as a workbook of one sheet.

    Raises:
        SetupError: the library is missing; says how to get it.
    """
    try:
        from openpyxl import Workbook
        from openpyxl.cell import WriteOnlyCell
        from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
        from openpyxl.styles import Font
    except ImportError:
        raise SetupError("XLSX needs its library; install it: pip install 'mt-process-control[report]'") from None
    book = Workbook(write_only=True)
    sheet = book.create_sheet(_sheet_name(table.name))
    sheet.freeze_panes = "A2"

    def cell(value: Value, *, bold: bool = False) -> Any:
        kept = value
        if isinstance(kept, str):
            kept = ILLEGAL_CHARACTERS_RE.sub("", str(defused(kept)))[:LONGEST_CELL]
        made = WriteOnlyCell(sheet, kept)
        if isinstance(kept, str):
            made.data_type = "s"  # words, whatever they begin with
        if bold:
            made.font = Font(bold=True)
        return made

    sheet.append([cell(column, bold=True) for column in table.columns])
    for row in table.rows:
        sheet.append([cell(value) for value in row])
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def _sheet_name(name: str) -> str:
    return name[:31]


def write_tables(document: Document, folder: Path) -> int:
    """Write every table of a report into a folder, as NAME.csv and NAME.xlsx; return how many tables.

    Raises:
        StoreError: the folder cannot be written.
        SetupError: the library for workbooks is missing.
    """
    tables = list(document.tables())
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, table in zip(names_apart([table.name for table in tables]), tables, strict=True):
            (folder / f"{name}.csv").write_bytes(table_csv(table).encode("utf-8-sig"))
            (folder / f"{name}.xlsx").write_bytes(table_xlsx(table))
    except OSError as error:
        raise StoreError(f"{folder}: cannot be written ({error.strerror}); name another folder") from None
    return len(tables)
