"""Whether a stream of a period is capable: the readings looked at, the indices, or why there are none.

Indices describe a stable process; of anything else they are a number without a meaning. So they are refused, with the
reason, where the stream moved, where too few readings or too coarse ones are behind it, and where readings are
censored. What the readings themselves show, how many lay outside the acceptance limits, is always told.

- The readings are those of the newest segment of the period: a bath change or a new lamp starts another process.
- A stream moved where a signal warned in these readings, where a straight line through them has climbed or fallen by
  more than a short-term sigma, or where the level wanders: the overall spread is a quarter above what the moving ranges
  show, by more than chance (von Neumann's ratio).
- Normal readings have the usual indices; where the readings contradict a normal, the quantile method takes over.
- The verdict is that of Ppk's lower confidence limit, against a mark that the site sets.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Literal

import numpy as np

from spc import decimals
from spc.arrays import FloatArray
from spc.capability.by_quantiles import CONTRADICTED, QuantileCapability, quantile_capability
from spc.capability.distributions import fit
from spc.capability.goodness_of_fit import GoodnessOfFit, goodness_of_fit
from spc.capability.indices import Capability, Index, ResolutionEffect, Specification, capability, resolution_effect
from spc.errors import InputError
from spc.records import Bound
from spc.results import StreamResult
from spc.sigma import sigma_within
from spc.times import from_microseconds
from spc.wording import in_figures, time_text, with_unit

CAPABLE = 1.33
"""Mark of the verdict unless the site sets another: four sigma to the nearer limit (Montgomery, Introduction to
Statistical Quality Control, table of recommended minimum ratios for an existing process; memory)."""

FEWEST = 30
"""Readings below which no index is given: the 95 % limits of Ppk = 1.33 are then wider than 1.0 to 1.7."""

RESAMPLES = 499
"""Draws for the verdict on the shape and for limits of the quantile method."""

WANDERS = 1.25
"""Overall over short-term sigma from which a level is said to wander, where chance does not explain it."""

DOUBT = 0.001
"""p value below which a trend or a wandering level is taken for one."""

CapabilityWord = Literal["capable", "not shown", "not capable", "refused", "no limits"]
RefusalKind = Literal[
    "no limits", "limits differ", "too few", "censored", "no spread", "too coarse", "not stable", "drifting", "wanders"
]


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why there is no index."""

    kind: RefusalKind
    words: str  # a sentence


@dataclass(frozen=True, slots=True)
class Indices:
    """Capability of one stream in a period, or why it cannot be told."""

    word: CapabilityWord
    words: str  # the verdict in a sentence, with the figures
    mark: float  # what Ppk's lower limit is held against
    first: int  # of the readings looked at, in Charted
    stop: int
    because: str  # what started their segment
    since: datetime | None  # first of them, aware UTC; None without any
    n: int
    specification: Specification | None
    refusals: tuple[Refusal, ...]
    normal: Capability | None  # of readings that do not contradict a normal
    quantile: QuantileCapability | None  # of readings that do
    shape: GoodnessOfFit | None  # how the normal was judged
    resolution: ResolutionEffect | None
    wander: float | None  # overall over short-term sigma
    notes: tuple[str, ...]  # what limits the indices that there are

    @property
    def indices(self) -> tuple[Index, ...]:
        """The indices that there are, in the order people read them; none where they are refused."""
        found = self.normal or self.quantile
        return found.indices if found is not None else ()

    @property
    def ppk(self) -> Index | None:
        """The index that the verdict rests on."""
        found = self.normal or self.quantile
        return found.ppk if found is not None else None

    @property
    def method(self) -> str:
        """The method by name; "" where the indices are refused."""
        if self.normal is not None:
            return self.normal.method
        if self.quantile is not None:
            return f"{self.quantile.method}, {self.quantile.fitted.family.key}"
        return ""


