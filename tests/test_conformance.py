import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from spc.capability.indices import Specification
from spc.conformance import (
    CAUTION,
    guarded_acceptance,
    guarded_rejection,
    probability_of_conformance,
    probability_of_conformance_of_a_process,
    risks,
)
from spc.errors import InputError


def test_one_limit():
    """(limit - reading) / u of 0, 1, 1.645, 1.96, 2: JCGM 106, ISO 14253-1; values from memory, recomputed."""
    found = [probability_of_conformance(10 - k * 0.5, 0.5, Specification(upper=10)) for k in (0, 1, 1.645, 1.96, 2)]

    expected = [0.5, 0.8413447, 0.9500151, 0.9750021, 0.9772499]
    assert [c.probability for c in found] == pytest.approx(expected, abs=6e-8)
    mirrored = probability_of_conformance(10 + 2 * 0.5, 0.5, Specification(lower=10))
    assert mirrored.probability == pytest.approx(expected[-1], abs=6e-8)


def test_zener_example_of_jcgm_106():
    """Upper limit -5.40 V, reading -5.47 V, u = 0.05 V: probability 0.92 (JCGM 106:2012, clause 7, from memory)."""
    found = probability_of_conformance(-5.47, 0.05, Specification(upper=-5.40))

    assert found.probability == pytest.approx(0.92, abs=0.005)
    assert found.caution == CAUTION
    assert "Level 3" in CAUTION


def test_two_limits():
    found = probability_of_conformance(0.38, 0.02, Specification(0.1, 0.4))

    assert found.above == pytest.approx(stats.norm.sf(1.0), rel=1e-12)
    assert found.below == pytest.approx(stats.norm.cdf(-14.0), rel=1e-9)
    assert found.probability == pytest.approx(1 - found.above - found.below, rel=1e-12)
    assert found.best_estimate == 0.38


def test_a_known_process_pulls_the_reading_towards_its_mean():
    """Equal spreads: the best estimate is halfway, with u / sqrt 2."""
    found = probability_of_conformance_of_a_process(
        4.0, 1.0, Specification(upper=3.0), process_mean=0.0, process_sigma=1.0
    )

    assert found.best_estimate == pytest.approx(2.0)
    assert found.probability == pytest.approx(stats.norm.cdf(1.0 * math.sqrt(2)), rel=1e-12)
    assert probability_of_conformance(4.0, 1.0, Specification(upper=3.0)).probability < 0.2


def test_a_known_process_by_drawing():
    """Second way: 2 million true values and readings; those read near 3.5 conform as often; standard error 0.004."""
    rng = np.random.default_rng(3)
    true = rng.normal(2.0, 1.0, 2_000_000)
    read = true + rng.normal(0.0, 0.7, len(true))
    near = np.abs(read - 3.5) < 0.02
    found = probability_of_conformance_of_a_process(
        3.5, 0.7, Specification(0.0, 3.0), process_mean=2.0, process_sigma=1.0
    )

    assert found.probability == pytest.approx(np.mean((true[near] >= 0) & (true[near] <= 3)), abs=0.015)


def test_guard_band_of_one_limit():
    zone = guarded_acceptance(Specification(upper=100.0), 2.0)
    other = guarded_rejection(Specification(lower=10.0, upper=100.0), 2.0)

    assert zone.guard_band == pytest.approx(2 * 1.644853627, rel=1e-9)
    assert zone.lower is None
    assert zone.upper == pytest.approx(100 - 3.289707254)
    assert (other.lower, other.upper) == pytest.approx((10 - 3.289707254, 100 + 3.289707254))
    assert (zone.guards, other.guards) == ("acceptance", "rejection")


def test_a_guard_of_the_expanded_uncertainty():
    """ILAC-G8: a guard band of U = 2 u leaves a false acceptance below 2.5 % (2.28 %); from memory, recomputed."""
    zone = guarded_acceptance(Specification(upper=0.0), 1.0, probability=0.9772498681)

    assert zone.guard_band == pytest.approx(2.0, abs=1e-8)


@given(st.floats(0.01, 0.249))
def test_between_close_limits_the_edge_still_proves_what_is_stated(u):
    """Both tails count: the guard band grows beyond 1.645 u until only the middle is left (at u = half / 1.96)."""
    limits = Specification(0.0, 1.0)
    zone = guarded_acceptance(limits, u)
    assert zone.upper is not None
    assert zone.lower is not None

    assert probability_of_conformance(zone.upper, u, limits).probability >= 0.95 - 1e-9
    assert probability_of_conformance(zone.upper + 1e-3, u, limits).probability < 0.95
    assert zone.lower + zone.upper == pytest.approx(1.0)
    assert zone.guard_band >= 1.644853 * u


def test_limits_too_close_for_the_uncertainty_are_refused():
    guarded_acceptance(Specification(0.0, 1.0), 0.5 / 1.9600)
    with pytest.raises(InputError, match="no reading proves conformance with 95 %"):
        guarded_acceptance(Specification(0.0, 1.0), 0.5 / 1.9598)


