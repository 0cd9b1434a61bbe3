"""When did it start: against published dates, brute force and simulation."""

import math
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.changepoint import DriftOnset, LevelChanges, StepChange, drift_onset, level_changes, step_change
from spc.errors import InputError

FIRST_YEAR = 1871


@pytest.fixture(scope="module")
def nile() -> np.ndarray:
    """Annual flow of the Nile at Aswan 1871 to 1970, 1e8 m3 (statsmodels.datasets.nile)."""
    from statsmodels.datasets import nile as data  # type: ignore[import-untyped]  # statsmodels has no stubs

    return np.array(data.load_pandas().data["volume"], dtype=np.float64)


def seeded(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


# Cobb, G. W. (1978), Biometrika 65, 243-251, and the page of the R data set: a change near 1898, the year that ends the
# old level. The other figures were recomputed by profile likelihood over all splits, 6 places.
def test_nile_changes_after_1898(nile):
    found = step_change(nile, generator=seeded())

    assert found.when.index == 28
    assert FIRST_YEAR + found.when.index - 1 == 1898
    assert found.before == pytest.approx(1097.75)
    assert found.after == pytest.approx(849.972222, abs=6e-7)
    assert found.when.sigma == pytest.approx(127.673739, abs=6e-7)
    assert found.when.sigma * math.sqrt(98 / 100) == pytest.approx(126.390553, abs=6e-7)
    assert found.when.statistic == pytest.approx(57.368412, abs=6e-7)
    assert found.when.p_value == pytest.approx(1 / 2001)
    assert 28 in found.when.index_set
    assert set(found.when.index_set) <= set(range(24, 33))


# The manual of a general regression library prints for the Nile, with at least 15 years on each level and by the method
# of Bai, J. and Perron, P. (2003), Journal of Applied Econometrics 18, 1-22: the last years of the old levels, and the
# residual sums of squares 1597457 (one move), 1552924 (two) and 1507888 (four). From memory.
@pytest.mark.parametrize(
    ("penalty", "years", "squares"),
    [(60_000, (1898,), 1597457), (30_000, (1898, 1953), 1552924), (10_000, (1898, 1915, 1938, 1953), 1507888)],
)
def test_nile_has_the_published_segments(nile, penalty, years, squares):
    found = level_changes(nile, sigma=1, penalty=penalty, shortest=15)

    assert tuple(FIRST_YEAR + index - 1 for index in found.indices) == years
    assert found.cost - penalty * len(years) == pytest.approx(squares, abs=1)


def squares_around(parts: list[np.ndarray]) -> float:
    return sum(float(((part - part.mean()) ** 2).sum()) for part in parts if len(part))


READINGS = st.lists(st.floats(-50, 50), min_size=5, max_size=25).filter(lambda x: max(x) - min(x) > 1e-3)


@settings(max_examples=60, deadline=None)
@given(READINGS)
def test_a_step_is_dated_by_least_squares(readings):
    x = np.array(readings)
    squares = [squares_around([x[:i], x[i:]]) for i in range(1, len(x))]

    found = step_change(x, generator=seeded(), draws=100)

    assert squares[found.when.index - 1] == pytest.approx(min(squares), abs=1e-9 * squares_around([x]))
    assert found.before == pytest.approx(x[: found.when.index].mean(), abs=1e-9)
    assert found.after == pytest.approx(x[found.when.index :].mean(), abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(READINGS, st.floats(-20, 20))
def test_a_step_from_a_known_level_is_dated_by_least_squares(readings, centre):
    x = np.array(readings)
    squares = [float(((x[:i] - centre) ** 2).sum()) + squares_around([x[i:]]) for i in range(len(x))]

    found = step_change(x, generator=seeded(), draws=100, centre_line=centre, sigma=2.0)

    assert squares[found.when.index] == pytest.approx(min(squares), abs=1e-9 * (1 + max(squares)))
    assert found.before == centre
    none = float(((x - centre) ** 2).sum())
    assert found.when.statistic == pytest.approx((none - min(squares)) / 4, abs=1e-6 * (1 + none))
    assert found.when.sigma == 2.0


@settings(max_examples=40, deadline=None)
@given(READINGS)
def test_a_drift_is_dated_by_least_squares(readings):
    x = np.array(readings)
    fits = {}
    for index in range(1, len(x)):
        design = np.column_stack((np.ones(len(x)), np.maximum(np.arange(len(x)) - index + 1, 0)))
        coefficients = np.linalg.lstsq(design, x, rcond=None)[0]
        fits[index] = float(((x - design @ coefficients) ** 2).sum()), coefficients

    found = drift_onset(x, generator=seeded(), draws=100)

    squares, (before, slope) = fits[found.when.index]
    assert squares == pytest.approx(min(s for s, _ in fits.values()), abs=1e-8 * squares_around([x]))
    assert (found.before, found.slope) == pytest.approx((before, slope), abs=1e-7)


def test_a_drift_without_scatter_is_found_to_the_reading():
    x = 10 + 0.5 * np.maximum(np.arange(30) - 11, 0)

    found = drift_onset(x, generator=seeded())

    assert found.when.index == 12  # the first reading off the level
    assert found.when.index_set == (12,)
    assert (found.before, found.slope) == pytest.approx((10, 0.5))
    assert found.when.statistic == math.inf
    assert found.when.sigma == 0


def test_a_step_without_scatter_is_found_to_the_reading():
    """A settling tube read to whole divisions: nothing but the step is left to explain."""
    found = step_change([0.2, 0.2, 0.2, 0.2, 0.3, 0.3, 0.3], generator=seeded())

    assert found.when.index == 4
    assert found.when.index_set == (4,)
    assert found.when.statistic == math.inf
    assert (found.before, found.after) == pytest.approx((0.2, 0.3))


def test_from_a_known_level_all_readings_may_be_off():
    x = 3 + 0.1 * seeded(4).standard_normal(12)

    step = step_change(x, generator=seeded(), centre_line=0.0, sigma=0.1)
    drift = drift_onset(np.arange(1, 13.0), generator=seeded(), centre_line=0.0, sigma=0.1)

    assert step.when.index == 0
    assert step.when.index_set == (0,)
    assert drift.when.index == 0
    assert drift.slope == pytest.approx(1)


def squares_of_splits(y: np.ndarray) -> np.ndarray:
    """Return the squares around the levels either side of each split of each row, shape (n - 1, rows)."""
    n = y.shape[1]
    return np.array([i * y[:, :i].var(axis=1) + (n - i) * y[:, i:].var(axis=1) for i in range(1, n)])


def conditional_p_value(x: np.ndarray, date: int, sigma: float | None, draws: int) -> float:
    """Siegmund's conditional test of one date of a step, written out: keep levels and scatter, draw the rest anew."""

    def around(y: np.ndarray) -> np.ndarray:
        before, after = y[:, :date], y[:, date:]
        return np.hstack((before - before.mean(axis=1, keepdims=True), after - after.mean(axis=1, keepdims=True)))

    def statistic(y: np.ndarray) -> np.ndarray:
        squares = squares_of_splits(y)
        here, least = squares[date - 1], squares.min(axis=0)
        return np.asarray((here - least) / sigma**2 if sigma else len(x) * np.log(here / least))

    scatter = around(x[None, :])
    noise = around(seeded(99).standard_normal((draws, len(x))))
    kept = sigma or np.sqrt((scatter**2).sum() / (noise**2).sum(axis=1, keepdims=True))
    return float((statistic(x - scatter + kept * noise) >= statistic(x[None, :])).mean())


@pytest.mark.parametrize("seed", [3, 6, 10, 11])
@pytest.mark.parametrize("sigma", [None, 1.0])
def test_the_set_holds_the_dates_that_the_conditional_test_keeps(sigma, seed):
    x = seeded(seed).standard_normal(18)
    x[11:] += 1.2
    p_values = {date: conditional_p_value(x, date, sigma, 20_000) for date in range(1, 18)}

    found = step_change(x, generator=seeded(), sigma=sigma, confidence=0.9)

    assert len(found.when.index_set) > 1
    error = 4 * math.sqrt(0.1 * 0.9 / 2000)
    for date, p in p_values.items():
        if p > 0.1 + error:
            assert date in found.when.index_set
        if p < 0.1 - error:
            assert date not in found.when.index_set


@pytest.mark.parametrize(
    ("change", "known", "size", "confidence"),
    [
        (step_change, {}, 1.0, 0.9),
        (step_change, {"sigma": 1.0, "centre_line": 0.0}, 1.0, 0.9),
        (step_change, {"sigma": 1.0}, 0.3, 0.8),
        (drift_onset, {}, 0.15, 0.9),
        (drift_onset, {"sigma": 1.0, "centre_line": 0.0}, 0.1, 0.8),
    ],
)
def test_the_set_covers_the_true_date_as_often_as_it_says(monkeypatch, change, known, size, confidence):
    monkeypatch.setattr("spc.changepoint.COVERAGE_RUNS", 1)
    generator = seeded(21)
    n, true, runs = 40, 25, 400
    steps = np.maximum(np.arange(n) - true + 1, 0)
    pattern = size * (np.minimum(steps, 1) if change is step_change else steps)
    covered = sum(
        true
        in change(
            pattern + generator.standard_normal(n), generator=generator, draws=200, confidence=confidence, **known
        ).when.index_set
        for _ in range(runs)
    )

    error = math.sqrt(confidence * (1 - confidence) / runs)
    assert covered / runs > confidence - 4 * error
    assert covered / runs < confidence + 4 * error + 0.02  # a date counts whole, so the set may hold one too many


def test_the_reported_coverage_is_that_of_readings_like_these(monkeypatch):
    x = seeded(5).standard_normal(30)
    x[12:] += 1.5
    found = step_change(x, generator=seeded(6), confidence=0.8, draws=1000)
    monkeypatch.setattr("spc.changepoint.COVERAGE_RUNS", 1)
    generator = seeded(7)
    fitted = np.where(np.arange(30) < found.when.index, found.before, found.after)

    sets = [
        step_change(
            fitted + found.when.sigma * generator.standard_normal(30), generator=generator, confidence=0.8, draws=200
        ).when.index_set
        for _ in range(400)
    ]

    covered = sum(found.when.index in dates for dates in sets) / len(sets)
    assert abs(covered - found.when.coverage) < 4 * math.hypot(found.when.coverage_error, 0.02)
    assert 0.75 < found.when.coverage < 0.9
    assert 0.01 < found.when.coverage_error < 0.03


def test_the_date_is_exact_as_often_as_hinkley_says(monkeypatch):
    """Hinkley (1970): levels known, the chance is exp(-2 sum P(S_n > 0) / n) by Spitzer's identity."""
    monkeypatch.setattr("spc.changepoint.COVERAGE_RUNS", 1)
    size, n, true, runs = 2.0, 60, 25, 500
    ever = sum(math.erfc(size * math.sqrt(k) / (2 * math.sqrt(2))) / 2 / k for k in range(1, 200))
    expected = math.exp(-2 * ever)
    generator = seeded(13)
    noise = generator.standard_normal((runs, n))
    noise[:, true:] += size

    exact = sum(
        step_change(x, generator=generator, sigma=1.0, centre_line=0.0, draws=100).when.index == true for x in noise
    )

    assert expected == pytest.approx(0.641, abs=0.001)
    assert abs(exact / runs - expected) < 4 * math.sqrt(expected * (1 - expected) / runs) + 0.01  # one level is fitted


@pytest.mark.parametrize("change", [step_change, drift_onset])
@pytest.mark.parametrize("sigma", [None, 1.0])
def test_without_a_change_its_p_value_is_uniform(monkeypatch, change, sigma):
    monkeypatch.setattr("spc.changepoint.COVERAGE_RUNS", 1)
    generator = seeded(31)

    p_values = np.sort(
        [
            change(generator.standard_normal(25), generator=generator, sigma=sigma, draws=200).when.p_value
            for _ in range(300)
        ]
    )

    distance = np.abs(p_values - np.arange(1, 301) / 300).max()  # Kolmogorov's, 0.1 % point 1.95 / sqrt(n)
    assert distance < 1.95 / math.sqrt(300)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0.01, 100), st.floats(-1e3, 1e3))
