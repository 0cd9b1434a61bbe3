import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from spc.errors import InputError
from spc.measurement.bias import bias, bias_by_range, linearity

# The measurement systems analysis manual's bias and linearity studies (data and printed results from memory; the
# results recomputed from the data agree with the recalled print).
OF_SIX = [5.8, 5.7, 5.9, 5.9, 6.0, 6.1, 6.0, 6.1, 6.4, 6.3, 6.0, 6.1, 6.2, 5.6, 6.0]
OVER_THE_RANGE = [
    2.7, 2.5, 2.4, 2.5, 2.7, 2.3, 2.5, 2.5, 2.4, 2.4, 2.6, 2.4,
    5.1, 3.9, 4.2, 5.0, 3.8, 3.9, 3.9, 3.9, 3.9, 4.0, 4.1, 3.8,
    5.8, 5.7, 5.9, 5.9, 6.0, 6.1, 6.0, 6.1, 6.4, 6.3, 6.0, 6.1,
    7.6, 7.7, 7.8, 7.7, 7.8, 7.8, 7.8, 7.7, 7.8, 7.5, 7.6, 7.7,
    9.1, 9.3, 9.5, 9.3, 9.4, 9.5, 9.5, 9.5, 9.6, 9.2, 9.3, 9.4,
]  # fmt: skip
REFERENCES = np.repeat([2.0, 4.0, 6.0, 8.0, 10.0], 12)


def test_bias_by_standard_deviation():
    found = bias(OF_SIX, 6.0)

    assert found.bias == pytest.approx(0.0066667, abs=5e-8)
    assert found.sigma == pytest.approx(0.2120198, abs=5e-8)
    assert (found.lower, found.upper) == pytest.approx((-0.110746, 0.124079), abs=5e-7)
    assert found.df == 14
    assert not found.shown
    assert found.statement == "No bias is shown; one within the limits would not be seen by this study."


def test_bias_by_range():
    """The manual prints -0.1185 to 0.1319: it multiplies sigma, already over d2*, by d2 / d2* once more.

    That makes the interval narrower than stated (next test); without that factor it is -0.1216 to 0.1349.
    """
    found = bias_by_range(OF_SIX, 6.0)
    d2, d2_star = 3.47183, 3.55333
    half = (found.upper - found.lower) / 2

    assert found.sigma == pytest.approx(0.225141, abs=1e-5)  # with d2* 3.55333; computed it is 3.55323
    assert found.df == pytest.approx(10.8, abs=0.05)
    assert (found.bias - half * d2 / d2_star, found.bias + half * d2 / d2_star) == pytest.approx(
        (-0.1185, 0.1319), abs=2e-4
    )


def test_limits_by_range_hold_their_confidence():
    """2,000 seeded samples of 8, standard error of a stated 0.90: 0.007."""
    x = np.random.default_rng(3).normal(size=(2000, 8))
    found = [bias_by_range(row, 0.0, confidence=0.9) for row in x]

    assert np.mean([f.lower <= 0 <= f.upper for f in found]) == pytest.approx(0.90, abs=0.02)


def test_a_bias_beyond_chance_is_shown():
    high, low = bias([10.2, 10.3, 10.1, 10.2], 10.0), bias([9.8, 9.7, 9.9, 9.8], 10.0)

    assert high.shown
    assert "reads high by 0.2" in high.statement
    assert low.shown
    assert "reads low by 0.2" in low.statement


def test_the_references_own_uncertainty_widens_the_limits():
    """JCGM 100, G.4: standard errors add in squares; degrees of freedom by Welch and Satterthwaite."""
    readings = [10.2, 10.3, 10.1, 10.2]
    found = bias(readings, 10.0, reference_uncertainty=0.3)
    own = np.std(readings, ddof=1) / 2

    assert found.standard_error == pytest.approx(math.hypot(own, 0.3))
    assert found.df == pytest.approx(3 * (found.standard_error / own) ** 4)
    assert not found.shown
    assert found.upper - found.bias == pytest.approx(1.96 * found.standard_error, rel=1e-3)


