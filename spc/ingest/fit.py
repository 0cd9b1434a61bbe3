"""Whether a sheet is as its layout says: its tabs, its headers, and a use for every column."""

from pathlib import Path

from spc.errors import LayoutError
from spc.ingest.layouts import Layout
from spc.ingest.sheet import Sheet, letters, read_text_sheet
from spc.ingest.table import plain_name
from spc.ingest.xlsx_log import is_workbook, read_tabs

WORDS_BETWEEN = " / "


def read_sheets(path: Path | str) -> tuple[Sheet, ...]:
    """Return every sheet in a file: the tabs of a workbook, or the one of a text file.

    Raises:
        LogError: the file cannot be read, or holds nothing.
    """
    return read_tabs(path) if is_workbook(path) else (read_text_sheet(path),)


def sheets_of(path: Path | str, layout: Layout) -> tuple[Sheet, ...]:
    """Return the sheets that a layout is for.

    Raises:
        LogError: the file cannot be read.
        LayoutError: the layout names a tab that is not there, or none of several.
    """
    sheets = read_sheets(path)
    names = [sheet.tab for sheet in sheets]
    if layout.sheets and not sheets[0].tab:
        raise LayoutError(f"{layout.file}: sheets: {path} is no workbook and has no tabs; take sheets out")
    if not layout.sheets and len(sheets) > 1:
        raise LayoutError(f"{layout.file}: sheets: {path} has the tabs {', '.join(names)}; name those to read")
    gone = [name for name in layout.sheets if name not in names]
    if gone:
        raise LayoutError(f"{layout.file}: sheets: {path} has no tab {gone[0]!r} with anything in it; "
                          f"there is {', '.join(names)}")  # fmt: skip
    return tuple(sheet for sheet in sheets if not layout.sheets or sheet.tab in layout.sheets)


def body_of(sheet: Sheet, layout: Layout) -> range:
    """Return the places of the rows that hold readings.

    Raises:
        LayoutError: the sheet ends before they start.
    """
    first = next((at for at, number in enumerate(sheet.numbers) if number >= layout.first_row), len(sheet.rows))
    last = len(sheet.rows) - 1
    if layout.last_row is not None:
        last = max((at for at, number in enumerate(sheet.numbers) if number <= layout.last_row), default=-1)
    if layout.header[-1] > (sheet.numbers[-1] if sheet.numbers else 0):
        raise LayoutError(
            f"{layout.file}: header: {_named(sheet)} ends at row {sheet.numbers[-1]}; write the row of its header"
        )
    return range(first, last + 1)


def header_text(sheet: Sheet, layout: Layout, column: int) -> str:
    """Return what the header says of a column, its rows joined; what merged cells say counts for each of them."""
    places = [at for at, number in enumerate(sheet.numbers) if number in layout.header]
    texts = [sheet.spread(at, column).text for at in places]
    return WORDS_BETWEEN.join(dict.fromkeys(text for text in texts if text))


def refuse_other_headers(sheet: Sheet, layout: Layout) -> None:
    """Refuse a sheet whose headers are not those that the layout was made for: a column may have moved."""
    for place, wanted in layout.headers.items():
        found = header_text(sheet, layout, place)
        if plain_name(found) != plain_name(wanted):
            raise LayoutError(
                f"{layout.file}: headers.{letters(place)}: {_named(sheet)} says {found[:60]!r} there, the layout "
                f"{wanted[:60]!r}; correct the columns of the layout, or make one for this sheet"
            )


def columns_with_a_use(sheet: Sheet, layout: Layout) -> int:
    """Return how many columns the header spans; refuse a column with a header that the layout does not name."""
    used = {*layout.roles(), *layout.ignore, *(column.at for column in layout.columns)}
    for place in range(sheet.width):
        if place not in used and header_text(sheet, layout, place):
            raise LayoutError(
                f"{layout.file}: column: {label(sheet, layout, place)} of {_named(sheet)} has no use; "
                f'write a [[column]] for it, or ignore = ["{letters(place)}"]'
            )
    named = [place for place in range(sheet.width) if header_text(sheet, layout, place)]
    beyond = [place for place in used if place >= max(sheet.width, 1)]
    if beyond:
        raise LayoutError(
            f"{layout.file}: column: {_named(sheet)} has no column {letters(max(beyond))}; correct the letters"
        )
    return max((*named, *used), default=0) + 1


def label(sheet: Sheet, layout: Layout, column: int) -> str:
    """Return the name of a column as people find it: its letters and its header."""
    header = header_text(sheet, layout, column)
    return f"{letters(column)} ({header[:60]})" if header else letters(column)


def _named(sheet: Sheet) -> str:
    return f"{sheet.file}, tab {sheet.tab!r}" if sheet.tab else sheet.file
