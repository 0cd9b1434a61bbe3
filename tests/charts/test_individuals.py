"""Individuals and moving-range chart."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.charts.individuals import (
    IndividualsState,
    individuals_limits,
    individuals_plot,
    limits_about,
    moving_range_plot,
    update,
)
from spc.errors import InputError
from tests.strategies import READINGS_WITH_GAPS
from tests.test_autocorrelation import nile

# NIST/SEMATECH e-Handbook 6.3.2.2, flow rate by batch.
FLOW_RATE = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]

# Montgomery, Introduction to Statistical Quality Control, viscosity of aircraft primer paint; from memory: the printed
# centre line, mean moving range and limits are those below; the limits are computed from the rounded 33.52 and 0.48.
VISCOSITY = [33.75, 33.05, 34.00, 33.81, 33.46, 34.02, 33.68, 33.27, 33.49, 33.20, 33.62, 33.00, 33.54, 33.12, 33.84]


def test_handbook_flow_rate():
    limits = individuals_limits(FLOW_RATE)

    assert limits.centre_line == pytest.approx(50.81, abs=1e-12)
    assert limits.moving_range_centre == pytest.approx(1.8778, abs=5e-5)
    # The page prints 55.8041 and 45.8159, with d2 rounded to 1.128.
    assert limits.upper == pytest.approx(55.8041, abs=0.002)
    assert limits.lower == pytest.approx(45.8159, abs=0.002)
    assert limits.centre_line + 3 * limits.moving_range_centre / 1.128 == pytest.approx(55.8041, abs=5e-5)
    assert limits.n_baseline == 10
    assert not limits.floored


def test_textbook_viscosity():
    limits = individuals_limits(VISCOSITY)

    assert limits.centre_line == pytest.approx(33.52, abs=0.005)
    assert limits.moving_range_centre == pytest.approx(0.48, abs=0.005)
    assert limits.upper == pytest.approx(34.80, abs=0.01)
    assert limits.lower == pytest.approx(32.24, abs=0.01)
    assert limits.moving_range_upper == pytest.approx(1.57, abs=0.01)


def test_nile_limits_from_all_readings_hide_the_step():
    # Annual flow at Aswan 1871 to 1970, shipped with statsmodels; the limits are plain arithmetic with d2 = 1.128,
    # computed independently. Limits from both sides of the step of 1898 lie between its levels: two of 100 are beyond.
    flow = nile()
    limits = individuals_limits(flow)
    plotted = individuals_plot(flow, limits)

    assert limits.centre_line == pytest.approx(919.35, abs=1e-9)
    assert limits.moving_range_centre == pytest.approx(133.252525, abs=5e-7)
    assert limits.centre_line + 3 * limits.moving_range_centre / 1.128 == pytest.approx(1273.745014, abs=5e-7)
    assert limits.upper == pytest.approx(1273.745014, abs=0.15)
    assert limits.lower == pytest.approx(564.954986, abs=0.15)
    assert np.flatnonzero(plotted.side).tolist() == [1879 - 1871, 1913 - 1871]


def test_width_sets_both_limits():
    limits = individuals_limits(FLOW_RATE, width=2.0)
    wide = individuals_limits(FLOW_RATE)

    assert limits.upper - limits.centre_line == pytest.approx((wide.upper - wide.centre_line) * 2 / 3)
    assert limits.moving_range_upper - limits.moving_range_centre == pytest.approx(
        (wide.moving_range_upper - wide.moving_range_centre) * 2 / 3
    )


def test_sigma_is_never_less_than_rounding_scatters():
    # Settled volume read on a tube with 0.05 mL divisions: all in two divisions.
    limits = individuals_limits([0.20, 0.20, 0.20, 0.20, 0.25, 0.20, 0.20, 0.20, 0.20, 0.20], resolution=0.05)

    assert limits.floored
    assert limits.sigma == pytest.approx(0.05 / math.sqrt(12))
    assert limits.moving_range_centre == pytest.approx(2 / math.sqrt(math.pi) * limits.sigma)


def test_a_reading_on_a_limit_is_not_a_signal():
    limits = limits_about(0.2, 0.05, n_baseline=20)
    plotted = individuals_plot([0.35, 0.05, 0.3500001, 0.0499999, math.nan], limits)

    assert plotted.side.tolist() == [0, 0, 1, -1, 0]


def test_a_moving_range_on_its_limit_is_not_a_signal():
    limits = limits_about(0.0, 1.0)
    readings = [0.0, limits.moving_range_upper, 0.0, limits.moving_range_upper + 1e-6, math.nan, 9.0, 0.0]
    plotted = moving_range_plot(readings, limits)

    assert plotted.side.tolist() == [0, 0, 0, 1, 0, 0, 1]
    assert np.isnan(plotted.values[[0, 4, 5], 0]).all()


@given(READINGS_WITH_GAPS, st.integers(2, 20), st.sampled_from([None, 0.05]))
def test_limits_form_reading_by_reading(readings, baseline, resolution):
    """At every prefix of a baseline the step form has the limits of the batch form, to the bit; then they hold."""
    state = IndividualsState.start(baseline=baseline, resolution=resolution)
    held = None
    for n, x in enumerate(readings, start=1):
        state = update(state, x)
        if held is None:
            try:
                expected = individuals_limits(readings[:n], resolution=resolution)
            except InputError:
                expected = None
            held = expected if expected is not None and expected.n_baseline >= baseline else None
            assert state.limits == expected
            assert state.point is not None
            assert state.point.side == 0
            assert state.complete == (held is not None)
        assert state.complete == (held is not None)
        assert held is None or state.limits == held


def test_a_complete_baseline_signals_from_the_next_reading_on():
    state = IndividualsState.start(baseline=4)
    sides = []
    for x in [10.0, 11.0, 10.0, 99.0, 500.0, 10.0, -500.0]:
        state = update(state, x)
        assert state.point is not None
        sides.append(state.point.side)

    assert sides == [0, 0, 0, 0, 1, 0, -1]


@pytest.mark.parametrize(
    ("readings", "options", "says"),
    [
        ([], {}, "0 readings given"),
        ([7.2], {}, "1 readings given; at least 2"),
        ([7.2, math.nan], {}, "no two successive readings"),
        ([7.2, math.nan, 7.3], {}, "no two successive readings"),
        ([math.nan, math.nan], {}, "no two successive readings"),
        ([7.2, math.inf], {}, "reading 1 is inf"),
        ([7.2, 7.3], {"width": 0.0}, "half-width of the limits in sigmas is 0.0"),
        ([7.2, 7.3], {"width": math.nan}, "is nan"),
        ([7.2, 7.3], {"resolution": 0.0}, "resolution is 0.0"),
        ([7.2, 7.3], {"resolution": -0.1}, "resolution is -0.1"),
        ([7.2, 7.3], {"resolution": math.inf}, "resolution is inf"),
    ],
)
def test_refuses(readings, options, says):
    with pytest.raises(InputError, match=says):
        individuals_limits(readings, **options)


def test_refuses_a_baseline_that_sets_no_limits():
    with pytest.raises(InputError, match="a baseline of 1 readings"):
        IndividualsState.start(baseline=1)
