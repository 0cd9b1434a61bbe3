"""How much powder or carrier a bath takes now: from its readings, its events and its volume to a suggestion.

The tool suggests. The governing written procedure, the powder's data sheet and the responsible Level 3 decide.
"""

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

import numpy as np

from spc.bath import (
    BathKnowledge,
    Estimate,
    carrier_to_add,
    carrier_to_reach,
    chance_above,
    learn_bath,
    level_after,
    powder_to_reach,
)
from spc.bath_accounts import Since
from spc.catalogue.check import Check
from spc.coarse.repeats import written_step
from spc.errors import InputError
from spc.monitor import starts_segment
from spc.records import Event, StreamKey
from spc.results import StreamResult
from spc.times import from_microseconds, to_microseconds
from spc.told import Told
from spc.units import convert, convertible, quantity, same_unit, spelling

USUAL_TARGET = 0.2
"""mL/100 mL aimed at where nobody says otherwise: many powder makers advise 0.15 to 0.25 (recalled, not confirmed)."""

AT_ONCE = 0.5
"""Share of what is missing that is suggested before the bath is read again, until its yield is learned. Judgement."""

FEWEST_DOSES = 5
"""Weighed top-ups from which a yield counts as learned, if its range is narrow as well."""

WIDEST_YIELD = 0.5
"""Widest range (8 chances in 10) of a learned yield, as a share of it."""

CHANCE_TOO_RICH = 0.01
"""Chance of ending above the upper acceptance limit that a suggestion never passes."""

ALREADY_THERE = 0.1
"""Chance of being at the target already from which nothing is suggested."""

MOST_POWDER = 20.0
"""g/L in one top-up beyond which the amount or its unit is taken for a slip. A new bath of powder mixed with
conditioner takes up to 15 (recalled dosing advice, not confirmed)."""

MOST_CARRIER = 0.5
"""Share of the bath in one addition of carrier beyond which likewise."""

VOLUMES = (1.0, 50_000.0)
"""Litres that a bath may hold; anything else is a slip of the unit. Benches hold 40 to 150 L, lines up to 1000 L
(common practice, no source)."""

UNLIKE = 0.005
"""A last reading with less chance than this, given those before, is read again before anything is added."""

Suggestion = Literal["add_powder", "nothing", "too_rich", "read_again"]


@dataclass(frozen=True, slots=True)
class Powder:
    """Powder to add, in g."""

    now: float
    to_target: Estimate  # inf where so little is known that no amount is sure to reach it
    too_rich_above: float | None  # more than this in one go ends above the upper limit with 1 chance in 100
    chance_too_rich: float  # of ending above the upper limit after `now`; 0 without one
    level_after: Estimate  # of adding `now`


@dataclass(frozen=True, slots=True)
class Carrier:
    """Carrier that brings the bath down to its target, in L."""

    exchange: Estimate  # takes the place of so much bath: made up to the mark, or drained first
    add: float  # on top, where the tank has room; for the middle of the level's range
    chance_too_poor: float  # of ending below the lower limit after the middle of `exchange`; 0 without one


@dataclass(frozen=True, slots=True)
class Written:
    """What was written down of work on the bath."""

    weighed: int  # top-ups whose weight is used
    unweighed: int  # top-ups without a weight that can be used
    carrier: int
    unusable: tuple[str, ...]  # why an amount was not used, each reason once
    since: tuple[Event, ...]  # work after the last reading


@dataclass(frozen=True, slots=True)
class Dose(Told):
    """A suggestion for one bath, and what it rests on."""

    key: StreamKey
    check: Check
    volume_l: float
    target: float
    target_given: bool
    suggestion: Suggestion
    knowledge: BathKnowledge
    learned: bool  # whether the yield is the bath's own; else it rests on the planning figure
    written: Written
    last_reading: float
    last_bound: int
    last_at: datetime
    failed: bool  # whether it is outside its acceptance limits
    step: float | None  # that readings are written in
    old: timedelta | None  # age of the last reading, where another is due
    unlike: bool  # whether the last reading is unlike those before it
    powder: Powder | None
    carrier: Carrier | None
    lower: float | None
    upper: float | None


def volume_in_litres(text: str) -> float:
    """Return the litres that "120 L", "40 US gal" or "35 imp gal" name.

    Raises:
        InputError: no number, no unit, a gallon that is not named, or a volume that is not above 0.
    """
    match = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*(\S.*?)?\s*", text)
    if match is None:
        raise InputError(f"volume {text!r} is no number with a unit; write one such as '120 L' or '40 US gal'")
    number, unit = match.groups()
    if re.fullmatch(r"\d{1,3},\d{3}", number):
        raise InputError(f"volume {text!r} may be thousands or decimals; write it without a comma")
    if unit is None:
        raise InputError(f"volume {text!r} has no unit; write '{number} L', '{number} US gal' or '{number} imp gal'")
    if spelling(unit.rstrip(".")).casefold() in ("gal", "gals", "gallon", "gallons"):
        raise InputError(f"a gallon in {text!r} may be US or imperial; write '{number} US gal' or '{number} imp gal'")
    if quantity(unit) != "volume":
        raise InputError(f"{unit!r} is no unit of volume that is known here; write L, US gal or imp gal")
    litres = float(convert([float(number.replace(",", "."))], unit, "L")[0])
    if not litres > 0:
        raise InputError(f"volume {text!r} must be above 0")
    return litres


