"""The set-up sample before a production run: how it was made, what it shows, and how often it shows too little.

One shot on the part, or on a reference beside it, proves everything at once: bath, field, light, and the way of
working. A weak or a missing indication says that something is not as it should be, and not what: `spc.setup_look` goes
through the factors. That a part with known defects, a ring or a shim proves the system: ASTM E1444 clause 7.1 and E709
(memory). The ring's holes against its table: see the catalogue.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Literal

from spc.catalogue.acceptance import limits_at
from spc.catalogue.check import Catalogue
from spc.charts.attributes import PassesLimits, passes_between, passes_between_limits
from spc.errors import InputError

TechniqueKind = Literal["direct contact", "central conductor", "coil", "multidirectional"]
TECHNIQUES: tuple[TechniqueKind, ...] = ("direct contact", "central conductor", "coil", "multidirectional")
Shown = Literal["shown", "weak", "missing"]
SHIM_WORDS: Mapping[str, Shown] = {"shown": "shown", "partly": "weak", "not shown": "missing"}


@dataclass(frozen=True, slots=True)
class Circuit:
    """One circuit of a shot and its current."""

    name: str  # "head", "coil 1"
    amperes: float


@dataclass(frozen=True, slots=True)
class Technique:
    """How the part is magnetised."""

    kind: TechniqueKind
    circuits: tuple[Circuit, ...]  # one, or several for multidirectional
    continuous: bool  # bath on the part while the current flows


@dataclass(frozen=True, slots=True)
class NotchedShim:
    """A notched shim on the part."""

    kind: str  # its type as engraved
    where: str  # where on the part it sits
    seen: str  # "shown", "partly", "not shown"

    def verdict(self) -> Shown:
        """Return what it shows."""
        return SHIM_WORDS[self.seen]

    def words(self) -> str:
        """Return what was seen in a sentence's words."""
        return f"{_named('shim', self.kind)} at {self.where}: {self.seen}"


@dataclass(frozen=True, slots=True)
class RingHoles:
    """A ring specimen: holes seen at a current, against the minimum for its type and that current."""

    kind: str  # "AS5282", or the older ring
    amperes: float
    seen: int
    minimum: int

    def verdict(self) -> Shown:
        """Return what it shows: fewer holes than the minimum is weak, none at all is missing."""
        return "shown" if self.seen >= self.minimum else "weak" if self.seen else "missing"

    def words(self) -> str:
        """Return what was seen in a sentence's words."""
        return f"{_named('ring', self.kind)} at {self.amperes:g} A: {self.seen} holes, at least {self.minimum} asked"


@dataclass(frozen=True, slots=True)
class KnownDefectPart:
    """A part with known defects: indications seen of those expected."""

    name: str
    seen: int
    expected: int

    def verdict(self) -> Shown:
        """Return what it shows: every listed indication has to be seen."""
        return "shown" if self.seen >= self.expected else "weak" if self.seen else "missing"

    def words(self) -> str:
        """Return what was seen in a sentence's words."""
        return f"{_named('part', self.name)}: {self.seen} of {self.expected} indications"


Reference = NotchedShim | RingHoles | KnownDefectPart


def _named(what: str, name: str) -> str:
    """Return `name` after what it is, unless it says so itself: "shim 3C2-234", "ring 1"."""
    return name if what in name.lower().split() else f"{what} {name}"


@dataclass(frozen=True, slots=True)
class SetupSample:
    """One set-up sample before a run."""

    at: datetime  # aware
    line: str
    part_shape: str  # "gear", "shaft with flange"
    technique: Technique
    reference: Reference
    by: str
    photo: str = ""  # path of a picture, if one was taken
    note: str = ""

    @property
    def result(self) -> Shown:
        """What the reference shows: a weak indication is no proof, no more than a missing one."""
        return self.reference.verdict()


