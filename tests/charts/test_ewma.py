"""EWMA chart."""

import math

import numpy as np
import pytest

from spc.charts.ewma import EwmaLimits, EwmaState, ewma_limits, ewma_plot, update
from spc.charts.individuals import individuals_limits
from spc.charts.shape import fold
from spc.errors import InputError

# NIST/SEMATECH e-Handbook 6.3.2.4: 20 readings, start 50, s = 2.0539, weight 0.3, three sigmas, final limits.
# Reading i is averaged in without lag. The page prints the lower limit as 47.4115 (cut, not rounded: 47.41157).
HANDBOOK = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6]
HANDBOOK += [52.4, 53.6, 52.1]
AVERAGES = [50.6, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38]
AVERAGES += [49.92, 50.73, 51.23, 51.94, 51.99]

# Montgomery, Introduction to Statistical Quality Control, chapter on CUSUM and EWMA: 30 readings, mean 10 and sigma 1,
# with a change of one sigma after the 20th; from memory. Weight 0.1, width 2.7.
TEXTBOOK = [9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08, 9.37]
TEXTBOOK += [10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52]


def test_handbook_averages_and_final_limits():
    limits = EwmaLimits(centre_line=50, sigma=2.0539, weight=0.3, width=3.0, n_baseline=0)
    plotted = ewma_plot(HANDBOOK, limits)

    assert plotted.values.ravel() == pytest.approx(AVERAGES, abs=0.0051)
    assert 50 + limits.half_width() == pytest.approx(52.5884, abs=5e-5)
    assert 50 - limits.half_width() == pytest.approx(47.4115, abs=1e-4)
    assert plotted.upper[-1] == pytest.approx(52.5884, abs=0.0005)
    assert not plotted.side.any()


def test_textbook_start_up_limits():
    plotted = ewma_plot(TEXTBOOK, EwmaLimits(centre_line=10, sigma=1, weight=0.1, width=2.7, n_baseline=0))

    assert plotted.values[:4].ravel() == pytest.approx([9.945, 9.7495, 9.70355, 9.8992], abs=5e-5)
    assert plotted.upper[:2] == pytest.approx([10.27, 10.36], abs=0.005)
    assert plotted.lower[:2] == pytest.approx([9.73, 9.64], abs=0.005)
    assert (plotted.lower[-1], plotted.upper[-1]) == pytest.approx((9.38, 10.62), abs=0.005)
    assert np.flatnonzero(plotted.side).tolist() == [28, 29]


def test_a_weight_of_one_is_the_individuals_chart():
    baseline, after = HANDBOOK[:12], HANDBOOK[12:]
    single = individuals_limits(baseline)
    limits = ewma_limits(baseline, weight=1.0, width=3.0)
    plotted = ewma_plot(after, limits)

    assert plotted.values.ravel().tolist() == after
    assert plotted.upper == pytest.approx([single.upper] * len(after))
    assert plotted.lower == pytest.approx([single.lower] * len(after))


def test_the_average_scatters_as_its_limits_say():
    # A second way to the variance: 20,000 streams of 30 readings.
    x = np.random.default_rng(6).normal(size=(20_000, 30))
    average = np.zeros(len(x))
    limits = EwmaLimits(centre_line=0, sigma=1, weight=0.2, width=1, n_baseline=0)
    for n in range(1, 31):
        average = 0.2 * x[:, n - 1] + 0.8 * average
        assert average.std() == pytest.approx(limits.half_width(n), rel=0.02)


def test_default_settings_cry_wolf_as_often_as_three_sigmas():
    # Lucas and Saccucci (1990), from memory: weight 0.2 and width 2.86 give 370 at fixed limits. Start-up limits add
    # early false alarms, so a little less. Seeded: 1500 streams, standard error about 9.
    x = np.random.default_rng(12)
    limits = EwmaLimits(centre_line=0, sigma=1, weight=0.2, width=2.86, n_baseline=0)
    lengths, average, alive = np.zeros(1500), np.zeros(1500), np.ones(1500, dtype=bool)
    for n in range(1, 20_000):
        average = 0.2 * x.normal(size=1500) + 0.8 * average
        lengths[alive] = n
        alive &= np.abs(average) <= limits.half_width(n)
        if not alive.any():
            break

    assert lengths.mean() == pytest.approx(365, abs=28)


def test_missing_readings_do_not_widen_the_limits():
    limits = ewma_limits([1.0, 2.0, 1.0, 3.0, 2.0])
    with_gaps = ewma_plot([1.0, math.nan, 2.0, math.nan, math.nan, 1.5], limits)
    without = ewma_plot([1.0, 2.0, 1.5], limits)

    np.testing.assert_array_equal(with_gaps.values[[0, 2, 5]], without.values)
    np.testing.assert_array_equal(with_gaps.upper[[0, 2, 5]], without.upper)
    np.testing.assert_array_equal(with_gaps.side[[1, 3, 4]], [0, 0, 0])


def test_a_missing_first_reading_draws_the_first_limits():
    limits = ewma_limits([1.0, 2.0, 1.0, 3.0, 2.0])
    state = update(EwmaState.start(limits), math.nan)

    assert state.point is not None
    assert state.point.upper == limits.centre_line + limits.half_width(1)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"weight": 0.0}, "weight is 0.0"),
        ({"weight": 1.5}, "weight is 1.5"),
        ({"weight": math.nan}, "weight is nan"),
        ({"width": 0.0}, "half-width of the limits in sigmas is 0.0"),
    ],
)
def test_refuses(options, says):
    with pytest.raises(InputError, match=says):
        ewma_limits([1.0, 2.0, 3.0], **options)


@pytest.mark.parametrize("weight", [0.01, 0.2, 1.0])
def test_the_chart_in_one_loop_is_every_step_to_the_bit(weight):
    rng = np.random.default_rng(11)
    x = rng.normal(50, 3, 3000)
    x[rng.integers(0, 3000, 300)] = np.nan
    limits = ewma_limits(x[:40], weight=weight, width=2.0)
    steps = fold(EwmaState.start(limits), update, x.tolist())

    whole = ewma_plot(x, limits)

    for name in ("values", "centre_line", "lower", "upper", "side"):
        np.testing.assert_array_equal(getattr(whole, name), getattr(steps, name), strict=True)
    assert set(whole.side.tolist()) >= {0, 1}
    assert ewma_plot([], limits).values.shape == (0, 1)
