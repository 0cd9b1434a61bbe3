"""What the page of rows asks."""

from pathlib import Path

from dashboard.queries.words import count
from dashboard.views import RowsPage
from spc.watch import Snapshot


def rows_page(snapshot: Snapshot) -> RowsPage:
    """Return the rows that could not be read, and what was decided in reading."""
    scan = snapshot.scan
    bad = (*scan.log.quarantine, *(scan.events.quarantine if scan.events else ()))
    rows = scan.log.rows
    return RowsPage(
        file=str(scan.log.file),
        rows=tuple((Path(row.file).name, str(row.row), row.column, row.text, row.reason) for row in reversed(bad)),
        notes=(
            *scan.log.notes,
            *(scan.events.notes if scan.events else ()),
            *scan.notes_of_names,
            *scan.notes_of_catalogue,
            *scan.notes_of_events,
            *((snapshot.lost,) if snapshot.lost else ()),
        ),
        counted=f"{count(rows.read)} rows read: {count(rows.accepted)} accepted, {count(rows.duplicate)} "
        f"duplicate, {count(rows.quarantined)} quarantined.",
    )
