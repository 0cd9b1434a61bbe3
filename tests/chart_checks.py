"""What must hold for every chart, run on every chart found in spc.charts."""

import importlib
import pkgutil
from typing import Any

import numpy as np
import pytest

import spc.charts
from spc.charts.shape import Chart, Plotted
from spc.errors import InputError

AnyChart = Chart[Any, Any]

N_BASELINE, N_AFTER = 30, 60


def discovered() -> dict[str, AnyChart]:
    """Return every chart that a module of spc.charts defines, by key."""
    found = {}
    for module in pkgutil.iter_modules(spc.charts.__path__):
        for value in vars(importlib.import_module(f"spc.charts.{module.name}")).values():
            if isinstance(value, Chart):
                found[value.key] = value
    return found


def readings_of(chart: AnyChart, rng: np.random.Generator, n: int, *, spread: float = 1.0):
    """Return readings that the chart takes, scattered `spread` times as widely as those of the baseline."""
    if chart.readings == "measured":
        return 50 + spread * rng.normal(0, 2, n)
    if chart.readings == "positive":
        return np.exp(rng.normal(0, 0.5 * spread, n))
    if chart.readings == "whole":
        return rng.geometric(0.05 if rng.random() < 0.5 else 0.3, n) * spread // 1
    inspected = rng.integers(20, 60, n)
    return np.column_stack([rng.binomial(inspected, min(0.2 * spread, 0.9)), inspected]).astype(float)


def one(chart: AnyChart, seed: int, *, spread: float = 3.0):
    """Return (baseline, limits, readings after it); some of the readings are beyond the limits."""
    rng = np.random.default_rng(seed)
    baseline = readings_of(chart, rng, N_BASELINE)
    return baseline, chart.limits(baseline), readings_of(chart, rng, N_AFTER, spread=spread)


def stepped(chart: AnyChart, limits: Any, readings: Any) -> list[Any]:
    """Return the points drawn one reading at a time."""
    state, points = chart.start(limits), []
    for x in readings:
        state = chart.update(state, x)
        assert state.point is not None
        points.append(state.point)
    return points


def values_and_limits(plotted: Plotted) -> np.ndarray:
    return np.column_stack([plotted.values, plotted.centre_line, plotted.lower, plotted.upper])


def signals_come_up(chart: AnyChart) -> None:
    """The readings of these checks do pass the limits: else the checks would show nothing."""
    sides = {int(side) for seed in range(20) for side in np.unique(chart.plot(*reversed(one(chart, seed)[1:])).side)}

    assert 1 in sides


def unit_change_moves_no_side(chart: AnyChart) -> None:
    if chart.readings in ("whole", "counted"):
        return  # a count has no unit to change
    for seed, (scale, shift) in enumerate([(1000.0, 0.0), (0.001, 0.0), (1.8, 32.0), (0.1, -500.0), (1.0, 1e6)]):
        shift = shift if chart.readings == "measured" else 0.0
        baseline, limits, after = one(chart, seed)

        before = chart.plot(after, limits)
        changed = chart.plot(scale * after + shift, chart.limits(scale * baseline + shift))

        np.testing.assert_array_equal(changed.side, before.side)


def input_is_untouched(chart: AnyChart) -> None:
    baseline, _, after = one(chart, 5)
    copies = baseline.copy(), after.copy()

    plotted = chart.plot(after, chart.limits(baseline))

    np.testing.assert_array_equal(baseline, copies[0])
    np.testing.assert_array_equal(after, copies[1])
    assert baseline.flags.writeable
    assert after.flags.writeable
    for name in ("values", "centre_line", "lower", "upper", "side"):
        column = getattr(plotted, name)
        assert not column.flags.writeable
        assert not np.shares_memory(column, after)


def constant_readings_are_drawn_without_a_signal(chart: AnyChart) -> None:
    for value in (7.0, 0.1, 1e9 + 0.1):
        constant = np.full((N_BASELINE, 2), (3.0, 40.0)) if chart.readings == "counted" else np.full(N_BASELINE, value)
        if chart.readings == "whole":
            constant = np.rint(constant)

        plotted = chart.plot(constant, chart.limits(constant))

        assert not plotted.side.any()
        assert not np.isnan(plotted.lower).any()
        assert np.isfinite(plotted.values[1:]).all()


