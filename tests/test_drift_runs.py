"""Flats and straight lines through the latest readings of a level that moved."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.drift import DriftReading, DriftState, StreamModel, start, update
from spc.drift import runs as module
from spc.drift.ahead import courses
from spc.drift.runs import Runs, runs
from spc.forecast import model_forecast


def slope_of(found: Runs) -> float:
    return float(found.weight @ found.slope)


def test_one_line_is_the_bayesian_regression(monkeypatch):
    # second way: the normal equations with the prior of the slope as one more observation
    monkeypatch.setattr(module, "RUNS_END", 0.0)
    monkeypatch.setattr(module, "SLOPE_SIGMAS", (0.6,))
    monkeypatch.setattr(module, "SHARES", (1.0,))
    monkeypatch.setattr(module, "STRAY_SHARE", 0.0)
    rng, variance, n = np.random.default_rng(5), 0.3, 14
    y = 2.0 - 0.4 * np.arange(n) + math.sqrt(variance) * rng.standard_normal(n)
    prior = variance * 0.6**2
    design = np.column_stack((np.ones(n), np.arange(n)))
    information = design.T @ design / variance + np.diag([0.0, 1.0 / prior])
    covariance = np.linalg.inv(information)
    coefficients = covariance @ (design.T @ y / variance)
    now = np.array([1.0, n - 1.0])

    found = runs(y, variance).likelier_than(0.5)

    assert found.level == pytest.approx([now @ coefficients])
    assert found.slope == pytest.approx([coefficients[1]])
    assert found.level_variance == pytest.approx([now @ covariance @ now])
    assert found.slope_variance == pytest.approx([covariance[1, 1]])
    assert found.covariance == pytest.approx([covariance[1] @ now])


def test_a_steep_line_is_followed_and_a_stop_is_noticed():
    rng = np.random.default_rng(2)
    falling = -1.5 * np.arange(15) + rng.standard_normal(15)
    stopped = np.concatenate((falling, falling[-1] + rng.standard_normal(9)))

    assert slope_of(runs(falling, 1.0)) == pytest.approx(-1.5, abs=0.25)
    assert slope_of(runs(stopped, 1.0)) == pytest.approx(0.0, abs=0.3)


def test_one_slip_moves_no_run():
    y = np.random.default_rng(4).standard_normal(20)
    slipped = np.append(y, 9.0)

    found = runs(slipped, 1.0)
    again = runs(np.append(slipped, 0.3), 1.0)

    assert found.weight[np.abs(found.level) < 1.5].sum() > 0.3
    assert again.weight[np.abs(again.level) < 1.5].sum() > 0.9


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=25), st.floats(1e-6, 1e6))
def test_weights_are_a_distribution_whatever_was_read(values, variance):
    found = runs(np.array(values), variance).likelier_than(0.003)

    assert found.weight.sum() == pytest.approx(1.0)
    assert all(np.isfinite(column).all() for column in found)
    assert (found.level_variance >= 0).all()
    assert (found.slope_variance >= -1e-12 * variance).all()


@pytest.mark.parametrize("log", [False, True])
def test_a_level_that_moved_is_forecast_from_its_latest_readings_alone(log):
    state = start(StreamModel(log=log, sigma=0.02 if log else 2.0, ages=log))
    off = np.clip(np.arange(60) - 35, 0, None)  # of 24 readings since the level was last at 100
    noise = np.random.default_rng(1).standard_normal(60)
    y = 100.0 * np.exp(-0.045 * off + 0.02 * noise) if log else 100.0 - 2.5 * off + noise
    for value in y.tolist():
        state, _ = update(state, DriftReading(value, lower=30.0))  # reached after another 3 or 4

    found, course = model_forecast(state), courses(state)

    assert state.moved
    assert course.weight.sum() == pytest.approx(1.0)
    assert found.readings_p50 == pytest.approx(3.5, abs=2.0)
    assert found.risk_next_5 is not None
    assert found.risk_next_5 > 0.5


def test_a_reading_of_nothing_on_a_log_scale_is_no_trouble():
    state = start(StreamModel(log=True, sigma=0.2))
    rng = np.random.default_rng(3)
    for i in range(60):
        value = float(np.round(0.5 * math.exp(0.2 * rng.standard_normal() + 0.2 * max(0, i - 30)), 1))
        state, _ = update(state, DriftReading(0.0 if i == 55 else value, resolution=0.1, upper=500.0))

    assert state.moved
    assert np.isfinite(courses(state).level).all()


def stepped_and_wandering(seed: int) -> DriftState:
    """Return the state 25 readings after a step up: noise of standard deviation 1, half of it an AR(1) wander."""
    rng, n, memory = np.random.default_rng(seed), 90, 0.65
    kicks, wander = rng.standard_normal(n), np.zeros(n)
    for t in range(1, n):
        wander[t] = memory * wander[t - 1] + math.sqrt(1.0 - memory**2) * kicks[t]
    x = 50.0 + math.sqrt(0.5) * (wander + rng.standard_normal(n)) + np.where(np.arange(n) >= n - 25, 8.0, 0.0)
    state = start(StreamModel(log=False, sigma=1.0, wander=2.0))
    for value in x:
        state, _ = update(state, DriftReading(float(value)))
    return state


def test_wander_of_a_level_that_moved_is_not_taken_for_a_line():
    states = [state for state in map(stepped_and_wandering, range(12)) if state.moved]
    white = [replace(state, noise=state.noise._replace(ratio=state.noise.n_ratio)) for state in states]
    slopes, blind = (np.array([abs(c.weight @ c.slope) for c in map(courses, which)]) for which in (states, white))
    levels, at_face_value = (np.array([c.weight @ c.level for c in map(courses, which)]) for which in (states, white))

    assert len(states) >= 9
    assert all(state.noise.wander_ratio > 1.3 for state in states)
    # the level stays at 58: whatever slope is seen is wander
    assert slopes.mean() < 0.5 * blind.mean()
    assert np.abs(levels - 58.0).mean() < np.abs(at_face_value - 58.0).mean()
