"""Fits to readings that are known only to lie in an interval: rounded, or written as "<0.05" or ">5000"."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, as_readings, frozen
from spc.errors import InputError
from spc.records import Bound
from spc.sigma import mean
from spc.told import Told

CHI_SQUARE_95 = 3.841458820694124
"""95 % point of chi-square with one degree of freedom."""


ROUNDING_OF_ENDS = 1e-9
"""Ends this close, in the smallest interval's width, are one end: 0.20 + 0.025 and 0.25 - 0.025."""


@dataclass(frozen=True, slots=True)
class NormalFit(Told):
    """Level and scatter of readings known to lie in intervals, by maximum likelihood."""

    centre: float
    sigma: float  # 0 where one single value would explain every reading
    sigma_lower: float  # ends of the 95 % profile likelihood interval of sigma
    sigma_upper: float  # inf where the readings do not bound it
    log_likelihood: float
    n: int  # readings used
    n_exact: int
    n_rounded: int
    n_censored: int  # bounded on one side alone

    @property
    def one_value_explains_all(self) -> bool:
        """Whether all readings could be one and the same value, so that they say only how large sigma is at most."""
        return self.sigma == 0


def intervals(
    x: ArrayLike, *, bound: ArrayLike | None = None, resolution: float | None = None
) -> tuple[FloatArray, FloatArray]:
    """Return the ends of the intervals that readings stand for, each shape (n,), in the unit of `x`.

    Args:
        x: numbers as written, shape (n,); NaN for a reading not taken.
        bound: values of `records.Bound`, shape (n,); without it all are exact or rounded.
        resolution: step the readings were rounded to; without it they are exact.

    Raises:
        InputError: a step that is not above 0, or bounds that do not match the readings.
    """
    readings = as_readings(x, missing=True)
    kind = np.zeros(len(readings)) if bound is None else np.asarray(bound)
    if kind.shape != readings.shape:
        raise InputError(f"bound has shape {kind.shape}; give one for each of the {len(readings)} readings")
    if resolution is not None and not (math.isfinite(resolution) and resolution > 0):
        raise InputError(f"resolution is {resolution}; give the step the readings were rounded to, above 0")
    half = 0.0 if resolution is None else resolution / 2
    low = np.where(kind == Bound.BELOW, -np.inf, np.where(kind == Bound.ABOVE, readings, readings - half))
    high = np.where(kind == Bound.ABOVE, np.inf, np.where(kind == Bound.BELOW, readings, readings + half))
    missing = np.isnan(readings)
    return frozen(np.where(missing, np.nan, low)), frozen(np.where(missing, np.nan, high))


def fit_normal(low: ArrayLike, high: ArrayLike) -> NormalFit:
    """Fit level and sigma of independent normal readings that lie between `low` and `high`, each shape (n,).

    Equal ends are an exact reading; -inf or inf is a censored one; NaN at both ends is left out. The log likelihood is
    concave in level / sigma and 1 / sigma, so the maximum found is the only one. Where one value lies in all intervals
    it has none: sigma is then 0, and only its upper bound says something.

    Raises:
        InputError: ends that do not match, or all readings censored, which bounds neither level nor sigma.

    Source:
        Burridge, J. (1981), A note on maximum likelihood estimation for regression models using grouped data, Journal
        of the Royal Statistical Society B 43, 41-45, for the concavity; Gupta, A. K. (1952), Estimation of the mean and
        standard deviation of a normal population from a censored sample, Biometrika 39, 260-273.
    """
    a, b = _usable(low, high)
    finite = np.concatenate([a[np.isfinite(a)], b[np.isfinite(b)]])
    origin = float(np.median(finite))
    unit = float(np.ptp(finite)) or 1.0
    left, right = (a - origin) / unit, (b - origin) / unit
    exact, one_sided = a == b, np.isinf(a) | np.isinf(b)
    width = right - left
    touching = ROUNDING_OF_ENDS * float(np.min(width, where=width > 0, initial=1.0))
    one_value = left.max() <= right.min() + (touching if (width > 0).all() else 0.0)
    centre, sigma, value, bounds = _one_value(left, right, touching) if one_value else _newton(left, right)
    return NormalFit(
        centre=origin + unit * centre,
        sigma=unit * sigma,
        sigma_lower=unit * bounds[0],
        sigma_upper=unit * bounds[1],
        log_likelihood=value - math.log(unit) * int(exact.sum()),
        n=len(a),
        n_exact=int(exact.sum()),
        n_rounded=int((~exact & ~one_sided).sum()),
        n_censored=int(one_sided.sum()),
    )


