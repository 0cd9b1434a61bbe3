"""Capability of readings of any shape: the quantile method of ISO 22514-2.

The six sigmas of a normal process hold 99.73 % of its readings. For another shape the same share lies between its
0.135 % and 99.865 % quantiles, and those take the place of the sigmas:

    Pp = (U - L) / (q99.865 - q0.135)    Ppu = (U - q50) / (q99.865 - q50)    Ppl = (q50 - L) / (q50 - q0.135)

The quantiles come from a fitted distribution, so they are as good as its far tails; the result says which family was
chosen, by what criterion, and whether the readings contradict it.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, as_readings
from spc.capability.distributions import FittedFamily, choose, fit, fit_all
from spc.capability.fraction_outside import FractionOutside, fraction_of_sides
from spc.capability.goodness_of_fit import GoodnessOfFit, draw, goodness_of_fit, usable
from spc.capability.indices import Index, Specification, stability_statement
from spc.errors import InputError
from spc.pivots import check_confidence
from spc.told import Told

LOW, MIDDLE, HIGH = 0.001349898031630095, 0.5, 0.9986501019683699
"""Shares of a normal below -3, 0 and 3 sigma; ISO 22514-2 rounds the outer two to 0.135 % and 99.865 %."""

CONTRADICTED = 0.05
"""p value under which the readings are said to contradict the family."""

LOG_OF_FARTHEST = 700.0
"""Beyond exp(700) no double reaches, and no reading."""

CRITERION = "smallest AICc; the normal where it comes within 2 of it"


@dataclass(frozen=True, slots=True)
class QuantileCapability(Told):
    """Capability of one stream by the quantile method; an index is None where its limit is missing."""

    method: str
    n: int
    fitted: FittedFamily
    chosen_by: str
    tried: tuple[FittedFamily, ...]
    left_out: tuple[tuple[str, str], ...]  # family, reason
    goodness_of_fit: GoodnessOfFit
    fits: bool  # whether the readings do not contradict the family
    low: float  # 0.135 % quantile
    median: float
    high: float  # 99.865 % quantile
    specification: Specification
    confidence: float
    stable: bool | None
    statement: str
    pp: Index | None
    ppl: Index | None
    ppu: Index | None
    ppk: Index
    fraction_outside: FractionOutside

    @property
    def indices(self) -> tuple[Index, ...]:
        """The indices that exist, in the order people read them."""
        return tuple(index for index in (self.pp, self.ppl, self.ppu, self.ppk) if index is not None)


def quantile_capability(
    readings: ArrayLike,
    specification: Specification,
    *,
    generator: np.random.Generator,
    family: str | None = None,
    stable: bool | None = None,
    confidence: float = 0.95,
    resolution: float | None = None,
    resamples: int = 999,
) -> QuantileCapability:
    """Return capability by the quantile method, with confidence limits and a verdict on the fit.

    Confidence limits are the generalised pivot of `pivots`, with readings drawn anew from the fitted family in place of
    its formulas, each half of the shape on its own: exact, but for the drawing, for one limit and a normal, lognormal,
    Weibull or Rayleigh (shapes that a shift and a stretch, of the readings or of their logarithms, turn into one
    another). For the gamma and the folded normal it is an approximation: of 30 readings, limits stated at 90 % held in
    84 to 92 % of simulated streams. The choice of the family is not part of the limits.

    Args:
        readings: of a stable stream, shape (n,), n >= 10.
        specification: one or two limits.
        generator: random numbers.
        family: a key of distributions.FAMILIES; None chooses by the criterion of `distributions.choose`.
        stable: whether the control chart found the stream stable; None if nobody looked.
        confidence: of each two-sided interval.
        resolution: step of the readings, so that rounding does not count against the fit.
        resamples: draws for the limits and for the verdict.

    Raises:
        InputError: fewer than 10 readings, one missing, all equal, or a family that cannot take them.

    Source:
        ISO 22514-2:2017, distribution times and the general quantile method (formulas from memory).
    """
    x = as_readings(readings, at_least=10)
    check_confidence(confidence)
    tried, left_out = fit_all(x)
    chosen = choose(tried) if family is None else fit(x, family)
    verdict = goodness_of_fit(x, chosen, generator=generator, resamples=resamples, resolution=resolution)
    fits = verdict.p_value >= CONTRADICTED
    quantiles = _quantiles(chosen)
    lower, upper = _sides(chosen, usable(draw(chosen, resamples, generator, resolution)))
    indices = _indices(
        quantile_indices(*quantiles, specification),
        _index_values(lower.quantiles, upper.quantiles, specification),
        chosen.family.key,
        confidence,
    )
    return QuantileCapability(
        method="quantile (ISO 22514-2)",
        n=len(x),
        fitted=chosen,
        chosen_by=CRITERION if family is None else "asked for",
        tried=tried,
        left_out=left_out,
        goodness_of_fit=verdict,
        fits=fits,
        low=quantiles[0],
        median=quantiles[1],
        high=quantiles[2],
        specification=specification,
        confidence=confidence,
        stable=stable,
        statement=f"{stability_statement(stable)} {_fit_statement(chosen, verdict, fits)}",
        pp=indices.get("Pp"),
        ppl=indices.get("Ppl"),
        ppu=indices.get("Ppu"),
        ppk=indices["Ppk"],
        fraction_outside=_fraction_outside(chosen, lower, upper, specification, stable, confidence),
    )


@dataclass(frozen=True, slots=True)
class _Side:
    """What the readings leave open of one half of the fitted shape, on its scale (logarithms for some)."""

    median: FloatArray  # shape (m,)
    stretch: FloatArray  # shape (m,), of the half's width, against the fitted
    quantiles: FloatArray  # shape (m, 2): median and outer quantile, in the stream's unit


def _sides(chosen: FittedFamily, samples: FloatArray) -> tuple[_Side, _Side]:
    """Return the lower and the upper half, each replayed as often as there are samples."""
    if len(samples) < 20:
        raise InputError("nearly every reading rounds to the same value; read in finer steps before using an index")
    drawn = chosen.family.distribution(chosen.family.fit(samples)).ppf(np.array([[LOW, MIDDLE, HIGH]]))
    fitted = np.array(_quantiles(chosen))
    if chosen.family.on_log_scale:
        drawn, fitted = np.log(drawn), np.log(fitted)
    return _side(chosen, fitted[[1, 0]], drawn[:, [1, 0]]), _side(chosen, fitted[[1, 2]], drawn[:, [1, 2]])


def _side(chosen: FittedFamily, fitted: FloatArray, drawn: FloatArray) -> _Side:
    stretch = (fitted[1] - fitted[0]) / (drawn[:, 1] - drawn[:, 0])
    median = fitted[0] + (fitted[0] - drawn[:, 0]) * stretch
    quantiles = np.stack([median, median + stretch * (fitted[1] - fitted[0])], axis=1)
    if chosen.family.on_log_scale:
        quantiles = np.exp(np.minimum(quantiles, LOG_OF_FARTHEST))
    return _Side(median, stretch, quantiles)


def _quantiles(fitted: FittedFamily) -> tuple[float, float, float]:
    low, middle, high = fitted.distribution.ppf(np.array([[LOW, MIDDLE, HIGH]]))[0].tolist()
    return low, middle, high


def quantile_indices(low: float, median: float, high: float, specification: Specification) -> dict[str, float]:
    """Return the indices that these limits allow, from three quantiles of the shape."""
    halves = np.array([[median, low]]), np.array([[median, high]])
    return {name: float(value[0]) for name, value in _index_values(*halves, specification).items()}


def _index_values(lower: FloatArray, upper: FloatArray, specification: Specification) -> dict[str, FloatArray]:
    """Return the indices of many shapes, each given as (median, outer quantile) of its two halves, shape (m, 2)."""
    values = {}
    if specification.lower is not None and specification.upper is not None:
        values["Pp"] = (specification.upper - specification.lower) / (upper[:, 1] - lower[:, 1])
    if specification.lower is not None:
        values["Ppl"] = (lower[:, 0] - specification.lower) / (lower[:, 0] - lower[:, 1])
    if specification.upper is not None:
        values["Ppu"] = (specification.upper - upper[:, 0]) / (upper[:, 1] - upper[:, 0])
    values["Ppk"] = np.minimum.reduce([values[name] for name in ("Ppl", "Ppu") if name in values])
    return values


def _indices(
    values: dict[str, float], spread: dict[str, FloatArray], family: str, confidence: float
) -> dict[str, Index]:
    tail = (1 - confidence) / 2
    found = {}
    for name, value in values.items():
        low, high = np.quantile(spread[name], [tail, 1 - tail]).tolist()
        found[name] = Index(name, value, low, high, confidence, f"generalised pivot by drawing, {family} quantiles")
    return found


def _fraction_outside(
    chosen: FittedFamily,
    lower: _Side,
    upper: _Side,
    specification: Specification,
    stable: bool | None,
    confidence: float,
) -> FractionOutside:
    distribution = chosen.distribution
    tail = (1 - confidence) / 2
    drawn = np.zeros(len(lower.median))
    below = above = None
    if specification.lower is not None:
        below = float(distribution.cdf(np.array([[specification.lower]]))[0, 0])
        drawn = drawn + distribution.cdf(_as_seen(specification.lower, chosen, lower)[None, :])[0]
    if specification.upper is not None:
        above = float(distribution.sf(np.array([[specification.upper]]))[0, 0])
        drawn = drawn + distribution.sf(_as_seen(specification.upper, chosen, upper)[None, :])[0]
    low, high = np.quantile(drawn, [tail, 1 - tail]).tolist()
    method = f"{chosen.family.key}, generalised pivot by drawing"
    return fraction_of_sides(method, chosen.n, (below, above), (low, high), stable=stable, confidence=confidence)


def _as_seen(limit: float, chosen: FittedFamily, side: _Side) -> FloatArray:
    """Return where the limit stands against the fitted shape, for each replay."""
    median = _quantiles(chosen)[1]
    if not chosen.family.on_log_scale:
        return np.asarray(median + (limit - side.median) / side.stretch)
    if limit <= 0:
        return np.zeros(len(side.median))
    log_limit = math.log(median) + (math.log(limit) - side.median) / side.stretch
    return np.asarray(np.exp(np.minimum(log_limit, LOG_OF_FARTHEST)))


def _fit_statement(chosen: FittedFamily, verdict: GoodnessOfFit, fits: bool) -> str:
    name = chosen.family.key
    if fits:
        return (
            f"The readings do not contradict a {name} (p = {verdict.p_value:.3f}); its far tails are still an "
            f"extrapolation beyond {chosen.n} readings."
        )
    return (
        f"The readings contradict a {name} (p = {verdict.p_value:.3f}): these indices rest on a shape that the "
        "readings do not have. Look for several levels, drift or coarse steps in the stream, or use the counted "
        "share outside."
    )
