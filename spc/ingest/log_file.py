"""A check log in whatever file it is kept: text or workbook, one reading a row or a sheet with a column a check."""

from datetime import tzinfo
from pathlib import Path

from spc.catalogue.check import Catalogue
from spc.ingest.csv_log import CheckLog, read_log
from spc.ingest.large_log import is_large, read_large_log


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
    with_workbook = str(path).casefold().endswith((".xlsx", ".xlsm", ".xls"))
    if with_workbook:
        from spc.ingest.xlsx_log import is_workbook, read_tidy_workbook

        if is_workbook(path):
            return read_tidy_workbook(path, catalogue, zone=zone, dates=dates)
    if is_large(path):
        return read_large_log(path, catalogue, zone=zone, dates=dates)
    return read_log(path, catalogue, zone=zone, dates=dates)
