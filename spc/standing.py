"""A log as it stands at one moment: every stream up to then, what is due, and what is dated ahead of the clock."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from spc.as_of import RowsAhead, as_of, events_until, rows_ahead
from spc.check_due import CheckDue, checks_due
from spc.records import Event, StreamKey
from spc.results import StreamResult
from spc.scan import Scan
from spc.schedule.site_calendar import SiteCalendar
from spc.times import from_microseconds
from spc.wording import CLOCKS_DIFFER


@dataclass(frozen=True, slots=True)
class Standing:
    """A log at one moment."""

    now: datetime  # aware
    streams: tuple[StreamResult, ...]  # from readings and events up to `now`
    due: Mapping[StreamKey, CheckDue]  # of the streams with an interval that a clock sets
    ahead: tuple[RowsAhead, ...]  # readings dated later, by stream
    events_ahead: tuple[Event, ...]  # events dated later

    @property
    def last_reading(self) -> datetime | None:
        """When the newest reading was taken; None where there is none."""
        last = [int(result.readings.taken_at[-1]) for result in self.streams if len(result.readings)]
        return from_microseconds(max(last)) if last else None


def standing(scan: Scan, calendar: SiteCalendar, now: datetime) -> Standing:
    """Return how a log stands at `now`.

    Args:
        scan: of the log.
        calendar: the site's, or `AROUND_THE_CLOCK`.
        now: aware.
    """
    streams = tuple(as_of(result, now) for result in scan.streams)
    happened = scan.events.events if scan.events else ()
    until = events_until(happened, now)
    ahead = (rows_ahead(result.readings, now) for result in scan.streams)
    return Standing(
        now=now,
        streams=streams,
        due=checks_due(
            {result.key: (result.readings, result.check) for result in streams},
            until,
            calendar,
            zone=scan.zone,
            now=now,
        ),
        ahead=tuple(found for found in ahead if found is not None),
        events_ahead=tuple(event for event in happened if event.at > now + CLOCKS_DIFFER),
    )


def newest(scan: Scan) -> datetime | None:
    """Return the newest time in a log and its events: what a clock that follows the log shows."""
    times = [from_microseconds(int(result.readings.taken_at[-1])) for result in scan.streams]
    times += [event.at for event in scan.events.events] if scan.events else []
    return max(times, default=None)