@pytest.mark.parametrize("zone", [Specification(-2.0, 2.0), Specification(-1.6, 1.6), Specification(upper=1.0)])
@pytest.mark.parametrize("u", [0.5, 0.01])
def test_risks_agree_with_the_bivariate_normal_of_a_library(zone, u):
    """Second way: true value and reading are bivariate normal; scipy sums its quadrants."""
    limits = Specification(-2.0, 2.0)
    found = risks(limits, zone, u, process_mean=0.3, process_sigma=1.0)
    pair = stats.multivariate_normal([0.3, 0.3], [[1.0, 1.0], [1.0, 1.0 + u * u]])
    low = -50.0 if zone.lower is None else zone.lower
    both = pair.cdf([2.0, zone.upper], lower_limit=[-2.0, low], rng=np.random.default_rng(1))
    read = stats.norm(0.3, math.hypot(1.0, u))
    accepted = read.cdf(zone.upper) - read.cdf(low)
    conforming = stats.norm.cdf(1.7) - stats.norm.cdf(-2.3)

    assert found.conforming == pytest.approx(conforming, abs=1e-10)
    assert found.accepted == pytest.approx(accepted, abs=1e-10)
    assert found.consumer == pytest.approx(accepted - both, abs=2e-5)
    assert found.producer == pytest.approx(conforming - both, abs=2e-5)


def test_risks_by_drawing():
    """2 million pieces; standard error of a risk under 0.0001."""
    rng = np.random.default_rng(5)
    true = rng.normal(10.0, 1.0, 2_000_000)
    read = true + rng.normal(0.0, 0.3, len(true))
    bad, taken = true < 8.5, read >= 8.9
    found = risks(Specification(lower=8.5), Specification(lower=8.9), 0.3, process_mean=10.0, process_sigma=1.0)

    assert found.consumer == pytest.approx(np.mean(bad & taken), abs=0.0004)
    assert found.producer == pytest.approx(np.mean(~bad & ~taken), abs=0.0008)
    assert found.outside_given_accepted == pytest.approx(np.mean(bad[taken]), abs=0.0005)
    assert found.inside_given_rejected == pytest.approx(np.mean(~bad[~taken]), abs=0.004)


def test_a_guard_band_moves_risk_from_the_consumer_to_the_producer():
    limits = Specification(-2.0, 2.0)
    bare = risks(limits, limits, 0.4, process_mean=0.0, process_sigma=1.0)
    zone = guarded_acceptance(limits, 0.4)
    guarded = risks(limits, Specification(zone.lower, zone.upper), 0.4, process_mean=0.0, process_sigma=1.0)

    assert guarded.consumer < bare.consumer / 5
    assert guarded.producer > bare.producer * 3
    assert bare.caution == zone.caution == CAUTION


def test_nothing_accepted_has_no_share():
    limits = Specification(upper=1000.0)
    none = risks(Specification(upper=-1000.0), Specification(upper=-1000.0), 0.1, process_mean=0.0, process_sigma=1.0)
    everything = risks(limits, limits, 0.1, process_mean=0.0, process_sigma=1.0)

    assert none.outside_given_accepted is None
    assert none.accepted == 0.0
    assert everything.consumer == 0.0
    assert everything.accepted == pytest.approx(1.0)


@settings(max_examples=50)
@given(
    st.floats(-2.0, 2.0), st.floats(0.02, 1.0), st.sampled_from([0.01, 1.0, 1000.0]), st.floats(-5.0, 5.0)
)  # fmt: skip
def test_a_change_of_unit_changes_no_probability(reading, u, scale, shift):
    limits = Specification(-1.0, 1.5)
    moved = Specification(scale * (-1.0 + shift), scale * (1.5 + shift))
    before = probability_of_conformance(reading, u, limits)
    after = probability_of_conformance(scale * (reading + shift), scale * u, moved)
    one = risks(limits, limits, u, process_mean=reading, process_sigma=1.0)
    other = risks(moved, moved, scale * u, process_mean=scale * (reading + shift), process_sigma=scale)

    assert after.probability == pytest.approx(before.probability, abs=1e-7)
    assert (other.consumer, other.producer) == pytest.approx((one.consumer, one.producer), abs=1e-7)
    assert one.consumer + one.conforming <= 1 + 1e-9
    assert one.accepted - one.consumer + one.producer == pytest.approx(one.conforming, abs=1e-9)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda s: probability_of_conformance(float("nan"), 1.0, s), "the reading is nan"),
        (lambda s: probability_of_conformance(1.0, 0.0, s), "standard uncertainty is 0"),
        (lambda s: probability_of_conformance(1.0, float("inf"), s), "standard uncertainty is inf"),
        (lambda s: guarded_acceptance(s, -1.0), "standard uncertainty is -1"),
        (lambda s: guarded_acceptance(s, 1.0, probability=0.5), "more than even odds"),
        (lambda s: guarded_rejection(s, 1.0, probability=95), r"95 % as 0\.95"),
        (lambda s: risks(s, s, 1.0, process_mean=0.0, process_sigma=0.0), "process sigma is 0"),
        (lambda s: risks(s, s, 1.0, process_mean=float("inf"), process_sigma=1.0), "process mean is inf"),
    ],
)
def test_refuses(call, says):
    with pytest.raises(InputError, match=says):
        call(Specification(lower=0.0))
