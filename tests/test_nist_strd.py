"""Numbers that hold: the NIST Statistical Reference Datasets, to nine digits or better on the hardest sets.

Source: https://www.itl.nist.gov/div898/strd/ (certified to 15 digits; read in copies of the data files, see strd_data).
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.datasets import longley  # type: ignore[import-untyped]  # statsmodels has no stubs

from spc import decimals
from spc.errors import InputError
from spc.measurement.gauge import crossed_study
from spc.measurement.least_squares import least_squares, polynomial
from tests.strd_data import POLYNOMIALS, SHIPPED, UNIVARIATE

DIGITS_13 = 1e-13


@pytest.mark.parametrize("name", UNIVARIATE)
def test_univariate(name):
    readings, mean, sd, lag_1 = UNIVARIATE[name]
    d = decimals.deviations(readings)

    assert decimals.mean(readings) == pytest.approx(mean, rel=1e-14)
    assert decimals.standard_deviation(readings) == pytest.approx(sd, rel=3e-15)
    assert np.sqrt(d @ d / (len(d) - 1)) == pytest.approx(sd, rel=DIGITS_13)
    assert d[1:] @ d[:-1] / (d @ d) == pytest.approx(lag_1, rel=DIGITS_13)


@pytest.mark.parametrize("name", POLYNOMIALS)
def test_polynomial_regression(name):
    x, y, degree, coefficients, standard_errors = POLYNOMIALS[name]
    fit = polynomial(x, y, degree=degree)

    assert fit.coefficients == pytest.approx(coefficients, rel=DIGITS_13)
    assert fit.standard_errors == pytest.approx(standard_errors, rel=DIGITS_13)
    assert fit.degrees_of_freedom == len(x) - degree - 1


def test_norris():
    y, x = np.loadtxt(SHIPPED / "nist_linregress" / "Norris.dat", skiprows=60).T
    fit = polynomial(x, y, degree=1)

    assert fit.coefficients == pytest.approx([-0.262323073774029, 1.00211681802045], rel=DIGITS_13)
    assert fit.standard_errors == pytest.approx([0.232818234301152, 0.000429796848199937], rel=DIGITS_13)
    assert fit.residual_sd == pytest.approx(0.884796396144373, rel=DIGITS_13)
    assert fit.r_squared == pytest.approx(0.999993745883712, rel=1e-14)


def test_longley():
    """Certified values from memory; recomputed with statsmodels, which agrees to nine digits."""
    data = longley.load_pandas()
    fit = least_squares(np.column_stack([np.ones(16), data.exog.to_numpy()]), data.endog.to_numpy())

    assert fit.coefficients == pytest.approx(
        [-3482258.63459582, 15.0618722713733, -0.035819179292591, -2.02022980381683, -1.03322686717359,
         -0.0511041056535807, 1829.15146461355],
        rel=DIGITS_13,
    )  # fmt: skip
    assert fit.residual_sd == pytest.approx(304.854073561965, rel=DIGITS_13)
    assert fit.r_squared == pytest.approx(0.995479004577296, rel=1e-14)


def test_line_through_the_origin():
    """NoInt1: y = 2.07438016528926 x, residual standard deviation 3.56753034006338 (the latter from memory)."""
    x = np.arange(60.0, 71.0)
    fit = least_squares(x.reshape(-1, 1), x + 70)

    assert fit.coefficients == pytest.approx([2.07438016528926], rel=DIGITS_13)
    assert fit.standard_errors == pytest.approx([0.165289256198347e-01], rel=DIGITS_13)
    assert fit.residual_sd == pytest.approx(3.56753034006338, rel=DIGITS_13)


STEPS = st.lists(st.integers(-(10**6), 10**6), min_size=2, max_size=40)


@given(STEPS, st.integers(-(10**9), 10**9))
def test_an_offset_costs_no_digit(steps, offset):
    near = np.array([step / 1000 for step in steps])
    far = np.array([(step + 1000 * offset) / 1000 for step in steps])

    assert np.array_equal(decimals.deviations(near), decimals.deviations(far))
    assert decimals.standard_deviation(near) == decimals.standard_deviation(far)


@given(STEPS, st.randoms(use_true_random=False))
def test_order_does_not_matter(steps, random):
    shuffled = list(steps)
    random.shuffle(shuffled)

    assert decimals.mean(np.array(shuffled, float)) == decimals.mean(np.array(steps, float))
    assert decimals.standard_deviation(np.array(shuffled, float)) == decimals.standard_deviation(np.array(steps, float))


@given(st.lists(st.floats(-1e9, 1e9).filter(lambda v: v == 0 or abs(v) > 1e-60), min_size=2, max_size=30))
def test_deviations_agree_with_plain_arithmetic(values):
    x = np.array(values)

    assert decimals.deviations(x) == pytest.approx(x - x.mean(), abs=1e-6)
    assert decimals.standard_deviation(x) == pytest.approx(x.std(ddof=1), rel=1e-9, abs=1e-6)


def test_very_small_and_very_large_readings_are_one_matter():
    assert decimals.standard_deviation(np.array([1e-70, 3e-70])) == pytest.approx(2e-70 / np.sqrt(2), rel=1e-15)
    assert decimals.standard_deviation(np.array([1e70, -1e70])) == pytest.approx(2e70 / np.sqrt(2), rel=1e-15)
    assert decimals.standard_deviation(np.array([7.0, 7.0])) == 0.0


@pytest.mark.parametrize(("reading", "says"), [(1e200, r"1e\+200; no quantity is that large"), (-1e-99, "that small")])
def test_refuses_a_reading_no_quantity_reaches(reading, says):
    with pytest.raises(InputError, match=says):
        decimals.mean(np.array([1.0, reading]))


@pytest.mark.parametrize(
    ("x", "y", "says"),
    [
        ([1, 2, 3], [1, 2], "3 rows of settings but 2 responses"),
        ([1, 2], [1, 2], "at least 3 are needed"),
        ([5, 5, 5], [1, 2, 3], "cannot be told"),
        ([1, 2, float("nan")], [1, 2, 3], "reading 2 is nan"),
    ],
)
def test_a_line_refuses(x, y, says):
    with pytest.raises(InputError, match=says):
        polynomial(x, y, degree=1)


def test_columns_that_determine_one_another_are_refused_without_a_tolerance():
    x = np.array([0.1, 0.2, 0.3, 0.7, 1.1])
    with pytest.raises(InputError, match="column 2"):
        least_squares(np.column_stack([np.ones(5), x, (x * 10 + 1).round(3)]), x)


def test_a_constant_response_has_no_r_squared():
    fit = polynomial([1, 2, 3, 4], [5, 5, 5, 5], degree=1)

    assert fit.r_squared is None
    assert fit.residual_sd == 0.0


def test_settings_of_very_different_size_are_refused_in_words():
    with pytest.raises(InputError, match="differ too much in size"):
        polynomial([1e-70, 2e-70, 3e-70, 4e-70, 6e-70, 7e-70], [1e69, 2e69, 5e69, 7e69, 1e69, 2e69], degree=4)


@pytest.mark.parametrize("shape", [(3,), (3, 0)])
def test_a_design_without_columns_is_refused(shape):
    with pytest.raises(InputError, match="table of columns"):
        least_squares(np.zeros(shape), [1, 2, 3])


# Certified F of the one-way sets that scipy ships; SmLs07 to 09 vary in the thirteenth figure and beyond.
F_RATIOS = {
    "AtmWtAg": 15.946733567793,
    "SiRstv": 1.18046237440255,
    **{f"SmLs0{i}": 21.0 for i in (1, 4, 7)},
    **{f"SmLs0{i}": 201.0 for i in (2, 5, 8)},
    **{f"SmLs0{i}": 2001.0 for i in (3, 6, 9)},
}


@pytest.mark.parametrize("name", F_RATIOS)
def test_analysis_of_variance(name):
    """One operator: the study's F of parts is the one-way F. Met to 12 digits, 9 being asked."""
    treatment, response = np.loadtxt(SHIPPED / "nist_anova" / f"{name}.dat", skiprows=60).T
    study = crossed_study(response, treatment.astype(int).tolist(), ["A"] * len(response))

    assert study.anova[0].f == pytest.approx(F_RATIOS[name], rel=1e-12)
