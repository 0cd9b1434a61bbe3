"""Review of a baseline."""

import math

import numpy as np
import pytest
from numpy.typing import ArrayLike

from spc.arrays import FloatArray
from spc.baseline import (
    FEWEST,
    RISK,
    BaselineReview,
    copied_runs,
    review_baseline,
    screened_sigma,
    wild_readings,
)
from spc.charts.individuals import individuals_limits
from spc.errors import InputError
from tests.test_autocorrelation import stream


def sound(seed: int, n: int = 20, sigma: float = 0.015, resolution: float = 0.01) -> FloatArray:
    x = np.random.default_rng(seed).normal(0.21, sigma, n)
    rounded: FloatArray = np.round(x / resolution) * resolution
    return rounded


def review(x: ArrayLike, *, resolution: float | None = None, seed: int = 1) -> BaselineReview:
    return review_baseline(x, generator=np.random.default_rng(seed), resolution=resolution)


def test_a_sound_baseline_is_left_in_peace():
    found = review(sound(3), resolution=0.01)

    assert found.sound
    assert found.left_in.all()
    assert found.limits == found.limits_if_followed == individuals_limits(sound(3), resolution=0.01)


@pytest.mark.parametrize("n", [10, 20, 50])
def test_sound_baselines_seldom_have_a_reading_called_wild(n):
    # The bound is set for one sound baseline in twenty. Seeded: 300 baselines, three standard errors.
    rng = np.random.default_rng(n)
    called = [any(wild_readings(x, None)) for x in rng.normal(0, 1, (300, n))]

    assert np.mean(called) <= RISK + 3 * math.sqrt(RISK * (1 - RISK) / len(called))


def test_sound_baselines_seldom_meet_any_objection():
    # Wild 5 %, step or drift 1 % each, copies and autocorrelation below 1 %. Seeded: 25 baselines.
    objected = [not review(sound(seed), resolution=0.01, seed=seed).sound for seed in range(25)]

    assert sum(objected) <= 6  # binomial: one in five hundred at 8 %


def test_a_wild_reading_is_proposed_and_still_in_the_limits():
    x = sound(4)
    x[7] = 2.1  # a decimal point in the wrong place
    found = review(x, resolution=0.01)

    assert [(p.indices, p.reason) for p in found.proposals] == [((7,), "wild")]
    assert "2.1 lies" in found.proposals[0].sentence
    assert "above the readings around it" in found.proposals[0].sentence
    assert found.limits == individuals_limits(x, resolution=0.01)
    assert found.limits_if_followed is not None
    assert found.limits_if_followed.n_baseline == 19
    assert found.limits_if_followed.upper < 0.35 < found.limits.upper


def test_two_wild_readings_do_not_hide_each_other():
    x = sound(5)
    x[[6, 14]] = 0.9, 0.9
    found = review(x, resolution=0.01)

    assert sorted(i for p in found.proposals for i in p.indices) == [6, 14]


def test_copied_readings_are_proposed_but_for_the_first():
    x = np.round(np.random.default_rng(6).normal(2500, 60, 24) / 10) * 10
    x[9:17] = x[9]
    found = review(x, resolution=10.0)
    copied = [p for p in found.proposals if p.reason == "copied"]

    assert [p.indices for p in copied] == [tuple(range(10, 17))]
    assert "written 8 times in a row" in copied[0].sentence


def test_equal_readings_that_rounding_explains_are_no_copies():
    # sigma 0.015 mL read in steps of 0.05 mL: most successive readings are alike.
    called = 0
    for seed in range(300):
        x = sound(seed, n=30, sigma=0.015, resolution=0.05)
        called += int(np.ptp(x) > 0 and any(copied_runs(x, 0.05)))

    assert called <= 9  # at most 1 % expected; three standard errors


def test_a_step_makes_two_baselines():
    x = sound(8, n=24)
    x[:7] += 0.08
    found = review(x, resolution=0.01)

    assert [(p.indices, p.reason) for p in found.proposals] == [(tuple(range(7)), "other_level")]
    assert "the 7 first readings belong to another level" in found.proposals[0].sentence
    assert found.limits_if_followed is not None
    assert found.limits_if_followed.n_baseline == 17


def test_a_drift_is_a_concern_that_leaving_out_does_not_cure():
    x = sound(9, n=30) - 0.006 * np.arange(30)
    found = review(x, resolution=0.01)

    assert [p.reason for p in found.proposals] == []
    assert len(found.concerns) == 1
    assert "drift by -0.00" in found.concerns[0]


def test_readings_that_follow_each_other_are_a_concern():
    found = review(stream(0.7, 120, seed=12))

    assert any("each reading follows the one before" in concern for concern in found.concerns)


def test_missing_readings_keep_their_place():
    x = sound(4)
    x[[2, 3]] = np.nan
    x[7] = 2.1
    found = review(x, resolution=0.01)

    assert found.n == 18
    assert [p.indices for p in found.proposals] == [(7,)]
    assert not found.left_in[[2, 3, 7]].any()


def test_constant_readings_say_nothing_of_the_scatter():
    found = review([0.2] * 12, resolution=0.05)

    assert not found.proposals
    assert found.concerns == ("all 12 readings are 0.2: they say nothing of the scatter",)


def test_nothing_is_changed_by_a_review():
    x = sound(4)
    x[7] = 2.1
    before = x.copy()
    review(x, resolution=0.01)

    np.testing.assert_array_equal(x, before)


def test_a_wild_reading_does_not_widen_the_screened_sigma():
    x = np.random.default_rng(2).normal(0, 1, 200)
    wild = x.copy()
    wild[50] = 40.0

    assert screened_sigma(x, None) == pytest.approx(0.97, abs=0.1)
    assert screened_sigma(wild, None) == pytest.approx(screened_sigma(x, None), rel=0.02)


@pytest.mark.parametrize(
    ("x", "says"),
    [
        ([1.0] * (FEWEST - 1), "at least 8"),
        ([1.0, 2.0] * 3 + [math.nan] * 4, "6 readings given; at least 8"),
        ([1.0, 2.0, math.inf] * 4, "reading 2 is inf"),
    ],
)
def test_refuses(x, says):
    with pytest.raises(InputError, match=says):
        review(x)
