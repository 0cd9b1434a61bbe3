"""Trend chart."""

import math

import numpy as np
import pytest
from scipy.stats import t as student

from spc.charts.trend import TrendState, trend_limits, trend_plot, update, update_at
from spc.errors import InputError
from tests.strd_data import SHIPPED


def test_certified_line():
    # NIST StRD, linear regression, set Norris, as scipy ships it.
    y, x = np.loadtxt(SHIPPED / "nist_linregress" / "Norris.dat", skiprows=60).T
    limits = trend_limits(y, at=x)

    assert limits.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert limits.line(0.0) == pytest.approx(-0.262323073774029, rel=1e-10)
    assert limits.sigma == pytest.approx(0.884796396144373, rel=1e-12)
    assert limits.slope_error == pytest.approx(0.429796848199937e-3, rel=1e-12)
    assert limits.half_width(0.0) / limits.width == pytest.approx(math.hypot(0.884796396144373, 0.232818234301152))


def test_limits_are_those_of_prediction():
    # A second way: the variance of a prediction from the inverse of the normal equations.
    rng = np.random.default_rng(2)
    at = rng.uniform(0, 100, 12)
    y = 5 - 0.3 * at + rng.normal(0, 2, 12)
    limits = trend_limits(y, at=at)
    design = np.column_stack([np.ones(12), at])
    inverse = np.linalg.inv(design.T @ design)

    for place in (-50.0, 0.0, 40.0, 300.0):
        row = np.array([1.0, place])
        expected = 3 * limits.sigma * math.sqrt(1 + row @ inverse @ row)
        assert limits.half_width(place) == pytest.approx(expected, rel=1e-10)


def test_false_alarms_are_those_of_a_t_distribution():
    # With n - 2 degrees of freedom, three estimated sigmas are passed with probability 2 P(t > 3), ten readings on too.
    rng = np.random.default_rng(3)
    beyond = 0
    for row in rng.normal(0, 1, (4000, 22)):
        plotted = trend_plot([math.nan] * 9 + [row[21]], trend_limits(row[:12]))
        beyond += int(plotted.side[-1] != 0)
    expected = 2 * student(10).sf(3)

    assert beyond / 4000 == pytest.approx(expected, abs=3 * math.sqrt(expected / 4000))


def test_a_lamp_that_ages_as_it_always_did_is_no_signal():
    hours = np.arange(0.0, 400, 10)
    rng = np.random.default_rng(4)
    output = 2600 - 1.5 * hours + rng.normal(0, 20, 40)
    limits = trend_limits(output[:20], at=hours[:20], resolution=10)
    ages_on = trend_plot(output[20:], limits, at=hours[20:])
    soils = trend_plot(output[20:] - 4 * (hours[20:] - 200), limits, at=hours[20:])

    assert not ages_on.side.any()
    assert limits.slope == pytest.approx(-1.5, abs=3 * limits.slope_error)
    assert soils.side[-1] == -1
    assert set(soils.side.tolist()) == {0, -1}


def test_a_straight_baseline_has_the_scatter_of_rounding():
    limits = trend_limits([1.0, 2.0, 3.0, 4.0], resolution=0.5)

    assert limits.floored
    assert limits.sigma == pytest.approx(0.5 / math.sqrt(12))
    assert trend_plot([5.0, 6.0, 9.0], trend_limits([1.0, 2.0, 3.0, 4.0])).side.tolist() == [0, 0, 1]


def test_readings_follow_the_baseline_one_place_on_missing_or_not():
    limits = trend_limits([0.0, 1.1, 1.9, 3.0])
    state = TrendState.start(limits)
    for x in (4.0, math.nan, 6.0):
        state = update(state, x)

    assert state.point is not None
    assert state.point.centre_line == limits.line(6.0)
    assert update_at(state, 9.5, 9.5).next_at == 10.5


@pytest.mark.parametrize(
    ("readings", "options", "says"),
    [
        ([1.0, 2.0], {}, "at least 3"),
        ([1.0, 2.0, math.nan, math.nan], {}, "2 readings given; at least 3"),
        ([1.0, 2.0, 3.0], {"at": [1.0, 2.0]}, "2 places given for 3 readings"),
        ([1.0, 2.0, 3.0], {"at": [1.0, 1.0, 1.0]}, "all readings of the baseline are at one place"),
        ([1.0, 2.0, 3.0], {"at": [1.0, math.nan, 2.0]}, "reading 1 is nan"),
        ([1.0, 2.0, 3.0], {"width": -3.0}, "is -3.0"),
        ([1.0, 2.0, 3.0], {"resolution": 0.0}, "resolution is 0.0"),
    ],
)
def test_refuses(readings, options, says):
    with pytest.raises(InputError, match=says):
        trend_limits(readings, **options)


def test_refuses_places_that_do_not_match():
    with pytest.raises(InputError, match="1 places given for 2 readings"):
        trend_plot([1.0, 2.0], trend_limits([1.0, 2.0, 3.5]), at=[1.0])