def _usable(low: ArrayLike, high: ArrayLike) -> tuple[FloatArray, FloatArray]:
    a, b = np.array(low, dtype=np.float64), np.array(high, dtype=np.float64)
    if a.ndim != 1 or a.shape != b.shape:
        raise InputError(f"lower ends have shape {a.shape} and upper ends {b.shape}; give two rows of the same length")
    taken = ~(np.isnan(a) & np.isnan(b))
    a, b = a[taken], b[taken]
    wrong = ~(a <= b) | (a == np.inf) | (b == -np.inf)
    if wrong.any():
        where = int(np.flatnonzero(wrong)[0])
        raise InputError(
            f"interval {where} runs from {a[where]} to {b[where]}; the lower end must not be above the upper"
        )
    if len(a) < 2:
        raise InputError(f"{len(a)} readings given; at least 2 are needed for a sigma")
    if (np.isinf(a) | np.isinf(b)).all():
        raise InputError("every reading is censored; level and sigma need at least one that is written as a number")
    return a, b


Found = tuple[float, float, float, tuple[float, float]]  # centre, sigma, log likelihood, interval of sigma


def _newton(a: FloatArray, b: FloatArray) -> Found:
    """Return the only maximum, in (level / sigma, 1 / sigma), and the interval of sigma about it."""
    middle = np.where(np.isinf(a), b, np.where(np.isinf(b), a, (a + b) / 2))
    spread = max(float(middle.std()), 0.05)
    at, value = _climb(np.array([mean(middle) / spread, 1 / spread]), a, b, BOTH)
    sigma = 1 / float(at[1])
    level, least = float(at[0]) * sigma, value - CHI_SQUARE_95 / 2
    ends = tuple(_crossing(a, b, sigma, level, factor, least) for factor in (0.5, 2.0))
    return level, sigma, value, (ends[0], ends[1])


def _likelihood(at: FloatArray, a: FloatArray, b: FloatArray) -> tuple[float, FloatArray, FloatArray]:
    """Return log likelihood, gradient and curvature at (level / sigma, 1 / sigma)."""
    shift, rate = float(at[0]), float(at[1])
    exact = a == b
    x = a[exact]
    z = rate * x - shift
    value = float(np.sum(np.log(rate) - 0.5 * z * z - 0.5 * math.log(2 * math.pi)))
    gradient = np.array([np.sum(z), np.sum(1 / rate - z * x)])
    curvature = np.array([[-float(len(x)), np.sum(x)], [np.sum(x), -np.sum(1 / rate**2 + x * x)]])

    u, v = a[~exact], b[~exact]
    zu, zv = rate * u - shift, rate * v - shift
    log_p = _log_probability(zu, zv)
    ru, rv = _density_ratio(zu, log_p), _density_ratio(zv, log_p)
    u, v, zu, zv = (np.where(np.isinf(e), 0.0, e) for e in (u, v, zu, zv))  # their ratios are 0
    value += float(np.sum(log_p))
    gradient += np.array([np.sum(ru - rv), np.sum(v * rv - u * ru)])
    vv, uu, uv = -zv * rv - rv * rv, zu * ru - ru * ru, ru * rv
    cross = -(v * vv + u * uu + (u + v) * uv)
    both = v * v * vv + u * u * uu + 2 * u * v * uv
    curvature += np.array([[np.sum(vv + uu + 2 * uv), np.sum(cross)], [np.sum(cross), np.sum(both)]])
    return value, gradient, curvature


def _log_probability(zu: FloatArray, zv: FloatArray) -> FloatArray:
    """Return log(Phi(zv) - Phi(zu)), kept exact in either tail."""
    from scipy.special import log_ndtr

    flipped = zu > 0
    lower, upper = np.where(flipped, -zv, zu), np.where(flipped, -zu, zv)
    top = log_ndtr(upper)
    with np.errstate(divide="ignore", invalid="ignore"):
        result: FloatArray = top + np.log(-np.expm1(log_ndtr(lower) - top))
    return np.where(np.isnan(result), -np.inf, result)


def _density_ratio(z: FloatArray, log_p: FloatArray) -> FloatArray:
    """Return phi(z) / probability, 0 at an infinite end."""
    with np.errstate(over="ignore", invalid="ignore"):
        return np.where(np.isinf(z), 0.0, np.exp(-0.5 * z * z - 0.5 * math.log(2 * math.pi) - log_p))


