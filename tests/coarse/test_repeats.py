"""How often rounding repeats a number: against exact sums, brute force and seeded simulation."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.coarse.repeats import (
    equal_run_chance,
    excess_chance,
    largest_chance,
    likely_noise,
    noise_by_ranges,
    on_steps,
    run_chance,
    written_step,
)
from spc.errors import InputError


@pytest.mark.parametrize(
    ("x", "step"),
    [
        ([0.175, 0.2, 0.225, 0.2], 0.025),
        ([0.23, 0.2, 0.21], 0.01),
        ([0.15, 0.2, 0.25], 0.05),
        ([4510, 4450, 3090], 10.0),
        ([7, 7, 6], 1.0),
        ([20.5, 21, 22.5], 0.5),
        ([1005, 1995, 2010], 5.0),
        ([-0.02, 0.01, 0.03], 0.01),
        ([25, 75, 50, 125], 25.0),
        ([1e-7, 3e-7], None),
        ([0.0, 0.0], None),
        ([], None),
    ],
)
def test_the_step_that_readings_are_written_in(x, step):
    assert written_step(x) == (step if step is None else pytest.approx(step, rel=1e-12))


def test_a_few_readings_in_another_unit_do_not_change_the_step():
    x = [*np.arange(20) * 0.1 + 0.2, 0.7432, 0.9290]

    assert written_step(x) == pytest.approx(0.1)


@given(st.integers(1, 10_000), st.sampled_from([0.01, 0.025, 0.05, 0.1, 0.5, 5.0, 10.0]))
def test_a_multiple_is_one_however_its_decimals_round(count, step):
    assert on_steps(np.array([count * step, (count + 0.4) * step]), step).tolist() == [True, False]


def brute_chance(sigma: float, apart: int | None) -> float:
    """Return the largest chance over 201 levels, each by the error function."""
    numbers = [0] if apart is None else [apart * k for k in range(-400, 401)]

    def cdf(z: float) -> float:
        return 0.5 * math.erfc(-z / math.sqrt(2))

    return max(
        sum(cdf((k + 0.5 - level) / sigma) - cdf((k - 0.5 - level) / sigma) for k in numbers)
        for level in np.linspace(-0.5 * (apart or 1), 0.5 * (apart or 1), 201)
    )


@pytest.mark.parametrize("sigma", [0.3, 1.0, 2.5])
@pytest.mark.parametrize("apart", [None, 2, 5, 10])
def test_no_level_favours_a_number_more_than_the_largest_chance(sigma, apart):
    assert float(largest_chance(sigma, apart)) == pytest.approx(brute_chance(sigma, apart), abs=1e-9)


def test_a_last_digit_of_fine_readings_comes_one_time_in_ten():
    assert float(largest_chance(8.0, 10)) == pytest.approx(0.1, abs=1e-4)


@pytest.mark.parametrize("sigma", [0.4, 1.0, 3.0])
def test_the_noise_is_found_again_from_the_share_of_equal_neighbours(sigma):
    rng = np.random.default_rng(11)
    level = 100 + rng.uniform(-0.5, 0.5, 20_000)
    x, y = (np.round(level + sigma * rng.standard_normal(20_000)) for _ in range(2))

    likely = likely_noise(int(np.sum(x == y)), 20_000)

    assert likely.shape == (64,)
    assert (np.diff(likely) >= 0).all()
    assert likely[0] < sigma * 1.03
    assert likely[-1] > sigma * 0.97
    assert float(np.median(likely)) == pytest.approx(sigma, rel=0.05)


def test_few_pairs_leave_the_noise_open():
    wide, narrow = likely_noise(2, 8), likely_noise(250, 1000)

    assert wide[-1] / wide[0] > 3 * narrow[-1] / narrow[0]


@pytest.mark.parametrize(("equal", "pairs"), [(-1, 5), (6, 5)])
def test_a_count_outside_its_pairs_is_refused(equal, pairs):
    with pytest.raises(InputError, match="give a count between 0 and the pairs"):
        likely_noise(equal, pairs)


@pytest.mark.parametrize("sigma", [1.5, 4.0])
def test_the_smaller_ranges_tell_the_noise_and_a_favourite_digit_does_not_bend_it(sigma):
    rng = np.random.default_rng(12)
    x = np.round(50 + sigma * rng.standard_normal(4000))
    favourite = np.where(rng.random(4000) < 0.4, 5 * np.round(x / 5), x)

    assert noise_by_ranges(x, 1.0) == pytest.approx(sigma, rel=0.1)
    assert noise_by_ranges(favourite, 1.0) == pytest.approx(sigma, rel=0.35)


def test_a_gap_between_readings_makes_no_range():
    assert noise_by_ranges([1.0, 1.0, np.nan, 100.0, 100.0], 1.0) == 0.0


def longest_run(x) -> int:
    edges = np.flatnonzero(np.concatenate([[True], np.diff(x) != 0, [True]]))
    return int(np.diff(edges).max())


@pytest.mark.parametrize(("sigma", "length"), [(0.5, 12), (1.0, 6), (3.0, 4)])
def test_runs_come_no_more_often_than_the_bound_and_not_much_less(sigma, length):
    """300 readings at the level that favours runs most, 4000 times; standard error below 0.008."""
    rng = np.random.default_rng(13)
    runs = np.array([longest_run(np.round(sigma * rng.standard_normal(300))) for _ in range(4000)])

    share, bound = float(np.mean(runs >= length)), equal_run_chance(length, 300, sigma)

    assert share <= bound + 0.03
    assert bound <= max(3 * share, share + 0.05) or bound == 1.0


@given(st.floats(0.2, 5.0), st.integers(3, 30))
def test_a_longer_run_is_less_likely_and_a_wider_noise_too(sigma, length):
    chance = equal_run_chance(length, 500, sigma)

    assert equal_run_chance(length + 1, 500, sigma) <= chance
    assert equal_run_chance(length, 500, 1.2 * sigma) <= chance + 1e-12


def test_likely_values_of_the_noise_are_averaged():
    one, two = equal_run_chance(8, 50, 1.0), equal_run_chance(8, 50, 2.0)

    assert equal_run_chance(8, 50, [1.0, 2.0]) == pytest.approx((one + two) / 2)


def test_a_run_of_a_kind_has_its_chance_from_every_start():
    assert run_chance(5, 20, 0.5) == pytest.approx(16 * 0.5**5)
    assert run_chance(1, 20, 0.5) == 1.0


def test_an_excess_is_a_binomial_tail():
    # Handbook value: at least 8 of 10 at one half, 56 of 1024 (exact count).
    assert excess_chance(8, 10, 0.5) == pytest.approx(56 / 1024, rel=1e-12)
    assert excess_chance(0, 10, 0.5) == 1.0
    assert excess_chance(8, 10, [0.5, 1.0]) == pytest.approx((56 / 1024 + 1) / 2, rel=1e-12)