def test_a_change_of_unit_changes_no_date(seed, scale, shift):
    x = seeded(seed).standard_normal(20)
    x[11:] += 1.5

    for change in (step_change, drift_onset):
        before = change(x, generator=seeded(), draws=200).when
        after = change(shift + scale * x, generator=seeded(), draws=200).when
        assert after.index == before.index
        assert after.index_set == before.index_set
        assert after.statistic == pytest.approx(before.statistic, rel=1e-6)
        assert after.sigma == pytest.approx(scale * before.sigma, rel=1e-6)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_a_step_backwards_is_the_same_step(seed):
    x = seeded(seed).standard_normal(18)

    forwards, backwards = (step_change(y, generator=seeded(), draws=100) for y in (x, x[::-1]))

    assert backwards.when.index == len(x) - forwards.when.index
    assert backwards.when.statistic == pytest.approx(forwards.when.statistic, rel=1e-9)


def test_a_huge_offset_hides_no_step():
    x = seeded(3).standard_normal(40)
    x[22:] += 2

    plain, offset = (step_change(y, generator=seeded()) for y in (x, x + 1e9))

    assert offset.when.index == plain.when.index
    assert offset.when.index_set == plain.when.index_set
    assert offset.after - offset.before == pytest.approx(plain.after - plain.before, abs=1e-6)


