"""Times: aware UTC inside, written for people as the log wrote them."""

from datetime import UTC, datetime, timedelta, timezone, tzinfo

from spc.errors import InputError
from spc.records import NO_OFFSET

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)


def from_microseconds(taken_at: int) -> datetime:
    """Return the aware UTC time `taken_at` microseconds after 1970-01-01 UTC."""
    return EPOCH + timedelta(microseconds=int(taken_at))


def to_microseconds(at: datetime) -> int:
    """Return microseconds from 1970-01-01 UTC to the aware time `at`.

    Raises:
        InputError: `at` has no zone.
    """
    if at.tzinfo is None:
        raise InputError(f"time {at.isoformat()} has no zone; give an aware time")
    return (at - EPOCH) // MICROSECOND


def as_written(at: datetime, offset: int, zone: tzinfo) -> str:
    """Return ISO 8601 text of `at`: local time of `zone` when the log wrote no offset, else with that offset.

    To the minute, or finer where seconds were written.
    """
    local = at.astimezone(zone).replace(tzinfo=None) if offset == NO_OFFSET else at.astimezone(fixed_offset(offset))
    if local.microsecond:
        return local.isoformat()
    return local.isoformat(timespec="seconds" if local.second else "minutes")


def fixed_offset(minutes: int) -> timezone:
    """Return the zone `minutes` east of UTC."""
    return timezone(timedelta(minutes=int(minutes)))
