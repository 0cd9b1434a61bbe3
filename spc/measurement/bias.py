"""Bias and linearity: how far an instrument reads from a reference, and whether that changes over its range."""

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import ArrayLike

from spc import decimals
from spc.arrays import FloatArray, as_readings, frozen
from spc.errors import InputError
from spc.measurement.gauge_ranges import d2_star, range_df
from spc.measurement.least_squares import LinearFit, polynomial
from spc.pivots import check_confidence
from spc.told import Told


@dataclass(frozen=True, slots=True)
class Bias(Told):
    """Mean reading less the reference, in the readings' unit."""

    method: str
    n: int
    reference: float
    reference_uncertainty: float  # standard uncertainty
    bias: float
    sigma: float  # repeatability
    standard_error: float
    df: float
    lower: float  # confidence limits of the bias
    upper: float
    confidence: float
    statement: str

    @property
    def shown(self) -> bool:
        """Whether the limits leave out 0."""
        return self.lower > 0 or self.upper < 0


@dataclass(frozen=True, slots=True)
class Linearity(Told):
    """How bias changes over the range of references."""

    method: str
    n: int
    references: FloatArray  # shape (k,), ascending
    mean_biases: FloatArray  # shape (k,), at each reference
    line: LinearFit  # bias = b0 + b1 reference
    slope: float
    slope_limits: tuple[float, float]
    intercept: float
    intercept_limits: tuple[float, float]
    slope_p_value: float  # of no change over the range; 0 for an exact line
    lack_of_fit_p_value: float | None  # of a straight line being enough; None where no reference was read twice
    confidence: float
    statements: tuple[str, ...]

    def band(self, reference: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Return the confidence limits of the line at each reference, shape (m,)."""
        at = as_readings(reference)
        design = np.stack([np.ones_like(at), at], axis=1)
        centre = design @ self.line.coefficients
        half = _t(self.confidence, self.line.degrees_of_freedom) * np.sqrt(
            np.maximum(0.0, np.sum(design @ self.line.covariance * design, axis=1))
        )
        return centre - half, centre + half


def bias(
    readings: ArrayLike, reference: float, *, reference_uncertainty: float = 0.0, confidence: float = 0.95
) -> Bias:
    """Return the bias of repeated readings of one reference.

    Args:
        readings: of the same reference, shape (n,), n >= 2.
        reference: its value.
        reference_uncertainty: its standard uncertainty (half the expanded one, where that was given with k = 2).
        confidence: two-sided, by Student's t.

    Raises:
        InputError: fewer than 2 readings, one missing, or a reference or uncertainty that cannot be.

    Source:
        JCGM 100:2008, 5.1 and G.4 (combined uncertainty, effective degrees of freedom by Welch and Satterthwaite).
    """
    x = as_readings(readings, at_least=2)
    sigma = decimals.standard_deviation(x)
    return _bias("standard deviation", x, reference, reference_uncertainty, sigma, len(x) - 1, confidence)


def bias_by_range(
    readings: ArrayLike, reference: float, *, reference_uncertainty: float = 0.0, confidence: float = 0.95
) -> Bias:
    """Return the bias with sigma from the range of the readings, over d2*; 2 to 25 readings.

    The older form, kept to compare with published studies; arguments, refusals and source as `bias`.
    """
    x = as_readings(readings, at_least=2)
    n = len(x)
    sigma = float(np.ptp(decimals.deviations(x))) / d2_star(n, 1)
    return _bias("range", x, reference, reference_uncertainty, sigma, range_df(n, 1), confidence)


def _bias(
    method: str, x: FloatArray, reference: float, uncertainty: float, sigma: float, df: float, confidence: float
) -> Bias:
    check_confidence(confidence)
    if not abs(reference) <= decimals.LARGEST:
        raise InputError(f"the reference is {reference}; give its value")
    if not 0 <= uncertainty <= decimals.LARGEST:
        raise InputError(f"the reference's standard uncertainty is {uncertainty}; give 0 or more")
    n = len(x)
    found = _difference(x, reference)
    own = sigma / math.sqrt(n)
    error = math.hypot(own, uncertainty)
    effective = df * (error / own) ** 4 if own else math.inf
    half = _t(confidence, effective) * error if error else 0.0
    lower, upper = found - half, found + half
    if lower > 0 or upper < 0:
        side = "high" if found > 0 else "low"
        statement = f"The instrument reads {side} by {abs(found):.3g}, more than chance explains."
    else:
        statement = "No bias is shown; one within the limits would not be seen by this study."
    if sigma == 0:
        statement += " All readings are equal: their step hides repeatability, so the limits are too narrow."
    return Bias(
        f"Student's t, sigma from {method}",
        n,
        reference,
        uncertainty,
        found,
        sigma,
        error,
        effective,
        lower,
        upper,
        confidence,
        statement,
    )


def _difference(x: FloatArray, reference: float) -> float:
    """Return the mean of x less the reference, exact but for the last rounding."""
    whole, power = decimals.whole_numbers(np.append(x, reference))
    return float((Fraction(sum(whole[:-1]), len(x)) - whole[-1]) * Fraction(10) ** power)


def _t(confidence: float, df: float) -> float:
    from scipy.special import ndtri, stdtrit

    probability = (1 + confidence) / 2
    return float(ndtri(probability) if math.isinf(df) else stdtrit(df, probability))


def linearity(readings: ArrayLike, references: ArrayLike, *, confidence: float = 0.95) -> Linearity:
    """Return how the bias changes over the range: a straight line fitted to each reading's deviation.

    Args:
        readings: shape (n,), n >= 3.
        references: the reference each reading is of, shape (n,), at least 2 different ones.
        confidence: of the two-sided limits, by Student's t.

    Raises:
        InputError: lengths differ, too few readings or references, or one missing.

    Source:
        Draper and Smith, Applied Regression Analysis: straight line, confidence band, lack of fit against pure error.
    """
    from scipy.stats import f

    check_confidence(confidence)
    y, x = as_readings(readings, at_least=3), as_readings(references, at_least=3)
    if len(y) != len(x):
        raise InputError(f"{len(y)} readings but {len(x)} references; give the reference of each reading")
    deviation = np.array([_difference(y[i : i + 1], float(x[i])) for i in range(len(y))])
    line = polynomial(x, deviation, degree=1)
    (intercept, slope), errors, df = line.coefficients.tolist(), line.standard_errors.tolist(), line.degrees_of_freedom
    half = [_t(confidence, df) * error for error in errors]
    levels, level = np.unique(x, return_inverse=True)
    groups = [deviation[level == i] for i in range(len(levels))]
    slope_p = float(f.sf((slope / errors[1]) ** 2, 1, df)) if errors[1] > 0 else (1.0 if slope == 0 else 0.0)
    lack_p = _lack_of_fit(line, groups, len(y))
    limits = (slope - half[1], slope + half[1])
    return Linearity(
        method="straight line by least squares",
        n=len(y),
        references=frozen(levels),
        mean_biases=frozen(np.array([decimals.mean(group) for group in groups])),
        line=line,
        slope=slope,
        slope_limits=limits,
        intercept=intercept,
        intercept_limits=(intercept - half[0], intercept + half[0]),
        slope_p_value=slope_p,
        lack_of_fit_p_value=lack_p,
        confidence=confidence,
        statements=_statements(limits, slope, lack_p),
    )


def _lack_of_fit(line: LinearFit, groups: list[FloatArray], n: int) -> float | None:
    """Return the p value of a straight line being enough, against the scatter at each reference."""
    from scipy.stats import f

    df_pure, df_lack = n - len(groups), len(groups) - 2
    if df_pure == 0 or df_lack == 0:
        return None
    pure = sum(float(np.sum((group - group.mean()) ** 2)) for group in groups)
    lack = max(0.0, line.residual_sum_of_squares - pure)
    if pure == 0:
        return 1.0 if lack == 0 else 0.0
    return float(f.sf(lack / df_lack / (pure / df_pure), df_lack, df_pure))


def _statements(limits: tuple[float, float], slope: float, lack_p: float | None) -> tuple[str, ...]:
    if limits[0] > 0 or limits[1] < 0:
        said = [f"Bias changes by {slope:.3g} for each unit of the reference: one correction does not fit the range."]
    else:
        said = ["No change of bias over the range is shown."]
    if lack_p is not None and lack_p < 0.05:
        said.append(
            f"A straight line does not describe the bias (p = {lack_p:.3f}): look at each reference on its own, and do "
            "not correct by the line."
        )
    return tuple(said)
