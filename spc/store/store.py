"""The store: one door to all that is kept. Any thread or process may open it; each change is whole or not at all."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

from sqlalchemy import Connection, Engine, func, select

from spc.catalogue.check import Catalogue
from spc.errors import StoreError
from spc.ingest.csv_log import CheckLog
from spc.ingest.event_log import EventLog
from spc.records import Event, Readings, StreamKey
from spc.store.baselines import check_step
from spc.store.engine import address, default_store, open_engine, reading, shown
from spc.store.entries import (
    Baseline,
    Correction,
    Entry,
    EventWithdrawn,
    body_of,
    kind_named,
    kind_of,
    record_from,
    subject_of,
)
from spc.store.intake import Progress, SourceFile, add_quarantined, add_readings, file_entry, find_file
from spc.store.migrations import upgrade
from spc.store.readback import (
    KeptStream,
    corrected,
    identities,
    identity_key,
    kept_streams,
    last_readings_of,
    readings_of,
)
from spc.store.tables import trail
from spc.store.trail import Trail, appending, canonical
from spc.store.verify import Verified, digest_at, verify
from spc.times import from_microseconds

R = TypeVar("R")


@dataclass(frozen=True, slots=True)
class Added:
    """Where every row of a file ended: read = accepted + present + duplicate + quarantined."""

    read: int
    accepted: int  # added now
    present: int  # kept in the store before
    duplicate: int  # written twice in the file
    quarantined: int
    newly_quarantined: int  # of these, not kept in the store before


class Store:
    """A store that is open."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine

    @classmethod
    def open(cls, store: str | Path | None = None, *, must_exist: bool = False) -> Self:
        """Open a store, made first where there is none.

        Args:
            store: a path of an SQLite file, a URL of SQLite or PostgreSQL; None for `default_store()`.
            must_exist: refuse a file that is not there instead of making it.

        Raises:
            StoreError: it cannot be opened, or is no store.
            SetupError: a driver is missing.
        """
        url = address(default_store() if store is None else str(store))
        if url.get_backend_name() == "sqlite":
            path = Path(str(url.database))
            if must_exist and not path.exists():
                raise StoreError(f"{path}: there is no such store; import a log first, or name another with --store")
            try:
                path.parent.mkdir(parents=True, exist_ok=True)
            except OSError as error:
                raise StoreError(f"{path}: its folder cannot be made ({error.strerror}); name another") from None
        engine = open_engine(url)
        try:
            upgrade(engine)
        except BaseException:
            engine.dispose()
            raise
        return cls(engine)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Give all connections back."""
        self.engine.dispose()

    @property
    def name(self) -> str:
        """Return the address of the store, its password left out."""
        return shown(self.engine)

    # what comes in

    def add_log(
        self,
        log: CheckLog,
        catalogue: Catalogue,
        file: SourceFile,
        *,
        who: str,
        now: datetime,
        progress: Progress | None = None,
    ) -> Added:
        """Add what is new of a check log: its readings, and its rows that could not be read.

        Cut off at any moment, it is simply run again; run twice, it adds nothing the second time.
        """
        units = {key: check.unit for key, check in catalogue.checks.items()}
        accepted = add_readings(self.engine, log.streams, units, file, who=who, now=now, progress=progress)
        quarantined = add_quarantined(self.engine, log.quarantine, file, who=who, now=now)
        rows = log.rows
        present = rows.accepted - accepted
        added = Added(rows.read, accepted, present, rows.duplicate, rows.quarantined, quarantined)
        self._note_import(file, added, who=who, now=now)
        return added

    def add_events(self, log: EventLog, file: SourceFile, *, who: str, now: datetime) -> Added:
        """Add what is new of an event file; all of it or nothing."""
        with appending(self.engine) as end:
            kept = {_said(entry.record) for entry in _entries(end.connection, Event)}
            new = [event for event in log.events if _said(event) not in kept]
            if new:
                file_entry(end, file, who=who, now=now)
            for event in new:
                end.append("event", event.line, body_of(event), who=who, at=now)
        quarantined = add_quarantined(self.engine, log.quarantine, file, who=who, now=now)
        rows = log.rows
        present = rows.accepted - len(new)
        added = Added(rows.read, len(new), present, rows.duplicate, rows.quarantined, quarantined)
        self._note_import(file, added, who=who, now=now)
        return added

    def _note_import(self, file: SourceFile, added: Added, *, who: str, now: datetime) -> None:
        """Note that a file was imported to its end, once for what it holds."""
        with appending(self.engine) as end:
            known = find_file(end.connection, file)
            if known is not None and not added.accepted and not added.newly_quarantined and _ended(end, file, known):
                return
            source = file_entry(end, file, who=who, now=now)
            counts = {"read": added.read, "accepted": added.accepted, "present": added.present}
            counts |= {"duplicate": added.duplicate, "quarantined": added.quarantined}
            end.append("imported", file.path, {"file": source, **counts}, who=who, at=now)

    def append(self, *records: object, who: str, now: datetime) -> tuple[int, ...]:
        """Add records (see `entries.KINDS`), all or none; return their sequence numbers.

        Raises:
            StoreError: a record is of no kind that is kept, a correction does not fit what it corrects, or a step
                of a baseline does not follow from those before it.
        """
        with appending(self.engine) as end:
            numbers = []
            for record in records:
                if isinstance(record, Correction):
                    check_correction(end.connection, record)
                if isinstance(record, Baseline):
                    earlier = _entries(end.connection, Baseline, str(record.key))
                    check_step(record, [entry.record for entry in earlier])
                numbers.append(end.append(kind_of(record), subject_of(record), body_of(record), who=who, at=now))
        return tuple(numbers)

    # what goes out

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with reading(self.engine) as connection:
            yield connection

    def streams(self, keys: Collection[StreamKey] | None = None) -> Mapping[StreamKey, Readings]:
        """Return the readings as they stand, corrections applied: of all streams, or of those named."""
        with self._reading() as connection:
            return {stream.key: stands for stream, stands in standing(connection, keys)}

    def first_written(self) -> Mapping[StreamKey, Readings]:
        """Return all readings as they were first written, no correction applied."""
        with self._reading() as connection:
            found = {stream.key: readings_of(connection, stream) for stream in kept_streams(connection)}
        return {key: readings for key, readings in found.items() if readings is not None}

    def last(self, key: StreamKey, n: int) -> Readings | None:
        """Return the last `n` readings of one stream as first written; None where there are none."""
        with self._reading() as connection:
            stream = next((each for each in kept_streams(connection) if each.key == key), None)
            return last_readings_of(connection, stream, n) if stream is not None else None

    def kept_streams(self) -> tuple[KeptStream, ...]:
        """Return all streams with the units they are kept in."""
        with self._reading() as connection:
            return kept_streams(connection)

    def events(self) -> tuple[Event, ...]:
        """Return all events that stand, in time order."""
        with self._reading() as connection:
            withdrawn = {_said(entry.record.event) for entry in _entries(connection, EventWithdrawn)}
            events = [entry.record for entry in _entries(connection, Event)]
        return tuple(sorted((each for each in events if _said(each) not in withdrawn), key=lambda event: event.at))

    def records(self, wanted: type[R], subject: str | None = None) -> tuple[Entry[R], ...]:
        """Return all records of one type, in the order in which they were written; of one subject, if given."""
        with self._reading() as connection:
            return tuple(_entries(connection, wanted, subject))

    def since(self, sequence: int) -> tuple[Entry[str], ...]:
        """Return the entries of the trail after one, bodies as they are kept: what a reader that polls has not seen."""
        query = select(trail).where(trail.c.sequence > sequence).order_by(trail.c.sequence)
        with self._reading() as connection:
            return tuple(
                Entry(row.sequence, from_microseconds(row.at), row.who, row.kind, row.subject, row.body)
                for row in connection.execute(query)
            )

    def sequence(self) -> int:
        """Return the sequence number of the last entry; 0 before the first."""
        with self._reading() as connection:
            return connection.execute(select(func.max(trail.c.sequence))).scalar() or 0

    def verify(self) -> Verified:
        """Reckon the whole chain anew."""
        with self._reading() as connection:
            return verify(connection)

    def digest_at(self, digest: str) -> int | None:
        """Return the entry with this digest (hexadecimal); None where there is none."""
        with self._reading() as connection:
            return digest_at(connection, digest)


def _entries(connection: Connection, wanted: type[R], subject: str | None = None) -> Iterator[Entry[R]]:
    kind = kind_named(wanted)
    query = select(trail).where(trail.c.kind == kind).order_by(trail.c.sequence)
    if subject is not None:
        query = query.where(trail.c.subject == subject)
    for row in connection.execute(query):
        at = from_microseconds(row.at)
        yield Entry(row.sequence, at, row.who, kind, row.subject, record_from(kind, row.body))


def _ended(end: Trail, file: SourceFile, source: int) -> bool:
    """Return whether the import of a file came to its end before."""
    noted = (trail.c.kind == "imported") & (trail.c.subject == file.path)
    bodies = end.connection.execute(select(trail.c.body).where(noted)).scalars()
    return any(f'"file":{source},' in body for body in bodies)


def _said(event: Event) -> str:
    """Return what tells one event from others: all but the note, the row, and how the offset was written."""
    named = {"line": event.line, "kind": event.kind, "check": event.check, "position": event.position}
    return canonical([body_of(event.at), body_of(event.amount), event.unit, named])


def standing(
    connection: Connection, keys: Collection[StreamKey] | None = None
) -> Iterator[tuple[KeptStream, Readings]]:
    """Yield each stream as it stands, corrections applied: all, or those named."""
    corrections = _corrections(connection)
    for stream in kept_streams(connection):
        if keys is None or stream.key in keys:
            first = readings_of(connection, stream)
            stands = corrected(first, corrections.get(stream.key, ())) if first is not None else None
            if stands is not None:
                yield stream, stands


def _corrections(connection: Connection) -> Mapping[StreamKey, Sequence[Correction]]:
    found: dict[StreamKey, list[Correction]] = {}
    for entry in _entries(connection, Correction):
        found.setdefault(entry.record.key, []).append(entry.record)
    return found


def check_correction(connection: Connection, correction: Correction) -> None:
    """Refuse a correction of a reading that is not there, or that does not know of the last correction.

    Raises:
        StoreError: so.
    """
    at = correction.reading.taken_at.isoformat()
    if not correction.why.strip():
        raise StoreError(f"{correction.key}: the correction of the reading at {at} gives no reason; say why")
    stream = next((each for each in kept_streams(connection) if each.key == correction.key), None)
    first = readings_of(connection, stream) if stream is not None else None
    wanted = identity_key(correction.reading)
    if first is None or wanted not in identities(first):
        raise StoreError(f"{correction.key}: there is no such reading at {at}; name it as it was first written")
    earlier: list[Any] = [entry.record for entry in _entries(connection, Correction, str(correction.key))]
    standing = sum(each.key == correction.key and identity_key(each.reading) == wanted for each in earlier)
    if standing != correction.replaces:
        raise StoreError(
            f"{correction.key}: the reading at {at} was corrected {standing} times, not {correction.replaces}; "
            "look at it again before correcting it"
        )
