"""Charts of skewed positive readings: limits set on a power or the logarithm of the reading, drawn in its own unit."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, as_readings
from spc.charts.individuals import individuals_limits
from spc.charts.shape import Chart, Plotted, Point, above_zero, as_measured, fold, not_infinite, point_of
from spc.errors import InputError
from spc.sigma import mean
from spc.told import Told

LOGARITHM = 0.0
"""The power that stands for the logarithm."""

WEIBULL_POWER = 1 / 3.6
"""The power that makes times between random failures nearly normal (Nelson 1994)."""


@dataclass(frozen=True, slots=True)
class SkewedLimits(Told):
    """Limits of the readings in their own unit, and of their power, where sigma was found."""

    centre_line: float  # the reading whose power is the mean power; for the logarithm, the geometric mean
    lower: float  # 0 where the power has no positive lower limit: no reading is beyond it
    upper: float
    power: float  # LOGARITHM stands for the logarithm
    centre_of_power: float
    sigma_of_power: float
    width: float
    n_baseline: int


def skewed_limits(
    baseline: ArrayLike, *, power: float = LOGARITHM, width: float = 3.0, resolution: float | None = None
) -> SkewedLimits:
    """Set limits for readings that scatter more upward than downward, from those of a stable baseline.

    The limits are individuals limits of the readings' power (or logarithm), turned back into the readings' unit. Where
    that makes the readings normal, they are probability limits: each side is passed as often as three sigmas are.

    Args:
        baseline: readings in time order, shape (n,), above 0 in the stream's unit; NaN for one not taken.
        power: between 0 (logarithm, for readings whose scatter grows with their level) and 1 (readings as they are).
        width: half-width of the limits in sigmas of the power.
        resolution: smallest step a reading can be written in; the sigma of the power is never less than what rounding a
            reading at the centre line scatters it.

    Raises:
        InputError: a reading of 0 or below where the logarithm is taken, a negative one, or a setting that cannot be.

    Source:
        Box, G. E. P. and Cox, D. R. (1964), An analysis of transformations, Journal of the Royal Statistical Society B
        26, 211-252.
    """
    if not 0 <= power <= 1:
        raise InputError(f"power is {power}; give 0 for the logarithm, or a power up to 1")
    above_zero(width, "the half-width of the limits in sigmas")
    x = as_readings(baseline, at_least=2, missing=True)
    _refuse_unusable(x, power)
    powers = powered(x, power)
    found = individuals_limits(powers)
    sigma = found.sigma
    if resolution is not None:
        sigma = max(sigma, _floor_of_power(found.centre_line, power, above_zero(resolution, "resolution")))
    centre, half = found.centre_line, width * sigma
    return SkewedLimits(
        centre_line=unpowered(centre, power),
        lower=unpowered(centre - half, power),
        upper=unpowered(centre + half, power),
        power=power,
        centre_of_power=centre,
        sigma_of_power=sigma,
        width=width,
        n_baseline=found.n_baseline,
    )


def _refuse_unusable(x: FloatArray, power: float) -> None:
    wrong = x <= 0 if power == LOGARITHM else x < 0
    if wrong.any():
        where = int(np.flatnonzero(wrong)[0])
        remedy = "write it as below the smallest step ('<0.1'), or take a power" if power == LOGARITHM else "correct it"
        raise InputError(f"reading {where} is {x[where]:g}, which has no {_name(power)}; {remedy}")


def _name(power: float) -> str:
    return "logarithm" if power == LOGARITHM else f"power {power:g}"


def _floor_of_power(centre: float, power: float, resolution: float) -> float:
    """Return what rounding to `resolution` scatters the power of a reading at the centre line, to first order."""
    at = unpowered(centre, power)
    slope = 1 / at if power == LOGARITHM else power * at ** (power - 1)
    return resolution / math.sqrt(12) * slope


def powered(x: FloatArray, power: float) -> FloatArray:
    """Return the readings' power, or their logarithm; shape as `x`."""
    return np.log(x) if power == LOGARITHM else np.power(x, power)


