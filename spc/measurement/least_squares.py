"""Least squares in exact arithmetic: the fit of a calibration line, free of rounding.

The readings are decimals, so the normal equations are equations in whole numbers. They are solved without rounding;
only the answer is rounded. A large offset, or powers of the same column, cost no digits, and whether the coefficients
can be told apart at all is decided without a tolerance. Meant for studies of tens to some thousand readings.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, as_readings, frozen
from spc.decimals import whole_numbers
from spc.errors import InputError
from spc.told import Told


@dataclass(frozen=True, slots=True)
class LinearFit(Told):
    """A least-squares fit; coefficients in the order of the columns."""

    n: int
    coefficients: FloatArray  # shape (p,)
    standard_errors: FloatArray  # shape (p,)
    covariance: FloatArray  # shape (p, p), of the coefficients
    residual_sd: float  # divisor n - p; 0 for an exact fit
    residual_sum_of_squares: float
    degrees_of_freedom: int  # n - p
    r_squared: float | None  # about the mean where a column is constant, else about 0; None for a constant response


def polynomial(x: ArrayLike, y: ArrayLike, *, degree: int) -> LinearFit:
    """Fit y = b0 + b1 x + ... + bd x**d by least squares.

    Args:
        x: shape (n,), n > degree + 1.
        y: responses, shape (n,).
        degree: 0 or more.

    Raises:
        InputError: lengths differ, too few readings, or fewer than degree + 1 different values of x.

    Source:
        Normal equations; checked on the NIST Statistical Reference Datasets for linear regression.
    """
    values, power = whole_numbers(as_readings(x))
    columns = [[value**j for value in values] for j in range(degree + 1)]
    return _solve(columns, [j * power for j in range(degree + 1)], as_readings(y), centred=True)


def least_squares(design: ArrayLike, y: ArrayLike) -> LinearFit:
    """Fit `y` by the columns of `design`; the intercept, if wanted, is a column of ones.

    Args:
        design: shape (n, p), n > p.
        y: responses, shape (n,).

    Raises:
        InputError: shapes do not fit, too few readings, or columns that determine one another.
    """
    matrix = np.array(design, dtype=np.float64)
    if matrix.ndim != 2 or matrix.shape[1] == 0:
        raise InputError(f"the design must be a table of columns; this one has shape {matrix.shape}")
    columns, powers = [], []
    for column in matrix.T:
        whole, power = whole_numbers(as_readings(column))
        columns.append(whole)
        powers.append(power)
    centred = any(len(set(column)) == 1 and column[0] != 0 for column in columns)
    return _solve(columns, powers, as_readings(y), centred=centred)


def _solve(columns: list[list[int]], powers: list[int], y: FloatArray, *, centred: bool) -> LinearFit:
    n, p = len(columns[0]), len(columns)
    if len(y) != n:
        raise InputError(f"{n} rows of settings but {len(y)} responses; give one response for each row")
    if n <= p:
        raise InputError(f"{n} readings given for {p} coefficients; at least {p + 1} are needed")
    response, y_power = whole_numbers(y)
    products = [[_dot(a, b) for b in columns] for a in columns]
    right = [_dot(a, response) for a in columns]
    inverse = _inverse(products)
    solution = [sum((inverse[i][j] * right[j] for j in range(p)), Fraction(0)) for i in range(p)]
    squares = Fraction(_dot(response, response))
    residual = squares - sum((b * r for b, r in zip(solution, right, strict=True)), Fraction(0))
    total = squares - (Fraction(sum(response)) ** 2 / n if centred else 0)
    variance = residual / (n - p)
    scale = [y_power - power for power in powers]
    covariance = np.array([[_float(inverse[i][j] * variance, scale[i] + scale[j]) for j in range(p)] for i in range(p)])
    return LinearFit(
        n=n,
        coefficients=frozen(np.array([_float(b, s) for b, s in zip(solution, scale, strict=True)])),
        standard_errors=frozen(np.sqrt(np.diag(covariance))),
        covariance=frozen(covariance),
        residual_sd=math.sqrt(_float(variance, 2 * y_power)),
        residual_sum_of_squares=_float(residual, 2 * y_power),
        degrees_of_freedom=n - p,
        r_squared=float(1 - residual / total) if total else None,
    )


def _dot(a: Sequence[int], b: Sequence[int]) -> int:
    return sum(left * right for left, right in zip(a, b, strict=True))


def _float(value: Fraction, power: int) -> float:
    try:
        return float(value * Fraction(10) ** power)
    except OverflowError:
        raise InputError("the settings and responses differ too much in size; use other units") from None


def _inverse(matrix: list[list[int]]) -> list[list[Fraction]]:
    """Return the inverse of a symmetric whole-number matrix by exact elimination."""
    p = len(matrix)
    rows = [[Fraction(v) for v in row] + [Fraction(int(i == j)) for j in range(p)] for i, row in enumerate(matrix)]
    for i in range(p):
        pivot = next((k for k in range(i, p) if rows[k][i]), None)
        if pivot is None:
            raise InputError(
                f"column {i} of the settings follows from those before it, so its coefficient cannot be told; "
                "use more different settings or leave it out"
            )
        rows[i], rows[pivot] = rows[pivot], rows[i]
        rows[i] = [value / rows[i][i] for value in rows[i]]
        for k in range(p):
            if k != i and rows[k][i]:
                factor = rows[k][i]
                rows[k] = [a - factor * b for a, b in zip(rows[k], rows[i], strict=True)]
    return [row[p:] for row in rows]
