"""Which chart suits the readings of a stream, and why, in one sentence each: correlation, slope, steps, skewness."""

import math
from dataclasses import dataclass, replace

import numpy as np

from spc.arrays import FloatArray, IntArray
from spc.autocorrelation import lag_correlations
from spc.charted import was_running
from spc.charts.trend import trend_limits
from spc.errors import InputError
from spc.other_charts import DAY, MEASURED, step_of
from spc.records import Bound
from spc.results import Limits, StreamResult, since_reset
from spc.wording import in_figures, short, with_unit

FEWEST = 8
"""Readings below which nothing is said of how a stream behaves."""

MOST_LOOKED_AT = 5000
"""Latest readings of a segment that tell whether a chart fits."""

MOST_CORRELATED = 0.98
"""Correlation of successive readings beyond which they are taken for a wander, whatever the slope."""

CERTAIN = 3.0
"""Standard errors from which a slope, a skewness or a correlation is taken for one."""


@dataclass(frozen=True, slots=True)
class Fit:
    """Whether a chart suits the readings, in one sentence."""

    suits: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class _Behaviour:
    """How the latest segment behaves; None where too few readings tell."""

    n: int
    bounds: float  # share of readings of which only a bound was written
    correlation: float | None
    correlated: bool
    coarse: bool  # whether one step of a reading is wider than the scatter
    step: float | None
    sigma: float
    slope: float | None  # per day
    sloping: bool  # more than scatter gives
    skewness: float | None
    skewed: bool
    positive: bool


def fits(result: StreamResult) -> dict[str, Fit]:
    """Return for each view whether it suits the readings of the latest segment, and why, in a sentence."""
    if not len(result.charted.x):
        return _fits_judged(result) if result.check.kind == "judged" else {}
    segment = result.segments[-1]
    if segment.limits is None or segment.stop - since_reset(result.segments).first < FEWEST:
        few = f"this segment has fewer than {FEWEST} readings, too few to tell which chart suits them"
        return {key: Fit(key == "individuals", _capital(few) + ".") for key in MEASURED}
    b = _behaviour(result, segment.limits)
    said = {
        "individuals": _fit_individuals(b, result),
        "ewma": _fit_sums(b, "It averages the last readings, so that a small change that stays shows sooner."),
        "cusum": _fit_sums(b, "It adds up what lies off the centre line, so that a small change that stays shows."),
        "trend": _fit_trend(b, result),
        "residuals": _fit_residuals(b),
        "skewed": _fit_skewed(b),
    }
    if b.bounds > 0.1:
        left = f" {100 * b.bounds:.0f} % of the readings are only bounds and are left out here."
        said = {
            key: fit if key == "individuals" else replace(fit, sentence=fit.sentence + left)
            for key, fit in said.items()
        }
    return said


def _behaviour(result: StreamResult, limits: Limits) -> _Behaviour:
    whole, charted = since_reset(result.segments), result.charted
    first = max(whole.first, whole.stop - MOST_LOOKED_AT)
    exact = charted.bound[first : whole.stop] == Bound.EXACT
    x = np.where(exact, charted.x[first : whole.stop], np.nan)
    taken = x[exact]
    slope, slope_error = _slope(x, charted.taken_at[first : whole.stop])
    sloping = slope is not None and abs(slope) > CERTAIN * slope_error
    correlation, bound = None, math.nan
    if sloping and slope is not None:  # what a slope alone makes of the correlation is no news
        x = x - slope * (charted.taken_at[first : whole.stop] - charted.taken_at[first]) / DAY
    if len(taken) >= FEWEST and np.ptp(taken) > 0:
        try:
            found = lag_correlations(x, lags=1)
            correlation, bound = float(found.correlation[0]), float(found.bound[0])
        except InputError:
            correlation = None
    skewness = _skewness(taken)
    step = step_of(result, result.segments[-1])
    return _Behaviour(
        n=len(taken),
        bounds=1 - len(taken) / len(x),
        correlation=correlation,
        correlated=correlation is not None and correlation > bound * CERTAIN / 1.96,
        coarse=limits.floored or (step is not None and step > limits.sigma),
        step=step,
        sigma=limits.sigma,
        slope=slope,
        sloping=sloping,
        skewness=skewness,
        skewed=skewness is not None and skewness > CERTAIN * math.sqrt(6 / len(taken)),
        positive=bool(len(taken)) and float(taken.min()) > 0,
    )


