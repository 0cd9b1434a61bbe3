"""What limits from few readings are worth: the spread of the false-alarm rate they will really have."""

import math
from dataclasses import dataclass

import numpy as np

from spc.errors import InputError
from spc.sigma import D2_FOR_PAIRS
from spc.told import Told

SHARES = (0.1, 0.5, 0.9)

MOST_BASELINES, MOST_READINGS = 100_000, 4_000_000


@dataclass(frozen=True, slots=True)
class FalseAlarmSpread(Told):
    """False-alarm rate of individuals limits set by `n_baseline` readings, over all baselines one might have got.

    Each baseline gives limits of its own, with a true rate of its own; independent normal readings, in control.
    """

    n_baseline: int
    width: float  # of the limits, in sigmas
    nominal: float  # rate of limits set by endless readings
    mean: float
    p10: float  # one baseline in ten gives a lower rate
    p50: float
    p90: float  # one in ten a higher rate
    baselines: int  # simulated

    def __str__(self) -> str:
        return (
            f"limits from {self.n_baseline} readings: half of all such baselines give a false alarm more often than "
            f"once in {_count(1 / self.p50)} readings, one in ten more often than once in {_count(1 / self.p90)}; "
            f"limits from endless readings give one in {_count(1 / self.nominal)}"
        )


def _count(readings: float) -> str:
    return f"{readings:.2g}" if readings < 10 else f"{round(readings, 1 - math.floor(math.log10(readings))):.0f}"


def false_alarm_spread(n_baseline: int, *, generator: np.random.Generator, width: float = 3.0) -> FalseAlarmSpread:
    """Return the spread of the true false-alarm rate of limits from the mean and the mean moving range.

    Baselines are simulated; the rate of each is exact. With 20 readings the percentiles are right to about 1 %.

    Args:
        n_baseline: readings that set the limits, at least 2.
        generator: where the simulated baselines come from; the same generator gives the same answer.
        width: half-width of the limits in sigmas.

    Raises:
        InputError: fewer than 2 readings, or a width that is not above 0.

    Source:
        Quesenberry, C. P. (1993), The effect of sample size on estimated limits for X-bar and X control charts, Journal
        of Quality Technology 25, 237-247.
    """
    from scipy.special import ndtr

    if n_baseline < 2:
        raise InputError(f"limits from {n_baseline} readings cannot be set; at least 2 are needed")
    if not (math.isfinite(width) and width > 0):
        raise InputError(f"width is {width}; give the half-width of the limits in sigmas, above 0")
    baselines = max(min(MOST_BASELINES, MOST_READINGS // n_baseline), 1000)
    x = generator.normal(size=(baselines, n_baseline))
    centre = x.mean(axis=1)
    reach = width * np.abs(np.diff(x, axis=1)).mean(axis=1) / D2_FOR_PAIRS
    rate = ndtr(centre - reach) + ndtr(-centre - reach)
    p10, p50, p90 = np.quantile(rate, SHARES).tolist()
    return FalseAlarmSpread(
        n_baseline=n_baseline,
        width=width,
        nominal=2 * float(ndtr(-width)),
        mean=float(rate.mean()),
        p10=p10,
        p50=p50,
        p90=p90,
        baselines=baselines,
    )
