"""Capability: what a stable process does, held against its specification limits.

Cp and Cpk use the short-term sigma of the moving ranges; Pp and Ppk the overall standard deviation. Cpl and Ppl look at
the lower limit alone, Cpu and Ppu at the upper. All suppose normal, independent readings of a stable process; the
quantile method (`quantile_capability`) does without the first of these.

Confidence limits, two-sided, an equal chance on either side, for normal readings:

    Cp, Pp                  chi-square: exact for Pp; for Cp with the moving range's degrees of freedom (`pivots`).
    Cpl, Cpu, Ppl, Ppu      noncentral t: exact for Ppl and Ppu, for any n.
    Cpk, Ppk, two limits    from both one-sided indices, of which Cpk is the smaller: the lower limit is the smaller of
                            their lower limits, the upper the smaller of their upper limits at half the chance. Neither
                            misses more often than stated, wherever the level lies. Normal approximations (Bissell
                            1990) and the generalised pivot (Mathew, Sebastian and Kurian 2007) were tried: with the
                            level midway between the limits their upper limit misses up to twice as often.
"""

import math
from dataclasses import dataclass

from numpy.typing import ArrayLike

from spc import decimals
from spc.arrays import FloatArray, as_readings
from spc.coarse.resolution import RoundingEffect, rounding_effect, sigma_without_rounding
from spc.coarse.rounding import COARSEST
from spc.errors import InputError
from spc.pivots import (
    SigmaEstimate,
    check_confidence,
    chi_spread,
    overall_sigma,
    quantile,
    within_sigma,
)
from spc.sigma import sigma_within
from spc.told import Told

STABLE = "The stream was stable over these readings, so the indices describe the process as it ran then."
UNSTABLE = (
    "The stream was not stable over these readings: no stable process is behind these indices. They sum up these "
    "readings alone and do not foretell the next ones. Find and remove what moves the stream first."
)
UNEXAMINED = (
    "Whether the stream was stable has not been examined. Unless it was, these indices describe no stable process and "
    "do not foretell the next readings."
)


@dataclass(frozen=True, slots=True)
class Specification(Told):
    """Specification limits: the acceptance limits of the governing procedure, in the stream's unit."""

    lower: float | None = None
    upper: float | None = None

    def __post_init__(self) -> None:
        if self.lower is None and self.upper is None:
            raise InputError("no specification limit given; capability needs a lower or an upper one")
        for side, limit in (("lower", self.lower), ("upper", self.upper)):
            if limit is not None and not abs(limit) <= decimals.LARGEST:
                raise InputError(f"the {side} specification limit is {limit}; leave it out where there is none")
        if self.lower is not None and self.upper is not None and not self.lower < self.upper:
            raise InputError(f"lower specification limit {self.lower} is not below upper {self.upper}; swap them")


@dataclass(frozen=True, slots=True)
class Index:
    """One capability index with its confidence limits."""

    name: str
    value: float
    lower: float
    upper: float
    confidence: float
    method: str


@dataclass(frozen=True, slots=True)
class ResolutionEffect(Told):
    """What the step of the readings does to the indices."""

    step: float
    step_over_sigma: float  # infinite where rounding alone explains the spread
    effect: RoundingEffect | None  # None where the step is too coarse to tell
    decides: bool  # whether the resolution, not the process, decides the indices
    statement: str


@dataclass(frozen=True, slots=True)
class Capability(Told):
    """Capability of one stream; an index is None where its specification limit is missing."""

    method: str
    n: int
    mean: float
    sigma_within: float
    sigma_overall: float
    specification: Specification
    confidence: float
    stable: bool | None
    statement: str  # what the indices may be read as, given `stable`
    cp: Index | None
    cpl: Index | None
    cpu: Index | None
    cpk: Index
    pp: Index | None
    ppl: Index | None
    ppu: Index | None
    ppk: Index
    resolution: ResolutionEffect | None

    @property
    def indices(self) -> tuple[Index, ...]:
        """The indices that exist, in the order people read them."""
        each = (self.cp, self.cpl, self.cpu, self.cpk, self.pp, self.ppl, self.ppu, self.ppk)
        return tuple(index for index in each if index is not None)


def capability(
    readings: ArrayLike,
    specification: Specification,
    *,
    stable: bool | None = None,
    confidence: float = 0.95,
    resolution: float | None = None,
) -> Capability:
    """Return the capability indices of normal readings with their confidence limits.

    Args:
        readings: in time order, shape (n,), n >= 2, in the stream's unit.
        specification: one or two limits, same unit.
        stable: whether the control chart found the stream stable; None if nobody looked. The statement says it.
        confidence: of each two-sided interval.
        resolution: smallest step a reading can be written in; None if it does not matter.

    Raises:
        InputError: fewer than 2 readings, one missing, or all equal (no spread to compare with the limits).

    Source:
        Kotz and Lovelace (1998), Process Capability Indices; NIST/SEMATECH e-Handbook, section 6.1.6.
    """
    x = as_readings(readings, at_least=2)
    check_confidence(confidence)
    n, mean = len(x), decimals.mean(x)
    deviations = decimals.deviations(x)
    if not deviations.any():
        raise InputError(
            f"all {n} readings are {x[0]:g}: they have no spread to hold against the limits; read in finer steps, or "
            "look whether readings were copied"
        )
    within = within_sigma(sigma_within(deviations), n)
    overall = overall_sigma(decimals.standard_deviation(x), n)
    c = _indices("C", mean, within, specification, n, confidence)
    p = _indices("P", mean, overall, specification, n, confidence)
    return Capability(
        method="normal, individual readings",
        n=n,
        mean=mean,
        sigma_within=within.value,
        sigma_overall=overall.value,
        specification=specification,
        confidence=confidence,
        stable=stable,
        statement=stability_statement(stable),
        cp=c.get("p"), cpl=c.get("pl"), cpu=c.get("pu"), cpk=c["pk"],
        pp=p.get("p"), ppl=p.get("pl"), ppu=p.get("pu"), ppk=p["pk"],
        resolution=None if resolution is None else resolution_effect(overall.value, resolution),
    )  # fmt: skip


