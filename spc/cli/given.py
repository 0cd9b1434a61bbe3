"""What was given on the command line, understood: a time zone, a moment, who makes the change."""

import getpass
from datetime import date, datetime, tzinfo

from spc.errors import InputError


def zone_named(name: str | None) -> tzinfo | None:
    """Return the named time zone, or None."""
    if name is None:
        return None
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise InputError(f"--zone {name!r} is no time zone; name one such as Europe/Vienna or UTC") from None


def moment_given(text: str | None, option: str) -> datetime | None:
    """Return a moment as written, without a zone where none is written; None for none."""
    from spc.schedule.site_calendar import YEARS

    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(f"{option} {text!r} is no time; write one such as 2025-03-04T06:10") from None
    if moment.year not in YEARS:
        raise InputError(f"{option} {text!r} is outside the years {YEARS[0]} to {YEARS[-1]}; correct it")
    return moment


def day_given(text: str | None, option: str) -> date | None:
    """Return a day as written; None for none."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"{option} {text!r} is no day; write one such as 2025-03-04") from None


def person(by: str | None) -> str:
    """Return who makes a change: the one named, else this machine's user.

    Raises:
        InputError: neither is known.
    """
    if by is not None:
        if by.strip():
            return by.strip()
        raise InputError("--by is empty; name who makes the change")
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        raise InputError("this machine does not say who you are; give --by NAME") from None