def test_equal_readings_hide_repeatability():
    bare = bias([10.2] * 5, 10.0)
    known = bias([10.2] * 5, 10.0, reference_uncertainty=0.05)

    assert bare.lower == bare.upper == pytest.approx(0.2, rel=1e-15)
    assert "their step hides repeatability" in bare.statement
    assert known.upper - known.lower == pytest.approx(2 * 1.959964 * 0.05, rel=1e-6)
    assert math.isinf(known.df)


def test_equal_readings_on_the_reference_show_no_bias():
    found = bias([10.0] * 5, 10.0)

    assert found.bias == found.lower == found.upper == 0.0
    assert not found.shown
    assert found.statement.startswith("No bias is shown")
    assert "their step hides repeatability" in found.statement


def test_two_readings_by_range_are_two_readings_by_standard_deviation():
    """The range of two over d2* is their standard deviation, with one degree of freedom: exact."""
    by_range, by_sd = bias_by_range([10.1, 10.4], 10.0), bias([10.1, 10.4], 10.0)

    assert by_range.sigma == pytest.approx(by_sd.sigma, rel=1e-9)
    assert (by_range.lower, by_range.upper) == pytest.approx((by_sd.lower, by_sd.upper), rel=1e-6)


def test_linearity_of_the_manual():
    found = linearity(OVER_THE_RANGE, REFERENCES)

    assert (found.slope, found.intercept) == pytest.approx((-0.131667, 0.736667), abs=5e-7)
    assert found.line.residual_sd == pytest.approx(0.23954, abs=5e-6)
    assert found.line.r_squared == pytest.approx(0.7143, abs=5e-5)
    assert found.mean_biases == pytest.approx([0.491667, 0.125, 0.025, -0.29167, -0.61667], abs=5e-6)
    assert found.slope_limits[1] < 0
    assert found.slope_p_value < 1e-10
    assert "one correction does not fit" in found.statements[0]


def test_linearity_agrees_with_a_library():
    import statsmodels.api as sm  # type: ignore[import-untyped]  # statsmodels has no stubs

    found = linearity(OVER_THE_RANGE, REFERENCES, confidence=0.9)
    deviation = np.array(OVER_THE_RANGE) - REFERENCES
    fit = sm.OLS(deviation, sm.add_constant(REFERENCES)).fit()
    limits = fit.conf_int(0.1)
    at = np.array([2.0, 7.0, 12.0])
    band = fit.get_prediction(sm.add_constant(at)).conf_int(alpha=0.1)
    levels = sm.OLS(deviation, (REFERENCES[:, None] == np.unique(REFERENCES)).astype(float)).fit()

    assert found.intercept_limits == pytest.approx(limits[0], rel=1e-9)
    assert found.slope_limits == pytest.approx(limits[1], rel=1e-9)
    assert found.slope_p_value == pytest.approx(fit.pvalues[1], rel=1e-6, abs=0)
    assert pytest.approx(band, rel=1e-9) == np.array(found.band(at)).T
    assert found.lack_of_fit_p_value == pytest.approx(levels.compare_f_test(fit)[1], rel=1e-9)


def test_a_slope_in_doubt_has_the_p_value_of_a_library():
    """scipy's test of a slope; the scatter is several units a reading, so that the slope's error is above 1."""
    references = np.repeat([1.0, 2.0, 3.0], 4)
    deviations = np.array([0.0, 7.0, -9.0, 5.0, 4.0, -6.0, 8.0, 1.0, 9.0, -3.0, 6.0, 2.0])
    expected = stats.linregress(references, deviations)

    found = linearity(references + deviations, references)

    assert expected.stderr > 1
    assert 0.05 < expected.pvalue < 0.95
    assert found.slope_p_value == pytest.approx(expected.pvalue, rel=1e-9)
    assert found.statements == ("No change of bias over the range is shown.",)


def test_a_rising_bias_over_two_references_is_a_line_and_nothing_can_speak_against_it():
    readings = [2.3, 2.4, 2.35, 10.8, 10.9, 10.85]

    found = linearity(readings, [2.0] * 3 + [10.0] * 3)

    assert 0 < found.slope_limits[0] < found.slope < found.slope_limits[1] < 1
    assert found.slope == pytest.approx((0.85 - 0.35) / 8)
    assert found.lack_of_fit_p_value is None
    assert found.statements == (
        "Bias changes by 0.0625 for each unit of the reference: one correction does not fit the range.",
    )


