"""A tidy check log: one reading a row, read whole or as it grows; every row is accepted, a duplicate or quarantined."""

import stat
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import tzinfo
from pathlib import Path

from spc.catalogue.check import Catalogue
from spc.errors import LogError
from spc.ingest.dates import TimeReader, Times, machine_zone
from spc.ingest.decisions import Decisions, notes
from spc.ingest.decoder import Decoder
from spc.ingest.streams import join_streams
from spc.ingest.table import SHOWN, Fault, Rows, TableReader
from spc.ingest.tidy import COLUMNS, REQUIRED, TIME, Cleaned, clean_rows
from spc.records import BlankCell, CellCount, QuarantinedRow, Readings, Remark, RowCount, StreamKey
from spc.told import Told

DATES_NEEDED = (
    "is not ISO 8601 and its order is not guessed; "
    "give --dates dmy, --dates mdy or a strptime pattern such as --dates '%d %b %Y %H:%M'"
)
OTHERWISE = "; for a sheet with a column for each check, `spc layout` proposes a layout to give with --layout"


@dataclass(frozen=True, slots=True)
class CheckLog(Told):
    """A check log as read."""

    rows: RowCount
    quarantine: tuple[QuarantinedRow, ...]  # in file order
    streams: Mapping[StreamKey, Readings]  # accepted readings, "not run" among them
    notes: tuple[str, ...]  # everything that was converted or decided, a sentence each
    zone: tzinfo  # of times written without an offset
    file: str
    cells: CellCount | None = None  # of a sheet read through a layout; `rows` then counts its readings
    blanks: tuple[BlankCell, ...] = ()  # of such a sheet
    remarks: tuple[Remark, ...] = ()  # of such a sheet, those of rows without readings too


def read_log(
    path: Path | str, catalogue: Catalogue, *, zone: tzinfo | None = None, dates: str | None = None
) -> CheckLog:
    """Read a whole check log.

    Args:
        path: a tidy check log: UTF-8, UTF-16 or Windows-1252, parted by commas, semicolons or tabs.
        catalogue: the checks that may occur in it.
        zone: zone of times written without an offset; None for the machine's.
        dates: "dmy", "mdy" or a strptime pattern for dates that are not ISO 8601.

    Raises:
        LogError: the file cannot be read, is empty or no text, lacks a column, or its dates need `dates`.
    """
    return LogReader(path, catalogue, zone=zone, dates=dates).feed(file_bytes(path), final=True)


class LogReader:
    """Reads a log in pieces of any size; what a row means never depends on the rows after it.

    A date that is not ISO 8601 while nothing names its form refuses the file. In a log that is followed (`goes_on`)
    and has other dates, it costs its own row alone: one slip must not end what everybody watches.
    """

    def __init__(
        self,
        path: Path | str,
        catalogue: Catalogue,
        *,
        zone: tzinfo | None = None,
        dates: str | None = None,
        goes_on: bool = False,
    ) -> None:
        self._goes_on, self._dated = goes_on, False
        self._file = str(path)
        self._catalogue = catalogue
        self._times = time_reader(self._file, zone, dates)
        self._decoder = Decoder(self._file)
        self._table = TableReader(self._file, known=COLUMNS, required=REQUIRED, otherwise=OTHERWISE)
        self._decisions = Decisions()
        self._accepted = self._duplicate = 0
        self._quarantine: list[QuarantinedRow] = []
        self._streams: dict[StreamKey, Readings] = {}

    @property
    def unfinished(self) -> bool:
        """Whether the last line, or its quoted cell, still waits for its end."""
        return self._decoder.holds or self._table.holds

    def feed(self, data: bytes, *, final: bool) -> CheckLog:
        """Read the rows that `data` completes (with `final`, all); return everything read so far.

        Raises:
            LogError: the file is refused as a whole; this reader cannot go on.
        """
        rows = self._table.feed(self._decoder.feed(data, final=final), final=final)
        if final and rows is None:
            raise empty_file(self._file)
        if rows:
            self._take(rows)
        count = RowCount(
            read=self._accepted + self._duplicate + len(self._quarantine),
            accepted=self._accepted,
            duplicate=self._duplicate,
            quarantined=len(self._quarantine),
        )
        said = notes(self._decoder, self._table.header, self._times.zone, self._decisions, COLUMNS)
        return CheckLog(count, tuple(self._quarantine), self._streams, said, self._times.zone, self._file)

    def _take(self, rows: Rows) -> None:
        header = self._table.header
        assert header is not None
        times = self._read_times(rows)
        if times.needs_dates is not None:
            if not self._goes_on or not (self._dated or len(times.need_dates) < len(rows.times)):
                place = times.needs_dates
                raise dates_needed(self._file, int(rows.number[place]), TIME, rows.times[place])
            times = replace(times, faults=times.faults | dict.fromkeys(times.need_dates, DATES_NEEDED))
        self._dated |= len(times.need_dates) < len(rows.times)
        cleaned = clean_rows(rows, times, self._catalogue, delimiter=header.delimiter, decisions=self._decisions)
        self._quarantine += quarantined(self._file, (*rows.faults, *cleaned.faults))
        self._keep(cleaned)

    def _read_times(self, rows: Rows) -> Times:
        return self._times.read(rows.times)

    def _keep(self, cleaned: Cleaned) -> None:
        twice: list[int] = []
        self._streams, duplicate = join_streams(self._streams, cleaned, twice=twice)
        self._decisions.repeated_twice += sorted(set(twice) & set(self._decisions.repeated))
        self._duplicate += duplicate
        self._accepted += len(cleaned.row) - duplicate


