"""A suggestion for a bath in sentences: what to do, why not more, and what it rests on."""

import math
from collections.abc import Iterator
from datetime import timedelta, tzinfo

from spc.bath import Estimate
from spc.bath_accounts import DOSE_ERROR, PLANNING_SPREAD, PLANNING_YIELD
from spc.dose import AT_ONCE, FEWEST_DOSES, UNLIKE, Carrier, Dose, Powder
from spc.wording import level_text, number, reading_text, source_text, time_text, with_unit

GRAMS_IN_OUNCE = 28.349523125
"""Avoirdupois. NIST Special Publication 811, appendix B.8 (from memory)."""

LITRES_IN_US_GALLON, LITRES_IN_IMPERIAL_GALLON = 3.785411784, 4.54609
"""231 cubic inches, and the imperial gallon. NIST Special Publication 811, appendix B.8 (from memory)."""

READ_AGAIN = (
    "Afterwards agitate the bath, take a new sample and let it settle for its full time (60 min for oil, 30 min for "
    "water, unless your procedure says otherwise). No inspection before that reading is inside its limits; write down "
    "what was added, with its weight or volume."
)
"""Full settling time again after a correction, and no work before the result: T.O. 33B-1-1 (older edition), found."""

STANDING = (
    "This is arithmetic on numbers that people entered. The written procedure, the data sheets of powder and carrier, "
    "and the responsible Level 3 decide what goes into the bath."
)


def dose_headline(dose: Dose) -> str:
    """Return what to do, in one sentence."""
    if dose.suggestion == "read_again":
        return "Add nothing yet: read the bath again first."
    if dose.powder is not None:
        until = "" if dose.learned else ", and no more before the bath is read again"
        do = f"Add {_weight(dose.powder.now)} of powder{until}."
    elif dose.carrier is not None:
        do = f"Too rich: carrier in place of {_volume(dose.carrier.exchange.middle)} brings the bath to its target."
    else:
        do = "Nothing to add: the bath is at its target, as far as its readings tell."
    if dose.old is None:
        return do
    return f"Read the bath first, the last reading is {_age(dose.old)} old. By that reading: {do[0].lower()}{do[1:]}"


def dose_sentences(dose: Dose, zone: tzinfo) -> tuple[str, ...]:
    """Return the reasons behind the headline, times in local time of `zone`, with the cautions last."""
    return (
        *_level(dose, zone),
        *_before(dose, zone),
        *(_powder(dose, dose.powder) if dose.powder is not None else ()),
        *(_carrier(dose, dose.carrier) if dose.carrier is not None else ()),
        *_learned(dose),
        _loss(dose),
        *((READ_AGAIN,) if dose.suggestion != "nothing" else ()),
        *dose.check.cautions,
        STANDING,
    )


def _level(dose: Dose, zone: tzinfo) -> Iterator[str]:
    last = reading_text(dose.last_reading, dose.check, dose.last_bound)
    when = "after what was added since" if dose.written.since else "now"
    yield (
        f"Last reading {last} at {time_text(dose.last_at, zone)}. Level {when}: {_range(dose.knowledge.level, dose)}, "
        f"by {dose.knowledge.n_readings} reading{'s' * (dose.knowledge.n_readings != 1)}."
    )
    limits = " to ".join("open" if limit is None else f"{limit:g}" for limit in (dose.lower, dose.upper))
    of_whom = (
        "as asked"
        if dose.target_given
        else "the usual aim, recalled from powder makers' advice; --target sets your own"
    )
    source = source_text(dose.check.acceptance)
    yield (
        f"Target {level_text(dose.target, dose.check)}, {of_whom}. Acceptance limits {limits} {dose.check.unit_label}"
        f"{f': {source}' if source else ''}. Volume {_volume(dose.volume_l)}, filled to its mark."
    )


def _before(dose: Dose, zone: tzinfo) -> Iterator[str]:
    if dose.written.since:
        done = "; ".join(
            f"{event.kind.replace('_', ' ')} at {time_text(event.at, zone)}" for event in dose.written.since
        )
        yield f"Since the last reading: {done}. What that did, the next reading tells."
    if dose.failed:
        yield f"The last check has failed. {' '.join(dose.check.obliges)}"
    if dose.unlike:
        look = "; ".join(dose.check.look_first.get("low" if dose.knowledge.fell else "high", ()))
        yield (
            f"The last reading is unlike those before it (chance of one so far off: below {UNLIKE:g}). A fault of the "
            f"sample or a bath that stands still must not be answered with powder. Look first at: {look}."
        )


