"""Workbooks: each visible tab as a sheet of cells, and a tidy log kept in one."""

import csv
import io
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta, tzinfo
from pathlib import Path

from spc.catalogue.check import Catalogue
from spc.errors import LogError
from spc.ingest.cell_marks import Marks, marks_of
from spc.ingest.csv_log import CheckLog, LogReader, file_bytes
from spc.ingest.decoder import WORKBOOK
from spc.ingest.sheet import BLANK, Cell, Sheet, Span
from spc.ingest.table import plain_name
from spc.ingest.tidy import REQUIRED

OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"
SAVE_AS = "save it as .xlsx or its sheet as CSV and give that file"


def is_workbook(path: Path | str) -> bool:
    """Return whether a file starts like a workbook; False where it cannot be read."""
    try:
        with Path(path).open("rb") as file:
            return file.read(4) in (WORKBOOK, OLD_WORKBOOK)
    except (OSError, ValueError):
        return False


def read_tabs(path: Path | str) -> tuple[Sheet, ...]:
    """Return the visible tabs of a workbook that hold anything, in their order.

    Raises:
        LogError: the file is no workbook that can be read, or every tab is empty.
    """
    data = file_bytes(path)
    if data.startswith(OLD_WORKBOOK):
        raise LogError(f"{path}: a workbook of the old .xls form, or one under a password; {SAVE_AS}")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            is_sheets = "xl/workbook.xml" in archive.namelist()
            marks = marks_of(archive) if is_sheets else {}
        raw, hidden = _raw_tabs(data) if is_sheets else ([], 0)
    except Exception as error:  # whatever a damaged archive, its XML or its numbers bring up
        problem = " ".join(str(error).split()) or type(error).__name__
        raise LogError(f"{path}: the workbook is damaged ({problem}); save it anew and give that file") from None
    if not is_sheets:
        raise LogError(f"{path}: an archive, not a workbook of the .xlsx form; {SAVE_AS}")
    tabs = [_tab(str(path), each, marks.get(each.name, Marks())) for each in raw]
    filled = [tab for tab in tabs if tab.rows]
    if not filled:
        raise LogError(f"{path}: no visible tab of the workbook holds anything; give the workbook with the log")
    note = (f"{hidden} hidden tab{'s were' if hidden > 1 else ' was'} not read",) if hidden else ()
    return tuple(replace(tab, notes=(*tab.notes, *note)) for tab in filled)


@dataclass(frozen=True, slots=True)
class _RawTab:
    """A tab as the library gives it."""

    name: str
    values: Sequence[Sequence[object]]
    merged: tuple[Span, ...]


def _raw_tabs(data: bytes) -> tuple[list[_RawTab], int]:
    """Return the visible tabs, and how many are hidden."""
    import python_calamine as calamine

    with calamine.CalamineWorkbook.from_filelike(io.BytesIO(data)) as book:
        visible = [about.name for about in book.sheets_metadata if about.visible == calamine.SheetVisibleEnum.Visible]
        tabs = []
        for name in visible:
            sheet = book.get_sheet_by_name(name)
            merged = tuple((*start, *end) for start, end in sheet.merged_cell_ranges or [])
            tabs.append(_RawTab(name, sheet.to_python(skip_empty_area=False), merged))
        return tabs, len(book.sheet_names) - len(visible)


def _tab(file: str, raw: _RawTab, marks: Marks) -> Sheet:
    rows = [
        tuple(_cell(value, marks, row, column) for column, value in enumerate(values))
        for row, values in enumerate(raw.values)
    ]
    while rows and not any(cell.text for cell in rows[-1]):
        rows.pop()
    return Sheet(
        file=file,
        tab=raw.name,
        rows=tuple(rows),
        numbers=tuple(range(1, len(rows) + 1)),
        delimiter="",
        merged=raw.merged,
        notes=(f"read from the tab {raw.name!r} of the workbook",),
    )


def _cell(value: object, marks: Marks, row: int, column: int) -> Cell:
    """Return a cell as people see it; a share formatted as percent is written as one."""
    place = (row, column)
    if place in marks.errors:
        return Cell(marks.errors[place], "error")
    match value:
        case bool():
            return Cell("TRUE" if value else "FALSE")
        case int() | float():
            if place in marks.percent:
                return Cell(f"{value * 100:.12g}%", "number")
            return Cell(_digits(float(value)), "number")
        case datetime():
            return Cell(value.replace(tzinfo=None).isoformat(), "moment")
        case date():
            return Cell(value.isoformat(), "date")
        case time():
            return Cell(value.isoformat(), "time")
        case timedelta():
            return Cell(str(value), "time")
        case _:
            text = " ".join(str(value).split())
            return Cell(text) if text else BLANK


def _digits(value: float) -> str:
    """Return a number without digits that only its binary form has: 0.1 + 0.2 is 0.3."""
    return f"{value:.15g}"


def read_tidy_workbook(path: Path | str, catalogue: Catalogue, *, zone: tzinfo | None, dates: str | None) -> CheckLog:
    """Read a log of one reading a row out of the one tab of a workbook that holds such a log.

    Raises:
        LogError: as `read_tabs` and `csv_log.read_log`; or no tab, or several, name the required columns.
    """
    tabs = read_tabs(path)
    tidy = [tab for tab in tabs if _is_tidy(tab)]
    if len(tidy) != 1:
        found = ", ".join(repr(tab.tab) for tab in tidy)
        which = f"the tabs {found} each name" if tidy else "no tab of the workbook names"
        raise LogError(
            f"{path}: {which} the columns {', '.join(REQUIRED)}; keep one reading a row in one tab, or for a sheet "
            "with a column for each check write a layout (`spc layout` proposes one) and give it with --layout"
        )
    tab = tidy[0]
    log = LogReader(path, catalogue, zone=zone, dates=dates).feed(_as_text(tab.rows), final=True)
    others = [other.tab for other in tabs if other is not tab]
    unread = (f"tabs not read: {', '.join(others)}",) if others else ()
    return replace(log, notes=(*tab.notes, *unread, *log.notes[1:]))


def _is_tidy(tab: Sheet) -> bool:
    first = next(row for row in tab.rows if any(cell.text for cell in row))
    return {plain_name(name) for name in REQUIRED} <= {plain_name(cell.text) for cell in first}


def _as_text(rows: Iterable[tuple[Cell, ...]]) -> bytes:
    """Return the rows as lines of a text log, a blank line for a blank row."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    for row in rows:
        if any(cell.text for cell in row):
            writer.writerow([cell.text for cell in row])
        else:
            text.write("\n")
    return text.getvalue().encode("utf-8")
