"""Probability plots."""

import numpy as np
import pytest
from scipy import stats

from spc.capability.distributions import fit
from spc.capability.probability_plot import probability_plot
from spc.errors import InputError

X = np.random.default_rng(8).normal(10.0, 2.0, 25)


def test_medians_of_order_statistics_are_filliben_s():
    """Filliben (1975): the last of n has the median 0.5 ** (1 / n), the first 1 minus that; exact."""
    found = probability_plot(X, fit(X, "normal"))

    assert found.share[-1] == pytest.approx(0.5 ** (1 / 25), rel=1e-12)
    assert found.share[0] == pytest.approx(1 - 0.5 ** (1 / 25), rel=1e-12)
    middle = (np.arange(2, 25) - 0.3175) / (25 + 0.365)  # his approximation between
    assert found.share[1:-1] == pytest.approx(middle, abs=3e-4)


def test_expected_readings_are_quantiles_of_the_shape():
    found = probability_plot(X, fit(X, "normal"))

    assert found.readings.tolist() == sorted(X.tolist())
    assert found.expected == pytest.approx(stats.norm(X.mean(), X.std(ddof=1)).ppf(found.share), rel=1e-12)
    assert (found.lower < found.expected).all()
    assert (found.expected < found.upper).all()


def test_limits_of_a_known_shape_hold_their_confidence():
    """1,000 seeded samples of 10 from the shape itself: each of ten limits holds 90 %, standard error 0.95 %."""
    rng = np.random.default_rng(1)
    fitted = fit(rng.normal(size=10), "normal")
    x = np.sort(rng.normal(fitted.parameters[0], fitted.parameters[1], (1000, 10)), axis=1)
    found = probability_plot(x[0], fitted, confidence=0.9)

    inside = ((x >= found.lower) & (x <= found.upper)).mean(axis=0)
    assert inside == pytest.approx(np.full(10, 0.9), abs=0.035)


@pytest.mark.parametrize(
    ("readings", "says"),
    [(X[:24], "24 readings given for a shape fitted to 25"), ([1.0], "1 readings given"), ([1.0, np.nan], "is nan")],
)
def test_refuses(readings, says):
    with pytest.raises(InputError, match=says):
        probability_plot(readings, fit(X, "normal"))


def test_refuses_a_confidence_in_percent():
    with pytest.raises(InputError, match="confidence"):
        probability_plot(X, fit(X, "normal"), confidence=95)
