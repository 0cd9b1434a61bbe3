"""From a log to the answers an audit asks for: the ledger of checks, exposure windows, instruments."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

from spc.as_of import events_until, first_readings, readings_until
from spc.catalogue.check import Catalogue, Check
from spc.catalogue.load import load_catalogue
from spc.catalogue.table import Length
from spc.charted import check_of_stream
from spc.containment import ExposureWindow, windows_of
from spc.errors import InputError
from spc.formats import formats_now
from spc.ingest.csv_log import read_log
from spc.ingest.dates import machine_zone
from spc.ingest.event_log import read_events
from spc.instruments import (
    Calibration,
    CalibrationDue,
    Instrument,
    InstrumentFile,
    calibrations_due,
    calibrations_from_events,
    load_instruments,
)
from spc.look_back import AsFound, LookBack, look_back
from spc.monitor import monitor_stream
from spc.records import Event, Readings, StreamKey
from spc.results import StreamResult
from spc.schedule.ledger import Ledger, ledger
from spc.schedule.site_calendar import AROUND_THE_CLOCK, load_calendar
from spc.shown import windows_shown

if TYPE_CHECKING:
    from spc.store.decided import Decided
    from spc.store.store import Store


NO_INSTRUMENTS = InstrumentFile()


@dataclass(frozen=True, slots=True)
class Audit:
    """A log read once, with its ledger."""

    streams: Mapping[StreamKey, Readings]
    events: tuple[Event, ...]
    catalogue: Catalogue
    ledger: Ledger
    kept: InstrumentFile = NO_INSTRUMENTS  # instruments and calibrations that a store holds
    decided: "Decided | None" = None  # what people decided about the streams, where a store keeps it

    def monitored(self, keys: Iterable[StreamKey]) -> tuple[StreamResult, ...]:
        """Return the streams of these keys as they stand at the ledger's `now`, in order."""
        now = self.ledger.now
        events = events_until(self.events, now)
        until = {key: first_readings(self.streams[key], readings_until(self.streams[key], now)) for key in keys}
        return tuple(
            monitor_stream(until[key], events, self.check_of(until[key])) for key in sorted(until) if len(until[key])
        )

    def check_of(self, readings: Readings) -> Check:
        """Return the check of a stream, each reading judged by the limits of its own day."""
        check = self.catalogue.checks[readings.key.check]
        return check if self.decided is None else self.decided.check_of(readings, check)

    def catalogue_at(self, line: str, at: datetime) -> Catalogue:
        """Return the catalogue with the acceptance limits of a line that a reading at `at` is judged by."""
        if self.decided is None:
            return self.catalogue
        checks = {
            key: replace(check, acceptance=self.decided.check(check, place, at).acceptance_for(place))
            for key, check in self.catalogue.checks.items()
            for place in [StreamKey(line, key, "")]
        }
        return replace(self.catalogue, checks=checks)


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which streams are asked for; "" and None stand for all."""

    line: str | None = None
    check: str | None = None
    position: str | None = None

    def holds(self, key: StreamKey) -> bool:
        """Return whether a stream is asked for."""
        asked = ((self.line, key.line), (self.check, key.check), (self.position, key.position))
        return all(want is None or want == have for want, have in asked)


def audit(
    log: Path | str,
    *,
    events: Path | str | None = None,
    catalogue: Path | str | None = None,
    calendar: Path | str | None = None,
    zone: tzinfo | None = None,
    dates: str | None = None,
    now: datetime,
) -> Audit:
    """Read a log and keep its ledger.

    Args:
        log, events, catalogue, zone, dates: as `spc.scan.scan`.
        calendar: the site's calendar (TOML); None: the lines are taken to work around the clock.
        now: until when; a time without a zone is that of the site.

    Raises:
        LogError, CatalogueError: a file is refused.
    """
    checks = load_catalogue(catalogue)
    read = read_log(log, checks, zone=zone, dates=dates)
    happened = read_events(events, checks, zone=zone, dates=dates).events if events is not None else ()
    return _audit(read.streams, happened, checks, calendar, read.zone, now)


def audit_store(
    store: "Store",
    *,
    catalogue: Path | str | None = None,
    calendar: Path | str | None = None,
    zone: tzinfo | None = None,
    now: datetime,
) -> Audit:
    """Keep the ledger of what a store holds, corrections applied; arguments and refusals as `audit`."""
    from spc.store.decided import Decided

    checks = load_catalogue(catalogue)
    found = _audit(store.streams(), store.events(), checks, calendar, zone or machine_zone(), now)
    found = replace(found, kept=instruments_of(store), decided=Decided.of(store))
    streams = tuple(
        replace(each, check=check_of_stream(found.streams[each.key], found.check_of(found.streams[each.key])))
        for each in found.ledger.streams
    )
    return replace(found, ledger=replace(found.ledger, streams=streams))


def instruments_of(store: "Store") -> InstrumentFile:
    """Return the instruments that a store holds, those in use, and every calibration of any."""
    from spc.store.entries import Calibration as KeptCalibration
    from spc.store.entries import Instrument as KeptInstrument

    latest = {entry.record.name: entry.record for entry in store.records(KeptInstrument)}
    return InstrumentFile(
        tuple(
            Instrument(each.name, each.measures, _days(each.calibrated_every_days))
            for each in latest.values()
            if each.in_use
        ),
        tuple(
            Calibration(
                entry.record.instrument,
                entry.record.at,
                entry.record.found == "in tolerance",
                " ".join(filter(None, (entry.record.found, entry.record.certificate))),
            )
            for entry in store.records(KeptCalibration)
        ),
    )


def _days(every: float | None) -> Length | None:
    return None if every is None else Length(timedelta(days=round(every)), "dates")


def _audit(
    streams: Mapping[StreamKey, Readings],
    events: tuple[Event, ...],
    catalogue: Catalogue,
    calendar: Path | str | None,
    zone: tzinfo,
    now: datetime,
) -> Audit:
    known = {key: readings for key, readings in streams.items() if key.check in catalogue.checks}
    site = AROUND_THE_CLOCK if calendar is None else load_calendar(calendar, catalogue)
    kept = ledger(known, events, catalogue, calendar=site, zone=zone, now=_in_zone(now, zone))
    left_out = tuple(
        f"{key}: the catalogue has no such check; its readings were left out" for key in sorted(streams.keys() - known)
    )
    return Audit(known, events, catalogue, replace(kept, notes=(*kept.notes, *left_out)))


def exposed(audit: Audit, wanted: Wanted) -> tuple[ExposureWindow, ...]:
    """Return the exposure windows of the streams asked for, in time order."""
    results = audit.monitored(key for key in audit.streams if wanted.holds(key))
    return windows_of(results, audit.streams, audit.ledger.operations, now=audit.ledger.now)


def exposed_shown(audit: Audit, windows: Iterable[ExposureWindow]) -> tuple[ExposureWindow, ...]:
    """Return exposure windows as people read them: what was read and asked in the units and formats that hold now."""
    windows = tuple(windows)
    return windows_shown(windows, audit.monitored({window.key for window in windows}), formats_now())


@dataclass(frozen=True, slots=True)
class Instruments:
    """The instruments of a log and of the site's file."""

    due: tuple[CalibrationDue, ...]
    calibrations: tuple[Calibration, ...]  # in time order
    notes: tuple[str, ...]


