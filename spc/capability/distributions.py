"""Shapes of readings: families of distributions, their fit, and the choice among them.

Each fit takes many samples at once, shape (m, n), so that a parametric bootstrap is one call. Distribution functions
are scipy's; the folded normal's are written here because its far tail is needed to full precision.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import ArrayLike

from spc import decimals
from spc.arrays import FloatArray, as_readings
from spc.errors import InputError
from spc.told import Told


class Distribution(Protocol):
    """What is asked of a fitted distribution; arguments broadcast against parameters of shape (m, 1)."""

    def logpdf(self, x: Any) -> FloatArray:
        """Return the log density at x."""

    def cdf(self, x: Any) -> FloatArray:
        """Return the share at or below x."""

    def sf(self, x: Any) -> FloatArray:
        """Return the share above x."""

    def ppf(self, q: Any) -> FloatArray:
        """Return the quantile of q."""


@dataclass(frozen=True, slots=True)
class Family:
    """One shape: how it is fitted and what it can take."""

    key: str
    parameters: tuple[str, ...]
    lowest: float  # readings must lie above it (-inf: anything) ...
    reached: bool  # ... or on it
    on_log_scale: bool  # whether its logarithm is (nearly) a shape of fixed form, shifted and stretched
    fit: Callable[[FloatArray], FloatArray]  # (m, n) -> (m, number of parameters)
    distribution: Callable[[FloatArray], Distribution]  # (m, number of parameters) -> parameters of shape (m, 1)


@dataclass(frozen=True, slots=True)
class FittedFamily(Told):
    """A family fitted to one stream."""

    family: Family
    n: int
    parameters: tuple[float, ...]
    log_likelihood: float
    aicc: float  # Akaike's criterion with the small-sample term (Hurvich and Tsai 1989)

    @property
    def distribution(self) -> Distribution:
        """The fitted distribution; its answers have shape (1, k) for k arguments."""
        return self.family.distribution(np.array([self.parameters]))


def _fit_normal(x: FloatArray) -> FloatArray:
    return np.stack([x.mean(axis=1), x.std(axis=1, ddof=1)], axis=1)


def _fit_lognormal(x: FloatArray) -> FloatArray:
    return _fit_normal(np.log(x))


def _fit_rayleigh(x: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt((x**2).mean(axis=1, keepdims=True) / 2))


def _fit_gamma(x: FloatArray) -> FloatArray:
    """Maximum likelihood: log a - digamma(a) = log mean - mean log, by Minka's (2002) fast Newton steps."""
    from scipy.special import digamma, polygamma

    mean = x.mean(axis=1)
    gap = -np.log(x / mean[:, None]).mean(axis=1)
    shape = (3 - gap + np.sqrt((gap - 3) ** 2 + 24 * gap)) / (12 * gap)
    for _ in range(8):
        step = (np.log(shape) - digamma(shape) - gap) / (shape**2 * (1 / shape - polygamma(1, shape)))
        shape = 1 / (1 / shape + step)
    return np.stack([shape, mean / shape], axis=1)


def _fit_weibull(x: FloatArray) -> FloatArray:
    """Maximum likelihood: the shape k solves sum x^k log x / sum x^k - 1/k = mean log x, by Newton steps in log k."""
    log_x = np.log(x)
    centred = log_x - log_x.max(axis=1, keepdims=True)
    mean = centred.mean(axis=1)
    shape = math.pi / math.sqrt(6) / centred.std(axis=1, ddof=1)
    for _ in range(60):
        power = np.exp(shape[:, None] * centred)
        total = power.sum(axis=1)
        first = (power * centred).sum(axis=1) / total
        second = (power * centred**2).sum(axis=1) / total
        miss = first - 1 / shape - mean
        step = np.clip(miss / (shape * (second - first**2) + 1 / shape), -0.7, 0.7)
        shape = shape * np.exp(-step)
        if np.all(np.abs(step) < 1e-14):
            break
    power = np.exp(shape[:, None] * centred).mean(axis=1)
    return np.stack([shape, np.exp(log_x.max(axis=1) + np.log(power) / shape)], axis=1)


