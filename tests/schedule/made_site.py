"""A made site for the tests of the schedule: two shifts on weekdays in Vienna, and readings at given local times."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from spc.catalogue.check import Catalogue
from spc.catalogue.load import catalogue_from, starter
from spc.records import NO_OFFSET, NOT_RUN, Event, Readings, StreamKey
from spc.schedule.ledger import Ledger, StreamLedger, ledger
from spc.schedule.site_calendar import SiteCalendar, calendar_from
from tests.made import made_readings

VIENNA = ZoneInfo("Europe/Vienna")
LINE = "Line A"
WEEK = ["mon", "tue", "wed", "thu", "fri"]
DAY_SHIFTS: dict[str, Any] = {
    "shift": [
        {"name": "A", "start": "06:00", "end": "14:00", "days": WEEK},
        {"name": "B", "start": "14:00", "end": "22:00", "days": WEEK},
    ]
}
THREE_SHIFTS: dict[str, Any] = {
    "shift": [
        {"name": "A", "start": "06:00", "end": "14:00", "days": WEEK},
        {"name": "B", "start": "14:00", "end": "22:00", "days": WEEK},
        {"name": "C", "start": "22:00", "end": "06:00", "days": [*WEEK, "sun"]},
    ]
}


def local(text: str) -> datetime:
    """Return a local time of Vienna as UTC."""
    return datetime.fromisoformat(text).replace(tzinfo=VIENNA).astimezone(UTC)


def shown(at: datetime | None) -> str | None:
    """Return a time as the tables of the tests have it."""
    return None if at is None else f"{at.astimezone(VIENNA):%Y-%m-%dT%H:%M}"


def calendar(values: Mapping[str, Any] = DAY_SHIFTS, **more: Any) -> SiteCalendar:
    """Return the calendar that `values` give."""
    return calendar_from({**values, **more}, "calendar.toml", starter())


def every(text: str, check: str = "bath_concentration") -> Catalogue:
    """Return the starter catalogue with one check made at the interval `text`."""
    return catalogue_from({"check": {check: {"interval": {"every": text, "document": "D"}}}}, "site.toml")


def stream(times: Sequence[str], *, check: str = "bath_concentration", position: str = "tank") -> Readings:
    """Return readings at local `times`; one that ends in "-" says the line was not in operation."""
    return made_readings(
        [float("nan") if at.endswith("-") else 0.2 for at in times],
        key=StreamKey(LINE, check, position),
        times=[local(at.removesuffix("-")) for at in times],
        words=[NOT_RUN if at.endswith("-") else "" for at in times],
    )


def happened(kind: str, at: str, **parts: Any) -> Event:
    """Return an event on the line."""
    return Event(at=local(at), offset=NO_OFFSET, row=2, line=LINE, kind=kind, **parts)


def kept(
    times: Sequence[str],
    interval: str,
    now: str,
    *,
    site: SiteCalendar | None = None,
    events: Iterable[Event] = (),
    others: Iterable[Readings] = (),
) -> StreamLedger:
    """Return the ledger of one stream with readings at `times`."""
    own = stream(times)
    return whole([own, *others], interval, now, site=site, events=events).of(own.key)


def whole(
    streams: Iterable[Readings],
    interval: str,
    now: str,
    *,
    site: SiteCalendar | None = None,
    events: Iterable[Event] = (),
) -> Ledger:
    """Return the ledger of all of `streams`."""
    return ledger(
        {each.key: each for each in streams},
        events,
        every(interval),
        calendar=calendar() if site is None else site,
        zone=VIENNA,
        now=local(now),
    )


def table(found: StreamLedger) -> list[tuple[str, str | None, str | None]]:
    """Return status, due and done of each entry."""
    return [(entry.status, shown(entry.due), shown(entry.done_at)) for entry in found.entries]
