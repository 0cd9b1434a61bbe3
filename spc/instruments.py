"""Instruments: what they were calibrated for, and when their calibration is due.

A calibration is known from a file of the site, or from an event `meter_calibrated`: it is that of the instrument last
used on the streams the event touches, or of the one its note names. On a check that is charted as its deviation from a
reference the event is about the panel meter, so there only the note counts.
"""

from calendar import monthrange
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any, Literal

import numpy as np

from spc.catalogue.check import Catalogue
from spc.catalogue.table import Length, Table, nearest
from spc.catalogue.toml_file import toml_file
from spc.monitor import touches
from spc.records import Event, Readings, StreamKey
from spc.schedule.site_calendar import YEARS
from spc.times import from_microseconds, to_microseconds

CalibrationState = Literal["valid", "due soon", "overdue", "not known"]
SOON = timedelta(days=30)
"""How long before it is due a calibration is announced (our own choice, no source)."""


@dataclass(frozen=True, slots=True)
class Instrument:
    """A meter, tube or specimen that readings are made with, and how often it is calibrated."""

    name: str  # as in the log's instrument column
    title: str = ""  # "UV-A radiometer"
    interval: Length | None = None  # None: the site's file does not say
    document: str = ""


@dataclass(frozen=True, slots=True)
class Calibration:
    """One calibration of an instrument."""

    instrument: str
    at: datetime  # aware
    good: bool | None  # whether it was found in tolerance; None: not written down
    words: str = ""


@dataclass(frozen=True, slots=True)
class CalibrationDue:
    """How an instrument stands to its calibration at one moment."""

    instrument: Instrument
    last: Calibration | None
    due: date | None  # None: no calibration or no interval is known
    state: CalibrationState
    used: int  # readings made with it in the log
    used_overdue: int  # of these, after the day on which its calibration was due
    last_used: datetime | None


@dataclass(frozen=True, slots=True)
class InstrumentFile:
    """The site's instruments and their calibrations."""

    instruments: tuple[Instrument, ...] = ()
    calibrations: tuple[Calibration, ...] = ()


def load_instruments(path: Path | str, zone: tzinfo) -> InstrumentFile:
    """Return the instruments of a site's file (TOML).

        [[instrument]]
        name = "rad-1"                  as in the log's instrument column
        title = "UV-A radiometer"
        every = "12 months"             "6 months", "1 year", "8 weeks"
        document = "Written procedure MT-07, 5"

        [[calibration]]
        instrument = "rad-1"
        on = 2025-02-03                 a date, or a local time
        good = true                     whether it was found in tolerance
        words = "as found within 2 %"

    Raises:
        CatalogueError: the file cannot be read, or has a mistake: file, key, value and remedy in one line.
    """
    return instruments_from(toml_file(path, "a file of instruments"), str(path), zone)


def instruments_from(values: Mapping[str, Any], source: str, zone: tzinfo) -> InstrumentFile:
    """Return the instruments that the `values` of a file give; refusals name it as `source`."""
    whole = Table(source, "", values)
    whole.only(("instrument", "calibration"))
    instruments: dict[str, Instrument] = {}
    for table in whole.tables("instrument"):
        table.only(("name", "title", "every", "document"))
        name = table.text("name")
        if name in instruments:
            raise table.refused("name", f"'{name}' stands there twice; keep one of them")
        instruments[name] = Instrument(
            name, table.text("title", default=""), _interval(table), table.text("document", default="")
        )
    calibrations = tuple(_calibration(table, instruments, zone) for table in whole.tables("calibration"))
    return InstrumentFile(tuple(instruments.values()), calibrations)


def _interval(table: Table) -> Length | None:
    if "every" not in table.values:
        return None
    length = table.interval("every")
    if length.every is None or length.counted != "dates":
        raise table.refused("every", 'a calibration is due by dates; write "12 months", "1 year" or "8 weeks"')
    return length


def _calibration(table: Table, instruments: Mapping[str, Instrument], zone: tzinfo) -> Calibration:
    table.only(("instrument", "on", "good", "words"))
    name = table.text("instrument")
    if name not in instruments:
        raise table.refused("instrument", f"there is no instrument '{name}'; {nearest(name, tuple(instruments))}")
    on = table.values.get("on")
    if not isinstance(on, date):
        raise table.refused("on", "no date is given; write on = 2025-02-03, without quotes")
    if on.year not in YEARS:
        raise table.refused("on", f"{on} is outside the years {YEARS[0]} to {YEARS[-1]}; correct it")
    at = on if isinstance(on, datetime) else datetime(on.year, on.month, on.day)  # noqa: DTZ001 - the zone comes next
    good = table.flag("good") if "good" in table.values else None
    return Calibration(name, at if at.tzinfo else at.replace(tzinfo=zone), good, table.text("words", default=""))


