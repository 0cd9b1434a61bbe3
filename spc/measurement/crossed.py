"""The layout of a crossed measurement study and its sums of squares, balanced or not.

Every operator measures every part, some cells perhaps more or less often, a few perhaps not at all. Each source's sum
of squares is what it adds to a model that already holds the other one (parts given operators, operators given parts),
which for equal cells is the usual analysis of variance.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from spc import decimals
from spc.arrays import FloatArray, IntArray, as_readings, frozen
from spc.errors import InputError

SOURCES = ("part", "operator", "interaction", "repeatability")

MOST_CELLS = 2000
"""Larger tables are mistaken columns, and would take minutes."""


@dataclass(frozen=True, slots=True)
class Layout:
    """A study's readings, sorted into cells; deviations are from the mean of all readings."""

    n: int
    mean: float
    deviations: FloatArray  # shape (n,)
    parts: tuple[str, ...]
    operators: tuple[str, ...]
    part: IntArray  # shape (n,), index into parts
    operator: IntArray  # shape (n,), index into operators
    counts: IntArray  # shape (parts, operators)

    @property
    def balanced(self) -> bool:
        """Whether every cell has the same number of readings."""
        return bool(np.all(self.counts == self.counts[0, 0]))

    def cells(self) -> list[FloatArray]:
        """Return the deviations of each cell that has any."""
        cell = self.part * len(self.operators) + self.operator
        return [self.deviations[cell == number] for number in np.unique(cell)]


@dataclass(frozen=True, slots=True)
class MeanSquare:
    """One line of the analysis of variance."""

    source: str
    sum_of_squares: float
    df: int
    expected: tuple[float, float, float, float]  # weight of each of SOURCES' variances in the mean square's expectation

    @property
    def value(self) -> float:
        """The mean square."""
        return self.sum_of_squares / self.df


def layout(readings: ArrayLike, parts: Sequence[Hashable], operators: Sequence[Hashable]) -> Layout:
    """Sort the readings of a study into cells.

    Args:
        readings: shape (n,).
        parts: which part each reading is of, n labels.
        operators: who read it, n labels.

    Raises:
        InputError: lengths differ, a label is missing, a reading is missing, fewer than 2 parts, or all readings equal.
    """
    y = as_readings(readings, at_least=2)
    part_names, part = _labels(parts, len(y), "part")
    operator_names, operator = _labels(operators, len(y), "operator")
    if len(part_names) < 2:
        raise InputError("the study has readings of one part; at least 2 parts are needed")
    if len(part_names) * len(operator_names) > MOST_CELLS:
        raise InputError(
            f"{len(part_names)} parts by {len(operator_names)} operators is more than a study of {MOST_CELLS} cells; "
            "look whether the labels are those of parts and operators"
        )
    deviations = decimals.deviations(y)
    if not deviations.any():
        raise InputError(
            f"all {len(y)} readings are {y[0]:g}: nothing varies that could be shared out; choose parts that differ, "
            "and read in finer steps if the resolution hides their difference"
        )
    counts = np.zeros((len(part_names), len(operator_names)), dtype=np.int64)
    np.add.at(counts, (part, operator), 1)
    return Layout(
        len(y), decimals.mean(y), deviations, part_names, operator_names, frozen(part), frozen(operator), frozen(counts)
    )


def _labels(labels: Sequence[Hashable], n: int, what: str) -> tuple[tuple[str, ...], IntArray]:
    """Return the different labels in the order they first appear, and each reading's index among them."""
    names = [None if label is None or label != label else str(label).strip() for label in labels]
    if len(names) != n:
        raise InputError(f"{n} readings but {len(names)} {what} labels; give one label for each reading")
    if not all(names):
        where = next(i for i, name in enumerate(names) if not name)
        raise InputError(f"reading {where} has no {what}; name it or leave the reading out")
    order = {name: i for i, name in enumerate(dict.fromkeys(str(name) for name in names))}
    return tuple(order), np.array([order[str(name)] for name in names], dtype=np.int64)


def mean_squares(study: Layout) -> dict[str, MeanSquare]:
    """Return the mean squares of the model with interaction that have any degrees of freedom, by source.

    Source:
        Henderson (1953), Biometrics 9, method 3: each reduction in the sum of squares is equated to its expectation.
        For equal cells: Burdick, Borror and Montgomery (2005), Design and Analysis of Gauge R&R Studies, chapter 3.
    """
    cell = study.part * len(study.operators) + study.operator
    numbers, where = np.unique(cell, return_inverse=True)
    size = np.bincount(where).astype(np.float64)
    means = np.bincount(where, weights=study.deviations) / size
    root = np.sqrt(size)
    by_part = (numbers[:, None] // len(study.operators) == np.arange(len(study.parts))) * root[:, None]
    by_operator = (numbers[:, None] % len(study.operators) == np.arange(len(study.operators))) * root[:, None]
    by_cell = np.diag(root)
    additive = _projection(np.hstack([by_part, by_operator]))
    within = study.deviations - means[where]
    noise = (64 * np.finfo(np.float64).eps) ** 2 * float(study.deviations @ study.deviations)
    reductions = {
        "part": additive - _projection(by_operator),
        "operator": additive - _projection(by_part),
        "interaction": np.eye(len(numbers)) - additive,
    }
    found = {}
    for source, reduction in reductions.items():
        df = round(float(np.trace(reduction)))
        if df:
            square = _above(noise, float(np.sum((reduction @ (root * means)) ** 2)))
            weights = [float(np.sum((reduction @ z) * z)) / df for z in (by_part, by_operator, by_cell)]
            found[source] = MeanSquare(source, square, df, (*_cleared(source, weights), 1.0))
    if study.n > len(numbers):
        found["repeatability"] = MeanSquare(
            "repeatability", _above(noise, float(within @ within)), study.n - len(numbers), (0.0, 0.0, 0.0, 1.0)
        )
    return found


def _above(noise: float, square: float) -> float:
    """Return a sum of squares, or 0 where it is no more than the last bits of the readings make."""
    return square if square > noise else 0.0


def _projection(columns: FloatArray) -> FloatArray:
    """Return the projection onto the columns; how many are independent is read off their singular values."""
    left, singular, _ = np.linalg.svd(columns, full_matrices=False)
    basis = left[:, singular > 1e-9 * singular[0]]
    return np.asarray(basis @ basis.T)


def _cleared(source: str, weights: list[float]) -> tuple[float, float, float]:
    """Set to 0 the weights that a reduction has in theory none of, so that no rounding stays in them."""
    part, operator, interaction = weights
    return (part if source == "part" else 0.0, operator if source == "operator" else 0.0, interaction)


def pooled(squares: dict[str, MeanSquare]) -> dict[str, MeanSquare]:
    """Return the mean squares of the model without interaction: it joins repeatability."""
    residual = [squares[source] for source in ("interaction", "repeatability") if source in squares]
    if not residual:
        raise InputError(
            "no cell is read twice and no operators share parts: nothing is left to tell repeatability from"
        )
    found = {
        source: MeanSquare(source, square.sum_of_squares, square.df, (*square.expected[:2], 0.0, 1.0))
        for source, square in squares.items()
        if source in ("part", "operator")
    }
    found["repeatability"] = MeanSquare(
        "repeatability",
        sum(square.sum_of_squares for square in residual),
        sum(square.df for square in residual),
        (0.0, 0.0, 0.0, 1.0),
    )
    return found