def _climb(at: FloatArray, a: FloatArray, b: FloatArray, free: slice) -> tuple[FloatArray, float]:
    """Return the maximum of the concave log likelihood over the `free` coordinates, and its value.

    Newton steps, halved until they climb.
    """
    value, gradient, curvature = _likelihood(at, a, b)
    for _ in range(200):
        move = np.zeros(2)
        move[free] = np.linalg.solve(curvature[free, free], -gradient[free])
        promised = float(gradient @ move)
        share = 1.0
        while share > 1e-9:
            trial = at + share * move
            found = _likelihood(trial, a, b) if trial[1] > 0 else (-math.inf, gradient, curvature)
            if found[0] >= value:
                break
            share /= 2
        else:
            break
        at, (value, gradient, curvature) = trial, found
        if promised < CLIMBED:
            break
    return at, value


CLIMBED = 1e-12
"""A Newton step that promises to raise the log likelihood by less is the last: the place is right to about 1e-9."""

LEVEL_ALONE, BOTH = slice(0, 1), slice(0, 2)


def _best_at(sigma: float, level: float, a: FloatArray, b: FloatArray) -> float:
    """Return the log likelihood of `sigma` at its best level, looked for from `level`."""
    return _climb(np.array([level / sigma, 1 / sigma]), a, b, LEVEL_ALONE)[1]


def _crossing(a: FloatArray, b: FloatArray, sigma: float, level: float, factor: float, least: float) -> float:
    """Return where the profile log likelihood falls to `least`, going from `sigma` down or up by factors."""
    from scipy.optimize import brentq

    def above(log_sigma: float) -> float:
        return _best_at(math.exp(log_sigma), level, a, b) - least

    near = math.log(sigma)
    for _ in range(60):
        far = near + math.log(factor)
        if above(far) < 0:
            return math.exp(float(brentq(above, near, far, xtol=1e-9)))
        near = far
    return 0.0 if factor < 1 else math.inf


def _one_value(a: FloatArray, b: FloatArray, touching: float) -> Found:
    """Return the fit where the values from the highest lower end to the lowest upper end explain every reading."""
    low, high = float(a.max()), float(b.min())
    centre = (low + high) / 2 if math.isfinite(low + high) else (low if math.isfinite(low) else high)
    if (a == b).any():
        return centre, 0.0, math.inf, (0.0, math.inf)
    best = 0.0
    if high - low <= touching:  # the level is the line between two steps, with so many readings on either side of it
        above, below = int((a >= low - touching).sum()), int((b <= high + touching).sum())
        best = sum(k * math.log(k / (above + below)) for k in (above, below) if k)
    step = float(np.min((b - a)[np.isfinite(b - a)]))
    return centre, 0.0, best, (0.0, _crossing(a, b, step / 20, centre, 2.0, best - CHI_SQUARE_95 / 2))


@dataclass(frozen=True, slots=True)
class WeibullFit(Told):
    """Life until failure, by maximum likelihood; the scale is the age by which 63 % have failed, in the times' unit."""

    shape: float  # above 1: failures come with age; 1: at random
    scale: float
    n_failed: int
    n_running: int  # still running when last seen


def fit_weibull(failed_at: ArrayLike, running_at: ArrayLike = ()) -> WeibullFit:
    """Fit lives of which some have not ended: ages at failure, and ages of what still runs.

    Raises:
        InputError: fewer than 2 failures or all at one age, or an age that is not above 0.

    Source:
        NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.1.2; Cohen, A. C. (1965), Maximum likelihood
        estimation in the Weibull distribution based on complete and on censored samples, Technometrics 7, 579-588.
    """
    from scipy.optimize import brentq

    failed, running = as_readings(failed_at, at_least=2), as_readings(running_at, at_least=0)
    lives = np.concatenate([failed, running])
    if (lives <= 0).any():
        raise InputError(f"an age is {lives.min():g}; ages must be above 0")
    if np.ptp(failed) == 0 and running.max(initial=0.0) <= failed[0]:
        raise InputError("all failures came at one age; a Weibull shape needs failures at different ages")
    longest = float(lives.max())
    logs, log_failed = np.log(lives / longest), mean(np.log(failed / longest))

    def slope(shape: float) -> float:
        weight = np.exp(shape * logs)
        return float(np.sum(weight * logs) / np.sum(weight)) - 1 / shape - log_failed

    low, high = 1e-3, 1.0
    while slope(high) < 0:
        high *= 2
    shape = float(brentq(slope, low, high, xtol=1e-13, rtol=1e-14))
    scale = longest * (float(np.sum(np.exp(shape * logs))) / len(failed)) ** (1 / shape)
    return WeibullFit(shape, scale, len(failed), len(running))
