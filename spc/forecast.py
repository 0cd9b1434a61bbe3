"""What comes next if nothing is done: the risk that coming readings fail, and the readings left."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, as_readings
from spc.drift.ahead import Course, courses
from spc.drift.noise import MEMORY
from spc.drift.step import DriftState

FEWEST_READINGS = 5
HORIZON = 60
"""Readings looked ahead: a straight line through 20 says little beyond three times its own length."""

FEWEST_OF_A_SEGMENT = 3

SUDDEN_PER_READING = 1 / 5000
"""How often a reading fails out of the blue, whatever the ones before it said (an estimate of our own)."""

TAIL_SHARES, TAIL_FACTORS = (0.95, 0.05), (1.0, 2.0)
"""Noise has heavier tails than normal, and how wide it is was learnt: a twentieth of it scatters twice as far."""

LEAST_WEIGHT = 1e-6
"""Courses less likely than this are left out."""

_COURSE_NODES = 7
_SWING_NODES = 5
_LEVEL_NODES = 15
_SCALE_NODES = 9


@dataclass(frozen=True, slots=True)
class AheadForecast:
    """Risk and time to the acceptance limit, in readings; None where nothing can be said or not within the horizon."""

    method: str
    risk_next: float | None
    risk_next_5: float | None
    readings_p10: float | None
    readings_p50: float | None
    readings_p90: float | None


def straight_line_forecast(x: ArrayLike, *, lower: float = float("nan"), upper: float = float("nan")) -> AheadForecast:
    """Return the forecast of a straight line through `x`, its uncertainty carried along.

    The next readings are a Student prediction around the least-squares line: uncertain level, slope and scatter are
    shared by all coming readings, and integrated over numerically (Gauss-Hermite for the line, equal-probability nodes
    for the scatter).

    Args:
        x: latest readings in time order, shape (n,), equally spaced.
        lower: acceptance limit below, in the unit of `x`; NaN where none.
        upper: acceptance limit above; NaN where none.

    Returns:
        risk_next: probability that the next reading lies outside; risk_next_5: that one of the next five does;
        readings_p10, p50, p90: readings until the first one outside, as quantiles of its distribution. All None with
        fewer than 5 readings or no limit; a quantile beyond the next 60 readings is None.

    Raises:
        InputError: a missing reading.

    Source:
        Prediction of a new observation in simple linear regression: NIST/SEMATECH e-Handbook of Statistical Methods,
        section 4.5.2.1.
    """
    array = as_readings(x, at_least=0)
    method = f"straight line through the last {len(array)} readings"
    if len(array) < FEWEST_READINGS or (np.isnan(lower) and np.isnan(upper)):
        return AheadForecast(method, None, None, None, None, None)
    surviving = _survival(array, lower, upper)
    failed_by = 1.0 - surviving
    return AheadForecast(
        method,
        float(failed_by[0]),
        float(failed_by[4]),
        *(_first_reading(failed_by, probability) for probability in (0.1, 0.5, 0.9)),
    )


def _first_reading(failed_by: FloatArray, probability: float) -> float | None:
    reached = np.flatnonzero(failed_by >= probability)
    return float(reached[0] + 1) if len(reached) else None


def _survival(x: FloatArray, lower: float, upper: float) -> FloatArray:
    """Return the probability that none of the next 1, 2 .. HORIZON readings lies outside, shape (HORIZON,)."""
    from scipy.special import gammaincinv, ndtr

    n = len(x)
    time = np.arange(n) - (n - 1) / 2
    slope = float(time @ x / (time @ time))
    centre = float(x.mean())
    residual = x - centre - slope * time
    # nodes: centre and slope errors in units of the scatter, and the scatter itself
    normal, weight = np.polynomial.hermite_e.hermegauss(_LEVEL_NODES)
    weight = weight / weight.sum()
    quantile = 2.0 * gammaincinv((n - 2) / 2, (np.arange(_SCALE_NODES) + 0.5) / _SCALE_NODES)
    scatter = np.sqrt(residual @ residual / quantile)[:, None, None, None]
    scatter = np.maximum(scatter, 1e-12 * max(1.0, abs(centre)))
    ahead = (n + 1) / 2 + np.arange(HORIZON)
    level = centre + scatter / np.sqrt(n) * normal[None, :, None, None]
    rate = slope + scatter / np.sqrt(time @ time) * normal[None, None, :, None]
    expected = level + rate * ahead
    inside = np.ones_like(expected)
    if not np.isnan(upper):
        inside = ndtr((upper - expected) / scatter)
    if not np.isnan(lower):
        inside = inside - ndtr((lower - expected) / scatter)
    together = np.cumprod(np.clip(inside, 0.0, 1.0), axis=-1)
    survival: FloatArray = np.einsum("s,l,r,slrk->k", np.full(_SCALE_NODES, 1 / _SCALE_NODES), weight, weight, together)
    return np.clip(survival, 0.0, 1.0)


def model_forecast(state: DriftState) -> AheadForecast:
    """Return the forecast of the model of a stream after its latest reading, if nothing is done.

    The level may be quiet, or have stepped, or drift at one of several slopes since any recent reading; each is carried
    on straight, with its own uncertainty, and weighed by how well it explains the readings so far. That drifts bend is
    in those slopes already: only readings since the last bend tell of them. A reading is outside when what would be
    written down is: rounding counts.

    Args:
        state: of the stream, with the acceptance limits of its latest reading.

    Returns:
        As `straight_line_forecast`, but the readings until the limit is passed are interpolated: 2.5 says that the
        third reading is the first one outside. All None before the third reading of a segment or without a limit.
    """
    method = "model of the stream"
    scale = state.scale
    fresh = state.since_restart < FEWEST_OF_A_SEGMENT and not state.moved
    if scale is None or fresh or np.isnan([scale.lower, scale.upper]).all():
        return AheadForecast(method, None, None, None, None, None)
    foreseen = survival_of(courses(state), scale.fails_below, scale.fails_above)
    failed_by = 1.0 - foreseen * (1.0 - SUDDEN_PER_READING) ** np.arange(1, HORIZON + 1)
    return AheadForecast(
        method,
        float(failed_by[0]),
        float(failed_by[4]),
        *(_readings_until(failed_by, probability) for probability in (0.1, 0.5, 0.9)),
    )


def _readings_until(failed_by: FloatArray, probability: float) -> float | None:
    """Return after how many readings the limit is passed with a probability, between two readings by interpolation."""
    reached = np.flatnonzero(failed_by >= probability)
    if not len(reached):
        return None
    last = int(reached[0])
    before = float(failed_by[last - 1]) if last else 0.0
    return last + (probability - before) / (float(failed_by[last]) - before)


def survival_of(course: Course, below: float, above: float) -> FloatArray:
    """Return the probability that none of the next 1, 2 .. HORIZON readings is outside, shape (HORIZON,).

    Readings that swing together fail together: the chance of every swing that has not failed yet is carried from one
    reading to the next.
    """
    normal, weight = np.polynomial.hermite_e.hermegauss(_COURSE_NODES)
    likely = course.weight > LEAST_WEIGHT
    shares = course.weight[likely] / course.weight[likely].sum()
    level = course.level[likely, None] + course.level_sd[likely, None] * normal
    slope = course.slope[likely, None] + course.ageing
    ahead = np.arange(1, HORIZON + 1)[:, None, None]
    swing, alive, onward = _swings(course.swing_sd)
    expected = (level + slope * ahead + course.slow * MEMORY**ahead)[..., None] + swing
    inside = _inside(expected, below, above, course.noise_sd)
    both = np.outer(shares, weight / weight.sum())
    survival = np.empty(HORIZON)
    for k in range(HORIZON):
        alive = (alive @ onward) * inside[k]
        survival[k] = np.einsum("cl,clw->", both, alive)
    return np.clip(survival, 0.0, 1.0)


def _inside(expected: FloatArray, below: float, above: float, noise_sd: float) -> FloatArray:
    """Return the probability that a reading is inside, shape of `expected`."""
    from scipy.special import ndtr

    inside = np.zeros_like(expected)
    for share, factor in zip(TAIL_SHARES, TAIL_FACTORS, strict=True):
        sd = factor * noise_sd
        part = np.ones_like(expected) if np.isnan(above) else ndtr((above - expected) / sd)
        inside += share * (part if np.isnan(below) else part - ndtr((below - expected) / sd))
    return np.clip(inside, 0.0, 1.0)


def _swings(sd: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return swings that stand for all, shape (w,), the chance of each, and from each to each a reading on, (w, w).

    Source:
        Tauchen, G. and Hussey, R. (1991), Econometrica 59, 371-396, section 3: quadrature nodes of the stationary law
        (there of the conditional one) and transition densities at them, made to sum to one.
    """
    if sd == 0.0:
        return np.zeros(1), np.ones(1), np.ones((1, 1))
    normal, weight = np.polynomial.hermite_e.hermegauss(_SWING_NODES)
    off = (normal - MEMORY * normal[:, None]) / np.sqrt(1.0 - MEMORY**2)
    onward = weight * np.exp(normal**2 / 2.0 - off**2 / 2.0)
    return sd * normal, weight / weight.sum(), onward / onward.sum(axis=1, keepdims=True)
