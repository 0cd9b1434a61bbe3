"""Residual chart."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from spc.autocorrelation import FirstOrder
from spc.charts.individuals import individuals_limits, individuals_plot
from spc.charts.residuals import ResidualLimits, residual_limits, residual_plot
from spc.errors import InputError
from tests.test_autocorrelation import stream


def known(phi: float) -> ResidualLimits:
    fit = FirstOrder(level=10.0, phi=phi, phi_error=0.0, sigma=1.0, log_likelihood=0.0, n=50)
    return ResidualLimits(fit, width=3.0, n_baseline=50, floored=False)


@pytest.mark.parametrize("phi", [0.5, 0.8])
def test_false_alarms_of_a_stream_that_follows_itself(phi):
    # Individuals limits from moving ranges: rate of the closed form 2 Phi(-3 root (1 - phi)); residuals: 0.0027.
    x = 10 + stream(phi, 40_000, seed=5)
    singles = individuals_plot(x, individuals_limits(x)).side != 0
    residuals = residual_plot(x, known(phi)).side != 0

    assert singles.mean() == pytest.approx(2 * norm.sf(3 * math.sqrt(1 - phi)), rel=0.15)
    assert residuals.mean() == pytest.approx(2 * norm.sf(3), abs=4 * math.sqrt(0.0027 / 40_000))


def test_after_missing_readings_the_limits_are_wider():
    phi = 0.8
    plotted = residual_plot([12.0, math.nan, math.nan, 11.0, 11.0], known(phi))

    overall = 1 / math.sqrt(1 - phi**2)
    expected = [overall, 1.0, overall * math.sqrt(1 - phi**4), overall * math.sqrt(1 - phi**6), 1.0]
    assert plotted.upper == pytest.approx([3 * scatter for scatter in expected])
    assert plotted.values[[0, 3, 4], 0] == pytest.approx([2.0, 11 - (10 + 2 * phi**3), 11 - (10 + phi)])
    assert np.isnan(plotted.values[[1, 2], 0]).all()


def test_a_jump_shows_in_full_once_and_then_in_part():
    plotted = residual_plot([10.0, 10.0, 16.0, 16.0, 16.0], known(0.8))

    assert plotted.values[:, 0] == pytest.approx([0, 0, 6, 1.2, 1.2])
    assert plotted.side.tolist() == [0, 0, 1, 0, 0]


def test_limits_come_from_the_baseline():
    limits = residual_limits(10 + stream(0.6, 200, seed=9))

    assert limits.follows.phi == pytest.approx(0.6, abs=3 * limits.follows.phi_error)
    assert limits.follows.sigma == pytest.approx(1, abs=0.15)
    assert limits.n_baseline == 200


def test_sigma_is_never_less_than_rounding_scatters():
    limits = residual_limits([5.0, 5.0, 5.0, 5.0, 5.01], resolution=0.1)

    assert limits.floored
    assert limits.follows.sigma == pytest.approx(0.1 / math.sqrt(12))


@pytest.mark.parametrize(
    ("readings", "options", "says"),
    [
        ([1.0, 2.0, 3.0], {}, "at least 4"),
        ([1.0, 2.0, 3.0, math.nan], {}, "4 that differ"),
        ([1.0, 2.0, 3.0, 5.0], {"width": 0.0}, "is 0.0"),
        ([1.0, 2.0, 3.0, 5.0], {"resolution": -1.0}, "resolution is -1.0"),
    ],
)
def test_refuses(readings, options, says):
    with pytest.raises(InputError, match=says):
        residual_limits(readings, **options)