def _fit_folded_normal(x: FloatArray) -> FloatArray:
    """Maximum likelihood: mu solves mean(x tanh(mu x / sigma^2)) = mu with sigma^2 = mean(x^2) - mu^2, by halving.

    mu is 0 (a half normal) where the fourth moment is at least three times the squared second. Source: Leone, Nelson
    and Nottingham (1961), Technometrics 3.
    """
    squares = (x**2).mean(axis=1)
    spread = x / np.sqrt(squares)[:, None]
    low, high = np.zeros(len(x)), spread.mean(axis=1)  # of mu over the root mean square
    high = np.minimum(high, 1 - 1e-15)
    for _ in range(52):
        middle = (low + high) / 2
        pull = (spread * np.tanh((middle / (1 - middle**2))[:, None] * spread)).mean(axis=1)
        low, high = np.where(pull > middle, middle, low), np.where(pull > middle, high, middle)
    half = (spread**4).mean(axis=1) >= 3
    mu = np.where(half, 0.0, (low + high) / 2) * np.sqrt(squares)
    return np.stack([mu, np.sqrt(squares - mu**2)], axis=1)


@dataclass(frozen=True, slots=True)
class FoldedNormal:
    """The absolute value of a normal reading; parameters of shape (m, 1)."""

    mu: FloatArray
    sigma: FloatArray

    def logpdf(self, x: Any) -> FloatArray:
        """Return the log density at x >= 0."""
        near, far = (x - self.mu) / self.sigma, (x + self.mu) / self.sigma
        pair = np.logaddexp(-(near**2) / 2, -(far**2) / 2)
        return np.asarray(pair - np.log(self.sigma) - math.log(2 * math.pi) / 2)

    def cdf(self, x: Any) -> FloatArray:
        """Return the share at or below x."""
        from scipy.special import ndtr

        at = np.maximum(x, 0.0)
        return np.asarray(ndtr((at - self.mu) / self.sigma) - ndtr((-at - self.mu) / self.sigma))

    def sf(self, x: Any) -> FloatArray:
        """Return the share above x."""
        from scipy.special import ndtr

        at = np.maximum(x, 0.0)
        return np.asarray(ndtr((self.mu - at) / self.sigma) + ndtr((-at - self.mu) / self.sigma))

    def ppf(self, q: Any) -> FloatArray:
        """Return the quantile of q, by halving."""
        low = np.zeros(np.broadcast_shapes(np.shape(q), self.mu.shape))
        high = low + self.mu + 40 * self.sigma
        for _ in range(70):
            middle = (low + high) / 2
            below = np.where(np.asarray(q) < 0.5, self.cdf(middle) < q, self.sf(middle) > 1 - np.asarray(q))
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return np.asarray((low + high) / 2)


def _columns(parameters: FloatArray) -> list[FloatArray]:
    return [parameters[:, i : i + 1] for i in range(parameters.shape[1])]


def _normal(parameters: FloatArray) -> Distribution:
    from scipy import stats

    mean, sd = _columns(parameters)
    return stats.norm(loc=mean, scale=sd)


def _lognormal(parameters: FloatArray) -> Distribution:
    from scipy import stats

    log_mean, log_sd = _columns(parameters)
    return stats.lognorm(log_sd, scale=np.exp(log_mean))


def _weibull(parameters: FloatArray) -> Distribution:
    from scipy import stats

    shape, scale = _columns(parameters)
    return stats.weibull_min(shape, scale=scale)


def _gamma(parameters: FloatArray) -> Distribution:
    from scipy import stats

    shape, scale = _columns(parameters)
    return stats.gamma(shape, scale=scale)


def _rayleigh(parameters: FloatArray) -> Distribution:
    from scipy import stats

    return stats.rayleigh(scale=parameters)


def _folded_normal(parameters: FloatArray) -> Distribution:
    return FoldedNormal(*_columns(parameters))


