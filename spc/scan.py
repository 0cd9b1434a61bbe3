"""One pass over a log without a store: every stream, its limits, failures, signals and forecast."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path

from spc.catalogue.check import Catalogue
from spc.catalogue.load import load_catalogue
from spc.ingest.csv_log import CheckLog, read_log
from spc.ingest.event_log import EventLog, read_events
from spc.monitor import monitor_stream
from spc.records import Readings, StreamKey
from spc.results import StreamResult


@dataclass(frozen=True, slots=True)
class Scan:
    """A log and all that one pass says of it."""

    log: CheckLog
    events: EventLog | None
    catalogue: Catalogue
    streams: tuple[StreamResult, ...]  # in order of line, catalogue, position
    zone: tzinfo

    @property
    def notes_of_catalogue(self) -> tuple[str, ...]:
        """What the catalogue says and no stream of the log needs, one sentence each."""
        return self.catalogue.places_without_stream(self.log.streams)

    @property
    def notes_of_events(self) -> tuple[str, ...]:
        """Which events no stream of the log was touched by, one sentence each: a misspelt name would go unseen."""
        if self.events is None:
            return ()
        touching = {event for result in self.streams for event in result.events}
        idle = [event for event in self.events.events if event not in touching]
        return tuple(
            f"{self.events.file}: row {event.row}: {event.kind} at "
            f"{StreamKey(event.line, event.check, event.position)} touches no stream that was read; it was not used"
            for event in idle
        )


def scan(
    log: Path | str,
    *,
    events: Path | str | None = None,
    catalogue: Path | str | None = None,
    zone: tzinfo | None = None,
    dates: str | None = None,
) -> Scan:
    """Read a check log and monitor every stream in it.

    Args:
        log: a tidy check log (CSV).
        events: an event file (CSV), if any.
        catalogue: the site's catalogue (TOML); None for the starter catalogue alone.
        zone: zone of times written without an offset; None for the machine's.
        dates: "dmy", "mdy" or a strptime pattern for dates that are not ISO 8601.

    Raises:
        LogError: the log or the event file is refused as a whole.
        CatalogueError: the catalogue has a mistake.
    """
    checks = load_catalogue(catalogue)
    read = read_log(log, checks, zone=zone, dates=dates)
    happened = read_events(events, checks, zone=zone, dates=dates) if events is not None else None
    return Scan(read, happened, checks, monitor_streams(read.streams, happened, checks), read.zone)


def monitor_streams(
    streams: Mapping[StreamKey, Readings], events: EventLog | None, catalogue: Catalogue
) -> tuple[StreamResult, ...]:
    """Monitor each of `streams`; results in order of line, then of the catalogue, then of position."""
    order = {key: place for place, key in enumerate(catalogue.checks)}
    happened = events.events if events else ()
    return tuple(
        monitor_stream(streams[key], happened, catalogue.checks[key.check])
        for key in sorted(streams, key=lambda key: (key.line, order[key.check], key.position))
    )
