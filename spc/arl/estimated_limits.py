"""What control limits from few readings do to the run length of an individuals chart."""

import math
from dataclasses import dataclass

import numpy as np

from spc.arrays import FloatArray
from spc.errors import InputError
from spc.sigma import D2_FOR_PAIRS
from spc.told import Told

READINGS_AT_ONCE = 4_000_000


@dataclass(frozen=True, slots=True)
class EstimatedLimits(Told):
    """The average run length of an individuals chart, which differs from one baseline to the next.

    `arl_p10` is the one that 10 % of all baselines do not reach.
    """

    n_baseline: int
    width: float  # sigmas
    shift: float  # sigmas
    signal_rate: float  # chance that a reading lies beyond the limits, over all baselines
    standard_error: float  # of `signal_rate`
    arl_p10: float
    arl_p50: float
    arl_p90: float
    arl_known: float  # with limits from the true centre line and sigma
    n_baselines: int  # simulated


def estimated_limits_run_length(
    n_baseline: int,
    *,
    generator: np.random.Generator,
    width: float = 3.0,
    shift: float = 0.0,
    n_baselines: int = 20_000,
) -> EstimatedLimits:
    """Return the run length of an individuals chart whose limits come from `n_baseline` readings in control.

    The limits are the mean -+ width * (mean moving range / d2) of simulated independent normal baselines; for each, the
    chance that a later reading lies beyond them, and so the average run length, is exact.

    Args:
        n_baseline: readings that set the limits, at least 2.
        generator: source of the baselines.
        width: half-width of the limits in sigmas.
        shift: of the level after the baseline, in sigmas.
        n_baselines: how many are simulated, at least 100.

    Raises:
        InputError: too few readings or baselines, or a number out of its range.

    Source:
        Quesenberry, C. P. (1993), The effect of sample size on estimated limits for X-bar and X control charts,
        Journal of Quality Technology 25, 237-247 (the question; his answer is simulated too).
    """
    if n_baseline < 2 or n_baselines < 100:
        raise InputError(f"{n_baseline} readings, {n_baselines} baselines; give at least 2 readings and 100 baselines")
    if not 0 < width < math.inf or not math.isfinite(shift):
        raise InputError(f"width {width}, shift {shift}; give numbers of sigmas, the width above 0")
    rates = _rates(*_baselines(n_baseline, n_baselines, generator), width, shift)
    p10, p50, p90 = np.quantile(1 / rates, (0.1, 0.5, 0.9)).tolist()
    return EstimatedLimits(
        n_baseline=n_baseline,
        width=width,
        shift=shift,
        signal_rate=float(rates.mean()),
        standard_error=float(rates.std(ddof=1)) / math.sqrt(n_baselines),
        arl_p10=p10,
        arl_p50=p50,
        arl_p90=p90,
        arl_known=1 / float(_rates(np.zeros(1), np.ones(1), width, shift)[0]),
        n_baselines=n_baselines,
    )


def _baselines(n: int, count: int, generator: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Return centre line and sigma of `count` baselines of n readings, each shape (count,)."""
    at_once = max(1, READINGS_AT_ONCE // n)
    centres, sigmas = [], []
    for done in range(0, count, at_once):
        x = generator.standard_normal((min(at_once, count - done), n))
        centres.append(x.mean(axis=1))
        sigmas.append(np.abs(np.diff(x, axis=1)).mean(axis=1) / D2_FOR_PAIRS)
    return np.concatenate(centres), np.concatenate(sigmas)


def _rates(centre: FloatArray, sigma: FloatArray, width: float, shift: float) -> FloatArray:
    """Return the chance of a reading beyond each pair of limits; never 0, so that its inverse is a number."""
    from scipy.special import ndtr

    rates: FloatArray = ndtr(centre - width * sigma - shift) + ndtr(shift - centre - width * sigma)
    return np.maximum(rates, np.finfo(np.float64).tiny)
