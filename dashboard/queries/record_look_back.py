"""An instrument that came back out of tolerance: what is asked about it on the record's page, and the answer."""

from dataclasses import replace
from datetime import datetime, tzinfo

from dashboard.queries.audited import Audited
from dashboard.queries.words import count, view_of
from dashboard.urls import RecordView
from dashboard.views.record import LookBackForm, RecordTable
from spc.audit import looked_back
from spc.errors import InputError, SpcError
from spc.formats import formats_now, label
from spc.look_back import AsFound
from spc.shown import Conversion, conversion, conversion_to
from spc.wording import time_text, with_unit


def look_back_asked(found: Audited, zone: tzinfo, view: RecordView) -> tuple[LookBackForm, tuple[RecordTable, ...]]:
    """Return what is asked about an instrument that came back out of tolerance, and the answer if it was asked."""
    names = tuple(each.instrument.name for each in found.instruments.due)
    by = _conversions(found, view.instrument.strip())
    unit = label(by[0].shown) if len(by) == 1 else ""
    form = LookBackForm(names, view.instrument, view.error, view.offset, view.found, view.since, unit)
    if not view.instrument.strip():
        return form, ()
    try:
        error, offset = _number(view.error, "The error in percent"), _number(view.offset, "The error in the unit")
        if not error and not offset:
            raise InputError("Write the error as found, in percent of true or in the unit of the check.")
        if error <= -100:
            raise InputError("An error of -100 % or below leaves no reading; correct it.")
        if offset and len(by) > 1 and any(each.factor != 1 for each in by):
            raise InputError("This instrument reads checks in several units; give its error in percent of true.")
        kept = offset / by[0].factor if by else offset  # a difference: no zero of a scale moves it
        back = looked_back(
            found.audit,
            found.instruments,
            view.instrument.strip(),
            AsFound(relative=error / 100, offset=kept),
            found_at=moment_of(view.found, "When it was found", zone),
            since=moment_of(view.since, "The last good calibration", zone),
        )
    except SpcError as refused:
        return replace(form, refused=f"{str(refused)[:1].upper()}{str(refused)[1:]}"), ()
    words = {"constant": "all of it, all the time", "linear": "growing from nothing to all of it"}
    rows = tuple(
        (
            (" · ".join(filter(None, (each.key.line, each.check.title, each.key.position))), view_of(each.key).href),
            *(
                (text, "")
                for text in (
                    words[each.model],
                    count(each.readings),
                    count(each.would_have_failed),
                    count(each.would_have_passed),
                    count(each.undecided),
                    time_text(each.first_failed, zone) if each.first_failed else "none",
                    count(len(each.windows)),
                )
            ),
        )
        for each in back.streams
    )
    heads = ("Stream", "If the error was there", "Readings", "Would have failed", "Would have passed", "Cannot be told",
             "First that would have failed", "Windows it opens")  # fmt: skip
    since = time_text(back.since, zone) if back.since else "its first reading, as no good calibration is known"
    errors = [f"{view.error.strip()} %"] if error else []
    errors += [with_unit(view.offset.strip(), unit or "in the unit of each check")] if offset else []
    span = f"from {since} to {time_text(back.found_at, zone)}"
    caption = f"{back.instrument}, {span}, corrected by {' and '.join(errors)}"
    return form, (RecordTable(caption, heads, rows, "nothing was read with it in that time"),)


def _conversions(found: Audited, name: str) -> list[Conversion]:
    """Return how the units of the checks that an instrument reads are shown, one for each unit."""
    units = {
        each.check.unit: each.check
        for each in found.results
        if name and name in each.readings.instrument and each.check.unit
    }
    formats = formats_now()
    return [
        conversion_to(check, formats.unit_of(unit)) or conversion(unit, unit) for unit, check in sorted(units.items())
    ]


def _number(text: str, what: str) -> float:
    """Return a number as written, with a decimal point or comma; 0 for nothing."""
    if not text.strip():
        return 0.0
    plain = formats_now().read(text).replace("\N{MINUS SIGN}", "-")
    try:
        found = float(plain)
    except ValueError:
        raise InputError(f"{what} “{text.strip()[:40]}” is no number; write one such as -12 or 0.5.") from None
    if not abs(found) < 1e9:
        raise InputError(f"{what} is out of every range; correct it.")
    return found


def moment_of(text: str, what: str, zone: tzinfo) -> datetime | None:
    """Return a moment as written, in the zone of the site where it names none; None for nothing."""
    if not text.strip():
        return None
    try:
        at = datetime.fromisoformat(text.strip())
        at = at if at.tzinfo is not None else at.replace(tzinfo=zone)
        at.astimezone(zone)
    except (ValueError, OverflowError):
        raise InputError(f"{what}: “{text.strip()[:40]}” is no time; write one such as 2025-03-04T06:10.") from None
    return at
