"""The compiled rules and limits against the plain ones, which are the reference: equal to the bit."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.charts.individuals import individuals_limits
from spc.errors import InputError
from spc.kernels import LONGEST_WINDOW, limits_of_many, rule_hits_of_many
from spc.kernels.limits import MOST_PARTIALS, exact_sum, with_term
from spc.rules import ALL_EIGHT, HIGH, LOW, RULES, RuleSetting, in_sigmas, run_rules

WILD = st.floats(-1e200, 1e200) | st.floats(-3, 3) | st.sampled_from([0.1, 0.2, 0.3, 1e100, -1e100, 5e-324])
RULE_CHOICE = (
    *ALL_EIGHT,
    RuleSetting("near_limit", count=3, window=7, width=1.5),
    RuleSetting("off_centre", count=20, window=LONGEST_WINDOW, width=0.2),
    RuleSetting("one_side", count=LONGEST_WINDOW, window=LONGEST_WINDOW, width=0),
)


@given(st.lists(WILD, max_size=60))
def test_the_sum_is_that_of_the_standard_library(terms):
    partials, m = np.empty(MOST_PARTIALS), 0
    for term in terms:
        m = with_term(partials, m, term)

    assert exact_sum(partials, m) == math.fsum(terms)


def made_segments(rng: np.random.Generator, sizes: list[int]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return rounded readings that now and then move, and where each segment starts and stops."""
    n = sum(sizes)
    moved = np.repeat(rng.normal(0, 1.5, n // 17 + 1) * (rng.random(n // 17 + 1) < 0.3), 17)[:n]
    x = np.round(rng.normal(10, 1, n) + moved, int(rng.integers(0, 4)))
    x[rng.random(n) < 0.1] = 10.0
    stop = np.cumsum(sizes)
    return x, stop - sizes, stop


def plain_hits(x, bound, first, stop, chosen, centre, sigma, monitored, most):
    """Return what the plain rules give for each segment alone, as (index, rule, side)."""
    hits = []
    for a, b, c, s, since, limit in zip(first, stop, centre, sigma, monitored, most, strict=True):
        z = in_sigmas(x[a:b], c, s)
        low = np.where((bound[a:b] < 0) & ~np.isnan(z), -np.inf, z)
        high = np.where((bound[a:b] > 0) & ~np.isnan(z), np.inf, z)
        found = run_rules(low, high, chosen)
        hits += [
            (a + int(i), int(rule), int(side))
            for i, rule, side in zip(found.index, found.rule, found.side, strict=True)
            if a + i >= since
        ]
        for i in range(max(a + 1, since), b):
            if abs(x[i] - x[i - 1]) > limit + s / 1e9 and bound[i] == bound[i - 1] == 0:
                hits.append((i, len(chosen), HIGH if x[i] > x[i - 1] else LOW))
    return sorted(hits, key=lambda hit: hit[:2])


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 2**32), st.lists(st.integers(0, 200), max_size=6), st.lists(st.sampled_from(RULE_CHOICE)))
def test_many_segments_give_what_each_gives_alone(seed, sizes, chosen):
    rng = np.random.default_rng(seed)
    x, first, stop = made_segments(rng, sizes)
    bound = rng.choice([-1, 0, 1], len(x), p=[0.02, 0.96, 0.02]).astype(np.int8) * int(rng.integers(0, 2))
    x[(rng.random(len(x)) < 0.02) & (rng.random() < 0.5)] = np.nan
    centre = 10 + rng.normal(0, 0.3, len(sizes))
    sigma = rng.choice([0.0, 0.5, 1.0], len(sizes), p=[0.1, 0.3, 0.6])
    monitored = first + rng.integers(0, 70, len(sizes))
    most = np.where(rng.random(len(sizes)) < 0.5, 3.686 * sigma, np.inf)

    hits = rule_hits_of_many(
        x, first, stop, chosen, centre_line=centre, sigma=sigma, monitored=monitored, bound=bound,
        moving_range_upper=most,
    )  # fmt: skip

    assert list(zip(hits.index.tolist(), hits.rule.tolist(), hits.side.tolist(), strict=True)) == plain_hits(
        x, bound, first.tolist(), stop.tolist(), chosen, centre, sigma, monitored.tolist(), most
    )


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 2**32), st.lists(st.integers(2, 60), min_size=1, max_size=5))
def test_limits_of_many_are_those_of_each_baseline(seed, sizes):
    rng = np.random.default_rng(seed)
    x, first, stop = made_segments(rng, sizes)
    step = rng.choice([np.nan, 0.1, 9.0], len(sizes))

    found = limits_of_many(x, first, stop, step=step)

    for i, (a, b) in enumerate(zip(first, stop, strict=True)):
        alone = individuals_limits(x[a:b], resolution=None if np.isnan(step[i]) else float(step[i]))
        assert {name: getattr(found, name)[i].item() for name in found.__slots__} == {
            name: getattr(alone, name) for name in found.__slots__
        }


def test_a_baseline_of_one_reading_has_no_limits():
    found = limits_of_many([1.0, 2.0, 3.0], [0, 1], [1, 3], step=[np.nan, np.nan])

    assert np.isnan(found.sigma).tolist() == [True, False]


@pytest.mark.parametrize("key", RULES)
def test_every_rule_of_the_table_has_a_compiled_form(key):
    chosen, turns = [RULES[key].default], np.tile([-1.5, 1.5], 20)
    z = np.concatenate((np.full(20, 0.5), turns, np.linspace(-4, 4, 30), np.random.default_rng(8).normal(0, 1.5, 400)))

    hits = rule_hits_of_many(z, [0], [len(z)], chosen, centre_line=[0.0], sigma=[1.0], monitored=[0])
    plain = run_rules(in_sigmas(z, 0.0, 1.0), in_sigmas(z, 0.0, 1.0), chosen)

    assert hits.index.tolist() == plain.index.tolist() != []
    assert hits.side.tolist() == plain.side.tolist()


def test_many_hits_are_all_kept():
    n = 20_000
    x = np.tile([0.0, 10.0], n // 2)

    hits = rule_hits_of_many(x, [0], [n], ALL_EIGHT, centre_line=[5.0], sigma=[1.0], monitored=[0])
    alone = run_rules(in_sigmas(x, 5.0, 1.0), in_sigmas(x, 5.0, 1.0), ALL_EIGHT)

    assert hits.index.tolist() == alone.index.tolist()
    assert hits.rule.tolist() == alone.rule.tolist()


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"chosen": [RuleSetting("one_side", count=65, window=65, width=0)]}, "looks back 65 readings"),
        ({"first": [2, 0], "stop": [4, 2]}, "must be in order"),
        ({"first": [0, 2], "stop": [2, 9]}, "outside the 4 readings"),
        ({"sigma": [1.0]}, "one value for each of the 2 segments"),
        ({"bound": [0, 0]}, "2 bounds for 4 readings"),
    ],
)
def test_refuses(change, says):
    given_ = {"first": [0, 2], "stop": [2, 4], "chosen": ALL_EIGHT, "sigma": [1.0, 1.0], "bound": None} | change

    with pytest.raises(InputError, match=says):
        rule_hits_of_many(
            [0.0, 1.0, 2.0, 3.0], given_["first"], given_["stop"], given_["chosen"], centre_line=[0.0, 0.0],
            sigma=given_["sigma"], monitored=[0, 0], bound=given_["bound"],
        )  # fmt: skip


def test_refuses_a_step_that_is_none():
    with pytest.raises(InputError, match="a step above 0"):
        limits_of_many([1.0, 2.0], [0], [2], step=[0.0])
