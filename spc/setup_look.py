"""A set-up sample showed too little: which factor to look at first.

The guided look goes through the factors that an indication hangs on, in a fixed order, and says of each what the other
checks of the line say right now.

The order is common practice, no source. Shims are for the continuous method, and have to lie tight with their notches
on the part: T.O. 33B-1-1 (older edition), found.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Literal

from spc.results import StreamResult
from spc.run_start import KnownDefectPart, NotchedShim, Reference, RingHoles, SetupSample, checked
from spc.state import StateWord, StreamState, stream_state
from spc.times import from_microseconds


@dataclass(frozen=True, slots=True)
class Factor:
    """One thing that an indication hangs on, and what to look at."""

    key: str
    title: str
    checks: tuple[str, ...]  # of the catalogue, that speak of it
    ask: tuple[str, ...]  # what to look at, in order
    cautions: tuple[str, ...] = ()


FACTORS = (
    Factor(
        "bath_application",
        "Bath application",
        ("water_break", "bath_temperature"),
        (
            "Bath wets the whole part and the reference, the film unbroken",
            "Flow stops just before the current does, and never washes over the part afterwards",
            "Pump and agitator running, nozzle free, nothing settled in the hose",
        ),
    ),
    Factor(
        "concentration",
        "Concentration",
        ("bath_concentration", "bath_contamination", "viscosity"),
        (
            "Settling volume of this shift, read after its full settling time",
            "Top-ups and carrier since then, written down or not",
            "Background: too much powder hides an indication as too little does",
        ),
    ),
    Factor(
        "magnetizing",
        "Magnetizing, and the balance of the circuits",
        ("ammeter", "timer", "quick_break"),
        (
            "Amperes of every circuit as the technique sheet asks, on the panel during the shot",
            "Contacts clean and tight, coil around the part, conductor in the middle",
            "Several circuits: notches or holes weak in one direction alone point to the circuit across them; "
            "bring the weak one up or the strong one down, then shoot again",
            "Timer: a shot long enough for the bath to settle into the field",
        ),
        (
            "Clamp before the current flows, contacts clean, face protection: an arc burns people and parts.",
            "Persons with pacemakers, pumps or metal implants keep away from the fields.",
        ),
    ),
    Factor(
        "light",
        "UV-A and white light",
        ("uva_irradiance", "lamp_integrity", "lamp_visible_light", "ambient_light"),
        (
            "UV-A on the surface at the distance of the inspection, lamp as long on as usual",
            "White light in the booth: curtain shut, no screen, no torch, no bright clothing",
            "Eyes used to the dark for at least a minute, no tinted or self-darkening spectacles",
        ),
        ("Do not look into the lamp; UV-absorbing clear spectacles; a cracked filter takes the lamp out of service.",),
    ),
    Factor(
        "continuous",
        "Continuous technique",
        (),
        (
            "Bath on the part while the current flows: a shim shows with the continuous method alone",
            "At least two shots, the last one after the bath has stopped",
            "Part not moved, wiped or blown off between the shot and the look",
        ),
    ),
    Factor(
        "reference",
        "The reference itself",
        ("residual_field", "notched_shim", "ring_holes", "known_defect_part"),
        (
            "Residual field: demagnetise part and reference, then look again without a shot",
            "Shim: notches on the part, tight and flat, no gap under it, no glue or tape over the notches",
            "Shim or part bent, rusted or worn: take another one",
            "Ring: clean, demagnetised, the right type for the minimum asked",
        ),
    ),
)
"""What an indication hangs on, in the order to look (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What one check of the line says right now."""

    result: StreamResult
    state: StreamState
    stale: bool  # whether its last reading is older than its interval


@dataclass(frozen=True, slots=True)
class FactorLook:
    """One factor with what the line's checks say of it."""

    factor: Factor
    evidence: tuple[Evidence, ...]  # the worst first
    word: Literal["failed", "moving", "not current", "no reading", "no signal", "by eye"]

    @property
    def suspicious(self) -> bool:
        """Whether a check speaks against this factor."""
        return self.word in ("failed", "moving")


@dataclass(frozen=True, slots=True)
class GuidedLook:
    """The factors in order, and the one that the line's own checks point to."""

    sample: SetupSample
    factors: tuple[FactorLook, ...]  # in the fixed order
    first: FactorLook  # where to look first

    @property
    def sentence(self) -> str:
        """What is seen, and where to look first."""
        shown = {"weak": "a weak indication", "missing": "no indication", "shown": "the indication asked for"}
        seen = f"{self.sample.reference.words()} — {shown[self.sample.result]}."
        if self.first.suspicious:
            return f"{seen} Look first at: {self.first.factor.title}. {self.first.evidence[0].state.headline}"
        return f"{seen} No check of the line points to a cause; go through the factors in order."


_WORST: Mapping[StateWord, int] = {"failed": 0, "moving": 1, "learning": 2, "judged": 3, "calm": 3}


def guided_look(
    sample: SetupSample, results: Iterable[StreamResult], *, zone: tzinfo, now: datetime
) -> GuidedLook | None:
    """Return which factor to look at first, and what the line's checks say of each; None where nothing is weak.

    Args:
        sample: the set-up sample.
        results: the streams as they stand; those of other lines are left out.
        zone: the site's zone, for times in sentences.
        now: aware.

    The order of the factors never changes. A factor whose check has failed is looked at first, then one whose check
    moves; where several do, the earlier of the fixed order. A reference that speaks of itself is no evidence: the
    stream of the very check the sample was made with is left out.
    """
    checked(sample)
    if sample.result == "shown":
        return None
    own = _own_check(sample.reference)
    states = [
        Evidence(result, stream_state(result, zone, now), _stale(result, zone, now))
        for result in results
        if result.key.line == sample.line and result.key.check != own
    ]
    looks = tuple(_look(factor, states) for factor in FACTORS)
    first = next(
        (look for word in ("failed", "moving") for look in looks if look.word == word),
        looks[0],
    )
    return GuidedLook(sample, looks, first)


def _own_check(reference: Reference) -> str:
    match reference:
        case NotchedShim():
            return "notched_shim"
        case RingHoles():
            return "ring_holes"
        case KnownDefectPart():
            return "known_defect_part"


def _look(factor: Factor, states: Sequence[Evidence]) -> FactorLook:
    found = sorted(
        (each for each in states if each.result.key.check in factor.checks),
        key=lambda each: (_WORST[each.state.word], factor.checks.index(each.result.key.check)),
    )
    words = [each.state.word for each in found]
    if not factor.checks:
        return FactorLook(factor, (), "by eye")
    if not found:
        return FactorLook(factor, (), "no reading")
    if words[0] in ("failed", "moving"):
        return FactorLook(factor, tuple(found), "failed" if words[0] == "failed" else "moving")
    return FactorLook(factor, tuple(found), "not current" if any(each.stale for each in found) else "no signal")


def _stale(result: StreamResult, zone: tzinfo, now: datetime) -> bool:
    """Return whether the last reading is older than the check's interval; on condition, nothing is."""
    if not len(result.readings):
        return True
    last = from_microseconds(int(result.readings.taken_at[-1])).astimezone(zone)
    due = result.check.interval.due(last)
    return due is not None and due < now
