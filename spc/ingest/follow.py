"""A growing log: only the rows that are new are read, and what was read before is remembered."""

import os
from datetime import datetime, tzinfo
from os import SEEK_END
from pathlib import Path
from typing import BinaryIO

from spc.catalogue.check import Catalogue
from spc.errors import LogError
from spc.ingest.csv_log import CheckLog, LogReader, empty_file, refuse_no_file, unreadable
from spc.ingest.seen import SeenBytes

PIECE = 16_000_000
"""Bytes that are read at once."""


class LogFollower:
    """Follows a log that other programs append to.

    A row counts once its line is complete: the last line waits for its line end. Only what is new is read, and what was
    read before is looked at again by checksums (`SeenBytes`). A file that was cut, replaced or changed in what was read
    already is read anew from its start. That is noticed at once where another file stands under the name, where the
    file did not grow and where it is small; a change in the middle of a large file that grew in the same moment is
    noticed within as many looks as it takes to go round it.
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
        self._seen = SeenBytes()  # at the last poll that gave a log
        self._file: tuple[int, int] | None = None  # which file that was

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
        touched = stamp != self._stamp
        if not touched:
            if self._error is not None:
                raise self._error
            if not self._seen.due:
                return None
        try:
            log = self._read(touched=touched)
        except LogError as error:
            self._stamp, self._error, self._reader = stamp, error, None
            raise
        self._stamp, self._error = stamp, None
        return log

    def _look(self) -> tuple[int, ...]:
        """Return what changes when the file does."""
        try:
            stat = self._path.stat()
        except OSError:
            return ()  # reading it says what is wrong
        return stat.st_dev, stat.st_ino, stat.st_size, stat.st_mtime_ns, stat.st_ctime_ns

    def _read(self, *, touched: bool) -> CheckLog | None:
        try:
            refuse_no_file(self._path)
            with self._path.open("rb") as file:
                return self._read_on(file, touched=touched)
        except OSError as error:
            raise unreadable(self._path, error) from None

    def _read_on(self, file: BinaryIO, *, touched: bool) -> CheckLog | None:
        """Read what is new; None where the file was not `touched` and what was left to look at is as it was."""
        about = os.fstat(file.fileno())
        which, size, before = (about.st_dev, about.st_ino), about.st_size, self._seen
        if touched:
            before.expect_change()
        certain = touched and (which != self._file or size <= before.length or self._reader is None)
        changed = size < before.length or not before.stands_in(file, whole=certain)
        if not touched and not changed:
            return None
        path, catalogue, zone, dates = self._how
        reader, seen = self._reader, before.copy()
        self.changed, self.restarted = changed, (changed or reader is None) and before.length > 0
        if changed or reader is None:
            if not size:
                raise empty_file(str(self._path))
            reader, seen = LogReader(path, catalogue, zone=zone, dates=dates, goes_on=True), SeenBytes()
        self._reader = None  # should this one be refused
        file.seek(seen.length)
        log = reader.feed(b"", final=False)
        while data := file.read(min(PIECE, size - seen.length)):
            seen.add(data)
            log = reader.feed(data, final=False)
        self._reader, self._seen, self._file = reader, seen, which
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
