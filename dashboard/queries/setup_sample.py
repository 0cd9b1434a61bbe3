"""What the page of the set-up sample asks: past samples, and what becomes of a new one."""

import re
from collections.abc import Mapping
from datetime import date
from typing import Any

from dashboard.queries.entry_cards import NO_STORE
from dashboard.queries.known import Known
from dashboard.queries.stream import screen_of
from dashboard.queries.words import count, view_of
from dashboard.views.setup_sample import CircuitAsked, FactorSeen, SampleRow, SampleTold, SetupPage
from spc.errors import InputError
from spc.formats import formats_now
from spc.run_start import (
    TECHNIQUES,
    Circuit,
    KnownDefectPart,
    NotchedShim,
    Reference,
    RingHoles,
    SetupSample,
    Technique,
    checked,
    counts_by_month,
    ring_minimum,
    runs_between_failures,
)
from spc.setup_look import Evidence, FactorLook, GuidedLook, guided_look
from spc.wording import bounds_text, time_text

ROWS = 12
LONGEST = 300
"""Letters of a field."""

HEADLINES: Mapping[str, str] = {
    "shown": "Shown: the set-up shows what it should at this moment",
    "weak": "Weak: that is no proof. Do not start the run",
    "missing": "Missing: nothing shows. Do not start the run",
}
MOST_CIRCUITS = 6
USUAL_CIRCUITS = 3
"""Circuits asked of a multidirectional shot where the line names fewer than two."""

NUMBER = re.compile(r"[0-9]{1,6}(?:[.,][0-9]{1,3})?")

Fields = Mapping[str, str]


def setup_page(known: Known, line: str, person: str) -> SetupPage:
    """Return the page for one line; for the first one where it names none that is known."""
    lines = tuple(dict.fromkeys(result.key.line for result in known.standing().streams))
    samples = _samples(known)
    lines = tuple(dict.fromkeys((*lines, *(sample.line for sample in samples))))
    chosen = line if line in lines else lines[0] if lines else ""
    own = [sample for sample in samples if sample.line == chosen]
    newest = sorted(own, key=lambda sample: sample.at, reverse=True)
    ring = known.snapshot.scan.catalogue.checks.get("ring_holes")
    return SetupPage(
        lines=lines,
        line=chosen,
        parts=tuple(dict.fromkeys(sample.part_shape for sample in newest))[:12],
        person=person,
        techniques=TECHNIQUES,
        circuits=circuits_asked(known, chosen, TECHNIQUES[0]),
        ring_currents=bounds_text(ring.acceptance, ring) if ring and ring.acceptance.table else "",
        rows=tuple(_row(sample, known) for sample in newest[:ROWS]),
        rows_in_all=len(own),
        told=_told(own, chosen),
        months=len(counts_by_month(own, line=chosen, zone=known.zone)[0]),
        why_not=NO_STORE if known.store is None else "",
    )


def circuits_asked(known: Known, line: str, technique: str) -> tuple[CircuitAsked, ...]:
    """Return the circuits that a technique uses, called as the line's ammeter checks call them.

    One circuit for every technique but multidirectional: there all that the line names, three where it names fewer
    than two.
    """
    keys = (result.key for result in known.standing().streams if result.key.check == "ammeter")
    named = tuple(dict.fromkeys(key.position for key in keys if key.line == line and key.position))
    if technique == "multidirectional":
        names = named[:MOST_CIRCUITS] if len(named) > 1 else (*named, *("",) * (USUAL_CIRCUITS - len(named)))
    else:
        coil = technique == "coil"
        names = (next((name for name in named if ("coil" in name.lower()) is coil), ""),)
    return tuple(CircuitAsked(str(place), name, named) for place, name in enumerate(names, start=1))


def _samples(known: Known) -> list[SetupSample]:
    if known.store is None:
        return []
    return [entry.record for entry in known.store.records(SetupSample)]


def _row(sample: SetupSample, known: Known) -> SampleRow:
    return SampleRow(
        at=time_text(sample.at, known.zone),
        part=sample.part_shape,
        technique=_technique_words(sample.technique),
        reference=sample.reference.words(),
        result=sample.result,
        by=sample.by,
    )


def _technique_words(technique: Technique) -> str:
    circuits = ", ".join(f"{circuit.name} {circuit.amperes:g} A" for circuit in technique.circuits)
    return f"{technique.kind}, {circuits}{'' if technique.continuous else ', not continuous'}"


def _told(samples: list[SetupSample], line: str) -> str:
    """Return how often the samples of a line showed too little, and how many good runs lie between two of those."""
    if not samples:
        return ""
    weak = sum(sample.result != "shown" for sample in samples)
    said = f"{weak} of {count(len(samples))} samples of {line} showed too little."
    _, limits = runs_between_failures(samples, line=line)
    if limits is None:
        return said
    few = f" or fewer than {limits.lower:g}" if limits.lower > 0 else ""
    return (
        f"{said} Usually {limits.centre_line:g} good runs lie between two; more than {limits.upper:g}{few} would be "
        "unusual."
    )


def runs_figure(known: Known, line: str, screen: Mapping[str, object]) -> Any:
    """Return the chart of the share of samples that showed too little, month by month; None with fewer than 2."""
    from spc.charts.attributes import FRACTION_FAILED, fraction_limits, fraction_plot
    from spc.figures.results import control_chart_figure

    months, counts = counts_by_month(_samples(known), line=line, zone=known.zone)
    if len(months) < 2:
        return None
    plotted = fraction_plot(counts, fraction_limits(counts))
    return control_chart_figure(
        FRACTION_FAILED,
        plotted,
        what=f"Set-up samples of {line}",
        along="month",
        called=tuple(f"{date.fromisoformat(f'{month}-01'):%b %Y}" for month in months),
        screen=screen_of(dict(screen)),
    )