def _powder(dose: Dose, powder: Powder) -> Iterator[str]:
    need = powder.to_target
    high = _weight(need.high) if math.isfinite(need.high) else "any amount: too little is known"
    yield (
        f"To the target it takes about {_weight(need.middle)} (8 chances in 10: {_weight(need.low)} to {high}). "
        f"After {_weight(powder.now)} the level is {_range(powder.level_after, dose)}."
    )
    why = f"A weighed dose itself is uncertain by about {100 * DOSE_ERROR:.0f} % (judgement)"
    if not dose.learned:
        why += f", and the yield is not learned yet, so only {100 * AT_ONCE:.0f} % of what is missing is suggested"
    if powder.too_rich_above is not None and dose.upper is not None:
        most = _weight(powder.too_rich_above)
        why += (
            f". With more than {most} the chance of ending above {dose.upper:g} {dose.check.unit_label} passes 1 in 100"
        )
    yield f"Why not more: {why[0].lower()}{why[1:]}. Too much powder veils small indications with background."


def _carrier(dose: Dose, carrier: Carrier) -> Iterator[str]:
    low, high = _volume(carrier.exchange.low), _volume(carrier.exchange.high)
    yield (
        f"8 chances in 10 that it is {low} to {high}. First look at the mark: if the tank stands below it, carrier has "
        "evaporated, and filling up with carrier alone is the remedy. From a full tank drain as much first; where the "
        f"tank has room instead, {_volume(carrier.add)} on top do the same. Add half, agitate and read, then the rest."
    )
    if carrier.exchange.middle > dose.volume_l / 2:
        yield "That is more than half of the bath: a new one may be the better way."
    if dose.lower is not None:
        yield f"Chance of ending below {dose.lower:g} {dose.check.unit_label}: {_chance(carrier.chance_too_poor)}."


def _learned(dose: Dose) -> Iterator[str]:
    known, written = dose.knowledge, dose.written
    low, high = PLANNING_SPREAD
    unit = f"{dose.check.unit_label} for each g/L"
    planning = (
        f"the planning figure {PLANNING_YIELD:g} {unit} ({low:g} to {high:g}) is a judgement for dry "
        "fluorescent powder; powder mixed with conditioner yields far less, by its data sheet"
    )
    found = known.powder_yield
    is_now = f"{found.middle:.3f} {unit} (8 chances in 10: {found.low:.3f} to {found.high:.3f})"
    if known.n_doses == 0:
        yield f"Yield: nothing to learn it from; {planning}. Write down the weight of every top-up."
    elif dose.learned:
        yield f"Yield, learned from {known.n_doses} weighed top-ups: {is_now}."
    else:
        top_ups = f"{known.n_doses} weighed top-up{'s' * (known.n_doses != 1)}"
        yield f"Yield, from {top_ups} only: {is_now}. Learned from {FEWEST_DOSES} on, if they agree; {planning}."
    if written.unweighed:
        why = f" ({'; '.join(written.unusable)})" if written.unusable else ""
        top_ups = f"{written.unweighed} top-up{'s' * (written.unweighed != 1)}"
        yield f"{top_ups} written down without a weight{why}: the bath was fed, the yield learns nothing from it."
    if known.unwritten_feeds >= 1:
        yield f"The readings point to about {known.unwritten_feeds:.0f} more that nobody wrote down."


def _loss(dose: Dose) -> str:
    loss = dose.knowledge.loss
    range_ = f"8 chances in 10: {_percent(loss.low)} to {_percent(loss.high)}"
    if loss.high < 0:
        return (
            f"The level rises by {_percent(-loss.middle)} from one reading to the next ({_percent(-loss.high)} to "
            f"{_percent(-loss.low)}): carrier evaporates faster than powder is carried out. Fill up with carrier alone."
        )
    return f"Loss from one reading to the next: {_percent(loss.middle)} of the level ({range_})."


def _range(estimate: Estimate, dose: Dose) -> str:
    low, middle, high = (number(x, dose.check.decimals) for x in (estimate.low, estimate.middle, estimate.high))
    return f"about {with_unit(middle, dose.check.unit_label)} (8 chances in 10: {low} to {high})"


def _weight(grams: float) -> str:
    return f"{_figures(grams)} g ({_figures(grams / GRAMS_IN_OUNCE)} oz)"


def _volume(litres: float) -> str:
    us, imperial = litres / LITRES_IN_US_GALLON, litres / LITRES_IN_IMPERIAL_GALLON
    return f"{_figures(litres)} L ({_figures(us)} US gal, {_figures(imperial)} imp gal)"


def _figures(x: float) -> str:
    """Return `x` with two figures, or whole where it has more: "2.6", "75", "120"."""
    if x <= 0:
        return "0"
    places = max(0, 1 - math.floor(math.log10(x) + 1e-9))
    return f"{x:.{places}f}"


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %".replace("-", "\N{MINUS SIGN}")


def _chance(probability: float) -> str:
    return "under 1 in 1000" if probability < 0.001 else f"{100 * probability:.1f} %"


def _age(age: timedelta) -> str:
    return f"{age.days} days" if age >= timedelta(days=2) else f"{age // timedelta(hours=1)} h"
