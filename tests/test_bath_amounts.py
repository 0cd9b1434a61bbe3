"""Amounts of powder and carrier: worked examples, mass balance, and the chances of what is known of a bath."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.bath import (
    BathKnowledge,
    carrier_to_add,
    carrier_to_reach,
    chance_above,
    level_after,
    powder_to_reach,
)
from spc.bath_accounts import LEVEL, PLANNING_YIELD, YIELD
from spc.errors import InputError
from spc.units import convert

CERTAIN = 1e-9
"""A standard deviation that leaves nothing open."""


def knowledge(level=(0.15, 0.01), powder_yield=(0.2, 0.02), together=0.0) -> BathKnowledge:
    """Return a single normal of level and yield with a covariance."""
    covariance = np.diag([level[1] ** 2, 0.01**2, powder_yield[1] ** 2])
    covariance[LEVEL, YIELD] = covariance[YIELD, LEVEL] = together
    mean = np.array([[level[0], 0.02, powder_yield[0]]])
    return BathKnowledge(np.ones(1), mean, covariance[None], 10, 5, 0.0, 1.0, False)


# -- arithmetic --------------------------------------------------------------------------------------------------------


def test_the_worked_example_of_a_top_up():
    # 0.10 mL short, a yield of 0.2 mL/100 mL for each g/L, 150 L: 75 g, 2.6 oz (arithmetic on a planning figure; common
    # practice, no source).
    known = knowledge(level=(0.10, CERTAIN), powder_yield=(0.2, CERTAIN))

    grams = 150.0 * powder_to_reach(known, 0.2, 0.5)

    assert grams == pytest.approx(75.0, rel=1e-6)
    assert convert([grams], "g", "oz")[0] == pytest.approx(2.6, abs=0.05)


def test_the_planning_figure_in_ounces_a_gallon():
    # 1 oz in a US gallon is 7.489 g/L, in an imperial one 6.236 g/L (from the definitions of the units); at 0.2
    # mL/100 mL for each g/L that is about 1.5 mL/100 mL for an ounce in a US gallon.
    a_us_gallon, an_imperial_one = (float(convert([1.0], unit, "L")[0]) for unit in ("US gal", "imp gal"))
    ounce = float(convert([1.0], "oz", "g")[0])

    assert ounce / a_us_gallon == pytest.approx(7.489, abs=5e-4)
    assert ounce / an_imperial_one == pytest.approx(6.236, abs=5e-4)
    assert PLANNING_YIELD * ounce / a_us_gallon == pytest.approx(1.5, abs=0.05)


@given(st.floats(0.05, 2.0), st.floats(0.05, 2.0), st.floats(20.0, 1000.0))
def test_exchanged_carrier_gives_the_target_by_mass_balance(level, target, volume):
    litres = volume * carrier_to_reach(knowledge(level=(level, CERTAIN)), target, 0.5)

    kept = level * (volume - litres) / volume
    assert kept == pytest.approx(min(level, target), abs=1e-6)


@given(st.floats(0.05, 2.0), st.floats(0.05, 2.0), st.floats(20.0, 1000.0))
def test_carrier_on_top_gives_the_target_by_mass_balance(level, target, volume):
    litres = carrier_to_add(level, target, volume)

    assert level * volume / (volume + litres) == pytest.approx(min(level, target), rel=1e-9)


def test_nothing_dilutes_a_bath_to_nothing():
    with pytest.raises(InputError, match="no carrier dilutes"):
        carrier_to_add(0.3, 0.0, 100.0)


# -- amounts -----------------------------------------------------------------------------------------------------------


def test_the_chance_of_an_amount_is_that_of_drawing_level_yield_and_dose():
    known = knowledge(together=-1e-4)
    rng = np.random.default_rng(5)
    draws = rng.multivariate_normal(known.mean[0], known.covariance[0], 400_000)
    dosed = draws[:, LEVEL] + 0.3 * (draws[:, YIELD] + 0.1 * 0.2 * rng.standard_normal(400_000))

    assert chance_above(known, 0.2, powder=0.3) == pytest.approx(float(np.mean(dosed > 0.2)), abs=0.003)


@given(st.floats(0.05, 0.95), st.floats(0.1, 0.3))
def test_the_amount_for_a_chance_gives_that_chance(chance, target):
    known = knowledge()

    powder = powder_to_reach(known, target, chance)

    if powder == 0:
        assert chance_above(known, target) >= chance
    elif math.isfinite(powder):
        assert chance_above(known, target, powder=powder) == pytest.approx(chance, abs=1e-6)
    else:
        assert chance > 0.9


@given(st.floats(0.05, 0.95), st.floats(0.05, 0.14))
def test_the_carrier_for_a_chance_gives_that_chance(chance, target):
    known = knowledge()

    share = carrier_to_reach(known, target, chance)

    below = 1 - chance_above(known, target, carrier=share)
    assert below == pytest.approx(chance, abs=1e-6) if share > 1e-9 else below >= chance


def test_a_surer_result_takes_more_powder_and_more_carrier():
    known = knowledge()

    powder = [powder_to_reach(known, 0.2, chance) for chance in (0.1, 0.5, 0.9)]
    carrier = [carrier_to_reach(known, 0.1, chance) for chance in (0.1, 0.5, 0.9)]

    assert powder == sorted(powder)
    assert carrier == sorted(carrier)
    assert powder[1] == pytest.approx(0.25, abs=1e-3)
    assert carrier[1] == pytest.approx(1 / 3, abs=1e-3)


def test_the_level_after_a_dose_has_the_quantiles_of_its_chance():
    known = knowledge()

    after = level_after(known, powder=0.25)

    assert after.middle == pytest.approx(0.2, abs=1e-6)
    assert chance_above(known, after.low, powder=0.25) == pytest.approx(0.9, abs=1e-6)
    assert chance_above(known, after.high, powder=0.25) == pytest.approx(0.1, abs=1e-6)