def instruments(audit: Audit, file: Path | str | None) -> Instruments:
    """Return how the instruments stand to their calibrations; `file` is the site's own (TOML), if any.

    Raises:
        CatalogueError: the file is refused.
    """
    zone, now = audit.ledger.zone, audit.ledger.now
    site = NO_INSTRUMENTS if file is None else load_instruments(file, zone)
    of_events, notes = calibrations_from_events(audit.events, audit.streams, audit.catalogue)
    every = tuple(sorted((*audit.kept.calibrations, *site.calibrations, *of_events), key=lambda each: each.at))
    due = calibrations_due((*audit.kept.instruments, *site.instruments), every, audit.streams, zone=zone, now=now)
    return Instruments(due, every, notes)


def looked_back(
    audit: Audit,
    known: Instruments,
    name: str,
    as_found: AsFound,
    *,
    found_at: datetime | None,
    since: datetime | None,
) -> LookBack:
    """Return every reading made with the instrument `name` since its last good calibration, corrected.

    Args:
        audit: the log.
        known: its instruments; where `found_at` or `since` is not given, they say it.
        name: the instrument.
        as_found: the error found at calibration.
        found_at: when it was found; None: its last calibration that is known.
        since: its last good calibration; None: the last one before that was found good, if any is known.

    Raises:
        InputError: no calibration is known and none is given, or nothing was read with the instrument.
    """
    zone = audit.ledger.zone
    own = [each for each in known.calibrations if each.instrument == name and each.at <= audit.ledger.now]
    if found_at is None and not own:
        raise InputError(f"no calibration of {name!r} is known; say with --found when the error was found")
    at = own[-1].at if found_at is None else _in_zone(found_at, zone)
    good = [each.at for each in own if each.good and each.at < at]
    return look_back(
        name,
        as_found,
        audit.monitored(key for key, readings in audit.streams.items() if name in readings.instrument),
        audit.streams,
        audit.ledger.operations,
        found_at=at,
        since=_in_zone(since, zone) if since is not None else (good[-1] if good else None),
        now=audit.ledger.now,
    )


def _in_zone(at: datetime, zone: tzinfo) -> datetime:
    return at if at.tzinfo is not None else at.replace(tzinfo=zone)
