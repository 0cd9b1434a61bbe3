"""A check as somebody writes it down: what cannot be, and what is said of it at once.

The words keep apart what a person may easily run together. A reading passes or fails by limits that this site has
confirmed; by others it lies inside or outside of them, which is no verdict. No part is accepted or rejected by it.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from typing import Literal

import numpy as np

from spc.arrays import frozen
from spc.as_of import events_until, first_readings
from spc.catalogue.acceptance import Acceptance, Verdict, verdict
from spc.catalogue.check import Check
from spc.charted import check_of_stream, limits_by_day
from spc.check_due import SOON, CheckDue
from spc.errors import InputError
from spc.margin import margin
from spc.monitor import monitor_stream
from spc.records import NO_OFFSET, NOT_RUN, Bound, Readings, StreamKey
from spc.results import StreamResult
from spc.schedule.site_calendar import DAY, SiteCalendar
from spc.signals import Episode, episodes
from spc.times import from_microseconds, to_microseconds
from spc.wording import NOT_CONFIRMED, bounds_text, plain, source_text, with_unit

LARGEST = 1e30
"""No number on a line is larger, nor a reference smaller than one over it."""

DUE_NOW = timedelta(hours=1)
"""A check due this soon is offered as due now (our own choice, no source)."""

When = Literal["overdue", "due now", "this shift", "resting", "later"]
WHENS: tuple[When, ...] = ("overdue", "due now", "this shift", "later", "resting")
"""When checks are to be done, in the order in which they are offered."""


@dataclass(frozen=True, slots=True)
class Written:
    """A reading as it was written down, not kept yet."""

    key: StreamKey
    taken_at: datetime  # aware
    value: float  # in the unit of the check; NaN where `word` is given
    bound: Bound = Bound.EXACT
    word: str = ""
    reference: float = float("nan")  # in the unit of the check; for a ring the current in amperes
    instrument: str = ""
    technician: str = ""
    shift: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Said:
    """What is said of a reading as soon as it is kept."""

    word: Literal["pass", "fail", "inside", "outside", "undecided", "no limit", "not run"]
    sentence: str
    margin: str  # how far from the acceptance limit; "" where there is none
    obliges: tuple[str, ...]  # what a failed check obliges, in order
    signal: Episode | None  # what moves, where something does
    raised: bool  # whether this very reading raised it


def refuse_impossible(written: Written, check: Check, now: datetime) -> None:
    """Refuse what cannot have been read.

    Args:
        written: as typed.
        check: its catalogue entry.
        now: aware.

    Raises:
        InputError: so, with what to do.
    """
    if written.taken_at > now:
        raise InputError("This time has not come yet; write when the reading was taken.")
    if written.word == NOT_RUN:
        return
    if check.kind == "judged":
        if not written.word:
            raise InputError(f"{check.title} is judged by eye; choose what was seen.")
        return
    if written.word or not np.isfinite(written.value):
        raise InputError("This is no number; write what was read.")
    _refuse_out_of(written, check)
    if needs_reference(check):
        reference = written.reference
        if not np.isfinite(reference):
            raise InputError(f"{check.title} says nothing without its reference; write what was set or truly flowed.")
        if not 1.0 / LARGEST < reference < LARGEST:
            raise InputError("A reference lies above 0; write what the reference meter read.")


def needs_reference(check: Check) -> bool:
    """Return whether a reading of `check` says nothing without its reference."""
    return check.charted == "deviation" or check.acceptance.rule == "minimum_at_reference"


def _refuse_out_of(written: Written, check: Check) -> None:
    low, high = (
        limit if limit is not None else end for limit, end in zip(check.possible, (-LARGEST, LARGEST), strict=True)
    )
    value, bound = written.value, written.bound
    if value < low or (bound is Bound.BELOW and value <= low):
        raise InputError(f"{check.title} cannot be below {with_unit(plain(low), check.unit_label)}.")
    if value > high or (bound is Bound.ABOVE and value >= high):
        raise InputError(f"{check.title} cannot be above {with_unit(plain(high), check.unit_label)}.")


def as_readings(written: Written, row: int, **other: str) -> Readings:
    """Return the one reading as a stream holds it; `other` are columns that the contract does not name."""

    def text(words: str) -> object:
        return frozen(np.array([words], dtype=np.object_))

    columns = {name: text(getattr(written, name)) for name in ("word", "instrument", "technician", "shift", "note")}
    return Readings(
        key=written.key,
        taken_at=frozen(np.array([to_microseconds(written.taken_at)], dtype=np.int64)),
        offset=frozen(np.array([NO_OFFSET], dtype=np.int16)),
        row=frozen(np.array([row], dtype=np.int64)),
        value=frozen(np.array([np.nan if written.word else written.value], dtype=np.float64)),
        bound=frozen(np.array([Bound.EXACT if written.word else written.bound], dtype=np.int8)),
        reference=frozen(np.array([written.reference], dtype=np.float64)),
        **columns,  # type: ignore[arg-type]  # columns of texts
        other={name: text(words) for name, words in other.items()},  # type: ignore[misc]  # likewise
    )


def said_of(result: StreamResult, place: int, zone: tzinfo) -> Said:
    """Return what is said of the reading at `place` of a stream, from readings up to it alone.

    Args:
        result: of the stream, the reading among its own.
        place: in its Readings.
        zone: of the times told.
    """
    until = cut_after(result, place)
    check, word = until.check, str(until.readings.word[place])
    if word == NOT_RUN:
        return Said("not run", "Written down: the line was not in operation.", "", (), None, raised=False)
    acceptance = acceptance_on(until, place)
    failed = any(failure.index == place for failure in until.failures)
    far = "" if check.kind == "judged" or acceptance.rule == "none" else margin(until)[0]
    kind = _kind(until, place, acceptance, failed)
    signal = next((each for each in reversed(episodes(until, zone)) if each.open), None)
    last = len(until.charted.x) - 1
    on_chart = last >= 0 and int(until.charted.index[last]) == place
    return Said(
        word=kind,
        sentence=_sentence(kind, acceptance, check),
        margin=far,
        obliges=check.obliges if failed else (),
        signal=signal,
        raised=signal is not None and on_chart and signal.first.position == last,
    )


def cut_after(result: StreamResult, place: int) -> StreamResult:
    """Return what was known of a stream just after the reading at `place`."""
    if place == len(result.readings) - 1:
        return result
    readings = first_readings(result.readings, place + 1)
    at = from_microseconds(int(readings.taken_at[-1]))
    return monitor_stream(readings, events_until(result.events, at), result.check)


def acceptance_on(result: StreamResult, place: int) -> Acceptance:
    """Return the acceptance limits that judge the reading at `place`: those of its day."""
    return next(
        (limits for limits, part in limits_by_day(result.readings.taken_at, result.check) if place in _range(part)),
        result.check.acceptance,
    )


def _range(part: slice) -> range:
    return range(part.start, part.stop)


def _kind(
    result: StreamResult, place: int, acceptance: Acceptance, failed: bool
) -> Literal["pass", "fail", "inside", "outside", "undecided", "no limit"]:
    if acceptance.rule == "none":
        return "no limit"
    if failed:
        return "fail" if acceptance.confirmed else "outside"
    if result.check.kind == "judged":
        good = str(result.readings.word[place]) != ""
    else:
        at = np.flatnonzero(result.charted.index == place)
        charted = result.charted
        good = len(at) > 0 and bool(
            verdict(charted.x[at], charted.bound[at], charted.lower[at], charted.upper[at])[0] == Verdict.INSIDE
        )
    if not good:
        return "undecided"
    return "pass" if acceptance.confirmed else "inside"


def _sentence(kind: str, acceptance: Acceptance, check: Check) -> str:
    asked = bounds_text(acceptance, check)
    match kind:
        case "pass":
            return f"The check passes: {asked} ({source_text(acceptance)})."
        case "fail":
            return f"The check fails: {asked} ({source_text(acceptance)})."
        case "inside":
            return f"Inside limits that are {NOT_CONFIRMED}: {asked}. That is no verdict."
        case "outside":
            return (
                f"Outside limits that are {NOT_CONFIRMED}: {asked}. Ask the responsible Level 3 which limits hold, "
                "and treat the check as failed until that is known."
            )
        case "undecided":
            return f"It cannot be judged from this: {asked}."
    return "No acceptance limit is known for this check: nothing is judged."


def when_due(due: CheckDue | None, now: datetime, shift_ends: datetime | None) -> When:
    """Return when a check is to be done.

    Args:
        due: how its stream stands to its interval; None where no clock sets it.
        now: aware.
        shift_ends: when the current shift ends; None where no calendar says, and then a shift's length is taken.
    """
    if due is None:
        return "later"
    if due.word == "not in operation":
        return "resting"
    if due.word == "overdue":
        return "overdue"
    if due.by is None:
        return "later"
    if due.by <= now + DUE_NOW:
        return "due now"
    return "this shift" if due.by <= (shift_ends or now + SOON) else "later"


def shift_at(calendar: SiteCalendar, line: str, at: datetime, zone: tzinfo) -> tuple[str, datetime | None]:
    """Return the name of the shift that works on `line` at a moment, and when it ends; "" and None where none is known.

    Args:
        calendar: of the site; without shifts of its own nothing is known.
        line: the line.
        at: aware.
        zone: of the site.
    """
    if not calendar.shifts:
        return "", None
    day = at.astimezone(zone).date()
    for shift, closed in calendar.planned(line, day - DAY, day, zone):
        if shift.start <= at < shift.stop and closed is None:
            return shift.name, shift.stop
    return "", None


def of_stream(result: StreamResult | None, check: Check, key: StreamKey) -> Check:
    """Return the check as a stream uses it; as the catalogue says where there is no reading yet."""
    if result is not None and len(result.readings):
        return check_of_stream(result.readings, result.check)
    return replace(check, acceptance=check.acceptance_for(key))