def bath_named(
    streams: Iterable[StreamKey], checks: Mapping[str, Check], line: str | None, position: str | None
) -> StreamKey:
    """Return the bath of a log that `line` and `position` name; either may be left out while one bath fits.

    Raises:
        InputError: none fits, or more than one.
    """
    baths = sorted(key for key in streams if same_unit(checks[key.check].unit, "mL/100mL"))
    found = [key for key in baths if line in (None, key.line) and position in (None, key.position)]
    if len(found) == 1:
        return found[0]
    there = "; ".join(map(str, baths)) or "none"
    if not found:
        raise InputError(f"no readings of a bath's concentration there; the log has: {there}")
    raise InputError(f"more than one bath fits; name one with --line and --position: {there}")


def dose(result: StreamResult, volume_l: float, *, now: datetime, target: float | None = None) -> Dose:
    """Return what to add to a bath now, with what it rests on.

    Args:
        result: a stream of settled volumes, its events with it.
        volume_l: litres in the tank when it stands at its mark.
        now: aware time of the question.
        target: mL/100 mL to aim at; None: 0.2 where the acceptance limits hold it.

    Raises:
        InputError: no reading that is a number, a volume or a target that cannot be.
    """
    if not VOLUMES[0] <= volume_l <= VOLUMES[1]:
        raise InputError(
            f"volume is {volume_l:g} L; give what the tank holds at its mark, {VOLUMES[0]:g} to {VOLUMES[1]:g} L"
        )
    charted = result.charted
    if not len(charted.x):
        raise InputError(f"{result.key} has no reading that is a number; read the bath first")
    lower, upper = (None if np.isnan(limit) else float(limit) for limit in (charted.lower[-1], charted.upper[-1]))
    aim = _target(target, lower, upper)
    step = _step(result)
    work, written = _work(result, volume_l)
    knowledge = learn_bath(
        charted.x,
        step=step,
        bound=charted.bound,
        shifts=[each.shifts for each in work[:-1]],
        powder=[each.powder for each in work[:-1]],
        carrier=[each.carrier for each in work[:-1]],
        unmeasured=[each.unmeasured for each in work[:-1]],
        fresh=[each.fresh for each in work[:-1]],
        since=work[-1] if written.since else None,
    )
    learned = _learned(knowledge)
    last_at = from_microseconds(int(charted.taken_at[-1]))
    every = result.check.interval.every
    old = now - last_at if every is not None and now - last_at > 2 * every else None
    suggestion = _suggestion(knowledge, written, aim, upper)
    return Dose(
        key=result.key,
        check=result.check,
        volume_l=volume_l,
        target=aim,
        target_given=target is not None,
        suggestion=suggestion,
        knowledge=knowledge,
        learned=learned,
        written=written,
        last_reading=float(charted.x[-1]),
        last_bound=int(charted.bound[-1]),
        last_at=last_at,
        failed=bool(result.failures) and result.failures[-1].index == int(charted.index[-1]),
        step=step,
        old=old,
        unlike=knowledge.surprise < UNLIKE,
        powder=_powder(knowledge, volume_l, aim, upper, learned=learned) if suggestion == "add_powder" else None,
        carrier=_carrier(knowledge, volume_l, aim, lower) if suggestion == "too_rich" else None,
        lower=lower,
        upper=upper,
    )


def _step(result: StreamResult) -> float | None:
    """Return the step that readings are written in, at most what the catalogue says one can be read to."""
    found = (written_step(result.charted.x), result.check.resolution)
    return min((step for step in found if step is not None), default=None)


def _target(given: float | None, lower: float | None, upper: float | None) -> float:
    target = USUAL_TARGET if given is None else given
    if not (math.isfinite(target) and target > 0):
        raise InputError(f"target is {target}; give mL/100 mL above 0")
    if (lower is not None and target <= lower) or (upper is not None and target >= upper):
        asked = " to ".join("open" if limit is None else f"{limit:g}" for limit in (lower, upper))
        raise InputError(f"target {target:g} is not inside the acceptance limits {asked}; give --target inside them")
    return target


def _suggestion(knowledge: BathKnowledge, written: Written, target: float, upper: float | None) -> Suggestion:
    if written.since or knowledge.surprise < UNLIKE:
        return "read_again"
    if upper is not None and chance_above(knowledge, upper) >= 0.5:
        return "too_rich"
    return "nothing" if chance_above(knowledge, target) >= ALREADY_THERE else "add_powder"


def _learned(knowledge: BathKnowledge) -> bool:
    found = knowledge.powder_yield
    return knowledge.n_doses >= FEWEST_DOSES and found.high - found.low <= WIDEST_YIELD * found.middle


