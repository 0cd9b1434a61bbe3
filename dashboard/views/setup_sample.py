"""What the page of the set-up sample shows: its form's choices, samples made before, the look at the factors."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FactorSeen:
    """One factor that an indication hangs on, and what the line's checks say of it now."""

    title: str
    word: str  # "failed", "moving", "not current", "no reading", "no signal", "by eye"
    first: bool  # whether to look here first
    evidence: tuple[tuple[str, str, bool], ...]  # what a check says, its address, whether it is older than its interval
    ask: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SampleTold:
    """A set-up sample that was kept, and where to look when it shows too little."""

    result: str  # "shown", "weak", "missing"
    headline: str
    facts: tuple[tuple[str, str], ...]
    sentence: str  # where to look first; "" where nothing is weak
    factors: tuple[FactorSeen, ...]


@dataclass(frozen=True, slots=True)
class CircuitAsked:
    """One circuit that the form asks about."""

    place: str  # "1", "2" ...
    name: str  # as the line's ammeter checks call it; "" where none fits
    offered: tuple[str, ...]  # names that the line's ammeter checks have


@dataclass(frozen=True, slots=True)
class SampleRow:
    """One sample of the past."""

    at: str
    part: str
    technique: str
    reference: str
    result: str
    by: str


@dataclass(frozen=True, slots=True)
class SetupPage:
    """The set-up sample of one line."""

    lines: tuple[str, ...]
    line: str
    parts: tuple[str, ...]  # shapes written before
    person: str
    techniques: tuple[str, ...]
    circuits: tuple[CircuitAsked, ...]  # of the first technique
    ring_currents: str  # what the catalogue asks of a ring, in words
    rows: tuple[SampleRow, ...]  # newest first
    rows_in_all: int
    told: str  # how often the samples showed too little
    months: int  # with samples: a chart of the fraction takes two
    why_not: str
