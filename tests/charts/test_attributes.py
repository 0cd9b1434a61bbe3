"""Charts of counted failures."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import geom, norm

from spc.charts.attributes import (
    TAIL,
    FractionState,
    PassesState,
    fraction_limits,
    fraction_plot,
    passes_between,
    passes_between_limits,
    passes_between_plot,
    update_fraction,
    update_passes,
)
from spc.errors import InputError

# NIST/SEMATECH e-Handbook 6.3.3.2 (chips on 30 wafers of 50) and Montgomery (orange juice cans), the same counts, from
# memory: fraction 0.2313, limits 0.0524 and 0.4102; samples 15 and 23 are out.
FAILED_OF_50 = [
    12,
    15,
    8,
    10,
    4,
    7,
    16,
    9,
    14,
    10,
    5,
    6,
    17,
    12,
    22,
    8,
    10,
    5,
    13,
    11,
    20,
    18,
    24,
    15,
    9,
    12,
    7,
    13,
    9,
    6,
]


def test_handbook_fraction_failed():
    counts = [(failed, 50) for failed in FAILED_OF_50]
    limits = fraction_limits(counts)

    assert limits.fraction == pytest.approx(0.2313, abs=5e-5)
    assert limits.at(50) == pytest.approx((0.0524, 0.4102), abs=1e-4)
    assert limits.inspected == 1500
    assert (np.flatnonzero(fraction_plot(counts, limits).side) + 1).tolist() == [15, 23]


def test_limits_of_a_row_follow_how_many_were_inspected():
    plotted = fraction_plot([(3, 10), (30, 100)], fraction_limits([(10, 100), (10, 100)]))

    assert plotted.upper == pytest.approx([0.1 + 3 * math.sqrt(0.09 / n) for n in (10, 100)])
    assert plotted.lower == pytest.approx([0.0, 0.1 - 3 * math.sqrt(0.09 / 100)])
    assert plotted.side.tolist() == [0, 1]


def test_a_fraction_on_its_limit_is_not_a_signal():
    # p = 0.2, n = 36: limits 0.2 +- 3 root (0.16 / 36) = 0 and 0.4; in 400: 0.14 and 0.26.
    limits = fraction_limits([(20, 100), (20, 100)])
    plotted = fraction_plot([(0, 36), (104, 400), (105, 400), (56, 400), (55, 400)], limits)

    assert plotted.side.tolist() == [0, 0, 1, 0, -1]


def test_a_baseline_without_failures_makes_any_failure_a_signal():
    limits = fraction_limits([(0, 20), (0, 30)])

    assert fraction_plot([(0, 20), (1, 20)], limits).side.tolist() == [0, 1]


def test_rows_not_counted_draw_nothing():
    limits = fraction_limits([(2, 20), (math.nan, math.nan), (1, 30)])
    plotted = fraction_plot([(math.nan, math.nan), (20, 20)], limits)

    assert limits.n_baseline == 2
    assert np.isnan(plotted.values[0, 0])
    assert plotted.side.tolist() == [0, 1]


@pytest.mark.parametrize(
    ("counts", "says"),
    [
        ([], "0 rows of counts given; at least 2"),
        ([(1, 20)], "1 rows of counts given"),
        ([(1, 20), (21, 20)], "row 1 says 21 failed of 20"),
        ([(1, 20), (-1, 20)], "row 1 says -1 failed of 20"),
        ([(1, 20), (0, 0)], "row 1 says 0 failed of 0"),
        ([(1, 20), (0.5, 20)], "row 1 says 0.5 failed of 20"),
        ([(1, 20), (1, 20.5)], "row 1 says 1 failed of 20.5"),
        ([(1, 20), (math.nan, 20)], "row 1 says nan failed of 20"),
        ([(1, 20), (1, math.inf)], "row 1 says 1 failed of inf"),
        ([1, 2, 3], r"these have shape \(3,\)"),
        ([("pass", 1)], "rows of two numbers"),
    ],
)
def test_refuses_counts_that_cannot_be(counts, says):
    with pytest.raises(InputError, match=says):
        fraction_limits(counts)


def test_a_step_refuses_counts_that_cannot_be():
    state = FractionState(fraction_limits([(1, 20), (2, 20)]))

    with pytest.raises(InputError, match="21 failed of 20"):
        update_fraction(state, (21.0, 20.0))


# Passes between failures: scipy's geometric distribution counts checks up to and with the failure, so one more.


@given(st.lists(st.integers(0, 400), min_size=2, max_size=40).filter(any), st.sampled_from([TAIL, 0.01, 0.1]))
def test_limits_are_exact_probability_limits(gaps, tail):
    limits = passes_between_limits(gaps, tail=tail)
    failure = geom(limits.fraction, loc=-1)

    assert limits.fraction == pytest.approx(len(gaps) / (sum(gaps) + len(gaps)))
    assert failure.sf(limits.upper) <= tail * (1 + 1e-9)
    assert limits.upper == 0 or failure.sf(limits.upper - 1) > tail * (1 - 1e-9)
    assert failure.cdf(limits.lower - 1) <= tail * (1 + 1e-9)
    assert failure.cdf(limits.lower) > tail * (1 - 1e-9)
    assert limits.centre_line == pytest.approx(failure.median(), abs=0)


def test_the_tail_is_that_of_three_sigmas():
    assert pytest.approx(norm.sf(3), rel=1e-12) == TAIL


def test_rare_failures_that_become_frequent_show_in_short_gaps():
    limits = passes_between_limits([900, 1100, 1500, 500])
    plotted = passes_between_plot([1000, 0, 1, 2, 8000], limits)

    assert limits.lower == 1
    assert plotted.side.tolist() == [0, -1, 0, 0, 1]


def test_checks_that_always_fail_have_no_gap_to_judge():
    limits = passes_between_limits([0, 0, 0])

    assert (limits.lower, limits.centre_line, limits.upper) == (0, 0, 0)
    assert passes_between_plot([0, 1], limits).side.tolist() == [0, 1]


def test_gaps_of_a_judged_check():
    assert passes_between([False, True, False, False, True, True, False]) == [2, 0]
    assert passes_between([False] * 5) == []


@pytest.mark.parametrize(
    ("gaps", "options", "says"),
    [
        ([5.0], {}, "at least 2"),
        ([5.0, math.nan], {}, "1 gaps given; at least 2"),
        ([5.0, -1.0], {}, "-1 passes between two failures"),
        ([5.0, 1.5], {}, "1.5 passes between two failures"),
        ([5.0, 1.0], {"tail": 0.5}, "tail is 0.5"),
        ([5.0, 1.0], {"tail": 0.0}, "tail is 0.0"),
    ],
)
def test_refuses_gaps_that_cannot_be(gaps, options, says):
    with pytest.raises(InputError, match=says):
        passes_between_limits(gaps, **options)


@pytest.mark.parametrize("gap", [-1.0, 2.5, math.inf])
def test_a_step_refuses_a_gap_that_cannot_be(gap):
    with pytest.raises(InputError):
        update_passes(PassesState(passes_between_limits([5.0, 7.0])), gap)