def _slope(x: FloatArray, taken_at: IntArray) -> tuple[float | None, float]:
    """Return the slope per day and its standard error, which readings that follow one another make larger.

    Source:
        Bayley, G. V. and Hammersley, J. M. (1946), The "effective" number of independent observations in an
        autocorrelated time series, Supplement to the Journal of the Royal Statistical Society 8, 184-197: the factor
        (1 + r) / (1 - r).
    """
    days = (taken_at - taken_at[0]) / DAY
    try:
        found = trend_limits(x, at=days)
        follows = float(lag_correlations(x - found.level - found.slope * (days - found.at_mean), lags=1).correlation[0])
    except InputError:
        return None, math.nan
    follows = min(max(follows, 0.0), MOST_CORRELATED) if math.isfinite(follows) else 0.0
    return found.slope, found.slope_error * math.sqrt((1 + follows) / (1 - follows))


def _skewness(taken: FloatArray) -> float | None:
    if len(taken) < FEWEST or np.ptp(taken) == 0:
        return None
    off = taken - taken.mean()
    return float(np.mean(off**3) / np.mean(off**2) ** 1.5)


def _fit_individuals(b: _Behaviour, result: StreamResult) -> Fit:
    if b.sloping and b.slope is not None:
        way = "fall" if b.slope < 0 else "rise"
        rate = with_unit(in_figures(abs(b.slope), 2), result.check.chart_unit)
        return Fit(
            False, f"The readings {way} by about {rate} a day in this segment: a level centre line is left behind."
        )
    if b.correlated and b.correlation is not None:
        narrow = math.sqrt(max(0.0, 1 - b.correlation))
        return Fit(
            False,
            f"Each reading follows the one before (correlation {b.correlation:.2f}): limits from moving ranges are "
            f"about {narrow:.0%} as wide as they should be. Look at the residuals.",
        )
    if b.coarse and b.step is not None:
        step = with_unit(short(b.step), result.check.chart_unit)
        return Fit(False, f"One step of a reading, {step}, is about as wide as the scatter: the limits are rough.")
    if b.skewed and b.positive:
        return Fit(False, "The readings scatter farther up than down: the upper limit is passed too often.")
    return Fit(True, "It suits these readings: they do not follow one another, and scatter as far up as down.")


def _fit_sums(b: _Behaviour, what: str) -> Fit:
    if b.correlated and b.correlation is not None:
        return Fit(
            False,
            f"{what} Each reading follows the one before (correlation {b.correlation:.2f}): it signals too often.",
        )
    if b.coarse:
        return Fit(False, f"{what} The steps of the readings are coarse, so that sigma is uncertain.")
    return Fit(True, f"{what} It suits these readings.")


def _fit_trend(b: _Behaviour, result: StreamResult) -> Fit:
    unit = result.check.chart_unit
    if b.slope is None:
        return Fit(False, "Too few readings for a slope.")
    rate = with_unit(in_figures(abs(b.slope), 2), unit)
    if b.sloping:
        way = "fall" if b.slope < 0 else "rise"
        wear = " Follow wear by it, not a fault: a slope that is not meant to be there is a drift."
        return Fit(True, f"The readings {way} by about {rate} a day in this segment, more than scatter gives.{wear}")
    return Fit(
        False, "There is no slope in this segment that scatter would not give: a level centre line says the same."
    )


def _fit_residuals(b: _Behaviour) -> Fit:
    if b.correlated and b.correlation is not None:
        return Fit(
            True,
            f"Each reading follows the one before (correlation {b.correlation:.2f}); this shows what is new in each. "
            "It is quick with jumps and slow with changes that stay.",
        )
    return Fit(False, "The readings do not follow one another: it shows nothing that the individuals do not.")


def _fit_skewed(b: _Behaviour) -> Fit:
    if not b.positive:
        return Fit(False, "Some readings are 0 or below, and have no logarithm.")
    if b.skewed and b.skewness is not None:
        return Fit(
            True,
            f"The readings scatter farther up than down (skewness {b.skewness:.1f}): limits by logarithms fit better.",
        )
    return Fit(False, "The readings scatter as far up as down: limits by logarithms add nothing.")


def _fits_judged(result: StreamResult) -> dict[str, Fit]:
    running = int(was_running(result.readings).sum())
    failed = len(result.failures)
    share = f"{failed} of {running} verdicts did not pass"
    rare = running > 0 and failed / running < 0.05
    return {
        "verdicts": Fit(True, f"Every verdict as it was given; {share}."),
        "fraction_failed": Fit(
            not rare,
            f"Week by week, with limits looked back on; {share}"
            + (": too rare for this chart, look at the passes between." if rare else "."),
        ),
        "passes_between": Fit(
            rare and failed > 2,
            f"Few passes between two failures mean that it fails more often; {share}"
            + (": too few to tell." if failed < 3 else "."),
        ),
    }


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
