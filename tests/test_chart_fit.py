"""Which chart suits readings that are made to be independent, correlated, sloping, skewed, coarse."""

import numpy as np

from spc.chart_fit import fits
from spc.monitor import monitor_stream
from tests.dashboard.made_line import AMBIENT, SHIM, results
from tests.made import made_check, made_readings


def stream(x, **changed):
    return monitor_stream(made_readings(list(x)), (), made_check(**changed))


def normal(n, seed=3, level=0.2, sigma=0.01):
    return np.random.default_rng(seed).normal(level, sigma, n)


def test_independent_readings_suit_the_individuals_chart():
    found = fits(stream(normal(200)))

    assert found["individuals"].suits
    assert not found["residuals"].suits
    assert not found["trend"].suits
    assert not found["skewed"].suits


def test_readings_that_follow_one_another_suit_the_residuals():
    noise, x = np.random.default_rng(5).normal(0, 0.01, 300), [0.2]
    for shock in noise:
        x.append(0.2 + 0.7 * (x[-1] - 0.2) + shock)
    found = fits(stream(np.array(x)))

    assert found["residuals"].suits
    assert "correlation 0." in found["individuals"].sentence
    assert not found["individuals"].suits


def test_a_slope_suits_the_trend_chart_and_is_told_a_day():
    x = normal(120) + 0.0005 * np.arange(120)
    result = stream(x)
    days = (result.charted.taken_at[-1] - result.charted.taken_at[0]) / 86_400e6
    slope = np.polyfit((result.charted.taken_at - result.charted.taken_at[0]) / 86_400e6, result.charted.x, 1)[0]
    found = fits(result)["trend"]

    assert days > 1
    assert found.suits
    assert f"{slope:.2g}" in found.sentence  # least squares by numpy
    assert not fits(result)["individuals"].suits


def test_skewed_readings_suit_logarithms():
    found = fits(stream(np.exp(np.random.default_rng(8).normal(-1.6, 0.6, 200))))

    assert found["skewed"].suits


def test_a_coarse_step_is_told():
    found = fits(stream(np.round(normal(100, sigma=0.002), 2), resolution=0.01))

    assert "One step of a reading, 0.01" in found["individuals"].sentence


def test_few_readings_tell_nothing():
    assert "fewer than 8 readings" in fits(stream(normal(5)))["ewma"].sentence


def test_bounds_that_are_left_out_and_verdicts_are_told(tmp_path):
    line = results(tmp_path)

    assert "only bounds" in fits(line[AMBIENT])["ewma"].sentence
    assert "1 of 77 verdicts did not pass" in fits(line[SHIM])["verdicts"].sentence