def test_the_same_seed_gives_the_same_answer():
    x = seeded(2).standard_normal(30)

    assert step_change(x, generator=seeded(5)) == step_change(x, generator=seeded(5))


def all_segmentations(x: np.ndarray, sigma: float, penalty: float, shortest: int) -> dict[tuple[int, ...], float]:
    costs = {}
    for moves in range(len(x)):
        for indices in combinations(range(1, len(x)), moves):
            edges = [0, *indices, len(x)]
            if min(b - a for a, b in pairwise(edges)) >= shortest:
                costs[indices] = squares_around([x[a:b] for a, b in pairwise(edges)]) / sigma**2 + penalty * moves
    return costs


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.sampled_from([0.0, 0.5, 1.0, 3.0, 3.5, -2.0, 7.25]), min_size=2, max_size=10),
    st.floats(0, 12),
    st.integers(1, 4),
    st.floats(0.5, 2),
)
def test_the_search_finds_the_least_cost_of_all_segmentations(readings, penalty, shortest, sigma):
    x = np.array(readings)
    costs = all_segmentations(x, sigma, penalty, min(shortest, len(x)))

    found = level_changes(x, sigma=sigma, penalty=penalty, shortest=min(shortest, len(x)))

    assert found.cost == pytest.approx(min(costs.values()), abs=1e-8)
    if len(set(readings)) > 1:
        assert costs[found.indices] == pytest.approx(found.cost, abs=1e-8)
    edges = [0, *found.indices, len(x)]
    assert found.levels == pytest.approx([x[a:b].mean() for a, b in pairwise(edges)])