FAMILIES = {
    family.key: family
    for family in (
        Family("normal", ("mean", "sigma"), -math.inf, False, False, _fit_normal, _normal),
        Family("lognormal", ("mean of logs", "sigma of logs"), 0.0, False, True, _fit_lognormal, _lognormal),
        Family("weibull", ("shape", "scale"), 0.0, False, True, _fit_weibull, _weibull),
        Family("gamma", ("shape", "scale"), 0.0, False, True, _fit_gamma, _gamma),
        Family("folded normal", ("mean before folding", "sigma"), 0.0, True, True, _fit_folded_normal, _folded_normal),
        Family("rayleigh", ("scale",), 0.0, False, True, _fit_rayleigh, _rayleigh),
    )
}
"""The shapes ISO 22514-2 names for measured characteristics, and the gamma; in order of preference on a tie."""

NARROW = 1000.0
"""Mean over standard deviation beyond which the skewed shapes cannot be told from the normal."""


def fit(readings: ArrayLike, family: str) -> FittedFamily:
    """Fit one family by maximum likelihood (normal and lognormal: sigma with divisor n - 1).

    Args:
        readings: shape (n,), n >= 4.
        family: a key of FAMILIES.

    Raises:
        InputError: unknown family, too few readings, all equal, or readings the family cannot take.
    """
    x = as_readings(readings, at_least=4)
    if family not in FAMILIES:
        raise InputError(f"unknown family {family!r}; choose one of {', '.join(FAMILIES)}")
    chosen = FAMILIES[family]
    reason = why_not(x, chosen)
    if reason:
        raise InputError(f"a {family} cannot be fitted: {reason}")
    scale = float(np.abs(x).max())
    parameters = _rescaled(chosen, chosen.fit((x / scale)[None, :]), scale)
    log_likelihood = float(np.sum(chosen.distribution(parameters).logpdf(x[None, :])))
    k, n = parameters.shape[1], len(x)
    aicc = 2 * k - 2 * log_likelihood + 2 * k * (k + 1) / (n - k - 1)
    return FittedFamily(chosen, n, tuple(parameters[0].tolist()), log_likelihood, aicc)


def _rescaled(family: Family, parameters: FloatArray, scale: float) -> FloatArray:
    """Return parameters fitted to readings / scale, for the readings themselves."""
    changed = parameters.copy()
    if family.key == "lognormal":
        changed[:, 0] += math.log(scale)
    else:
        changed[:, [i for i, name in enumerate(family.parameters) if name != "shape"]] *= scale
    return changed


def why_not(x: FloatArray, family: Family) -> str:
    """Return why `family` cannot be fitted to `x`, in words; empty where it can."""
    lowest = float(x.min())
    if lowest < family.lowest or (lowest == family.lowest and not family.reached):
        return f"the lowest reading is {lowest:g} and it takes only readings {'from' if family.reached else 'above'} 0"
    sd = decimals.standard_deviation(x)
    if sd == 0:
        return f"all {len(x)} readings are {x[0]:g}"
    if family.key != "normal" and abs(decimals.mean(x)) > NARROW * sd:
        return "the readings spread so little for their level that it cannot be told from a normal"
    return ""


def fit_all(readings: ArrayLike) -> tuple[tuple[FittedFamily, ...], tuple[tuple[str, str], ...]]:
    """Return every family that can be fitted, in the order of FAMILIES, and the others with the reason."""
    x = as_readings(readings, at_least=4)
    reasons = {key: why_not(x, family) for key, family in FAMILIES.items()}
    if reasons["normal"]:
        raise InputError(f"no shape can be fitted: {reasons['normal']}")
    return (
        tuple(fit(x, key) for key, reason in reasons.items() if not reason),
        tuple((key, reason) for key, reason in reasons.items() if reason),
    )


def choose(fits: tuple[FittedFamily, ...]) -> FittedFamily:
    """Return the family with the smallest AICc; the normal where it comes within 2 of that, and else the first listed.

    Source: Burnham and Anderson (2002), Model Selection and Multimodel Inference: a gap of 2 or less is no evidence.
    """
    best = min(fits, key=lambda fitted: fitted.aicc)
    normal = next((fitted for fitted in fits if fitted.family.key == "normal"), best)
    return normal if normal.aicc <= best.aicc + 2 else best