def stability_statement(stable: bool | None) -> str:
    """Return what indices may be read as, given whether the stream was stable."""
    return UNEXAMINED if stable is None else STABLE if stable else UNSTABLE


def _indices(
    letter: str, mean: float, sigma: SigmaEstimate, limits: Specification, n: int, confidence: float
) -> dict[str, Index]:
    """Return the indices that these limits allow, keyed p, pl, pu, pk."""
    to_lower = None if limits.lower is None else (mean - limits.lower) / (3 * sigma.value)
    to_upper = None if limits.upper is None else (limits.upper - mean) / (3 * sigma.value)
    found = {}
    if limits.lower is not None and limits.upper is not None:
        value = (limits.upper - limits.lower) / (6 * sigma.value)
        low, high = spread_index_limits(value, sigma, confidence)
        found["p"] = Index(letter + "p", value, low, high, confidence, f"chi-square, {sigma.method}")
    for key, distances in (("pl", (to_lower, None)), ("pu", (None, to_upper)), ("pk", (to_lower, to_upper))):
        given = [distance for distance in distances if distance is not None]
        if given:
            low, high = level_index_limits(*distances, sigma=sigma, n=n, confidence=confidence)
            method = "noncentral t on either side" if len(given) == 2 else "noncentral t"
            found[key] = Index(letter + key, min(given), low, high, confidence, f"{method}, {sigma.method}")
    return found


def spread_index_limits(value: float, sigma: SigmaEstimate, confidence: float) -> tuple[float, float]:
    """Return the confidence limits of Cp or Pp, estimated as `value`.

    Source: Kane (1986), Journal of Quality Technology 18; Montgomery, Statistical Quality Control, on Cp.
    """
    from scipy.stats import chi2

    tail = (1 - confidence) / 2
    low, high = (math.sqrt(chi2.ppf(p, sigma.df)) / sigma.kappa for p in (tail, 1 - tail))
    return value * low, value * high


def level_index_limits(
    to_lower: float | None, to_upper: float | None, *, sigma: SigmaEstimate, n: int, confidence: float
) -> tuple[float, float]:
    """Return the confidence limits of Cpk, Ppk or, with one distance, of a one-sided index.

    Args:
        to_lower: (mean - lower limit) / (3 sigma), None without a lower limit.
        to_upper: (upper limit - mean) / (3 sigma), None without an upper limit.
        sigma: what sigma was, with its degrees of freedom.
        n: readings behind the mean.
        confidence: two-sided.
    """
    distances = [distance for distance in (to_lower, to_upper) if distance is not None]
    tail = (1 - confidence) / 2
    low = min(distance_quantile(distance, tail, sigma=sigma, n=n) for distance in distances)
    high = min(distance_quantile(distance, 1 - tail / len(distances), sigma=sigma, n=n) for distance in distances)
    return low, high


def distance_quantile(distance: float, probability: float, *, sigma: SigmaEstimate, n: int) -> float:
    """Return the confidence limit, `probability` of the way up, of the distance estimated as `distance`.

    Inverts the noncentral t distribution: with the readings' sigma kappa / chi times as large as estimated and their
    mean a normal score off, the true distance is distance * chi / kappa + score / (3 sqrt n).
    """
    from scipy.special import ndtr

    chi, weights = chi_spread(sigma.df)
    spread, root = distance * chi / sigma.kappa, 3 * math.sqrt(n)
    margin = 4 / root + 2 * abs(distance) / math.sqrt(sigma.df)
    return quantile(
        lambda at: _sum(weights * ndtr(root * (at - spread))), probability, distance - margin, distance + margin
    )


def _sum(values: FloatArray) -> float:
    return float(values.sum())


def resolution_effect(sigma_overall: float, step: float) -> ResolutionEffect:
    """Return what reading in steps of `step` does to the indices, given the standard deviation as read."""
    sigma = sigma_without_rounding(sigma_overall, step)
    ratio = step / sigma if sigma else math.inf
    if ratio > 6:
        statement = (
            f"Readings step by {step:g} and hardly differ: rounding alone could make this spread. The resolution "
            "decides every index; read in finer steps before using one."
        )
        return ResolutionEffect(step, ratio, None, decides=True, statement=statement)
    effect = rounding_effect(ratio)
    decides = ratio > COARSEST
    statement = (
        f"Readings step by {step:g}, {ratio:.2g} times sigma. Pp, Ppl, Ppu and Ppk read "
        f"{_percent_low(effect.overall_mean)} because rounding adds to the spread; Cp, Cpl, Cpu and Cpk read "
        f"{_percent_range(effect)}."
    )
    if decides:
        statement += (
            f" A step above {COARSEST:.2f} sigma leaves fewer than four possible moving ranges within their limit: the "
            "resolution decides the result. Read in finer steps before using an index."
        )
    return ResolutionEffect(step, ratio, effect, decides, statement)


def _percent_low(factor: float) -> str:
    return f"{100 * (1 - 1 / factor):.1f} % low"


def _percent_range(effect: RoundingEffect) -> str:
    low, high = 1 / effect.within_high - 1, 1 / effect.within_low - 1
    if max(-low, high) < 0.005:
        return "as without rounding"
    return f"up to {-100 * low:.0f} % low or {100 * high:.0f} % high, by where the level lies between two steps"