def unpruned(x: np.ndarray, penalty: float, shortest: int) -> float:
    """Optimal partitioning without striking anything out, sigma 1."""
    least = [-penalty] + [math.inf] * len(x)
    for stop in range(shortest, len(x) + 1):
        least[stop] = penalty + min(
            least[start] + squares_around([x[start:stop]]) for start in range(stop - shortest + 1)
        )
    return least[-1]


@pytest.mark.parametrize("shortest", [1, 2, 5])
@pytest.mark.parametrize("penalty", [1.0, 9.0])
def test_striking_out_starts_loses_nothing(shortest, penalty):
    x = seeded(17).standard_normal(120)
    for index, move in ((20, 2.0), (33, -3.0), (70, 1.0), (74, 4.0), (100, -4.0)):
        x[index:] += move

    found = level_changes(x, sigma=1, penalty=penalty, shortest=shortest)

    assert found.cost == pytest.approx(unpruned(x, penalty, shortest), rel=1e-12)
    assert len(found.indices) >= 3


def test_several_moves_are_found_with_default_settings():
    x = 2500 + 30 * seeded(41).standard_normal(300)
    x[100:] -= 150
    x[220:] += 300

    found = level_changes(x)

    assert found.indices == (100, 220)
    assert found.levels == pytest.approx([2500, 2350, 2650], abs=10)
    assert found.sigma == pytest.approx(30, rel=0.1)  # from moving ranges: the moves hardly widen it
    assert found.penalty == pytest.approx(2 * math.log(300))