def checked(sample: SetupSample) -> SetupSample:
    """Return the sample; refuse one that cannot be.

    Raises:
        InputError: something is missing or impossible; the message names it and what to write.
    """
    if sample.at.tzinfo is None:
        raise InputError(f"time {sample.at.isoformat()} has no zone; give an aware time")
    for name, text in (("line", sample.line), ("part_shape", sample.part_shape), ("by", sample.by)):
        _refuse_empty(name, text)
    technique = sample.technique
    if technique.kind not in TECHNIQUES:
        raise InputError(f"there is no technique {technique.kind!r}; there is {', '.join(TECHNIQUES)}")
    if not technique.circuits:
        raise InputError("no circuit is named; write each circuit with its amperes")
    names = [circuit.name for circuit in technique.circuits]
    if len(set(names)) < len(names):
        raise InputError(f"a circuit stands there twice ({', '.join(names)}); name each once")
    if (len(names) > 1) is not (technique.kind == "multidirectional"):
        asked = "at least two circuits" if technique.kind == "multidirectional" else "one circuit"
        raise InputError(f"{technique.kind} takes {asked}, and {len(names)} is given; correct one of them")
    for circuit in technique.circuits:
        _refuse_empty("circuit", circuit.name)
        if not 0 < circuit.amperes < 100_000:
            raise InputError(f"circuit {circuit.name} says {circuit.amperes:g} A; write amperes above 0")
    _refuse_reference(sample.reference)
    return sample


def _refuse_empty(name: str, text: str) -> None:
    if not text.strip():
        raise InputError(f"{name} is empty; write it down")


def _refuse_reference(reference: Reference) -> None:
    match reference:
        case NotchedShim():
            _refuse_empty("type of the shim", reference.kind)
            _refuse_empty("where the shim sits", reference.where)
            if reference.seen not in SHIM_WORDS:
                raise InputError(f"a shim is {', '.join(SHIM_WORDS)}; {reference.seen!r} is none of these")
        case RingHoles():
            if not (0 <= reference.seen <= 12 and 1 <= reference.minimum <= 12 and reference.amperes > 0):
                raise InputError(f"{reference.words()}: give amperes above 0, 0 to 12 holes and a minimum of 1 to 12")
        case KnownDefectPart():
            _refuse_empty("name of the part", reference.name)
            if not 0 <= reference.seen <= reference.expected or reference.expected < 1:
                raise InputError(f"{reference.words()}: give at least 1 expected and no more seen than that")


def ring_minimum(catalogue: Catalogue, amperes: float) -> int | None:
    """Return how many holes the catalogue's ring table asks for at exactly this current; None where it has no row."""
    lower, _ = limits_at(catalogue.named("ring_holes").acceptance, [amperes])
    return None if lower[0] != lower[0] else int(lower[0])


def runs_failed(samples: Iterable[SetupSample], *, line: str) -> tuple[bool, ...]:
    """Return of each run's sample on `line`, in time order, whether it failed to show what it should."""
    return tuple(
        sample.result != "shown" for sample in sorted(samples, key=lambda each: each.at) if sample.line == line
    )


def counts_by_month(
    samples: Iterable[SetupSample], *, line: str, zone: tzinfo
) -> tuple[tuple[str, ...], tuple[tuple[int, int], ...]]:
    """Return each month with samples on `line`, and rows of (failed, inspected) for a chart of the fraction failed."""
    months: dict[str, list[bool]] = {}
    for sample in sorted(samples, key=lambda each: each.at):
        if sample.line == line:
            months.setdefault(f"{sample.at.astimezone(zone):%Y-%m}", []).append(sample.result != "shown")
    return tuple(months), tuple((sum(failed), len(failed)) for failed in months.values())


def runs_between_failures(samples: Iterable[SetupSample], *, line: str) -> tuple[tuple[int, ...], PassesLimits | None]:
    """Return the good runs between two that failed, and their probability limits; None with fewer than 3 failures."""
    gaps = tuple(passes_between(runs_failed(samples, line=line)))
    return gaps, passes_between_limits(gaps) if len(gaps) >= 2 else None