def calibrations_from_events(
    events: Iterable[Event], streams: Mapping[StreamKey, Readings], catalogue: Catalogue
) -> tuple[tuple[Calibration, ...], tuple[str, ...]]:
    """Return the calibrations that `meter_calibrated` events speak of, and a sentence for each that names none.

    Whether an instrument was found in tolerance stands in the note, if at all; nobody's words are guessed at, so
    `good` is None.
    """
    found: list[Calibration] = []
    unknown: list[str] = []
    for event in events:
        if event.kind != "meter_calibrated":
            continue
        touched = [readings for key, readings in streams.items() if touches(event, key, catalogue.checks[key.check])]
        name = _named_in(event.note, touched) or _last_used(event, touched, catalogue)
        if name:
            found.append(Calibration(name, event.at, None, event.note))
        else:
            unknown.append(
                f"row {event.row}: meter_calibrated at {StreamKey(event.line, event.check, event.position)} is that of "
                "no instrument that is known from the log; write its name in the note if it is one of the log's"
            )
    return tuple(found), tuple(unknown)


def _named_in(note: str, touched: Iterable[Readings]) -> str:
    """Return the instrument of these streams that `note` names, the longest name first; "" where there is none."""
    names = {str(name) for readings in touched for name in set(readings.instrument.tolist()) if name}
    words = f" {note} "
    return next((name for name in sorted(names, key=len, reverse=True) if f" {name} " in words), "")


def _last_used(event: Event, touched: Iterable[Readings], catalogue: Catalogue) -> str:
    """Return the one instrument in use on all these streams just before `event`; "" where it is not one."""
    at = to_microseconds(event.at)
    names = set()
    for readings in touched:
        if catalogue.checks[readings.key.check].charted == "deviation":
            continue
        before = readings.instrument[: int(np.searchsorted(readings.taken_at, at))]
        names |= set([str(name) for name in before if name][-1:])
    return names.pop() if len(names) == 1 else ""


def calibrations_due(
    instruments: Iterable[Instrument],
    calibrations: Iterable[Calibration],
    streams: Mapping[StreamKey, Readings],
    *,
    zone: tzinfo,
    now: datetime,
) -> tuple[CalibrationDue, ...]:
    """Return how every instrument of the file and of the log stands to its calibration at `now`, by name."""
    known = {instrument.name: instrument for instrument in instruments}
    uses = _uses(streams, now)
    done = sorted((each for each in calibrations if each.at <= now), key=lambda each: each.at)
    return tuple(
        _due(known.get(name, Instrument(name)), [each for each in done if each.instrument == name], uses, zone, now)
        for name in sorted(known.keys() | uses.keys())
    )


def _uses(streams: Mapping[StreamKey, Readings], now: datetime) -> dict[str, list[datetime]]:
    found: dict[str, list[datetime]] = {}
    until = to_microseconds(now)
    for readings in streams.values():
        for name, at in zip(readings.instrument.tolist(), readings.taken_at.tolist(), strict=True):
            if name and at <= until:
                found.setdefault(name, []).append(from_microseconds(at))
    return found


def _due(
    instrument: Instrument,
    done: list[Calibration],
    uses: Mapping[str, list[datetime]],
    zone: tzinfo,
    now: datetime,
) -> CalibrationDue:
    used = uses.get(instrument.name, [])
    last = done[-1] if done else None
    due = last_day(last.at.astimezone(zone).date(), instrument.interval) if last and instrument.interval else None
    today = now.astimezone(zone).date()
    state: CalibrationState = "not known"
    if due is not None:
        state = "overdue" if today > due else "due soon" if today > due - SOON else "valid"
    return CalibrationDue(
        instrument=instrument,
        last=last,
        due=due,
        state=state,
        used=len(used),
        used_overdue=_used_overdue(used, done, instrument, zone),
        last_used=max(used, default=None),
    )


def _used_overdue(used: list[datetime], done: list[Calibration], instrument: Instrument, zone: tzinfo) -> int:
    """Return how many readings were made after the day on which the calibration before them had run out."""
    if instrument.interval is None:
        return 0
    count = 0
    for at in used:
        before = [each for each in done if each.at <= at]
        if before:
            due = last_day(before[-1].at.astimezone(zone).date(), instrument.interval)
            count += at.astimezone(zone).date() > due
    return count


def last_day(calibrated: date, interval: Length) -> date:
    """Return the last day on which a calibration made on `calibrated` holds."""
    if not interval.months:
        return calibrated + (interval.every or timedelta())
    years, month = divmod(calibrated.month - 1 + interval.months, 12)
    year, month = calibrated.year + years, month + 1
    return date(year, month, min(calibrated.day, monthrange(year, month)[1]))