def _powder(knowledge: BathKnowledge, volume_l: float, target: float, upper: float | None, *, learned: bool) -> Powder:
    low, middle, high = (volume_l * powder_to_reach(knowledge, target, chance) for chance in (0.1, 0.5, 0.9))
    most = None if upper is None else volume_l * powder_to_reach(knowledge, upper, CHANCE_TOO_RICH)
    now = rounded_down(min(middle * (1.0 if learned else AT_ONCE), math.inf if most is None else most))
    return Powder(
        now=now,
        to_target=Estimate(middle, low, high),
        too_rich_above=most,
        chance_too_rich=0.0 if upper is None else chance_above(knowledge, upper, powder=now / volume_l),
        level_after=level_after(knowledge, powder=now / volume_l),
    )


def _carrier(knowledge: BathKnowledge, volume_l: float, target: float, lower: float | None) -> Carrier:
    low, middle, high = (volume_l * carrier_to_reach(knowledge, target, chance) for chance in (0.1, 0.5, 0.9))
    return Carrier(
        exchange=Estimate(middle, low, high),
        add=carrier_to_add(knowledge.level.middle, target, volume_l),
        chance_too_poor=0.0 if lower is None else 1.0 - chance_above(knowledge, lower, carrier=middle / volume_l),
    )


def rounded_down(grams: float) -> float:
    """Return an amount with two figures, never more than `grams`: what a person weighs."""
    if grams <= 0:
        return 0.0
    unit = 10.0 ** (math.floor(math.log10(grams)) - 1)
    return float(f"{math.floor(grams / unit * (1 + 1e-9)) * unit:.6g}")


def _work(result: StreamResult, volume_l: float) -> tuple[list[Since], Written]:
    """Return what happened before each reading, and since the last one; shape (n + 1,)."""
    taken_at = result.charted.taken_at
    work = [Since(shifts=shifts) for shifts in (*_shifts(result), 0.0)]
    weighed = unweighed = carrier = 0
    reasons: dict[str, None] = {}
    since = []
    for event in result.events:
        place = int(np.searchsorted(taken_at, to_microseconds(event.at), side="left"))
        done = _done(event, result.check, volume_l)
        if done is None:
            continue
        weighed += done.powder > 0
        unweighed += done.unmeasured > 0
        carrier += event.kind == "carrier_added"
        if done.unmeasured > 0 and (why := _why_unmeasured(event)):
            reasons[why] = None
        if place == len(taken_at):
            since.append(event)
        if place > 0:
            work[place] = _joined(work[place], done)
    return work, Written(weighed, unweighed, carrier, tuple(reasons), tuple(since))


def _done(event: Event, check: Check, volume_l: float) -> Since | None:
    """Return what an event did to the bath; None where it did nothing to its level."""
    if starts_segment(event, check):
        return Since(fresh=True)
    if event.kind == "bath_topped_up":
        grams = _amount(event, "g", MOST_POWDER * volume_l)
        return Since(unmeasured=1) if grams is None else Since(powder=grams / volume_l)
    if event.kind == "carrier_added":
        litres = _amount(event, "L", MOST_CARRIER * volume_l)
        return Since(unmeasured=-1) if litres is None else Since(carrier=litres / volume_l)
    return None


def _amount(event: Event, unit: str, most: float) -> float | None:
    """Return the amount of an event in `unit`; None where it has none, or one that cannot be, or is above `most`."""
    if not (math.isfinite(event.amount) and event.amount > 0 and event.unit and convertible(event.unit, unit)):
        return None
    amount = float(convert([event.amount], event.unit, unit)[0])
    return amount if amount <= most else None


def _why_unmeasured(event: Event) -> str:
    if not math.isfinite(event.amount):
        return ""
    what = "weight" if event.kind == "bath_topped_up" else "volume"
    if not event.unit:
        return f"an amount without a unit is no {what}"
    if event.amount > 0 and convertible(event.unit, "g" if what == "weight" else "L"):
        return f"{event.amount:g} {event.unit} is more than the bath can have taken"
    return f"{event.amount:g} {event.unit} is no {what} that is known here"


def _joined(first: Since, then: Since) -> Since:
    """Return both pieces of work as one; what comes before a fresh bath no longer counts."""
    if then.fresh:
        return Since(shifts=first.shifts, fresh=True)
    return Since(
        shifts=first.shifts,
        powder=first.powder + then.powder,
        carrier=1.0 - (1.0 - first.carrier) * (1.0 - then.carrier),
        unmeasured=first.unmeasured or then.unmeasured,
        fresh=first.fresh,
    )


def _shifts(result: StreamResult) -> list[float]:
    """Return how much of an ordinary gap lies before each reading: 1, or less where it came sooner than it was due.

    A longer gap counts as one: the log does not say whether the line ran meanwhile.
    """
    every = result.check.interval.every
    gaps = np.diff(result.charted.taken_at, prepend=result.charted.taken_at[:1])
    if every is None:
        return [float(gap > 0) for gap in gaps]
    return [min(1.0, float(gap) / (every / timedelta(microseconds=1))) for gap in gaps]
