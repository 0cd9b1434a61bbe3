"""Charts of counted failures: the fraction that failed, and the passes between two failures where failures are rare."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, as_readings, frozen
from spc.charts.shape import Chart, Plotted, Point, above_zero, as_measured, fold, not_infinite, point_of
from spc.errors import InputError
from spc.told import Told

TAIL = math.erfc(3 / math.sqrt(2)) / 2
"""How often a normal reading passes three sigmas on one side: 0.00135."""


def as_counts(counts: ArrayLike, *, at_least: int = 1) -> FloatArray:
    """Return rows of (failed, inspected) as a frozen float array of shape (n, 2); a row of NaN was not counted.

    Raises:
        InputError: not rows of two, too few, not whole, negative, none inspected, or more failed than inspected.
    """
    try:
        rows = np.array(counts, dtype=np.float64)
    except (TypeError, ValueError):
        raise InputError("counts must be rows of two numbers: failed, inspected") from None
    if rows.size == 0:
        rows = rows.reshape(0, 2)
    if rows.ndim != 2 or rows.shape[1] != 2:
        raise InputError(f"counts must be rows of two numbers, failed and inspected; these have shape {rows.shape}")
    failed, inspected = rows.T
    wrong = ~(np.isnan(failed) & np.isnan(inspected))
    wrong &= ~((failed >= 0) & (failed <= inspected) & (inspected >= 1) & np.isfinite(inspected))
    wrong |= (failed != np.rint(failed)) & ~np.isnan(failed) | (inspected != np.rint(inspected)) & ~np.isnan(inspected)
    if wrong.any():
        where = int(np.flatnonzero(wrong)[0])
        raise InputError(f"row {where} says {failed[where]:g} failed of {inspected[where]:g}; {_COUNTS}")
    taken = int(np.count_nonzero(~np.isnan(failed)))
    if taken < at_least:
        raise InputError(f"{taken} rows of counts given; at least {at_least} are needed")
    return frozen(rows)


_COUNTS = "give whole numbers, at least 1 inspected, and no more failed than that"


@dataclass(frozen=True, slots=True)
class FractionLimits(Told):
    """Fraction that failed in the baseline; the limits of a row depend on how many were inspected."""

    fraction: float
    inspected: int  # in the whole baseline
    width: float
    n_baseline: int  # rows counted

    def at(self, inspected: float) -> tuple[float, float]:
        """Return the control limits for a row of `inspected`, kept to 0 and 1, which no fraction is beyond."""
        half = self.width * math.sqrt(self.fraction * (1 - self.fraction) / inspected)
        return max(self.fraction - half, 0.0), min(self.fraction + half, 1.0)


def fraction_limits(baseline: ArrayLike, *, width: float = 3.0) -> FractionLimits:
    """Set a p chart from rows of (failed, inspected), shape (n, 2), of a stable baseline.

    The limits rest on the normal approximation: with fewer than about 5 expected failures a row they are passed more
    often upward than three sigmas are. For failures rarer than that, chart the passes between them.

    Raises:
        InputError: fewer than 2 rows, or counts that cannot be.

    Source:
        NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3.2.
    """
    rows = as_counts(baseline, at_least=2)
    above_zero(width, "the half-width of the limits in sigmas")
    failed, inspected = np.nansum(rows, axis=0).tolist()
    return FractionLimits(failed / inspected, int(inspected), width, int(np.count_nonzero(~np.isnan(rows[:, 0]))))


@dataclass(frozen=True, slots=True)
class FractionState:
    """A p chart."""

    limits: FractionLimits
    point: Point | None = None


def update_fraction(state: FractionState, counts: Sequence[float]) -> FractionState:
    """Return the state after one row of (failed, inspected).

    Raises:
        InputError: counts that cannot be.
    """
    failed, inspected = as_counts([counts], at_least=0)[0].tolist()
    limits = state.limits
    lower, upper = (math.nan, math.nan) if math.isnan(inspected) else limits.at(inspected)
    return FractionState(limits, point_of(failed / inspected, limits.fraction, lower, upper))


def fraction_plot(counts: ArrayLike, limits: FractionLimits) -> Plotted:
    """Return the p chart of rows of (failed, inspected), shape (n, 2)."""
    return fold(FractionState(limits), update_fraction, as_counts(counts, at_least=0).tolist())


@dataclass(frozen=True, slots=True)
class PassesLimits(Told):
    """How often a check fails, and limits for the passes between two failures."""

    fraction: float  # of checks that fail
    centre_line: float  # the median number of passes between failures
    lower: float  # fewer passes than this are beyond; 0 where no number is
    upper: float
    tail: float  # no more often than this is either limit passed by chance
    n_baseline: int


def passes_between_limits(baseline: ArrayLike, *, tail: float = TAIL) -> PassesLimits:
    """Set exact probability limits for the number of passes between two failures of a judged check.

    More passes than before are good news. A check that fails more often shows in few passes, and where no number is too
    few for chance (failures more often than `tail`) only in several short gaps: run rules on one side do that.

    Args:
        baseline: passes between successive failures, in time order, shape (n,); NaN for a gap that is not known.
        tail: how often, at most, each limit may be passed by chance; by default as often as three sigmas are.

    Raises:
        InputError: fewer than 2 gaps, or numbers that are not whole or below 0.

    Source:
        Kaminsky, F. C., Benneyan, J. C., Davis, R. D. and Burke, R. J. (1992), Statistical control charts based on a
        geometric distribution, Journal of Quality Technology 24, 63-69; with probability limits for their three sigmas.
    """
    if not 0 < tail < 0.5:
        raise InputError(f"tail is {tail}; give how often a limit may be passed by chance, above 0 and below 0.5")
    gaps = as_readings(baseline, at_least=2, missing=True)
    taken = gaps[~np.isnan(gaps)].tolist()
    if len(taken) < 2:
        raise InputError(f"{len(taken)} gaps given; at least 2 are needed")
    for gap in taken:
        _whole(gap)
    fraction = len(taken) / (math.fsum(taken) + len(taken))
    return PassesLimits(
        fraction=fraction,
        centre_line=_most_with_tail_above(0.5, fraction),
        lower=_least_with_tail_below(tail, fraction),
        upper=_most_with_tail_above(tail, fraction),
        tail=tail,
        n_baseline=len(taken),
    )


def _whole(gap: float) -> float:
    if gap < 0 or (math.isfinite(gap) and gap != round(gap)):
        raise InputError(f"{gap:g} passes between two failures; give a whole number, 0 or above")
    return gap


def _most_with_tail_above(tail: float, fraction: float) -> float:
    """Return the least u with P(passes > u) = (1 - fraction)^(u + 1) no more than `tail`."""
    if fraction == 1:
        return 0.0
    return max(math.ceil(math.log(tail) / math.log1p(-fraction)) - 1.0, 0.0)


def _least_with_tail_below(tail: float, fraction: float) -> float:
    """Return the greatest l with P(passes < l) = 1 - (1 - fraction)^l no more than `tail`."""
    if fraction == 1:
        return 0.0
    return float(math.floor(math.log1p(-tail) / math.log1p(-fraction)))


@dataclass(frozen=True, slots=True)
class PassesState:
    """A chart of passes between failures."""

    limits: PassesLimits
    point: Point | None = None


def update_passes(state: PassesState, gap: float) -> PassesState:
    """Return the state after a failure that came `gap` passes after the one before.

    Raises:
        InputError: a number that is not whole, below 0 or infinite.
    """
    limits = state.limits
    return PassesState(limits, point_of(_whole(not_infinite(gap)), limits.centre_line, limits.lower, limits.upper))


def passes_between_plot(gaps: ArrayLike, limits: PassesLimits) -> Plotted:
    """Return the chart of passes between failures, shape (n,)."""
    return fold(PassesState(limits), update_passes, as_measured(gaps))


def passes_between(failed: Sequence[bool]) -> list[int]:
    """Return the passes between successive failures of a judged check; those before the first are not a gap."""
    at = [i for i, bad in enumerate(failed) if bad]
    return [after - before - 1 for before, after in pairwise(at)]


FRACTION_FAILED = Chart(
    key="fraction_failed",
    title="Fraction failed",
    lines=("fraction",),
    readings="counted",
    at_least=2,
    limits=fraction_limits,
    start=FractionState,
    update=update_fraction,
    plot=fraction_plot,
)

PASSES_BETWEEN = Chart(
    key="passes_between",
    title="Passes between failures",
    lines=("passes",),
    readings="whole",
    at_least=2,
    limits=passes_between_limits,
    start=PassesState,
    update=update_passes,
    plot=passes_between_plot,
)