def test_a_bent_bias_is_said_not_to_be_a_line():
    references = np.repeat([1.0, 2.0, 3.0, 4.0, 5.0], 4)
    scatter = np.tile([-0.01, 0.0, 0.0, 0.01], 5)
    found = linearity(references + (references - 3) ** 2 + scatter, references)

    assert found.lack_of_fit_p_value is not None
    assert found.lack_of_fit_p_value < 1e-6
    assert found.statements[0] == "No change of bias over the range is shown."
    assert "does not describe the bias" in found.statements[1]


@pytest.mark.parametrize(
    ("readings", "references", "p_value", "lack"),
    [
        ([1.5, 3.0, 4.5, 6.0], [1, 2, 3, 4], 0.0, None),  # exact, bias half the reference, each read once
        ([1.5, 2.5, 3.5, 4.5], [1, 2, 3, 4], 1.0, None),  # exact, the same bias everywhere
        ([1.5, 1.5, 3.0, 3.0, 5.0, 5.0], [1, 1, 2, 2, 3, 3], None, 0.0),  # repeats alike, but no line
        ([1.5, 1.5, 3.0, 3.0, 4.5, 4.5], [1, 1, 2, 2, 3, 3], 0.0, 1.0),
    ],
)
def test_readings_without_scatter(readings, references, p_value, lack):
    found = linearity(readings, references)

    assert found.lack_of_fit_p_value == lack
    assert found.statements[0].startswith("No change" if found.slope == 0 else "Bias changes")
    if p_value is not None:
        assert found.slope_p_value == p_value
        assert found.slope_limits == (found.slope, found.slope)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: bias([1.0], 1.0), "at least 2"),
        (lambda: bias([1.0, float("nan")], 1.0), "reading 1 is nan"),
        (lambda: bias([1.0, 2.0], float("nan")), "the reference is nan"),
        (lambda: bias([1.0, 2.0], 1.0, reference_uncertainty=-1), "uncertainty is -1"),
        (lambda: bias([1.0, 2.0], 1.0, reference_uncertainty=math.inf), "uncertainty is inf"),
        (lambda: bias([1.0, 2.0], 1.0, confidence=95), r"95 % as 0\.95"),
        (lambda: bias_by_range([1.0], 1.0), "at least 2"),
        (lambda: bias_by_range(np.arange(26.0), 1.0), "take 2 to 25"),
        (lambda: linearity([1, 2, 3], [1, 2]), "at least 3"),
        (lambda: linearity([1, 2, 3, 4], [1, 2, 3]), "4 readings but 3 references"),
        (lambda: linearity([1, 2, 3], [1, 2, 3, 4]), "3 readings but 4 references"),
        (lambda: linearity([1, 2, 3], [2, 2, 2]), "cannot be told"),
        (lambda: linearity([1, 2, 3], [1, 2, float("nan")]), "reading 2 is nan"),
    ],
)
def test_refuses(call, says):
    with pytest.raises(InputError, match=says):
        call()


READINGS = st.lists(st.integers(-500, 500), min_size=3, max_size=25)


@given(READINGS, st.integers(-(10**6), 10**6), st.sampled_from([0.25, 100.0]))
def test_bias_follows_a_change_of_unit(steps, shift, scale):
    before = bias(np.array(steps) * 1.0, 3.0)
    after = bias(np.array([scale * (step + shift) for step in steps]), scale * (3.0 + shift))

    assert after.bias == pytest.approx(scale * before.bias, abs=1e-9 * scale)
    assert (after.lower, after.upper) == pytest.approx((scale * before.lower, scale * before.upper), abs=1e-6 * scale)


@given(READINGS, st.randoms(use_true_random=False))
def test_order_does_not_matter(steps, random):
    mixed = list(steps)
    random.shuffle(mixed)

    assert bias(mixed, 1.0) == bias(steps, 1.0)


def test_an_offset_of_a_billion_costs_no_digit():
    near, far = bias(OF_SIX, 6.0), bias([float(f"100000000{v}") for v in OF_SIX], 1000000006.0)

    assert (far.bias, far.sigma) == pytest.approx((near.bias, near.sigma), rel=1e-14)
