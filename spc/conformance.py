"""Conformance under measurement uncertainty: how sure a reading makes us that the true value meets its limits.

A reading inside its limits leaves a chance that the true value is outside, and the other way round. A guard band moves
the limits that readings are held against so that this chance stays below a stated one. Errors are normal.

None of this accepts or rejects anything: whether readings are guarded, and by how much, is for the governing written
procedure and the responsible Level 3 to say. Where the procedure compares the bare reading with the limit, so does this
tool.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from spc.arrays import FloatArray
from spc.capability.indices import Specification
from spc.decimals import LARGEST
from spc.errors import InputError
from spc.pivots import check_confidence
from spc.told import Told

CAUTION = (
    "A probability, not a decision: the governing written procedure and the responsible Level 3 say what is accepted "
    "and whether a guard band applies."
)

Guard = Literal["acceptance", "rejection"]


@dataclass(frozen=True, slots=True)
class Conformance(Told):
    """Probability that the true value meets the specification limits, given one reading."""

    method: str
    reading: float
    standard_uncertainty: float
    specification: Specification
    probability: float
    below: float  # probability that it lies below the lower limit
    above: float
    best_estimate: float  # the reading, or the reading and what was known before, weighed
    caution: str = CAUTION


@dataclass(frozen=True, slots=True)
class AcceptanceZone(Told):
    """Limits that a reading is held against, and what they guard."""

    method: str
    guards: Guard
    lower: float | None
    upper: float | None
    guard_band: float  # distance from the specification limits: inward for acceptance, outward for rejection
    standard_uncertainty: float
    probability: float  # of conformance (acceptance) or of non-conformance (rejection) at the zone's edge, at least
    caution: str = CAUTION


@dataclass(frozen=True, slots=True)
class Risks(Told):
    """How often a decision by the zone goes wrong, over many true values."""

    method: str
    conforming: float  # share of true values that meet the specification
    accepted: float  # share of readings inside the zone
    consumer: float  # share of all: true value outside the specification, reading inside the zone
    producer: float  # share of all: true value inside the specification, reading outside the zone
    outside_given_accepted: float | None  # of what is accepted; None where nothing is
    inside_given_rejected: float | None
    caution: str = CAUTION


def probability_of_conformance(
    reading: float, standard_uncertainty: float, specification: Specification
) -> Conformance:
    """Return the probability that the true value meets the limits, with nothing known but the reading.

    Args:
        reading: in the unit of the limits.
        standard_uncertainty: of the reading, k = 1, above 0.
        specification: one or two limits.

    Raises:
        InputError: a reading that is not finite, or an uncertainty that is not above 0.

    Source:
        JCGM 106:2012, 7.2 to 7.4: normal distribution about the reading.
    """
    _check(reading, standard_uncertainty)
    return _conformance(
        "normal, no prior knowledge", reading, reading, standard_uncertainty, standard_uncertainty, specification
    )


def probability_of_conformance_of_a_process(
    reading: float,
    standard_uncertainty: float,
    specification: Specification,
    *,
    process_mean: float,
    process_sigma: float,
) -> Conformance:
    """Return the probability that the true value meets the limits, knowing the process it comes from.

    Args:
        reading: as in `probability_of_conformance`, as are the next two.
        standard_uncertainty: of the reading.
        specification: one or two limits.
        process_mean: mean of the true values.
        process_sigma: their standard deviation, without measurement scatter, above 0.

    Source:
        JCGM 106:2012, 6.5 and annex A: normal prior, normal likelihood.
    """
    _check(reading, standard_uncertainty)
    _check_process(process_mean, process_sigma)
    trust = process_sigma**2 / (process_sigma**2 + standard_uncertainty**2)
    estimate = process_mean + trust * (reading - process_mean)
    spread = standard_uncertainty * math.sqrt(trust)
    return _conformance("normal, process known", reading, estimate, spread, standard_uncertainty, specification)


def _conformance(
    method: str, reading: float, estimate: float, spread: float, uncertainty: float, limits: Specification
) -> Conformance:
    from scipy.special import ndtr

    below = 0.0 if limits.lower is None else float(ndtr((limits.lower - estimate) / spread))
    above = 0.0 if limits.upper is None else float(ndtr((estimate - limits.upper) / spread))
    return Conformance(method, reading, uncertainty, limits, max(0.0, 1 - below - above), below, above, estimate)


def guarded_acceptance(
    specification: Specification, standard_uncertainty: float, *, probability: float = 0.95
) -> AcceptanceZone:
    """Return the zone in which any reading makes conformance at least as probable as stated.

    With one limit, or two far apart, the guard band is z(probability) standard uncertainties: 1.645 for 95 %. With two
    limits close by, both tails count and it is wider.

    Args:
        specification: one or two limits.
        standard_uncertainty: of a reading, k = 1.
        probability: of conformance at the edge of the zone, above 0.5.

    Raises:
        InputError: arguments that cannot be, or limits too close for any reading to prove conformance so surely.

    Source:
        JCGM 106:2012, 8.3.2; ISO 14253-1:2017 (95 % by default). From memory.
    """
    from scipy.optimize import brentq
    from scipy.special import ndtri

    _check(0.0, standard_uncertainty)
    _check_probability(probability)
    u, band = standard_uncertainty, float(ndtri(probability)) * standard_uncertainty
    if specification.lower is not None and specification.upper is not None:
        half = (specification.upper - specification.lower) / 2

        def miss(guard: float) -> float:
            at = specification.upper - guard  # type: ignore[operator]  # both limits are given
            return probability_of_conformance(at, u, specification).probability - probability

        if miss(half) < 0:
            raise InputError(
                f"the limits are {2 * half:g} apart and the standard uncertainty is {u:g}: no reading proves "
                f"conformance with {100 * probability:g} %; measure with less uncertainty"
            )
        band = float(brentq(miss, min(band, half), half, xtol=1e-14 * half)) if miss(band) < 0 else band
    return AcceptanceZone(
        "guarded acceptance",
        "acceptance",
        None if specification.lower is None else specification.lower + band,
        None if specification.upper is None else specification.upper - band,
        band,
        u,
        probability,
    )


def guarded_rejection(
    specification: Specification, standard_uncertainty: float, *, probability: float = 0.95
) -> AcceptanceZone:
    """Return the zone outside which any reading makes non-conformance at least as probable as stated.

    The guard band is z(probability) standard uncertainties; a second limit can only make non-conformance surer.
    Arguments, refusals and source as `guarded_acceptance` (JCGM 106:2012, 8.3.3).
    """
    from scipy.special import ndtri

    _check(0.0, standard_uncertainty)
    _check_probability(probability)
    band = float(ndtri(probability)) * standard_uncertainty
    return AcceptanceZone(
        "guarded rejection",
        "rejection",
        None if specification.lower is None else specification.lower - band,
        None if specification.upper is None else specification.upper + band,
        band,
        standard_uncertainty,
        probability,
    )


def risks(
    specification: Specification,
    zone: Specification,
    standard_uncertainty: float,
    *,
    process_mean: float,
    process_sigma: float,
) -> Risks:
    """Return the consumer's and the producer's risk of deciding by a zone, for a known process.

    Args:
        specification: what the true value must meet.
        zone: the limits that readings are held against: the specification itself without a guard band.
        standard_uncertainty: of a reading, above 0.
        process_mean: mean of the true values.
        process_sigma: their standard deviation, without measurement scatter, above 0.

    Source:
        JCGM 106:2012, 9.4 and 9.5: the joint distribution of true value and reading, summed over true values.
    """
    _check(0.0, standard_uncertainty)
    _check_process(process_mean, process_sigma)
    kinks = [limit for limits in (specification, zone) for limit in (limits.lower, limits.upper) if limit is not None]
    true, weight = _true_values(kinks, standard_uncertainty, process_mean, process_sigma)
    inside = _inside(true, specification)
    accept = _accepted(true, zone, standard_uncertainty)
    conforming, accepted = float(np.sum(weight * inside)), float(np.sum(weight * accept))
    consumer = float(np.sum(weight * (1 - inside) * accept))
    producer = float(np.sum(weight * inside * (1 - accept)))
    return Risks(
        "normal process, normal error, by integration",
        conforming,
        accepted,
        consumer,
        producer,
        consumer / accepted if accepted > 0 else None,
        producer / (1 - accepted) if accepted < 1 else None,
    )


def _true_values(kinks: list[float], u: float, mean: float, sigma: float) -> tuple[FloatArray, FloatArray]:
    """Return true values and their weights: Gauss-Legendre between the limits, finer within 9 u of each."""
    ends = [mean - 9 * sigma, mean + 9 * sigma]
    ends += [kink + step * u for kink in kinks for step in (-9, -2, 0, 2, 9)]
    edges = np.unique(np.clip(ends, mean - 9 * sigma, mean + 9 * sigma))
    nodes, weights = np.polynomial.legendre.leggauss(64)
    middle, half = (edges[1:] + edges[:-1])[:, None] / 2, (edges[1:] - edges[:-1])[:, None] / 2
    true = (middle + half * nodes).ravel()
    density = np.exp(-(((true - mean) / sigma) ** 2) / 2) / (sigma * math.sqrt(2 * math.pi))
    return true, (half * weights).ravel() * density


def _inside(true: FloatArray, limits: Specification) -> FloatArray:
    """Return 1 where a true value meets the limits, else 0."""
    lower = -math.inf if limits.lower is None else limits.lower
    upper = math.inf if limits.upper is None else limits.upper
    return np.asarray((true >= lower) & (true <= upper), dtype=np.float64)


def _accepted(true: FloatArray, zone: Specification, u: float) -> FloatArray:
    from scipy.special import ndtr

    above_lower = np.ones(len(true)) if zone.lower is None else ndtr((true - zone.lower) / u)
    above_upper = np.zeros(len(true)) if zone.upper is None else ndtr((true - zone.upper) / u)
    return np.asarray(above_lower - above_upper)


def _check(reading: float, uncertainty: float) -> None:
    if not abs(reading) <= LARGEST:
        raise InputError(f"the reading is {reading}; give a number")
    if not 1 / LARGEST <= uncertainty <= LARGEST:
        raise InputError(
            f"the standard uncertainty is {uncertainty}; it must be above 0 (half the expanded one at k = 2)"
        )


def _check_process(mean: float, sigma: float) -> None:
    if not abs(mean) <= LARGEST:
        raise InputError(f"the process mean is {mean}; give a number")
    if not 1 / LARGEST <= sigma <= LARGEST:
        raise InputError(f"the process sigma is {sigma}; it must be above 0")


def _check_probability(probability: float) -> None:
    check_confidence(probability)
    if probability <= 0.5:
        raise InputError(f"probability is {probability}; a guard band proves more than even odds, give more than 0.5")