def unpowered(value: float, power: float) -> float:
    """Return the reading of this power, 0 where there is none."""
    if power == LOGARITHM:
        return math.exp(value)
    return float(max(value, 0.0) ** (1 / power))


def likeliest_power(x: ArrayLike) -> tuple[float, float, float]:
    """Return the power that makes readings most nearly normal, and the ends of its 95 % interval; not kept to 0 to 1.

    Args:
        x: readings above 0, shape (n,); NaN for one not taken.

    Raises:
        InputError: fewer than 4 readings, a reading of 0 or below, or readings that are all the same.

    Source:
        Box, G. E. P. and Cox, D. R. (1964), section 3: profile likelihood, interval by the chi-square of one degree.
    """
    from scipy.optimize import brentq, minimize_scalar

    readings = as_readings(x, at_least=4, missing=True)
    _refuse_unusable(readings, LOGARITHM)
    taken = readings[~np.isnan(readings)]
    if len(taken) < 4 or np.ptp(taken) == 0:
        raise InputError(f"{len(taken)} readings, all the same or too few; a power needs 4 that differ")
    logs = np.log(taken) - mean(np.log(taken))

    def loss(power: float) -> float:
        """Half of n times the log variance of the power, scaled so that powers compare."""
        scaled = logs if abs(power) < 1e-8 else np.expm1(power * logs) / power
        return 0.5 * len(logs) * math.log(float(np.var(scaled)))

    widest = 30 / float(np.ptp(logs))
    best = float(minimize_scalar(loss, bounds=(-widest, widest), method="bounded", options={"xatol": 1e-8}).x)
    bound = loss(best) + CHI_SQUARE_95 / 2

    def end(far: float) -> float:
        return far if loss(far) <= bound else float(brentq(lambda p: loss(p) - bound, best, far))

    return best, end(-widest), end(widest)


CHI_SQUARE_95 = 3.841458820694124
"""95 % point of chi-square with one degree of freedom: the square of the normal 97.5 % point."""


@dataclass(frozen=True, slots=True)
class SkewedState:
    """A chart of skewed readings."""

    limits: SkewedLimits
    point: Point | None = None


def update(state: SkewedState, x: float) -> SkewedState:
    """Return the state after reading `x`.

    Raises:
        InputError: an infinite or a negative reading.
    """
    limits = state.limits
    if not_infinite(x) < 0:
        raise InputError(f"the reading is {x}; a chart of positive readings takes none below 0")
    return SkewedState(limits, point_of(x, limits.centre_line, limits.lower, limits.upper))


def skewed_plot(x: ArrayLike, limits: SkewedLimits) -> Plotted:
    """Return the chart of skewed readings `x`, shape (n,), against `limits`."""
    return fold(SkewedState(limits), update, as_measured(x))


def time_between_limits(baseline: ArrayLike, *, width: float = 3.0) -> SkewedLimits:
    """Set limits for times between failures, shape (n,), that come at random: their power of 1 / 3.6 is nearly normal.

    A time beyond the upper limit is good news. More failures than before show in short times, which the lower limit
    seldom catches (it is often 0): run rules on one side of the centre line do.

    Source:
        Nelson, L. S. (1994), A control chart for parts-per-million nonconforming items, Journal of Quality Technology
        26, 239-240.
    """
    return skewed_limits(baseline, power=WEIBULL_POWER, width=width)


SKEWED = Chart(
    key="skewed",
    title="Skewed readings",
    lines=("reading",),
    readings="positive",
    at_least=2,
    limits=skewed_limits,
    start=SkewedState,
    update=update,
    plot=skewed_plot,
)

TIME_BETWEEN = Chart(
    key="time_between",
    title="Time between failures",
    lines=("time",),
    readings="positive",
    at_least=2,
    limits=time_between_limits,
    start=SkewedState,
    update=update,
    plot=skewed_plot,
)