def time_reader(file: str, zone: tzinfo | None, dates: str | None) -> TimeReader:
    """Return the reader of a file's times; an unusable `dates` is the file's LogError."""
    try:
        return TimeReader(zone or machine_zone(), dates)
    except ValueError as error:
        raise LogError(f"{file}: {error}") from None


LARGEST_WHOLE = 1_000_000_000
"""Bytes of the largest file that is read in one go; a log of one reading a row is read in pieces, however large."""


def refuse_no_file(path: Path | str) -> int:
    """Return how many bytes a file holds; refuse what only looks like a file: reading it might never end.

    Raises:
        LogError: it is a device, a pipe or a socket.
        OSError: it cannot be looked at.
    """
    about = Path(path).stat()
    if not stat.S_ISREG(about.st_mode) and not stat.S_ISDIR(about.st_mode):
        raise LogError(f"{path}: a device or a pipe, not a file; write the log into a file and give that")
    return about.st_size


def file_bytes(path: Path | str) -> bytes:
    """Return what is in a file.

    Raises:
        LogError: it is missing, no file, too large to be read whole, or may not be read.
    """
    try:
        size = refuse_no_file(path)
        if size > LARGEST_WHOLE:
            raise LogError(
                f"{path}: {size} bytes, and no more than {LARGEST_WHOLE} are read at once; split the file, one a year"
            )
        return Path(path).read_bytes()
    except LogError:
        raise
    except (OSError, ValueError) as error:
        raise unreadable(path, error) from None


def unreadable(path: Path | str, error: OSError | ValueError) -> LogError:
    """Return the error of a file that cannot be opened or read."""
    if isinstance(error, FileNotFoundError):
        return LogError(f"{path}: there is no such file; check the name and the folder")
    if isinstance(error, IsADirectoryError):
        return LogError(f"{path}: a folder, not a file; name the CSV file in it")
    why = getattr(error, "strerror", None) or str(error)
    return LogError(f"{path}: cannot be read ({why}); check the name and who may read it")


def empty_file(file: str) -> LogError:
    """Return the error of a file without a header."""
    return LogError(f"{file}: the file is empty; its first line must name the columns")


def dates_needed(file: str, row: int, column: str, text: str) -> LogError:
    """Return the error of a file whose dates are not ISO 8601 while nothing says how to read them."""
    return LogError(f"{file}: row {row}: {column} {text.strip()[:40]!r} {DATES_NEEDED}")


def quarantined(file: str, faults: tuple[Fault, ...]) -> list[QuarantinedRow]:
    """Return the faults as quarantined rows in file order."""
    return [
        QuarantinedRow(file=file, row=fault.row, column=fault.column, text=fault.text[:SHOWN], reason=fault.reason)
        for fault in sorted(faults, key=lambda fault: fault.row)
    ]