def one_too_few_is_refused(chart: AnyChart) -> None:
    baseline, _, _ = one(chart, 6)

    chart.limits(baseline[: chart.at_least])
    with pytest.raises(InputError, match=f"at least {chart.at_least}"):
        chart.limits(baseline[: chart.at_least - 1])


def missing_readings_are_not_beyond(chart: AnyChart) -> None:
    baseline, limits, after = one(chart, 7)
    baseline[[0, 3, 9, N_BASELINE - 1]] = np.nan
    after[[0, 4, 5, N_AFTER - 1]] = np.nan

    plotted = chart.plot(after, limits)

    assert np.isnan(plotted.values[[0, 4, 5, N_AFTER - 1]]).all()
    assert not plotted.side[[0, 4, 5, N_AFTER - 1]].any()
    assert np.isfinite(plotted.values[[2, 7, 8]]).all()
    assert chart.limits(baseline).n_baseline == N_BASELINE - 4


def infinite_readings_are_refused(chart: AnyChart) -> None:
    for bad in (np.inf, -np.inf):
        baseline, limits, after = one(chart, 8)
        baseline[2], after[2] = bad, bad

        with pytest.raises(InputError):
            chart.limits(baseline)
        with pytest.raises(InputError):
            chart.plot(after, limits)
        with pytest.raises(InputError):
            stepped(chart, limits, after.tolist())


def batch_equals_step_at_every_prefix(chart: AnyChart) -> None:
    _, limits, after = one(chart, 9)
    after[[3, 17, 18]] = np.nan
    points = stepped(chart, limits, after.tolist())

    for n in range(N_AFTER + 1):
        plotted = chart.plot(after[:n], limits)
        assert len(plotted.side) == n
        if n:
            expected = np.array([(*p.values, p.centre_line, p.lower, p.upper) for p in points[:n]])
            np.testing.assert_array_equal(values_and_limits(plotted), expected)
            np.testing.assert_array_equal(plotted.side, [p.side for p in points[:n]])


def a_state_is_never_changed(chart: AnyChart) -> None:
    _, limits, after = one(chart, 10)
    state = chart.start(limits)

    first = repr(chart.update(state, after.tolist()[0]))  # repr: NaN equals itself in it
    chart.update(state, after.tolist()[1])

    assert repr(chart.update(state, after.tolist()[0])) == first
    assert repr(state) == repr(chart.start(limits))


def side_follows_from_the_values_drawn(chart: AnyChart) -> None:
    for seed in range(10):
        plotted = chart.plot(*reversed(one(chart, seed)[1:]))
        above = (plotted.values > plotted.upper[:, None]).any(axis=1)
        below = (plotted.values < plotted.lower[:, None]).any(axis=1)

        np.testing.assert_array_equal(plotted.side, np.where(above, 1, np.where(below, -1, 0)))


def a_reading_on_a_limit_is_not_a_signal(chart: AnyChart) -> None:
    """The reading is looked for by halving: the last that does not signal lies on the limit, the next beyond it."""
    if chart.readings == "counted":
        return  # tests/charts/test_attributes.py: a fraction cannot be moved by a hair
    _, limits, after = one(chart, 11, spread=0.5)
    state = chart.start(limits)
    for x in after.tolist()[:5]:
        state = chart.update(state, x)
    inside = float(np.median(after))

    def point(x: float) -> Any:
        return chart.update(state, float(round(x)) if chart.readings == "whole" else x).point

    outside = inside
    while point(outside).side != 1:
        outside = outside * 2 + 1
    while outside - inside > max(1e-13 * abs(outside), 0.9 if chart.readings == "whole" else 0):
        middle = (inside + outside) / 2
        inside, outside = (inside, middle) if point(middle).side == 1 else (middle, outside)
    on, beyond = point(inside), point(outside)

    assert on.side == 0
    assert beyond.side == 1
    nearest = min(abs(value - on.upper) for value in on.values)
    assert nearest <= (0 if chart.readings == "whole" else 2e-9 * (on.upper - on.centre_line))


CHECKS = (
    signals_come_up,
    unit_change_moves_no_side,
    input_is_untouched,
    constant_readings_are_drawn_without_a_signal,
    one_too_few_is_refused,
    missing_readings_are_not_beyond,
    infinite_readings_are_refused,
    batch_equals_step_at_every_prefix,
    a_state_is_never_changed,
    side_follows_from_the_values_drawn,
    a_reading_on_a_limit_is_not_a_signal,
)