def test_a_steady_history_rarely_shows_a_move():
    generator = seeded(43)

    moved = sum(bool(level_changes(generator.standard_normal(100), sigma=1).indices) for _ in range(200))

    assert moved / 200 < 0.2


def test_a_constant_history_has_one_level():
    assert level_changes([5.0, 5.0, 5.0]) == LevelChanges(
        "exact penalised search", (), (5.0,), 0.0, 2 * math.log(3), 0.0, 3
    )


def test_readings_are_left_as_they_were():
    x = np.array([1.0, 1.2, 0.9, 3.1, 3.0, 2.9])
    kept = x.copy()

    assert isinstance(step_change(x, generator=seeded(), draws=100), StepChange)
    assert isinstance(drift_onset(x, generator=seeded(), draws=100), DriftOnset)
    assert level_changes(x).n == 6
    assert (x == kept).all()


@pytest.mark.parametrize("change", [step_change, drift_onset])
@pytest.mark.parametrize(
    ("readings", "known", "says"),
    [
        ([1, 2, 3], {}, "3 readings given; at least 4"),
        ([1, 2, math.nan, 4], {}, "reading 2 is nan"),
        ([7, 7, 7, 7], {}, "all 4 readings are 7.0; there is no change"),
        ([7, 7, 7, 7], {"centre_line": 7}, "there is no change"),
        (range(2001), {}, "2001 readings given"),
        ([1, 2, 3, 4], {"sigma": 0}, "sigma is 0"),
        ([1, 2, 3, 4], {"sigma": math.inf}, "sigma is inf"),
        ([1, 2, 3, 4], {"centre_line": math.nan}, "centre line is nan"),
        ([1, 2, 3, 4], {"confidence": 1}, "confidence is 1"),
        ([1, 2, 3, 4], {"confidence": 0.2}, "confidence is 0.2"),
        ([1, 2, 3, 4], {"draws": 10}, "10 draws"),
    ],
)
def test_one_change_refuses(change, readings, known, says):
    with pytest.raises(InputError, match=says):
        change(readings, generator=seeded(), **known)


@pytest.mark.parametrize(
    ("readings", "chosen", "says"),
    [
        ([1], {}, "1 readings given"),
        ([1, math.inf, 2], {}, "reading 1 is inf"),
        ([1, 2, 3], {"sigma": -1}, "sigma is -1"),
        ([1, 2, 3], {"penalty": -1}, "penalty is -1"),
        ([1, 2, 3], {"penalty": math.nan}, "penalty is nan"),
        ([1, 2, 3], {"shortest": 0}, "shortest level is 0"),
        ([1, 2, 3], {"shortest": 4}, "shortest level is 4"),
    ],
)
def test_several_changes_refuse(readings, chosen, says):
    with pytest.raises(InputError, match=says):
        level_changes(readings, **chosen)