def indices_of(
    result: StreamResult,
    inside: slice,
    *,
    zone: tzinfo,
    generator: np.random.Generator,
    mark: float = CAPABLE,
    confidence: float = 0.95,
) -> Indices:
    """Return the capability of the newest segment's readings in a period, or why it is refused.

    Args:
        result: of the stream, up to the end of the period.
        inside: places of the period in Charted.
        zone: of the times told.
        generator: for what has to be drawn.
        mark: what Ppk's lower confidence limit is held against.
        confidence: of the two-sided limits.
    """
    segment = next((each for each in reversed(result.segments) if each.first < inside.stop), None)
    first = max(inside.start, segment.first) if segment is not None else inside.start
    stop = max(first, inside.stop)
    x = result.charted.x[first:stop]
    because = segment.because if segment is not None else ""
    specification, limits_refused = specification_of(result, first, stop)
    step = result.charted.resolution[first:stop]
    resolution = float(step.max()) if len(step) and np.isfinite(step).all() else None
    wander = wandering(x)
    refusals = [*limits_refused, *_refusals(result, first, stop, wander[0], zone)]
    effect = None
    if len(x) >= 2 and x.min() < x.max() and resolution:
        effect = resolution_effect(decimals.standard_deviation(x), resolution)
        if effect.decides:
            refusals.append(Refusal("too coarse", _coarse(effect, result.check.chart_unit)))
    normal = quantile = shape = None
    if not refusals and specification is not None:
        shape = goodness_of_fit(
            x, fit(x, "normal"), generator=generator, resamples=RESAMPLES, resolution=resolution
        )  # fmt: skip
        settings = {"stable": True, "confidence": confidence, "resolution": resolution}
        if shape.p_value >= CONTRADICTED:
            normal = capability(x, specification, **settings)  # type: ignore[arg-type]  # each has its type
        else:
            try:
                quantile = quantile_capability(x, specification, generator=generator, resamples=RESAMPLES, **settings)  # type: ignore[arg-type]  # each has its type
            except InputError as error:
                refusals.append(Refusal("too coarse", f"{error}."))
    ppk = (normal or quantile).ppk if normal or quantile else None  # type: ignore[union-attr]  # one of both is there
    word = _word(ppk, mark, refusals)
    return Indices(
        word=word,
        words=_verdict(word, ppk, mark, refusals),
        mark=mark,
        first=first,
        stop=stop,
        because=because,
        since=from_microseconds(int(result.charted.taken_at[first])) if len(x) else None,
        n=len(x),
        specification=specification,
        refusals=tuple(refusals),
        normal=normal,
        quantile=quantile,
        shape=shape,
        resolution=effect,
        wander=wander[0] if np.isfinite(wander[0]) else None,
        notes=_notes(wander, quantile),
    )


def specification_of(result: StreamResult, first: int, stop: int) -> tuple[Specification | None, list[Refusal]]:
    """Return the acceptance limits that all these charted readings share, or why there are none to hold them against.

    The limits are those of each reading's own day and reference.
    """
    pairs = {
        (None if np.isnan(low) else float(low), None if np.isnan(high) else float(high))
        for low, high in zip(result.charted.lower[first:stop], result.charted.upper[first:stop], strict=True)
    }
    pairs = pairs or {(result.check.acceptance.lower, result.check.acceptance.upper)}
    if pairs == {(None, None)}:
        return None, [Refusal("no limits", "The check has no acceptance limit that a number can be held against.")]
    if len(pairs) > 1:
        words = (
            "The acceptance limits differ from reading to reading, with the reference or with the document in force; "
            "an index needs one pair of limits."
        )
        return None, [Refusal("limits differ", words)]
    low, high = pairs.pop()
    return Specification(low, high), []


def wandering(x: FloatArray) -> tuple[float, float]:
    """Return overall over short-term sigma, and how likely so small a von Neumann ratio is by chance; NaN of too few.

    Source:
        von Neumann (1941), Annals of Mathematical Statistics 12; normal approximation of his moments.
    """
    from scipy.special import ndtr

    n = len(x)
    if n < 8 or x.min() == x.max():
        return float("nan"), float("nan")
    deviations = x - x.mean()
    ratio = float((np.diff(x) ** 2).sum() / (deviations @ deviations))
    z = (1 - ratio / 2) / np.sqrt((n - 2) / (n * n - 1))
    within = sigma_within(deviations)
    wide = decimals.standard_deviation(x) / within if within > 0 else float("inf")
    return wide, float(ndtr(-z))


def trend_of(x: FloatArray) -> tuple[float, float]:
    """Return what a straight line climbs over all of `x`, in short-term sigmas, and its p value; NaN of too few."""
    from scipy.stats import t

    n = len(x)
    within = sigma_within(x - x.mean()) if n >= 8 else 0.0
    if within == 0.0:
        return float("nan"), float("nan")
    time = np.arange(n) - (n - 1) / 2
    slope = float(time @ x / (time @ time))
    residual = x - x.mean() - slope * time
    scatter = float(residual @ residual) / (n - 2)
    if scatter == 0.0:
        return slope * (n - 1) / within, 0.0
    return slope * (n - 1) / within, float(2 * t.sf(abs(slope) / np.sqrt(scatter / (time @ time)), n - 2))


