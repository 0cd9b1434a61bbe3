"""Confidence limits of variances made up of mean squares.

A mean square over its expectation follows chi-square over its degrees of freedom. A variance component is a sum and
difference of mean squares, for which no exact limits exist; the modified large-sample method is exact where the
variance is one mean square, and close elsewhere. Generalised limits come from drawing chi-squares.
"""

import math

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import BoolArray, FloatArray


def modified_large_sample(
    weights: ArrayLike, mean_squares: ArrayLike, dfs: ArrayLike, confidence: float
) -> tuple[float, float]:
    """Return the confidence limits of sum(weight * expected mean square), not below 0.

    Args:
        weights: of each mean square, positive or negative, shape (k,).
        mean_squares: shape (k,).
        dfs: their degrees of freedom, shape (k,).
        confidence: two-sided.

    Source:
        Graybill and Wang (1980), JASA 75, for sums; Ting, Burdick, Graybill, Jeyaratnam and Lu (1990), Journal of
        Statistical Computation and Simulation 35, for differences; as used by Burdick, Borror and Montgomery (2003),
        Journal of Quality Technology 35. (Formulas from memory, checked by simulation.)
    """
    weight, square, df = (np.array(a, dtype=np.float64) for a in (weights, mean_squares, dfs))
    keep = weight != 0
    weight, square, df = weight[keep], square[keep], df[keep]
    centre, tail = float(weight @ square), (1 - confidence) / 2
    terms = weight * square
    plus, minus = weight > 0, weight < 0
    below = _squares(terms, plus, _g(df, tail)) + _squares(terms, minus, _h(df, tail))
    above = _squares(terms, plus, _h(df, tail)) + _squares(terms, minus, _g(df, tail))
    for q in np.flatnonzero(plus):
        for r in np.flatnonzero(minus):
            product = float(terms[q] * -terms[r])
            below += product * _cross_below(float(df[q]), float(df[r]), tail)
            above += product * _cross_above(float(df[q]), float(df[r]), tail)
    return max(0.0, centre - math.sqrt(max(0.0, below))), max(0.0, centre + math.sqrt(max(0.0, above)))


def _squares(terms: FloatArray, which: BoolArray, factor: FloatArray) -> float:
    return float(np.sum((factor[which] * terms[which]) ** 2))


def _g(df: FloatArray | float, tail: float) -> FloatArray:
    """1 - df / upper chi-square point."""
    from scipy.stats import chi2

    return np.asarray(1 - np.asarray(df) / chi2.isf(tail, df))


def _h(df: FloatArray | float, tail: float) -> FloatArray:
    """df / lower chi-square point - 1."""
    from scipy.stats import chi2

    return np.asarray(np.asarray(df) / chi2.ppf(tail, df) - 1)


def _cross_below(df_plus: float, df_minus: float, tail: float) -> float:
    from scipy.stats import f

    point = float(f.isf(tail, df_plus, df_minus))
    return float(((point - 1) ** 2 - _g(df_plus, tail) ** 2 * point**2 - _h(df_minus, tail) ** 2) / point)


def _cross_above(df_plus: float, df_minus: float, tail: float) -> float:
    from scipy.stats import f

    point = float(f.ppf(tail, df_plus, df_minus))
    return float(((1 - point) ** 2 - _h(df_plus, tail) ** 2 * point**2 - _g(df_minus, tail) ** 2) / point)


def drawn_variances(
    weights: ArrayLike, sums_of_squares: ArrayLike, dfs: ArrayLike, *, draws: int, generator: np.random.Generator
) -> FloatArray:
    """Return what the readings leave open of several variances, shape (draws, m), none below 0.

    Args:
        weights: of the mean squares in each variance, shape (m, k).
        sums_of_squares: shape (k,).
        dfs: shape (k,).
        draws: how many.
        generator: random numbers.

    Source:
        Weerahandi (1993), JASA 88; Hamada and Weerahandi (2000), Journal of Quality Technology 32.
    """
    square, df = (np.array(a, dtype=np.float64) for a in (sums_of_squares, dfs))
    expected = square / generator.chisquare(df, (draws, len(df)))
    return np.maximum(0.0, expected @ np.array(weights, dtype=np.float64).T)
