"""Run lengths in the line's own terms."""

import math
from datetime import timedelta

import numpy as np
import pytest

from spc.arl import MOVING_RANGE_LIMIT, autocorrelation_effect, rule_set_run_length
from spc.arl.cost import (
    ChartRules,
    checks_per_year,
    checks_until_seen,
    compare_rule_sets,
    false_alarms_per_year,
)
from spc.errors import InputError
from spc.rules import ALL_EIGHT, DEFAULT_RULES, RULES, RuleSetting

LIMITS_ALONE = ChartRules("limits alone", (RULES["beyond_limits"].default,))
STARTER = ChartRules("starter", DEFAULT_RULES, MOVING_RANGE_LIMIT)
EIGHT = ChartRules("all eight", ALL_EIGHT)


def test_checks_of_every_shift_are_counted_over_the_year():
    assert checks_per_year(timedelta(hours=8)) == pytest.approx(3 * 365.25)
    assert checks_per_year(timedelta(days=365.25)) == pytest.approx(1)


def test_three_sigma_limits_give_three_false_alarms_in_a_year_of_shifts():
    """1 in 370.4 readings (any normal table): 1095.75 checks a year, so 2.96."""
    run_length = rule_set_run_length(LIMITS_ALONE.settings)

    assert false_alarms_per_year(run_length, checks_per_year(timedelta(hours=8))) == pytest.approx(2.958, abs=5e-4)


def test_a_shift_in_the_unit_of_the_chart_is_a_shift_in_sigmas():
    seen = checks_until_seen(STARTER, -75.0, sigma=50.0)

    expected = rule_set_run_length(DEFAULT_RULES, shift=-1.5, moving_range_limit=MOVING_RANGE_LIMIT, start="steady")
    assert seen.shift == -75
    assert seen.shift_sigmas == -1.5
    assert seen.checks == expected


def test_more_rules_see_sooner_and_cry_wolf_more_often():
    costs = compare_rule_sets(
        [LIMITS_ALONE, ChartRules("starter", DEFAULT_RULES), EIGHT], [0.5, 2.0], sigma=1.0, checks_per_year=1000
    )

    assert [cost.name for cost in costs] == ["limits alone", "starter", "all eight"]
    alarms = [cost.false_alarms_per_year for cost in costs]
    assert alarms == sorted(alarms)
    for shift in range(2):
        checks = [cost.seen[shift].checks.arl for cost in costs]
        assert checks == sorted(checks, reverse=True)
    assert [seen.shift for seen in costs[0].seen] == [0.5, 2.0]
    assert costs[0].false_alarms_per_year == pytest.approx(1000 / costs[0].false_alarm.arl)


def test_correlated_readings_are_charted_with_limits_from_moving_ranges():
    cost = compare_rule_sets([LIMITS_ALONE], [1.0], sigma=1.0, checks_per_year=100, lag_correlation=0.5)[0]

    assert cost.false_alarm == autocorrelation_effect(0.5).moving_range_limits
    assert cost.false_alarm.start == "zero"
    assert cost.seen[0].checks.start == "steady"
    assert cost.seen[0].checks.arl < cost.false_alarm.arl


def test_rules_that_look_far_back_are_simulated_in_both_states():
    far_back = ChartRules("far back", (RuleSetting("off_centre", 10, 20, 1), RULES["beyond_limits"].default))

    cost = compare_rule_sets([far_back], [1.0], sigma=1.0, checks_per_year=100, generator=np.random.default_rng(2))[0]

    for run_length in (cost.false_alarm, cost.seen[0].checks):
        assert run_length.method == "simulation"
        assert run_length.standard_error is not None
        assert run_length.standard_error < 0.03 * run_length.arl
    assert cost.seen[0].checks.arl < cost.false_alarm.arl


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        (lambda: checks_per_year(timedelta(0)), "interval between checks is 0:00:00"),
        (lambda: false_alarms_per_year(rule_set_run_length(DEFAULT_RULES), 0), "0 checks a year"),
        (lambda: checks_until_seen(STARTER, 1.0, sigma=0), "sigma is 0"),
        (lambda: checks_until_seen(STARTER, math.nan, sigma=1), "shift is nan"),
        (lambda: checks_until_seen(STARTER, 1.0, sigma=1, lag_correlation=1), "lag correlation is 1"),
        (
            lambda: compare_rule_sets([ChartRules("none", ())], [1.0], sigma=1, checks_per_year=9),
            "switch on at least one",
        ),
    ],
)
def test_refuses(ask, says):
    with pytest.raises(InputError, match=says):
        ask()
