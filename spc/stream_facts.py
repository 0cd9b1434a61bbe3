"""What stands behind the chart of one stream, in words: acceptance limits, baseline, what comes next."""

from datetime import tzinfo

from spc.formats import formats_now, label
from spc.records import NOT_RUN, Bound, Readings
from spc.results import Forecast, StreamResult, since_reset
from spc.signed_baseline import AFTER_ALL, SignedBaseline, in_force
from spc.times import from_microseconds
from spc.units import convert
from spc.wording import NOT_CONFIRMED, bounds_text, date_text, level_text, plain, reading_text, time_text, with_unit

Facts = tuple[tuple[str, str], ...]


def acceptance_facts(result: StreamResult) -> Facts:
    """Return what is asked of the stream, by which document and revision, and whether this site confirmed it."""
    acceptance, interval = result.check.acceptance, result.check.interval
    facts = [("Asked", bounds_text(acceptance, result.check))]
    if acceptance.rule != "none":
        facts += [
            ("Document", acceptance.document or "none named"),
            ("Revision", acceptance.revision or "none named"),
            ("Confirmed", "by this site's catalogue" if acceptance.confirmed else NOT_CONFIRMED),
        ]
    if acceptance.conflict:
        facts.append(("Documents disagree", acceptance.conflict))
    facts.append(("Due", interval.words + (f" ({interval.document})" if interval.document else "")))
    return tuple(facts)


def baseline_facts(result: StreamResult, zone: tzinfo) -> Facts:
    """Return what set the control limits of the current segment; nothing where there are none."""
    segment, check = (result.segments[-1] if result.segments else None), result.check
    limits = segment.limits if segment else None
    if segment is None or limits is None:
        return ()
    whole = since_reset(result.segments)
    start = time_text(from_microseconds(int(result.charted.taken_at[whole.first])), zone)
    resolution = with_unit(plain(check.resolution), check.unit_label) if check.resolution is not None else ""
    rests = "from the readings themselves" if segment.signed is None else "from the baseline that was signed off"
    floor = f"the resolution of a reading, {resolution}, sets it" if limits.floored else rests
    complete = "" if limits.complete else f" of {check.baseline}; provisional, nothing signals yet"
    return (
        ("Segment since", f"{start}, {whole.because.replace('_', ' ')}"),
        *_signed_facts(result, zone),
        ("Readings in the baseline", f"{limits.n_baseline}{complete}"),
        ("Centre line", level_text(limits.centre_line, check)),
        ("Sigma", f"{level_text(limits.sigma, check)}, {floor}"),
        ("Control limits", f"{level_text(limits.lower, check)} to {level_text(limits.upper, check)}"),
        ("Largest usual step", level_text(limits.moving_range_upper, check)),
    )


def _signed_facts(result: StreamResult, zone: tzinfo) -> Facts:
    """Return which baseline the chart uses, and which one it will; nothing where none was ever signed off."""
    versions, segment = result.check.signed_baselines, result.segments[-1]
    if not versions:
        return ()
    used = "the segment's own readings; not signed off"
    if segment.signed is not None:
        signed_at, since = (time_text(at, zone) for at in (segment.signed.signed_at, segment.signed.valid_from))
        used = f"{segment.signed.named} on {signed_at}, valid from {since}"
    ahead = awaited(result)
    if ahead is None:
        return (("Baseline", used),)
    return (
        ("Baseline", used),
        ("Next baseline", f"{ahead.named}, for readings from {time_text(ahead.valid_from, zone)} on"),
    )


def awaited(result: StreamResult) -> SignedBaseline | None:
    """Return the baseline that sets the limits of readings still to come and of none so far; None where none does."""
    segment = result.segments[-1]
    since = int(result.charted.taken_at[since_reset(result.segments).first])
    coming = in_force(result.check.signed_baselines, AFTER_ALL, since=since, unit=result.check.chart_unit)
    return None if coming is None or coming == segment.signed else coming


def forecast_words(forecast: Forecast, zone: tzinfo) -> tuple[str, ...]:
    """Return in sentences what comes next if nothing is done."""
    if forecast.risk_next is None or forecast.risk_next_5 is None:
        return ("Nothing can be said of the next readings: it takes an acceptance limit and at least 5 readings.",)
    return (
        f"Chance that the next reading fails: {chance_text(forecast.risk_next)}; "
        f"that one of the next five does: {chance_text(forecast.risk_next_5)}.",
        _time_to_limit(forecast, zone),
        f"By a {forecast.method}.",
    )


def _time_to_limit(forecast: Forecast, zone: tzinfo) -> str:
    early, middle, late = forecast.readings_p10, forecast.readings_p50, forecast.readings_p90
    if middle is None:
        if early is None:
            return "The acceptance limit is not expected to be reached in the coming readings."
        return f"The acceptance limit may be reached, at the earliest in about {early:.0f} readings (1 chance in 10)."
    when = f", around {date_text(forecast.date_of_limit, zone)}" if forecast.date_of_limit else ""
    until = f"{late:.0f}" if late is not None else "many more"
    from_ = f"{early:.0f}" if early is not None else "1"
    return (
        f"The acceptance limit is reached in about {middle:.0f} readings{when} (8 chances in 10: {from_} to {until})."
    )


def chance_text(probability: float) -> str:
    """Return a probability as people read it: "under 1 in 1000", "3 %", "over 99 %"."""
    if probability < 0.001:
        return "under 1 in 1000"
    if probability < 0.01:
        return f"{1000 * probability:.0f} in 1000"
    if probability > 0.99:
        return "over 99 %"
    return f"{100 * probability:.0f} %"


def written_text(result: StreamResult, index: int) -> str:
    """Return reading `index` of the stream as it was written, with its unit and, where it has one, its reference."""
    readings, check = result.readings, result.check
    if word := str(readings.word[index]):
        return "not in operation" if word == NOT_RUN else word
    value = _as_typed(readings, index, float(readings.value[index]))
    reference = float(readings.reference[index])
    text = with_unit(value, check.unit_label)
    if check.kept_in:  # what was written stays in sight
        kept = float(convert([readings.value[index]], check.unit, check.kept_in)[0])
        shown = reading_text(float(readings.value[index]), check, int(readings.bound[index]))
        text = f"{shown} (kept as {with_unit(_as_typed(readings, index, kept), label(check.kept_in))})"
    return text if reference != reference else f"{text} at {with_unit(_typed(reference), check.unit_label)}"


def _as_typed(readings: Readings, index: int, value: float) -> str:
    return f"{_sign(readings, index)}{_typed(value)}"


def _typed(value: float) -> str:
    return formats_now().written(f"{value:.10g}".replace("-", "\N{MINUS SIGN}"))


def charted_text(result: StreamResult, place: int) -> str:
    """Return charted reading `place` with its unit."""
    charted = result.charted
    return reading_text(float(charted.x[place]), result.check, int(charted.bound[place]))


def _sign(readings: Readings, index: int) -> str:
    return {Bound.BELOW: "<", Bound.ABOVE: ">"}.get(Bound(int(readings.bound[index])), "")
