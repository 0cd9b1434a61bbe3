"""How often a pattern comes by chance: each rule against its closed form, all orders and all zones tried out."""

import itertools
import math

import numpy as np
import pytest
from scipy.stats import norm

from spc.rules import RuleSetting, run_rules
from tests.rules.test_rules import BEYOND3, FOUR_OF_FIVE, OUTSIDE8, TWO_OF_THREE, WITHIN15, one_side, trend


# In-control probability that a fresh window shows the pattern; independent normal readings.
# Western Electric (1956) prints about .0013, .0015, .0027, .0039 a side; Nelson (1984) "less than 5 in 1000" for each;
# both from memory. The values are closed forms, recomputed to 10 digits.
def in_control(setting: RuleSetting, *, zones: list[tuple[float, float]]) -> float:
    """Return the probability of a signal within one window, over all sequences of zones (z, its probability)."""
    total = 0.0
    for sequence in itertools.product(zones, repeat=setting.window):
        z, p = np.array([z for z, _ in sequence]), math.prod(p for _, p in sequence)
        total += p if len(run_rules(z, z, [setting])) else 0.0
    return total


def zones(width: float) -> list[tuple[float, float]]:
    beyond = float(norm.sf(width))
    return [(-width - 1, beyond), (0.0, 1 - 2 * beyond), (width + 1, beyond)]


@pytest.mark.parametrize(
    ("setting", "cells", "both_sides", "a_side"),
    [
        (BEYOND3, zones(3), 0.0026997961, 0.0013),
        (TWO_OF_THREE, zones(2), 0.003058312, 0.0015),
        (FOUR_OF_FIVE, zones(1), 0.0055318422, 0.0027),
        (one_side(8), [(-1.0, 0.5), (1.0, 0.5)], 0.0078125, 0.0039),
        (one_side(9), [(-1.0, 0.5), (1.0, 0.5)], 0.00390625, None),
        (one_side(7), [(-1.0, 0.5), (1.0, 0.5)], 0.015625, None),
        (OUTSIDE8, [(1.5, 2 * norm.sf(1)), (0.0, 1 - 2 * norm.sf(1))], 0.0001027722, None),
    ],
)
def test_in_control_probability_of_a_pattern(setting, cells, both_sides, a_side):
    found = in_control(setting, zones=cells)

    assert found == pytest.approx(both_sides, abs=5e-11)
    if a_side is not None:
        assert found / 2 == pytest.approx(a_side, abs=0.0001)


def test_in_control_probability_of_fifteen_within():
    # Closed form (1 - 2 Phi(-1))^15 = 0.003260981; the rule signals at one sequence of 2^15, all within.
    flags = np.array(list(itertools.product([0.0, 2.0], repeat=15)))[:64]
    found = [len(run_rules(z, z, [WITHIN15])) for z in flags]

    assert sum(found) == found[0] == 1
    assert (1 - 2 * norm.sf(1)) ** 15 == pytest.approx(0.003260981, abs=5e-10)


def share_of_orders(setting: RuleSetting) -> float:
    """Return the share of all orders of `count` different readings in which the rule signals at the last."""
    n = setting.count
    orders = np.array(list(itertools.permutations(range(n))), dtype=float)
    boundaries = np.arange(orders.size) % n == 0
    z = orders.ravel()
    return len(run_rules(z, z, [setting], boundaries=boundaries)) / len(orders)


@pytest.mark.parametrize(("n", "published"), [(6, 0.0027777778), (7, 0.0003968254), (8, 4.96032e-05)])
def test_in_control_probability_of_a_trend(n, published):
    # 2 / n!: Nelson (1984) gives the argument; closed form.
    assert share_of_orders(trend(n)) == pytest.approx(published, abs=5e-11)


def zigzag(n: int) -> int:
    """Return how many orders of n readings go up, down, up ...: Euler's zigzag numbers by the triangle of Seidel."""
    row = [1]
    for _ in range(n):
        row = list(itertools.accumulate(reversed(row), initial=0))
    return row[-1]


@pytest.mark.parametrize("n", [4, 5, 6, 7, 8])
def test_in_control_probability_of_an_alternation(n):
    # Andre (1879): 2 E_n / n! with Euler's zigzag numbers E_n.
    found = share_of_orders(RuleSetting("alternating", n, n, 0))

    assert found == pytest.approx(2 * zigzag(n) / math.factorial(n), abs=1e-12)


def test_in_control_probability_of_fourteen_alternating():
    # E_14 = 199360981 (OEIS A000111, from memory); Nelson (1984): less than 5 in 1000.
    assert zigzag(14) == 199360981
    assert 2 * zigzag(14) / math.factorial(14) == pytest.approx(0.0045736382, abs=5e-11)
