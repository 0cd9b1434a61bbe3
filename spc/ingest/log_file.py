"""A check log in whatever file it is kept: text or workbook, one reading a row or a sheet with a column a check."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path
from typing import Protocol

from spc.catalogue.check import Catalogue
from spc.ingest.csv_log import CheckLog, read_log
from spc.ingest.large_log import is_large, read_large_log

WORKBOOKS = (".xlsx", ".xlsm", ".xls")


class Reader(Protocol):
    """Reads a log of one reading a row."""

    def __call__(self, path: Path | str, catalogue: Catalogue, *, zone: tzinfo | None, dates: str | None) -> CheckLog:
        """Return the log; LogError where it is refused as a whole."""
        ...


@dataclass(frozen=True, slots=True)
class Format:
    """A form that a log of one reading a row may be kept in."""

    name: str
    fits: Callable[[Path | str], bool]  # whether a file is of it; a file that cannot be looked at is not
    read: Reader


def _is_workbook(path: Path | str) -> bool:
    if not str(path).casefold().endswith(WORKBOOKS):
        return False
    from spc.ingest.xlsx_log import is_workbook

    return is_workbook(path)


def _read_workbook(path: Path | str, catalogue: Catalogue, *, zone: tzinfo | None, dates: str | None) -> CheckLog:
    from spc.ingest.xlsx_log import read_tidy_workbook

    return read_tidy_workbook(path, catalogue, zone=zone, dates=dates)


FORMATS = (
    Format("workbook", _is_workbook, _read_workbook),
    Format("large text", is_large, read_large_log),
    Format("text", lambda path: True, read_log),
)
"""Every form, the first that fits a file reads it.

To read another: a module `spc/ingest/NAME_log.py` and a row here. Its reader hands the rows, as lines of text under a
header, to `csv_log.LogReader`, so that every rule of a log holds for it (as `xlsx_log.read_tidy_workbook` does); what
it cannot read it hands on as a row that the rules refuse, and it keeps the line that each row stood on.
"""


def read_log_file(
    path: Path | str,
    catalogue: Catalogue,
    *,
    zone: tzinfo | None = None,
    dates: str | None = None,
    layout: Path | str | None = None,
) -> CheckLog:
    """Read a check log: through its layout if one is given, else as one reading a row.

    Args:
        path: text (see `csv_log.read_log`) or a workbook (.xlsx).
        catalogue: the checks that may occur in it.
        zone: zone of times written without an offset; None for the machine's.
        dates: form of dates that are not ISO 8601; what the layout says comes first.
        layout: layout file of a wide sheet (TOML).

    Raises:
        LogError: the log is refused as a whole.
        LayoutError: the layout has a mistake, or the sheet is not as it says.
    """
    if layout is not None:
        from spc.ingest.layouts import load_layout
        from spc.ingest.wide import read_wide

        return read_wide(path, catalogue, load_layout(layout, catalogue), zone=zone, dates=dates)
    form = next(form for form in FORMATS if form.fits(path))
    return form.read(path, catalogue, zone=zone, dates=dates)
