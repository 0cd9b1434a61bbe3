import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.catalogue.acceptance import Acceptance, Verdict, judged_failed, limits_at, outside, verdict
from spc.catalogue.load import starter
from spc.records import NOT_RUN, Bound

NAN = math.nan
GREATER_OF = Acceptance(rule="percent_or_amperes", percent=10.0, amperes=50.0)
FULL_SCALE = Acceptance(rule="percent_of_full_scale", percent=10.0, full_scale=6000.0)
# AS5282 ring, full-wave DC, wet method (ASTM E1444-05 and later, from memory).
RING = Acceptance(rule="minimum_at_reference", table=((500, 3), (1000, 5), (1500, 6), (2500, 7), (3500, 9)))
CURRENTS = st.floats(1.0, 20_000.0)


# ASTM E1444 and E3024, clause 7.4.1 (from memory): within 10 % or 50 A of the true current, whichever is greater.
# The limbs cross at 50 A / 10 % = 500 A; below it the ampere limb governs (arithmetic).
@pytest.mark.parametrize(
    ("true_amperes", "percent"),
    [
        (100, 50.0),
        (250, 20.0),
        (400, 12.5),
        (499, 100 * 50 / 499),
        (500, 10.0),
        (501, 10.0),
        (1000, 10.0),
        (3500, 10.0),
    ],
)
def test_the_greater_of_ten_percent_and_fifty_amperes(true_amperes, percent):
    lower, upper = limits_at(GREATER_OF, [true_amperes])

    assert upper == pytest.approx([percent], rel=1e-12)
    assert lower == pytest.approx([-percent], rel=1e-12)


# ASTM E709 and ASME BPVC V T-761 (from memory): 10 % of full scale. 6000 A full scale and a 1000 A shot: the other
# rule allows 100 A, this one 600 A (arithmetic), which is 60 % of the shot; at full scale both allow 10 %.
@pytest.mark.parametrize(("true_amperes", "percent"), [(500, 120.0), (1000, 60.0), (3000, 20.0), (6000, 10.0)])
def test_ten_percent_of_full_scale(true_amperes, percent):
    lower, upper = limits_at(FULL_SCALE, [true_amperes])

    assert upper == pytest.approx([percent], rel=1e-12)
    assert lower == pytest.approx([-percent], rel=1e-12)


@pytest.mark.parametrize("rule", [GREATER_OF, FULL_SCALE])
@pytest.mark.parametrize("reference", [NAN, 0.0])
def test_an_ammeter_without_a_true_current_has_no_limit(rule, reference):
    lower, upper = limits_at(rule, [reference])

    assert np.isnan(lower).all()
    assert np.isnan(upper).all()


@pytest.mark.parametrize(
    ("amperes", "least"), [(500, 3), (1000, 5), (1500, 6), (2500, 7), (3500, 9), (2000, NAN), (1400, NAN), (NAN, NAN)]
)
def test_a_ring_has_its_minimum_at_exactly_the_currents_of_its_table(amperes, least):
    lower, upper = limits_at(RING, [amperes])

    assert lower == pytest.approx([least], nan_ok=True)
    assert np.isnan(upper).all()


def test_fixed_limits_are_the_same_for_every_reading():
    lower, upper = limits_at(Acceptance(rule="fixed", lower=1000.0), [NAN, 3.0])

    assert lower.tolist() == [1000.0, 1000.0]
    assert np.isnan(upper).all()


@pytest.mark.parametrize("rule", ["none", "words"])
def test_without_numbers_there_are_no_limits(rule):
    lower, upper = limits_at(Acceptance(rule=rule, good=("pass",), bad=("fail",)), [1.0, NAN])

    assert np.isnan([lower, upper]).all()
    assert lower.shape == (2,)


@given(st.lists(CURRENTS, min_size=1, max_size=20), st.floats(0.1, 100), st.floats(0, 500))
def test_the_greater_of_two_limbs_allows_what_either_allows(currents, percent, amperes):
    lower, upper = limits_at(Acceptance(rule="percent_or_amperes", percent=percent, amperes=amperes), currents)

    allowed = upper / 100.0 * np.array(currents)
    assert np.allclose(allowed, [max(percent / 100 * current, amperes) for current in currents], rtol=1e-12)
    assert (lower == -upper).all()


@given(CURRENTS, CURRENTS)
def test_full_scale_allows_the_same_amperes_at_every_current(one, other):
    _, upper = limits_at(FULL_SCALE, [one, other])

    assert upper * np.array([one, other]) / 100.0 == pytest.approx([600.0, 600.0], rel=1e-12)


@given(st.lists(st.floats(-1e4, 1e4) | st.just(NAN), max_size=20), st.sampled_from(list(starter().checks)))
def test_every_starter_limit_has_one_value_a_reading_and_is_in_order(reference, check):
    given_reference = np.array(reference)
    before = given_reference.copy()

    lower, upper = limits_at(starter().checks[check].acceptance, given_reference)

    assert lower.shape == upper.shape == given_reference.shape
    assert not (lower > upper).any()
    assert np.array_equal(given_reference, before, equal_nan=True)


