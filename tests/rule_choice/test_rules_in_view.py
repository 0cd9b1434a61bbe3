"""The run rules of one chart: hits in view and what they cost."""

import numpy as np
import pytest

from spc.monitor import monitor_stream
from spc.rule_choice.in_view import false_alarms_per_1000, moving_range_per_1000, rule_notes, rules_in_view
from spc.rules import DEFAULT_RULES, RuleSetting
from tests.made import made_check, made_readings

FALLING = [0.19, 0.21] * 10 + [0.18] * 12


def test_beyond_three_sigma_alone_costs_27_in_10000():
    # 2 (1 - normal distribution function at 3) = 0.0027, every table of the normal distribution
    assert false_alarms_per_1000((DEFAULT_RULES[0],)) == pytest.approx(2.6998, abs=1e-4)


def test_nine_in_a_row_on_one_side_costs_1_in_511():
    # runs of 9 with chances of one half: the first ends after (2^9 - 1) readings on average (Feller 1968, XIII.7)
    nine = RuleSetting("one_side", 9, 9, 0.0)

    assert false_alarms_per_1000((nine,)) == pytest.approx(1000 / 511, rel=1e-9)


def test_the_moving_range_limit_costs_what_a_simulation_says():
    x = np.random.default_rng(1926).normal(size=2_000_000)
    beyond = np.abs(np.diff(x)) > 3.6858  # (1 + 3 d3/d2) d2 for pairs: 3.267 x 1.128, ASTM E2587 Table 1
    # a chart that starts afresh after each false alarm: one that follows at once, from the same reading, is not counted
    alarms, last = 0, -5
    for at in np.flatnonzero(beyond).tolist():
        if at > last + 1:
            alarms, last = alarms + 1, at
    rate = 1000 * alarms / len(x)

    assert moving_range_per_1000() == pytest.approx(rate, rel=0.02)


def test_hits_are_counted_in_view_alone():
    result = monitor_stream(made_readings(FALLING), (), made_check())
    n = len(FALLING)
    every, latest = rules_in_view(result, 0, n), rules_in_view(result, n - 1, n)
    by_rule = {s.rule: sum(other.rule == s.rule for other in result.rule_signals) for s in result.rule_signals}

    assert sum(rule.hits for rule in every) == sum(by_rule.values()) > 1
    assert sum(rule.hits for rule in latest) == sum(s.position == n - 1 for s in result.rule_signals)
    assert rules_in_view(result, 0, 5)[0].hits == 0


def test_the_notes_say_what_warns_and_what_few_readings_do():
    quiet = monitor_stream(made_readings(FALLING), (), made_check(rules_signal=False, early_warning=True))
    loud = monitor_stream(made_readings(FALLING), (), made_check(rules_signal=True, early_warning=False))

    assert rule_notes(quiet)[0].startswith("They are drawn only")
    assert "With limits from 20 readings the true rate varies" in rule_notes(quiet)[1]
    assert "1 false alarm in 2000 quiet readings" in rule_notes(quiet)[-1]
    assert rule_notes(loud)[0].startswith("They warn as well")
    assert len(rule_notes(loud)) == 2
