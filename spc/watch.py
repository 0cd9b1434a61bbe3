"""A growing log kept under watch: what one pass over it would say, kept up to date as rows arrive."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from threading import RLock

from spc.catalogue.check import Catalogue
from spc.catalogue.load import load_catalogue
from spc.errors import SpcError
from spc.ingest.csv_log import CheckLog
from spc.ingest.event_log import EventLog, read_events
from spc.ingest.follow import LogFollower, is_settled
from spc.records import Readings, StreamKey
from spc.results import StreamResult
from spc.scan import Scan, monitor_streams
from spc.wording import time_text


@dataclass(frozen=True, slots=True)
class Snapshot:
    """What the watch knows at one moment; replaced as a whole, never changed."""

    version: int  # rises with every change
    scan: Scan
    changed: Mapping[StreamKey, int]  # the version in which each stream last changed
    read_at: datetime  # aware, UTC: when the files were last looked at
    problem: str | None  # why they could not be read then, in a sentence
    lost: str | None = None  # that rows read before are no longer in the log, in a sentence
    written: int = 0  # the version in which anything but rows of logs last came into the store


class Watch:
    """Follows a log and its events; `poll()` looks once, `snapshot` is what is known since. Any thread may ask."""

    def __init__(
        self,
        log: Path,
        *,
        events: Path | None = None,
        catalogue: Path | None = None,
        zone: tzinfo | None = None,
        dates: str | None = None,
    ) -> None:
        """Read both files once.

        Raises:
            LogError: a file is refused as a whole.
            CatalogueError: the catalogue has a mistake.
        """
        self._one_looks = RLock()
        self._refused: str | None = None  # why the catalogue, as it now stands, was not taken
        self._log, self._catalogue_file = log, catalogue
        self._catalogue = load_catalogue(catalogue)
        self._follower = LogFollower(log, self._catalogue, zone=zone, dates=dates)
        self._events_file, self._zone, self._dates = events, zone, dates
        self._events_stamp: tuple[int, int] | None = None
        self._events: EventLog | None = None
        self._look_at_events()
        read = self._follower.poll()
        assert read is not None
        streams = monitor_streams(read.streams, self._events, self._catalogue)
        self.snapshot = Snapshot(
            version=1,
            scan=Scan(read, self._events, self._catalogue, streams, read.zone),
            changed={result.key: 1 for result in streams},
            read_at=datetime.now(UTC),
            problem=None,
        )

    @property
    def store(self) -> None:
        """A bare log has no store."""
        return None

    def poll(self) -> bool:
        """Look at the files once; return whether anything changed."""
        with self._one_looks:
            return self._poll()

    def reload(self) -> str | None:
        """Read the catalogue anew, and all files by it; return why it is not taken, in which case the one before stays.

        The reason is also the snapshot's problem, until a catalogue is taken.
        """
        with self._one_looks:
            before = self._catalogue, self._follower, self._events, self._events_stamp
            try:
                self._catalogue = load_catalogue(self._catalogue_file)
                self._follower = LogFollower(self._log, self._catalogue, zone=self._zone, dates=self._dates)
                self._events_stamp = None
                self._look_at_events()
                read = self._follower.poll()
            except SpcError as error:
                self._catalogue, self._follower, self._events, self._events_stamp = before
                self._refused = not_taken(error)
                self._say(datetime.now(UTC), None)
                return self._refused
            assert read is not None
            self._refused, version = None, self.snapshot.version + 1
            streams = monitor_streams(read.streams, self._events, self._catalogue)
            self.snapshot = Snapshot(
                version=version,
                scan=Scan(read, self._events, self._catalogue, streams, read.zone),
                changed={result.key: version for result in streams},
                read_at=datetime.now(UTC),
                problem=None,
                lost=self.snapshot.lost,
            )
            return None

    def _poll(self) -> bool:
        now, new_events, problem = datetime.now(UTC), False, None
        try:
            new_events = self._look_at_events()
        except SpcError as error:  # the log is followed all the same, with the events known so far
            problem = str(error)
        try:
            read = self._follower.poll()
        except SpcError as error:
            return self._say(now, str(error))
        before = self.snapshot
        if read is None and not new_events:
            return self._say(now, problem)
        log = before.scan.log if read is None else read
        results = {result.key: result for result in before.scan.streams}
        stale = {
            key: readings
            for key, readings in log.streams.items()
            if new_events or key not in results or results[key].readings is not readings
        }
        for result in monitor_streams(stale, self._events, self._catalogue):
            results[result.key] = result
        version = before.version + 1
        self.snapshot = Snapshot(
            version=version,
            scan=Scan(log, self._events, self._catalogue, _ordered(results, log.streams, self._catalogue), log.zone),
            changed={key: version if key in stale else before.changed.get(key, version) for key in log.streams},
            read_at=now,
            problem=problem or self._refused,
            lost=before.lost if read is None else _lost(before, read, now, changed=self._follower.changed),
        )
        return True

    def _say(self, now: datetime, problem: str | None) -> bool:
        problem = problem or self._refused
        changed = problem != self.snapshot.problem
        version = self.snapshot.version + changed
        self.snapshot = replace(self.snapshot, read_at=now, problem=problem, version=version)
        return changed

    def _look_at_events(self) -> bool:
        if self._events_file is None:
            return False
        try:
            stat = self._events_file.stat()
            stamp = (stat.st_mtime_ns, stat.st_size)
        except OSError:
            stamp = None  # read_events says what is wrong
        if stamp is not None and stamp == self._events_stamp:
            return False
        settled, before = is_settled(self._events_file, datetime.now(UTC)), self._events
        self._events = read_events(
            self._events_file, self._catalogue, zone=self._zone, dates=self._dates, final=settled
        )
        self._events_stamp = stamp if settled else None  # else the last line is looked for again
        return self._events != before


def not_taken(error: SpcError) -> str:
    """Return that the catalogue was read anew and refused, in a sentence."""
    return f"The catalogue was not taken ({error}); the one before goes on"


def _lost(before: Snapshot, read: CheckLog, now: datetime, *, changed: bool) -> str | None:
    """Return that the log holds fewer rows than when it was last read, or others; said until the watch ends."""
    were, are = before.scan.log.rows.read, read.rows.read
    if are >= were and not changed:
        return before.lost
    if are >= were:
        return f"The log was changed in rows read before {time_text(now, read.zone)}; all of it was read anew"
    return f"The log lost rows on {time_text(now, read.zone)}: {were} were read before, {are} are in it now"


def _ordered(
    results: Mapping[StreamKey, StreamResult], streams: Mapping[StreamKey, Readings], catalogue: Catalogue
) -> tuple[StreamResult, ...]:
    order = {key: place for place, key in enumerate(catalogue.checks)}
    present = sorted(streams, key=lambda key: (key.line, order[key.check], key.position))
    return tuple(results[key] for key in present)