# a new sample


def keep_sample(known: Known, line: str, fields: Fields, person: str) -> SampleTold:
    """Keep a set-up sample; return what it shows, and where to look when that is too little.

    Raises:
        InputError: something is missing or cannot be, in words for the form.
    """
    if known.store is None:
        raise InputError(NO_STORE)
    fields = {name: " ".join(text.split())[:LONGEST] for name, text in fields.items()}
    by = fields.get("who", "") or person
    if not by:
        raise InputError("Write your name: a sample carries the name of who made it.")
    if not line:
        raise InputError("Choose the line that is set up.")
    sample = checked(
        SetupSample(
            at=known.now(),
            line=line,
            part_shape=_needed(fields, "part", "Write the shape of the part"),
            technique=_technique(fields),
            reference=_reference(fields, known),
            by=by,
            photo=fields.get("photo", ""),
            note=fields.get("note", ""),
        )
    )
    known.store.append(sample, who=person or by, now=known.clock())
    known.source.poll()
    return told_of(sample, known)


def told_of(sample: SetupSample, known: Known) -> SampleTold:
    """Return what a sample shows, and the look at the factors where that is too little."""
    streams = known.standing().streams
    look = guided_look(sample, streams, zone=known.zone, now=known.now())
    facts = [
        ("Part", sample.part_shape),
        ("Technique", _technique_words(sample.technique)),
        ("Reference", sample.reference.words()),
        ("By", f"{sample.by}, {time_text(sample.at, known.zone)}"),
        *([("Picture", sample.photo)] if sample.photo else []),
        *([("Note", sample.note)] if sample.note else []),
    ]
    return SampleTold(
        result=sample.result,
        headline=HEADLINES[sample.result],
        facts=tuple(facts),
        sentence=look.sentence if look is not None else "",
        factors=tuple(_factor(each, look) for each in look.factors) if look is not None else (),
    )


def _factor(seen: FactorLook, look: GuidedLook) -> FactorSeen:
    return FactorSeen(
        title=seen.factor.title,
        word=seen.word,
        first=seen is look.first,
        evidence=tuple(_evidence(each) for each in seen.evidence),
        ask=seen.factor.ask,
        cautions=seen.factor.cautions,
    )


def _evidence(each: Evidence) -> tuple[str, str, bool]:
    where = " ".join(filter(None, (each.result.check.title, each.result.key.position)))
    moves = each.state.word in ("failed", "moving")
    said = each.state.gist if moves else f"{where}: {each.state.last_text}"
    return f"{said} ({each.state.age_text or 'never read'})", view_of(each.result.key).href, each.stale


def _needed(fields: Fields, name: str, otherwise: str) -> str:
    text = fields.get(name, "")
    if not text:
        raise InputError(f"{otherwise}.")
    return text


def _number(fields: Fields, name: str, what: str) -> float:
    text = _needed(fields, name, f"Write {what}")
    if not NUMBER.fullmatch(text):
        raise InputError(f"“{text}” is no number; write {what}.")
    return float(formats_now().read(text))


def _count(fields: Fields, name: str, what: str) -> int:
    text = _needed(fields, name, f"Write {what}")
    if not (text.isascii() and text.isdigit() and len(text) < 4):
        raise InputError(f"“{text}” is no whole number; write {what}.")
    return int(text)


def _technique(fields: Fields) -> Technique:
    kind = _needed(fields, "technique", "Choose the technique")
    several = kind == "multidirectional"
    circuits = []
    for place in range(1, MOST_CIRCUITS + 1 if several else 2):
        name, amperes = fields.get(f"circuit-{place}", ""), f"amperes-{place}"
        if not several or fields.get(amperes):
            which = name or f"circuit {place}"
            circuits.append(Circuit(which, _number(fields, amperes, f"the amperes of {which}")))
    return Technique(kind, tuple(circuits), continuous=fields.get("continuous", "yes") == "yes")  # type: ignore[arg-type]  # refused where it is none


def _reference(fields: Fields, known: Known) -> Reference:
    match fields.get("reference", ""):
        case "shim":
            return NotchedShim(
                _needed(fields, "shim-kind", "Write the type of the shim"),
                _needed(fields, "shim-where", "Write where on the part the shim sits"),
                _needed(fields, "shim-seen", "Choose what the shim shows"),
            )
        case "ring":
            kind, amperes = _needed(fields, "ring-kind", "Write the type of the ring"), _ring_amperes(fields)
            seen = _count(fields, "ring-seen", "how many holes are seen")
            return RingHoles(kind, amperes, seen, _least(fields, known, amperes))
        case "part":
            return KnownDefectPart(
                _needed(fields, "part-name", "Write the name of the part with known defects"),
                _count(fields, "part-seen", "how many indications are seen"),
                _count(fields, "part-expected", "how many indications are expected"),
            )
    raise InputError("Choose the reference: a shim, a ring, or a part with known defects.")


def _ring_amperes(fields: Fields) -> float:
    return _number(fields, "ring-amperes", "the current through the ring")


def _least(fields: Fields, known: Known, amperes: float) -> int:
    """Return the least holes asked: as written, else as the catalogue's table says for this current."""
    if fields.get("ring-minimum"):
        return _count(fields, "ring-minimum", "the least holes asked")
    least = ring_minimum(known.snapshot.scan.catalogue, amperes)
    if least is None:
        raise InputError(
            f"The catalogue asks for no number of holes at {amperes:g} A; write the least of your procedure."
        )
    return least
