"""Measurement study by ranges: the form that is done by hand. No interaction, equal cells, no confidence limits.

Prefer the analysis of variance (`gauge`): it uses every reading, tells the interaction and gives limits.
"""

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc.chart_constants import c4, chart_constants
from spc.errors import InputError
from spc.measurement.crossed import layout
from spc.measurement.gauge import CATEGORIES_FACTOR
from spc.told import Told

FEW_RANGES = 15
"""Up to so many ranges their mean is divided by d2*, beyond by d2: the convention of the published tables."""


@dataclass(frozen=True, slots=True)
class RangeStudy(Told):
    """A crossed study by ranges; standard deviations in the readings' unit."""

    method: str
    n: int
    parts: int
    operators: int
    repeats: int
    mean_range: float  # of the cells
    operator_difference: float  # largest mean of an operator less the smallest
    part_range: float  # largest mean of a part less the smallest
    repeatability: float
    reproducibility: float
    gauge: float
    part: float
    total: float
    categories_exact: float | None  # None where the gauge shows no variation
    categories: int | None
    statements: tuple[str, ...]

    @property
    def shares_of_study(self) -> dict[str, float]:
        """Each standard deviation over the total one; they do not add up to 1."""
        names = ("repeatability", "reproducibility", "gauge", "part")
        return {name: getattr(self, name) / self.total for name in names}


def d2_star(size: int, groups: int) -> float:
    """Return the divisor of the mean of `groups` ranges of `size` readings that makes its square unbiased.

    Source: Duncan, Quality Control and Industrial Statistics, appendix: sqrt(d2^2 + d3^2 / groups).
    """
    if groups < 1:
        raise InputError(f"{groups} ranges have no mean; give at least 1")
    constants = chart_constants(size)
    return math.sqrt(constants.d2**2 + constants.d3**2 / groups)


def range_df(size: int, groups: int) -> float:
    """Return the degrees of freedom of the mean of `groups` ranges of `size` readings over d2*.

    The chi distribution with the same ratio of mean to root mean square. Source: Patnaik (1950), Biometrika 37.
    """
    from scipy.optimize import brentq

    ratio = chart_constants(size).d2 / d2_star(size, groups)
    return float(brentq(lambda df: c4(df + 1) - ratio, 0.5, 2.0 * size * groups))


def range_study(readings: ArrayLike, parts: Sequence[Hashable], operators: Sequence[Hashable]) -> RangeStudy:
    """Analyse a balanced crossed study by ranges.

    Args:
        readings: shape (n,), in any order.
        parts: which part each reading is of, n labels, 2 to 25 different ones.
        operators: who read it, n labels, 2 to 25 different ones.

    Raises:
        InputError: as `gauge.crossed_study`, cells of unequal size, one reading a cell, one operator, or more than 25.

    Source:
        The average and range method of the measurement systems analysis literature (from memory).
    """
    study = layout(readings, parts, operators)
    n_parts, n_operators = study.counts.shape
    repeats = int(study.counts[0, 0])
    if not study.balanced:
        raise InputError("the cells are unequal; the range method needs equal ones, use the analysis of variance")
    if repeats < 2 or n_operators < 2:
        raise InputError("the range method needs at least 2 operators and 2 readings in each cell")
    order = np.lexsort((study.operator, study.part))
    cells = study.deviations[order].reshape(n_parts, n_operators, repeats)
    mean_range = float(np.ptp(cells, axis=2).mean())
    difference = float(np.ptp(cells.mean(axis=(0, 2))))
    part_range = float(np.ptp(cells.mean(axis=(1, 2))))
    repeatability = mean_range / _divisor(repeats, n_parts * n_operators)
    left = (difference / d2_star(n_operators, 1)) ** 2 - repeatability**2 / (n_parts * repeats)
    reproducibility = math.sqrt(max(0.0, left))
    gauge = math.hypot(repeatability, reproducibility)
    part = part_range / d2_star(n_parts, 1)
    exact = CATEGORIES_FACTOR * part / gauge if gauge else None
    return RangeStudy(
        method="ranges",
        n=study.n,
        parts=n_parts,
        operators=n_operators,
        repeats=repeats,
        mean_range=mean_range,
        operator_difference=difference,
        part_range=part_range,
        repeatability=repeatability,
        reproducibility=reproducibility,
        gauge=gauge,
        part=part,
        total=math.hypot(gauge, part),
        categories_exact=exact,
        categories=None if exact is None else math.floor(exact),
        statements=("Operators differ by less than repeatability explains: reproducibility is taken as 0.",)
        if left < 0
        else (),
    )


def _divisor(size: int, groups: int) -> float:
    return d2_star(size, groups) if groups <= FEW_RANGES else chart_constants(size).d2
