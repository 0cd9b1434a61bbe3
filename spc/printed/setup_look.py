"""A set-up sample and the look at its factors, as a person reads it."""

from collections.abc import Iterator, Sequence
from datetime import tzinfo

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from spc.charts.attributes import PassesLimits
from spc.printed.table import facts, heading, note
from spc.run_start import SetupSample
from spc.setup_look import FactorLook, GuidedLook
from spc.wording import time_text

STANDING = (
    "A set-up sample that shows what it should proves the set-up at that moment, and accepts no part. One that does "
    "not stops the run until the cause is found and a new sample shows it; the written procedure and the responsible "
    "Level 3 decide."
)
SHOWN = {"shown": "SHOWN", "weak": "WEAK: no proof", "missing": "MISSING"}


def setup_printed(sample: SetupSample, look: GuidedLook | None, zone: tzinfo) -> Group:
    """Return a sample, and where to look where it shows too little."""
    circuits = ", ".join(f"{circuit.name} {circuit.amperes:g} A" for circuit in sample.technique.circuits)
    continuous = "continuous" if sample.technique.continuous else "not continuous"
    rows = [
        ("Part", sample.part_shape),
        ("Technique", f"{sample.technique.kind}, {circuits}, {continuous}"),
        ("Reference", sample.reference.words()),
        ("Result", SHOWN[sample.result]),
        ("By", sample.by),
        *([("Photo", sample.photo)] if sample.photo else []),
        *([("Note", sample.note)] if sample.note else []),
    ]
    parts: list[RenderableType] = [
        heading(f"Set-up sample of {sample.line}, {time_text(sample.at, zone)}"),
        facts(rows),
    ]
    if look is not None:
        parts += [Text(""), Text(look.sentence, style="bold"), Text("")]
        for number, factor in enumerate(look.factors, start=1):
            parts += _factor(number, factor, look)
    return Group(*parts, Text(""), note(STANDING))


def _factor(number: int, look: FactorLook, whole: GuidedLook) -> Iterator[RenderableType]:
    first = "  <- look here first" if look is whole.first and look.suspicious else ""
    yield Text(f"{number}. {look.factor.title}: {look.word}{first}", style="bold" if look.suspicious else "")
    for each in look.evidence:
        where = " ".join(filter(None, (each.result.check.title, each.result.key.position)))
        old = ", older than its interval" if each.stale else ""
        said = each.state.headline if each.state.word in ("failed", "moving") else each.state.last_text
        yield Padding(note(f"{where}: {said} ({each.state.age_text or 'never read'}{old})"), (0, 0, 0, 3))
    yield from (Padding(Text(f"- {ask}"), (0, 0, 0, 3)) for ask in look.factor.ask)
    yield from (Padding(Text(f"! {caution}"), (0, 0, 0, 3)) for caution in look.factor.cautions)


def runs_printed(
    line: str, months: Sequence[str], counts: Sequence[tuple[int, int]], limits: PassesLimits | None
) -> Group:
    """Return how often the set-up samples of a line showed too little, month by month."""
    rows = [
        (month, f"{failed} of {taken} showed too little") for month, (failed, taken) in zip(months, counts, strict=True)
    ]
    parts: list[RenderableType] = [heading(f"Set-up samples of {line}"), facts(rows)]
    if limits is not None:
        share, usual = f"{100 * limits.fraction:.1f} %", f"{limits.centre_line:g}"
        unusual = f"more than {limits.upper:g} or fewer than {limits.lower:g} would be unusual"
        parts.append(Text(f"{share} showed too little; usually {usual} good runs lie between two, {unusual}."))
    return Group(*parts)
