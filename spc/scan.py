"""One pass over a log without a store: every stream, its limits, failures, signals and forecast."""

import os
from collections.abc import Collection, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path

from spc.catalogue.check import Catalogue
from spc.catalogue.load import load_catalogue
from spc.errors import InputError
from spc.ingest.csv_log import CheckLog
from spc.ingest.event_log import EventLog, read_events
from spc.ingest.log_file import read_log_file
from spc.monitor import monitor_stream, pays_to_compile
from spc.records import Readings, StreamKey
from spc.results import StreamResult
from spc.told import Told


@dataclass(frozen=True, slots=True)
class Scan(Told):
    """A log and all that one pass says of it."""

    log: CheckLog
    events: EventLog | None
    catalogue: Catalogue
    streams: tuple[StreamResult, ...]  # in order of line, catalogue, position
    zone: tzinfo

    def stream(self, line: str, check: str, position: str | None = None) -> StreamResult:
        """Return one stream.

        Args:
            line: its line, as the log writes it.
            check: the key of its check.
            position: which of several; None where there is one.

        Raises:
            InputError: no such stream, or several; says which there are.
        """
        of_check = [each for each in self.streams if (each.key.line, each.key.check) == (line, check)]
        found = [each for each in of_check if position in (None, each.key.position)]
        if len(found) == 1:
            return found[0]
        asked = " · ".join(filter(None, (line, check, position)))
        there = ", ".join(f"'{each.key}'" for each in of_check or self.streams) or "none"
        why = "is not one stream; give its position" if found else "is no stream of this log"
        raise InputError(f"{asked!r} {why}; there are: {there}")

    @property
    def notes_of_catalogue(self) -> tuple[str, ...]:
        """What the catalogue says and no stream of the log needs, one sentence each."""
        return self.catalogue.places_without_stream(self.log.streams)

    @property
    def notes_of_names(self) -> tuple[str, ...]:
        """Which lines and positions differ in case or spaces alone, one sentence each."""
        return spelled_apart(self.log.streams)

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


def spelled_apart(streams: Collection[StreamKey]) -> tuple[str, ...]:
    """Return a sentence for each set of lines, and of positions, whose names differ in case or spaces alone.

    They are kept apart, because joining them would be a guess; each then has a history, a baseline and limits of its
    own, which nobody meant.
    """
    places: dict[tuple[str, ...], set[tuple[str, ...]]] = {}
    for key in streams:
        for name in ((key.line,), (key.line, key.check, key.position)):
            places.setdefault(tuple("".join(part.split()).casefold() for part in name), set()).add(name)
    return tuple(
        f"{' and '.join(repr(' · '.join(name)) for name in sorted(names))} differ in case or spaces alone and were "
        "kept apart; write one name in one way if they are the same"
        for place, names in sorted(places.items())
        if len(names) > 1 and (len(place) == 1 or len({name[0] for name in names}) == 1)
    )


def scan(
    log: Path | str,
    *,
    events: Path | str | None = None,
    catalogue: Path | str | None = None,
    zone: tzinfo | None = None,
    dates: str | None = None,
    layout: Path | str | None = None,
) -> Scan:
    """Read a check log and monitor every stream in it.

    Args:
        log: a check log: one reading a row (CSV or a workbook), or a wide sheet with its `layout`.
        events: an event file (CSV), if any.
        catalogue: the site's catalogue (TOML); None for the starter catalogue alone.
        zone: zone of times written without an offset; None for the machine's.
        dates: "dmy", "mdy" or a strptime pattern for dates that are not ISO 8601.
        layout: the layout of a wide sheet (TOML).

    Raises:
        LogError: the log or the event file is refused as a whole.
        LayoutError: the layout has a mistake, or the sheet is not as it says.
        CatalogueError: the catalogue has a mistake.
    """
    checks = load_catalogue(catalogue)
    read = read_log_file(log, checks, zone=zone, dates=dates, layout=layout)
    happened = read_events(events, checks, zone=zone, dates=dates) if events is not None else None
    return Scan(read, happened, checks, monitor_streams(read.streams, happened, checks), read.zone)


def monitor_streams(
    streams: Mapping[StreamKey, Readings], events: EventLog | None, catalogue: Catalogue
) -> tuple[StreamResult, ...]:
    """Monitor each of `streams`; results in order of line, then of the catalogue, then of position."""
    order = {key: place for place, key in enumerate(catalogue.checks)}
    happened = events.events if events else ()
    keys = sorted(streams, key=lambda key: (key.line, order[key.check], key.position))
    if not pays_to_compile(sum(len(readings) for readings in streams.values())):
        return tuple(monitor_stream(streams[key], happened, catalogue.checks[key.check]) for key in keys)

    def monitored(key: StreamKey) -> StreamResult:
        return monitor_stream(streams[key], happened, catalogue.checks[key.check], compiled=True)

    with ThreadPoolExecutor(os.cpu_count()) as threads:  # the compiled loops leave the interpreter to each other
        return tuple(threads.map(monitored, keys))
