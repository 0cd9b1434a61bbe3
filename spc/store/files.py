"""Files into the store: a check log, an event file, or the folder of an export."""

import hashlib
from dataclasses import dataclass
from datetime import datetime, tzinfo
from pathlib import Path

from spc.catalogue.check import Catalogue
from spc.ingest.csv_log import CheckLog, file_bytes
from spc.ingest.event_log import EventLog, read_events
from spc.ingest.log_file import read_log_file
from spc.records import QuarantinedRow
from spc.store.intake import Progress, SourceFile
from spc.store.store import Added, Store
from spc.store.taken_over import take_over


@dataclass(frozen=True, slots=True)
class Imported:
    """What became of one file."""

    file: str
    what: str  # "readings", "events", "export"
    rows: Added
    quarantine: tuple[QuarantinedRow, ...]
    notes: tuple[str, ...]


def source_file(path: Path) -> SourceFile:
    """Return a file by its whole path and the digest of what is in it.

    Raises:
        LogError: it cannot be read.
    """
    return SourceFile(str(path.resolve()), hashlib.sha256(file_bytes(path)).hexdigest())


def import_log(
    store: Store,
    path: Path,
    catalogue: Catalogue,
    *,
    zone: tzinfo | None,
    dates: str | None,
    who: str,
    now: datetime,
    progress: Progress | None = None,
    layout: Path | None = None,
) -> Imported:
    """Add what is new of a check log, or of an export's folder; run again, it adds nothing.

    Raises:
        LogError: the log is refused as a whole.
        LayoutError: the layout of a sheet has a mistake, or the sheet is not as it says.
        StoreError: the folder holds no export, or the store refuses.
    """
    if path.is_dir():
        added = take_over(store, path, catalogue, who=who, now=now, progress=progress)
        return Imported(str(path), "export", added, (), ())
    file = source_file(path)
    log: CheckLog = read_log_file(path, catalogue, zone=zone, dates=dates, layout=layout)
    added = store.add_log(log, catalogue, file, who=who, now=now, progress=progress)
    return Imported(str(path), "readings", added, log.quarantine, log.notes)


def import_events(
    store: Store,
    path: Path,
    catalogue: Catalogue,
    *,
    zone: tzinfo | None,
    dates: str | None,
    who: str,
    now: datetime,
    final: bool = True,
) -> Imported:
    """Add what is new of an event file; all of it or nothing. `final`: see `read_events`."""
    file = source_file(path)
    log: EventLog = read_events(path, catalogue, zone=zone, dates=dates, final=final)
    added = store.add_events(log, file, who=who, now=now)
    return Imported(str(path), "events", added, log.quarantine, log.notes)
