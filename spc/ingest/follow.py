"""A growing log: only the rows that are new are read, and what was read before is remembered."""

import zlib
from datetime import datetime, tzinfo
from os import SEEK_END
from pathlib import Path

from spc.catalogue.check import Catalogue
from spc.errors import LogError
from spc.ingest.csv_log import CheckLog, LogReader, empty_file, file_bytes


class LogFollower:
    """Follows a log that other programs append to.

    A row counts once its line is complete: the last line waits for its line end. A file that was cut, replaced or
    changed in what was read already is read anew from its start; a checksum over all that was read tells.
    """

    def __init__(
        self, path: Path | str, catalogue: Catalogue, *, zone: tzinfo | None = None, dates: str | None = None
    ) -> None:
        self.restarted = False
        """Whether the last poll that read anything read the file anew, from its start."""
        self.changed = False
        """Whether what was read before stood there no longer, or otherwise, at that poll."""
        self._path = Path(path)
        self._how = (path, catalogue, zone, dates)
        self._stamp: tuple[int, ...] | None = None
        self._error: LogError | None = None
        self._reader: LogReader | None = None
        self._read = self._checksum = 0
        self._given = (0, 0)  # bytes read, and their checksum, at the last poll that gave a log

    @property
    def unfinished(self) -> bool:
        """Whether the file ends in a line, or a quoted cell, that still waits for its end."""
        return self._reader is not None and self._reader.unfinished

    def poll(self) -> CheckLog | None:
        """Return the whole log as it stands now, or None if the file is as it was at the last poll.

        A stream without new readings is the same object as before. The first poll always returns a log.

        Raises:
            LogError: the file cannot be read, or is refused as a whole; the next poll tries again.
        """
        stamp = self._look()
        if stamp == self._stamp:
            if self._error is not None:
                raise self._error
            return None
        try:
            log = self._read_on(file_bytes(self._path))
        except LogError as error:
            self._stamp, self._error, self._reader = stamp, error, None
            raise
        self._stamp, self._error, self._given = stamp, None, (self._read, self._checksum)
        return log

    def _look(self) -> tuple[int, ...]:
        """Return what changes when the file does."""
        try:
            stat = self._path.stat()
        except OSError:
            return ()  # reading it says what is wrong
        return stat.st_dev, stat.st_ino, stat.st_size, stat.st_mtime_ns, stat.st_ctime_ns

    def _read_on(self, data: bytes) -> CheckLog:
        path, catalogue, zone, dates = self._how
        length, checksum = self._given
        self.changed = len(data) < length or zlib.crc32(memoryview(data)[:length]) != checksum
        goes_on = self._reader is not None and self._read == length and not self.changed
        self.restarted = not goes_on and length > 0
        if not goes_on or self._reader is None:
            if not data:
                raise empty_file(str(self._path))
            self._reader = LogReader(path, catalogue, zone=zone, dates=dates, goes_on=True)
            self._read = self._checksum = 0
        new = data[self._read :]
        log = self._reader.feed(new, final=False)
        self._checksum = zlib.crc32(new, self._checksum)
        self._read = len(data)
        return log


SETTLED_SECONDS = 2.0
"""How long a file has to be left alone until its last line counts without a line end: nobody pauses so long in one."""


def is_settled(path: Path, now: datetime) -> bool:
    """Return whether the last line of a file may be read as it stands: it has its end, or nobody goes on writing.

    Args:
        path: the file; one that is not there is settled, and reading it says what is wrong.
        now: the time, aware.
    """
    try:
        with path.open("rb") as file:
            size = file.seek(0, SEEK_END)
            file.seek(max(0, size - 2))
            ends = file.read().endswith((b"\n", b"\n\0")) or size == 0  # the second in UTF-16
        age = now.timestamp() - path.stat().st_mtime
    except OSError:
        return True
    return ends or not 0.0 <= age < SETTLED_SECONDS
