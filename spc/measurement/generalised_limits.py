"""Confidence limits of a measurement study by drawing: also for shares and categories, which have no formula."""

from dataclasses import dataclass

import numpy as np

from spc.arrays import FloatArray
from spc.errors import InputError
from spc.measurement.gauge import CATEGORIES_FACTOR, CrossedStudy, component_weights
from spc.measurement.variance_limits import drawn_variances
from spc.told import Told


@dataclass(frozen=True, slots=True)
class GeneralisedLimits(Told):
    """Confidence limits by drawing: of variances, of their shares of the total, and of the distinct categories."""

    method: str
    draws: int
    confidence: float
    variances: dict[str, tuple[float, float]]
    shares: dict[str, tuple[float, float]]
    categories: tuple[float, float] | None


def generalised_limits(
    study: CrossedStudy, *, generator: np.random.Generator, draws: int = 100_000
) -> GeneralisedLimits:
    """Return generalised confidence limits of a study's variances, shares and categories, by drawing.

    Args:
        study: analysed by one of the functions above.
        generator: random numbers.
        draws: how many; the limits scatter by about 100 / sqrt(draws) percent of a standard error.

    Source:
        Hamada and Weerahandi (2000), Journal of Quality Technology 32; Burdick, Borror and Montgomery (2005), Design
        and Analysis of Gauge R&R Studies, chapter 3.
    """
    if draws < 1000:
        raise InputError(f"{draws} draws are too few for limits; use at least 1000")
    lines = study.mean_squares
    names = [component.name for component in study.components]
    weights = np.array([component_weights(name, lines) for name in names])
    drawn = drawn_variances(
        weights,
        [line.sum_of_squares for line in lines],
        [line.df for line in lines],
        draws=draws,
        generator=generator,
    )
    column = {name: drawn[:, i] for i, name in enumerate(names)}
    tail = (1 - study.confidence) / 2
    total = column["total"]

    def limits(values: FloatArray) -> tuple[float, float]:
        low, high = np.quantile(values, [tail, 1 - tail]).tolist()
        return low, high

    shares = {
        name: limits(np.divide(values, total, out=np.zeros_like(total), where=total > 0).clip(0.0, 1.0))
        for name, values in column.items()
    }
    seen = column["gauge"] > 0
    ratio = CATEGORIES_FACTOR * np.sqrt(column["part"][seen] / column["gauge"][seen])
    return GeneralisedLimits(
        method="generalised, by drawing",
        draws=draws,
        confidence=study.confidence,
        variances={name: limits(values) for name, values in column.items()},
        shares=shares,
        categories=limits(ratio) if seen.all() else None,
    )
