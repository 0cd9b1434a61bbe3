"""CUSUM chart."""

import math

import numpy as np
import pytest

from spc.charts.cusum import CusumLimits, CusumState, cusum_limits, cusum_plot, update
from spc.charts.shape import fold
from spc.errors import InputError
from tests.charts.test_ewma import TEXTBOOK

# NIST/SEMATECH e-Handbook 6.3.2.3, from memory: 20 readings, target 325, k = 0.3175 and h = 4.1959 in their unit; the
# page prints the upper sums to two digits, out of control from reading 14.
HANDBOOK = [324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150]
HANDBOOK += [328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350]
SUMS = [0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04]


def settings(
    centre_line: float = 0.0, sigma: float = 1.0, slack: float = 0.5, decision: float = 5.0, head_start: float = 0.0
) -> CusumLimits:
    return CusumLimits(centre_line, sigma, slack, decision, head_start, n_baseline=0)


def test_handbook_sums():
    plotted = cusum_plot(HANDBOOK, settings(325, 0.635, 0.5, 4.1959 / 0.635))

    assert 0.635 * plotted.values[:, 0] == pytest.approx(SUMS, abs=0.0101)
    assert np.flatnonzero(plotted.side).tolist() == list(range(13, 20))


def test_textbook_sums():
    # Montgomery, same 30 readings as the EWMA example, k = 0.5, h = 5; from memory: the sum is 5.28 at reading 29, the
    # first beyond, after 1.16 and 2.82 at readings 4 and 5 and 1.56 and 1.77 downward at readings 2 and 3.
    plotted = cusum_plot(TEXTBOOK, settings(10))

    assert plotted.values[[3, 4, 28], 0] == pytest.approx([1.16, 2.82, 5.28], abs=0.005)
    assert plotted.values[[1, 2], 1] == pytest.approx([-1.56, -1.77], abs=0.005)
    assert np.flatnonzero(plotted.side).tolist() == [28, 29]


def test_a_head_start_finds_an_early_change_sooner():
    # Lucas and Crosier (1982), table of k = 0.5, h = 5 with and without a head start of half h, from memory: a shift of
    # one sigma there at the start is found in 6.35 instead of 10.4 readings. Seeded: standard error about 0.06.
    rng = np.random.default_rng(15)
    found = {}
    for head in (0.0, 0.5):
        lengths = []
        for row in rng.normal(1.0, 1.0, (4000, 80)).tolist():
            state = CusumState.start(settings(head_start=head))
            for n, x in enumerate(row, start=1):
                state = update(state, x)
                if state.point is not None and state.point.side:
                    lengths.append(n)
                    break
        found[head] = np.mean(lengths)

    assert found[0.0] == pytest.approx(10.4, abs=0.3)
    assert found[0.5] == pytest.approx(6.35, abs=0.3)


def test_default_settings_cry_wolf_as_often_as_three_sigmas():
    # Hawkins (1993): k = 0.5 with h = 4.77 gives 370, from memory. Seeded: 1500 streams, standard error about 9.
    rng = np.random.default_rng(16)
    up, down, alive, lengths = np.zeros(1500), np.zeros(1500), np.ones(1500, dtype=bool), np.zeros(1500)
    chart = cusum_limits([0.0, 1.0, 0.0])
    n = 0
    while alive.any():
        z, n = rng.normal(size=1500), n + 1
        up, down = np.maximum(0, up + z - chart.slack), np.maximum(0, down - z - chart.slack)
        lengths[alive] = n
        alive &= np.maximum(up, down) <= chart.decision

    assert lengths.mean() == pytest.approx(370, abs=28)


def test_missing_readings_leave_the_sums_as_they_were():
    with_gap = cusum_plot([1.0, math.nan, 2.0], settings())
    without = cusum_plot([1.0, 2.0], settings())

    np.testing.assert_array_equal(with_gap.values[[0, 2]], without.values)


def test_a_change_against_no_scatter_signals_at_once_and_ends_when_it_is_undone():
    limits = cusum_limits([5.0] * 10)
    plotted = cusum_plot([5.0, 5.1, 5.0, 4.9], limits)

    assert plotted.side.tolist() == [0, 1, 1, -1]
    assert not np.isnan(plotted.values).any()


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"slack": -0.1}, "slack is -0.1"),
        ({"slack": math.nan}, "slack is nan"),
        ({"decision": 0.0}, "decision limit in sigmas is 0.0"),
        ({"head_start": 1.0}, "head start is 1.0"),
        ({"head_start": -0.5}, "head start is -0.5"),
    ],
)
def test_refuses(options, says):
    with pytest.raises(InputError, match=says):
        cusum_limits([1.0, 2.0, 3.0], **options)


@pytest.mark.parametrize(("head_start", "sigma"), [(0.0, 2.0), (0.5, 2.0), (0.0, 0.0)])
def test_the_chart_in_one_loop_is_every_step_to_the_bit(head_start, sigma):
    rng = np.random.default_rng(12)
    x = np.round(rng.normal(50, 3, 3000), 1)
    x[rng.integers(0, 3000, 300)] = np.nan
    limits = CusumLimits(50.0, sigma, 0.5, 4.77, head_start, 30)
    steps = fold(CusumState.start(limits), update, x.tolist(), lines=2)

    whole = cusum_plot(x, limits)

    for name in ("values", "centre_line", "lower", "upper", "side"):
        np.testing.assert_array_equal(getattr(whole, name), getattr(steps, name), strict=True)
    assert set(whole.side.tolist()) >= {0, 1}
    assert cusum_plot([], limits).values.shape == (0, 2)
