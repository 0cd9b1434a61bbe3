"""Autocorrelation: how far a reading follows from the ones before it.

A stream whose readings follow one another (a bath between top-ups, a room that warms up) breaks what control limits
rest on. NaN stands for a reading that was not taken; a pair with a missing reading is left out, and the sum of the
others scaled up for it.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, as_readings, frozen
from spc.errors import InputError
from spc.sigma import mean
from spc.told import Told

NOT_PAST = 0.9999
"""Largest |phi| looked at: beyond it a stream wanders and has no level."""


@dataclass(frozen=True, slots=True)
class LagCorrelations(Told):
    """Correlations of a stream with itself, and what independent readings would give."""

    lag: FloatArray  # 1, 2, ..., shape (lags,)
    correlation: FloatArray  # NaN where no pair is that far apart
    bound: FloatArray  # of independent readings, about 95 in 100 correlations lie within plus or minus this
    n: int  # readings taken


def lag_correlations(x: ArrayLike, *, lags: int = 10) -> LagCorrelations:
    """Return the correlations of `x`, shape (n,), with itself 1, 2, ... `lags` readings later.

    Raises:
        InputError: no more readings than lags, or readings that are all the same.

    Source:
        NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.12; Box, G. E. P. and Jenkins, G. M. (1976), Time
        Series Analysis, section 2.1.5. The bound is 1.96 over the root of the number of pairs.
    """
    readings = as_readings(x, at_least=lags + 1, missing=True)
    taken = readings[~np.isnan(readings)]
    if len(taken) < 2 or np.ptp(taken) == 0:
        raise InputError(
            f"{len(taken)} readings without any variation given; autocorrelation needs readings that differ"
        )
    off = readings - mean(taken)
    own = np.where(np.isnan(off), 0.0, off)
    squares = math.fsum((own * own).tolist())
    products = [own[lag:] * own[:-lag] for lag in range(1, lags + 1)]
    pairs = np.array([np.count_nonzero(~np.isnan(off[lag:] * off[:-lag])) for lag in range(1, lags + 1)])
    expected = len(readings) - np.arange(1, lags + 1)  # pairs there would be with nothing missing
    share = np.divide(pairs * len(readings), expected * len(taken))
    sums = np.array([math.fsum(p.tolist()) for p in products])
    with np.errstate(divide="ignore", invalid="ignore"):
        correlation = np.where(pairs > 0, sums / squares / share, np.nan)
        bound = np.where(pairs > 0, 1.96 / np.sqrt(pairs), np.nan)
    return LagCorrelations(frozen(np.arange(1.0, lags + 1)), frozen(correlation), frozen(bound), len(taken))


@dataclass(frozen=True, slots=True)
class FirstOrder(Told):
    """A stream that returns to its level: x - level = phi (x before - level) + shock, in the stream's unit."""

    level: float
    phi: float  # what is left of a distance from the level one reading later
    phi_error: float  # standard error of phi
    sigma: float  # standard deviation of a shock
    log_likelihood: float
    n: int  # readings taken

    @property
    def sigma_overall(self) -> float:
        """Standard deviation of the readings about the level."""
        return self.sigma / math.sqrt(1 - self.phi * self.phi)

    def ahead(self, before: float, readings: int) -> tuple[float, float]:
        """Return the expected reading and its standard deviation, `readings` after one of value `before`."""
        left = self.phi**readings
        return self.level + left * (before - self.level), self.sigma_overall * math.sqrt(1 - left * left)


def first_order(x: ArrayLike) -> FirstOrder:
    """Fit a first-order autoregression by exact maximum likelihood; readings may be missing.

    From n readings, phi comes out too small by about (1 + 3 phi) / n; nothing is corrected here.

    Args:
        x: readings in time order, shape (n,), NaN for one not taken.

    Raises:
        InputError: fewer than 4 readings, or readings that are all the same.

    Source:
        Jones, R. H. (1980), Maximum likelihood fitting of ARMA models to time series with missing observations,
        Technometrics 22, 389-395. Bias: Kendall, M. G. (1954), Note on bias in the estimation of autocorrelation,
        Biometrika 41, 403-404.
    """
    from scipy.optimize import minimize_scalar

    readings = as_readings(x, at_least=4, missing=True)
    place = np.flatnonzero(~np.isnan(readings))
    taken = readings[place]
    if len(taken) < 4 or np.ptp(taken) == 0:
        raise InputError(f"{len(taken)} readings, all the same or too few; autocorrelation needs 4 that differ")
    origin, unit = mean(taken), float(taken.std())
    likelihood = _profile(np.diff(place), (taken - origin) / unit)
    coarse = np.linspace(-NOT_PAST, NOT_PAST, 81)
    best = coarse[int(np.argmax([likelihood(phi)[0] for phi in coarse]))]
    span = (max(best - 0.05, -NOT_PAST), min(best + 0.05, NOT_PAST))
    phi = float(minimize_scalar(lambda p: -likelihood(p)[0], bounds=span, method="bounded", options={"xatol": 1e-10}).x)
    value, level, sigma = likelihood(phi)
    return FirstOrder(
        level=origin + unit * level,
        phi=phi,
        phi_error=_error(lambda p: likelihood(p)[0], phi),
        sigma=unit * sigma,
        log_likelihood=value - len(taken) * math.log(unit),
        n=len(taken),
    )


def _profile(gap: FloatArray, y: FloatArray) -> Callable[[float], tuple[float, float, float]]:
    """Return the log likelihood of phi at its best level and sigma, with those: readings `y`, `gap` steps apart."""
    n = len(y)

    def likelihood(phi: float) -> tuple[float, float, float]:
        left = np.sign(phi) ** gap * np.abs(phi) ** gap
        variance = np.concatenate(([1.0], 1 - left * left)) / (1 - phi * phi)  # of each shock, in sigma squared
        weight = np.concatenate(([1.0], 1 - left))  # each innovation is y' - level * weight
        innovation = np.concatenate((y[:1], y[1:] - left * y[:-1]))
        level = float(np.sum(weight * innovation / variance) / np.sum(weight * weight / variance))
        squares = float(np.sum((innovation - level * weight) ** 2 / variance)) / n
        value = -0.5 * (n * math.log(2 * math.pi * squares) + float(np.sum(np.log(variance))) + n)
        return value, level, math.sqrt(squares)

    return likelihood


def _error(likelihood: Callable[[float], float], phi: float) -> float:
    """Return the standard error from the curvature of the log likelihood at its maximum; NaN at an end of the range."""
    step = min(1e-3, (1 - abs(phi)) / 4)
    curvature = (likelihood(phi + step) - 2 * likelihood(phi) + likelihood(phi - step)) / step**2
    return 1 / math.sqrt(-curvature) if curvature < 0 else math.nan