def _refusals(result: StreamResult, first: int, stop: int, wide: float, zone: tzinfo) -> list[Refusal]:
    x, bound = result.charted.x[first:stop], result.charted.bound[first:stop]
    found = []
    if len(x) < FEWEST:
        many = "1 reading" if len(x) == 1 else f"{len(x)} readings"
        words = f"{many} since {_since(result, first, zone)}; an index takes at least {FEWEST}."
        found.append(Refusal("too few", words))
    if censored := int(np.count_nonzero(bound != Bound.EXACT)):
        said = "reading is" if censored == 1 else "readings are"
        found.append(Refusal("censored", f"{censored} {said} written as below or above a number: the spread is open."))
    if len(x) >= 2 and x.min() == x.max():
        reading = with_unit(f"{x[0]:g}", result.check.chart_unit)
        found.append(
            Refusal("no spread", f"All {len(x)} readings are {reading}: no spread to hold against the limits.")
        )
    warned = [signal for signal in result.signals if first <= signal.position < stop]
    if warned:
        at = time_text(from_microseconds(warned[-1].taken_at), zone)
        times = "once" if len(warned) == 1 else f"at {len(warned)} readings"
        found.append(Refusal("not stable", f"The stream moved: a signal warned {times} of these {len(x)}, last {at}."))
    elif len(x) >= FEWEST and not censored:
        found += _movement(x, wide)
    return found


def _movement(x: FloatArray, wide: float) -> list[Refusal]:
    climbed, chance = trend_of(x)
    if chance < DOUBT and abs(climbed) > 1.0:
        way = "climbed" if climbed > 0 else "fell"
        words = f"The level {way} by {in_figures(abs(climbed), 2)} short-term sigmas over these {len(x)} readings."
        return [Refusal("drifting", words)]
    if wandering(x)[1] < DOUBT and wide >= WANDERS:
        words = (
            f"The level wanders: the overall spread is {in_figures(wide, 3)} times what successive readings show, and "
            "chance does not explain it. Indices from the moving ranges would promise too much."
        )
        return [Refusal("wanders", words)]
    return []


def _coarse(effect: ResolutionEffect, unit: str) -> str:
    step = with_unit(f"{effect.step:g}", unit)
    if effect.effect is None:
        return f"Readings step by {step} and hardly differ: the step, not the process, would decide any index."
    times = in_figures(effect.step_over_sigma, 2)
    return f"Readings step by {step}, {times} times sigma: the step, not the process, would decide any index."


def _since(result: StreamResult, first: int, zone: tzinfo) -> str:
    if first >= len(result.charted.x):
        return "the start of the period"
    return time_text(from_microseconds(int(result.charted.taken_at[first])), zone)


def _word(ppk: Index | None, mark: float, refusals: Sequence[Refusal]) -> CapabilityWord:
    if ppk is None:
        return "no limits" if any(each.kind == "no limits" for each in refusals) else "refused"
    return "capable" if ppk.lower >= mark else "not capable" if ppk.upper < mark else "not shown"


def _verdict(word: CapabilityWord, ppk: Index | None, mark: float, refusals: Sequence[Refusal]) -> str:
    if ppk is None:
        return next(
            (each.words for each in refusals if each.kind == "no limits"), " ".join(each.words for each in refusals)
        )
    figures = (
        f"Ppk {in_figures(ppk.value)} ({100 * ppk.confidence:g} % limits {in_figures(ppk.lower)} to "
        f"{in_figures(ppk.upper)})"
    )
    return {
        "capable": f"{figures}: the lower limit reaches {mark:g}.",
        "not shown": f"{figures}: the limits lie on both sides of {mark:g}; more readings or less spread would tell.",
        "not capable": f"{figures}: even the upper limit stays below {mark:g}.",
    }[word]


def _notes(wander: tuple[float, float], quantile: QuantileCapability | None) -> tuple[str, ...]:
    said = []
    if wander[1] < DOUBT and wander[0] < WANDERS:
        said.append(
            "Successive readings resemble one another, so the confidence limits, made for independent readings, are "
            "somewhat too narrow."
        )
    if quantile is not None and not quantile.fits:
        said.append("No shape that was tried fits the readings well: read the indices with caution.")
    return tuple(said)