@given(CURRENTS, st.floats(-0.5, 0.5))
def test_an_ammeter_reading_is_judged_as_its_amperes_are(current, share):
    value = current * (1 + share)
    deviation = 100 * (value - current) / current
    lower, upper = limits_at(GREATER_OF, [current])

    margin = abs(value - current) - max(0.1 * current, 50.0)
    if abs(margin) > 1e-6 * current:  # nearer, the reading lies on the limit
        assert outside([deviation], [Bound.EXACT], lower, upper).tolist() == [margin > 0]


@pytest.mark.parametrize("x", [0.1, 0.4, 0.1 + 1e-12, 0.4 + 1e-12, 0.1 - 1e-12])
def test_a_reading_on_a_limit_is_inside(x):
    assert verdict([x], [Bound.EXACT], [0.1], [0.4]).tolist() == [Verdict.INSIDE]


def test_a_deviation_of_ten_percent_is_inside_however_the_arithmetic_rounds():
    x = [100 * (value - reference) / reference for value, reference in [(1100, 1000), (770, 700), (2970, 3300)]]

    assert not outside([*x, 10.000000000000002], [Bound.EXACT] * 4, [-10.0] * 4, [10.0] * 4).any()


@pytest.mark.parametrize("x", [0.0999, 0.4001, -5.0, 1000.0])
def test_a_reading_beyond_a_limit_is_outside(x):
    assert outside([x], [Bound.EXACT], [0.1], [0.4]).tolist() == [True]


@pytest.mark.parametrize(
    ("bound", "x", "lower", "upper", "says"),
    [
        (Bound.BELOW, 0.05, 0.10, NAN, Verdict.OUTSIDE),
        (Bound.BELOW, 0.10, 0.10, 0.4, Verdict.OUTSIDE),  # below 0.10 is below the limit
        (Bound.BELOW, 0.5, 0.1, NAN, Verdict.UNDECIDED),
        (Bound.BELOW, 0.5, 0.1, 0.4, Verdict.UNDECIDED),
        (Bound.BELOW, 2.0, NAN, 2.0, Verdict.INSIDE),
        (Bound.BELOW, 3.0, NAN, 2.0, Verdict.UNDECIDED),
        (Bound.ABOVE, 5000.0, 1000.0, NAN, Verdict.INSIDE),
        (Bound.ABOVE, 1000.0, 1000.0, NAN, Verdict.INSIDE),
        (Bound.ABOVE, 500.0, 1000.0, NAN, Verdict.UNDECIDED),
        (Bound.ABOVE, 5000.0, 1000.0, 10_000.0, Verdict.UNDECIDED),
        (Bound.ABOVE, 30.0, NAN, 30.0, Verdict.OUTSIDE),  # more than 30 % is more than the limit
        (Bound.ABOVE, 40.0, NAN, 30.0, Verdict.OUTSIDE),
        (Bound.EXACT, NAN, 0.1, 0.4, Verdict.UNDECIDED),
        (Bound.EXACT, 0.2, NAN, NAN, Verdict.UNDECIDED),
        (Bound.BELOW, 0.2, NAN, NAN, Verdict.UNDECIDED),
    ],
)
def test_of_a_censored_reading_only_what_is_certain_counts(bound, x, lower, upper, says):
    assert verdict([x], [bound], [lower], [upper]).tolist() == [says]


@given(
    st.floats(-100, 100),
    st.sampled_from([Bound.BELOW, Bound.ABOVE]),
    st.floats(0.001, 1000),
    st.floats(-50, 50),
    st.floats(0, 50),
)
def test_no_value_a_censored_reading_can_have_contradicts_its_verdict(x, bound, further, lower, width):
    says = verdict([x], [bound], [lower], [lower + width])[0]

    truth = verdict([x + bound * further], [Bound.EXACT], [lower], [lower + width])[0]
    assert says in (Verdict.UNDECIDED, truth)


@pytest.mark.parametrize(
    ("word", "failed"),
    [
        ("pass", False), ("shown", False), (" Shown ", False),
        ("fail", True), ("not shown", True), ("NOT  SHOWN", True),
        ("partly", True),  # a weak indication is no proof
        ("perhaps", True), (NOT_RUN, False), ("", False),
    ],
)  # fmt: skip
def test_a_word_that_does_not_pass_has_failed(word, failed):
    acceptance = starter().checks["notched_shim"].acceptance

    assert judged_failed(np.array([word], dtype=object), acceptance).tolist() == [failed]


def test_words_of_a_measured_check_have_no_verdict():
    words = np.array(["fail", NOT_RUN], dtype=object)

    assert not judged_failed(words, starter().checks["ammeter"].acceptance).any()
