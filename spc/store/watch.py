"""A store kept under watch: what it says of every stream, kept up to date as anyone writes to it.

The same shape as `spc.watch.Watch`. With a log to follow, what arrives there goes into the store first.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from threading import RLock

from spc.catalogue.load import load_catalogue
from spc.early_warning import Behind
from spc.errors import SpcError
from spc.ingest.csv_log import CheckLog
from spc.ingest.dates import machine_zone
from spc.ingest.event_log import EventLog
from spc.ingest.follow import LogFollower, is_settled
from spc.monitor import monitor_onward
from spc.records import Event, QuarantinedRow, Readings, RowCount, StreamKey
from spc.results import StreamResult
from spc.scan import Scan
from spc.store.decided import Decided
from spc.store.entries import Baseline, Correction, Entry, record_from
from spc.store.files import import_events
from spc.store.intake import SourceFile
from spc.store.readback import KeptStream
from spc.store.store import Store
from spc.watch import Snapshot, not_taken
from spc.wording import time_text

TOUCHES_ALL = frozenset({"event", "event withdrawn", "limit"})
"""Kinds of entries after which every stream is looked at again."""

ROWS = frozenset({"file", "imported", "quarantined", "readings"})
"""Kinds of entries that tell of rows and of nothing else."""

DECIDES = TOUCHES_ALL | {"baseline"}
"""Kinds of entries after which events and decisions are read again."""


class StoreWatch:
    """Watches a store; `poll()` looks once, `snapshot` is what is known since. Any thread may ask."""

    def __init__(
        self,
        store: str | Path | None,
        *,
        follow: Path | None = None,
        events: Path | None = None,
        catalogue: Path | None = None,
        zone: tzinfo | None = None,
        dates: str | None = None,
        who: str = "follower",
    ) -> None:
        """Open the store and read it once.

        Args:
            store: see `Store.open`; made if there is a log to follow, else it must be there.
            follow: check log whose rows go into the store as they arrive.
            events: event file that goes into the store whenever it changes.
            catalogue: the site's catalogue; None for the starter's.
            zone: zone of times without an offset; None for the machine's.
            dates: form of dates in the files that are not ISO 8601.
            who: who brings in what the files say.

        Raises:
            StoreError: the store cannot be opened.
            LogError: a file is refused as a whole.
            CatalogueError: the catalogue has a mistake.
        """
        self._one_looks = RLock()
        self._refused: str | None = None  # why the catalogue, as it now stands, was not taken
        self._catalogue_file = catalogue
        self._catalogue = load_catalogue(catalogue)
        self._store = Store.open(store, must_exist=follow is None)
        self._given_zone, self._zone, self._dates, self._who = zone, zone or machine_zone(), dates, who
        self._follow, self._events_file = follow, events
        self._follower = LogFollower(follow, self._catalogue, zone=zone, dates=dates) if follow else None
        self._lost: str | None = None  # that the followed log was changed in what was read, said until the watch ends
        self._waiting: CheckLog | None = None  # what was read and could not be kept yet
        self._brought: Mapping[StreamKey, Readings] = {}
        self._events_stamp: tuple[int, int] | None = None
        self._sequence = -1  # of the last entry seen
        self._rows = RowsTold()
        self._beside = False  # whether the last look found anything but rows
        self._results: dict[StreamKey, StreamResult] = {}
        self._behind: dict[StreamKey, Behind | None] = {}  # from where the early warning of each stream goes on
        self._kept: tuple[KeptStream, ...] = ()
        self._events: tuple[Event, ...] = ()
        self._decided = Decided((), ())
        self._unknown: list[str] = []
        self._bring(datetime.now(UTC))
        stale = self._look() or ()
        self.snapshot = Snapshot(
            version=1,
            scan=self._scan(),
            changed=dict.fromkeys(stale, 1),
            read_at=datetime.now(UTC),
            problem=None,
        )

    @property
    def store(self) -> Store:
        """The store that is watched."""
        return self._store

    def close(self) -> None:
        """Give all connections back."""
        self._store.close()

    def poll(self) -> bool:
        """Bring in what the files say, then look at the store once; return whether anything changed."""
        with self._one_looks:
            return self._poll()

    def reload(self) -> str | None:
        """Read the catalogue anew, and all by it; return why it is not taken, in which case the one before stays.

        The reason is also the snapshot's problem, until a catalogue is taken.
        """
        with self._one_looks:
            try:
                self._catalogue = load_catalogue(self._catalogue_file)
            except SpcError as error:
                self._refused = not_taken(error)
                self._poll()
                return self._refused
            self._refused = None
            if self._follow is not None:
                self._follower = LogFollower(self._follow, self._catalogue, zone=self._given_zone, dates=self._dates)
            self._brought, self._waiting, self._events_stamp = {}, None, None
            self._sequence, self._rows, self._results, self._behind = -1, RowsTold(), {}, {}
            self._poll()
            return None

    def _poll(self) -> bool:
        now, problem, stale = datetime.now(UTC), None, None
        try:
            self._bring(now)
        except SpcError as error:  # the store is shown all the same
            problem = str(error)
        try:
            stale = self._look()
        except SpcError as error:
            problem = str(error)
        before, problem = self.snapshot, problem or self._refused
        if stale is None:
            version = before.version + ((problem, self._lost) != (before.problem, before.lost))
            self.snapshot = replace(before, read_at=now, problem=problem, version=version, lost=self._lost)
            return version != before.version
        version = before.version + 1
        changed = {**before.changed, **dict.fromkeys(stale, version)}
        written = version if self._beside else before.written
        self.snapshot = Snapshot(version, self._scan(), changed, now, problem, self._lost, written)
        return True

    # files into the store

    def _bring(self, now: datetime) -> None:
        if self._events_file is not None:
            self._bring_events(self._events_file, now)
        log = self._follower.poll() if self._follower is not None else None
        self._waiting = log = log or self._waiting
        if log is None or self._follow is None:
            return
        fresh = {key: each for key, each in log.streams.items() if self._brought.get(key) is not each}
        file = SourceFile(str(self._follow.resolve()), "")
        if self._follower is not None and self._follower.changed:
            self._lost = (
                f"The followed log was changed in rows read before {time_text(now, self._zone)}. It was read anew: "
                "what was first written stays in the store, and rows that say something else stand beside it"
            )
        self._store.add_log(replace(log, streams=fresh), self._catalogue, file, who=self._who, now=now)
        self._brought, self._waiting = log.streams, None

    def _bring_events(self, path: Path, now: datetime) -> None:
        try:
            stat = path.stat()
            stamp = (stat.st_mtime_ns, stat.st_size)
        except OSError:
            stamp = None  # reading it says what is wrong
        if stamp is None or stamp != self._events_stamp:
            settled = is_settled(path, now)
            import_events(
                self._store,
                path,
                self._catalogue,
                zone=self._zone,
                dates=self._dates,
                who=self._who,
                now=now,
                final=settled,
            )
            self._events_stamp = stamp if settled else None  # else the last line is looked for again

    # out of the store

    def _look(self) -> Sequence[StreamKey] | None:
        """Read what is new in the trail; return the streams that it touches, None where nothing is new."""
        new = self._store.since(self._sequence)
        if not new and self._sequence >= 0:
            return None
        first, kinds = self._sequence < 0, {entry.kind for entry in new}
        if first or not kinds.isdisjoint(DECIDES):
            self._events, self._decided = self._store.events(), Decided.of(self._store)
        if first or not read_into(new) <= {stream.number for stream in self._kept}:
            self._kept = self._store.kept_streams()
        kept = self._kept
        numbers = {stream.number: stream.key for stream in kept}
        known = [each.key for each in kept if self._is_known(each.key, each.unit)]
        touched = touched_by(new, numbers)
        stale = [key for key in known if touched is None or key in touched]
        readings = self._store.streams(stale) if stale else {}
        for key in stale:
            if key in readings:
                self._results[key] = self._monitored(readings[key])
            else:
                self._results.pop(key, None)
                self._behind.pop(key, None)
        self._rows.add(new)
        self._beside = not kinds <= ROWS
        self._unknown = sorted({str(each.key) for each in kept} - {str(key) for key in known})
        self._sequence = new[-1].sequence if new else 0
        return stale

    def _is_known(self, key: StreamKey, unit: str) -> bool:
        check = self._catalogue.checks.get(key.check)
        return check is not None and check.unit == unit

    def _monitored(self, readings: Readings) -> StreamResult:
        key = readings.key
        check = self._decided.check_of(readings, self._catalogue.checks[key.check])
        result, self._behind[key] = monitor_onward(readings, self._events, check, self._behind.get(key))
        return result

    def _scan(self) -> Scan:
        order = {key: place for place, key in enumerate(self._catalogue.checks)}
        keys = sorted(self._results, key=lambda key: (key.line, order[key.check], key.position))
        streams = {key: self._results[key].readings for key in keys}
        rows, quarantine = self._rows.counted(), self._rows.quarantine
        notes = tuple(
            f"{name} is not shown: the catalogue does not know its check, or gives it another unit than the store"
            for name in self._unknown
        )
        log = CheckLog(rows, quarantine, streams, notes, self._zone, self._store.name)
        count = RowCount(len(self._events), len(self._events))
        events = EventLog(count, (), self._events, (), self._zone, self._store.name)
        return Scan(log, events, self._catalogue, tuple(self._results[key] for key in keys), self._zone)


def read_into(entries: Iterable[Entry[str]]) -> frozenset[int]:
    """Return the numbers of the streams that entries of the trail added readings to."""
    return frozenset(
        number for entry in entries if entry.kind == "readings" for number in json.loads(entry.record)["streams"]
    )


def touched_by(entries: Iterable[Entry[str]], streams: Mapping[int, StreamKey]) -> frozenset[StreamKey] | None:
    """Return the streams that entries of the trail say something about; None for all."""
    touched: set[StreamKey] = set()
    for entry in entries:
        if entry.kind in TOUCHES_ALL:
            return None
        if entry.kind == "readings":
            touched |= {streams[number] for number in read_into([entry])}
        elif entry.kind in ("correction", "baseline"):
            about: Correction | Baseline = record_from(entry.kind, entry.record)
            touched.add(about.key)
    return frozenset(touched)


class RowsTold:
    """Where the rows of all imported check logs and event files ended, and those that could not be read."""

    def __init__(self) -> None:
        self.quarantine: tuple[QuarantinedRow, ...] = ()
        self._accepted = 0
        self._duplicate: dict[str, int] = {}  # by file: one that grew was counted from its start again

    def add(self, entries: Iterable[Entry[str]]) -> None:
        """Take in what entries of the trail say of rows."""
        for entry in entries:
            if entry.kind not in ROWS:
                continue
            body = json.loads(entry.record)
            if entry.kind == "readings":
                self._accepted += body["last"] - body["first"] + 1
            elif entry.kind == "imported":
                self._duplicate[entry.subject] = body["duplicate"]
            elif entry.kind == "quarantined":
                self.quarantine += tuple(QuarantinedRow(entry.subject, *row) for row in body["rows"])

    def counted(self) -> RowCount:
        """Return how many rows ended where."""
        twice, left = sum(self._duplicate.values()), len(self.quarantine)
        return RowCount(self._accepted + twice + left, self._accepted, twice, left)
