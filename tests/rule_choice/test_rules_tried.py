"""Rule sets tried on a history: counted by hand."""

import numpy as np
import pytest

from spc.monitor import monitor_stream
from spc.rule_choice.in_view import false_alarms_per_1000
from spc.rule_choice.tried import LEAD, try_rules
from spc.rules import RULE_SETS, RuleSetting
from tests.made import made_check, made_readings

THREE_SIGMA = (RuleSetting("beyond_limits", 1, 1, 3.0),)
FALLING = [0.19, 0.21] * 20  # sigma from moving ranges: 0.02 / 1.128 = 0.0177; limits 0.147 and 0.253


def tried(x, key="catalogue", **parts):
    history = try_rules(monitor_stream(made_readings(list(x)), (), made_check(**({"rules": THREE_SIGMA} | parts))))
    return history, next(row for row in history.tried if row.key == key)


def test_a_hit_before_a_failed_check_is_caught_with_its_lead():
    x = [*FALLING, 0.20, 0.14, 0.20, 0.20, 0.09]
    _, row = tried(x)

    assert (row.stretches, row.caught, row.leads) == (1, 1, (3,))
    assert row.alarms == 0
    assert row.median_lead == 3


def test_a_hit_far_from_any_failed_check_is_an_alarm_for_nothing():
    x = [*FALLING, 0.27, 0.20, 0.20, 0.27, *[0.20, 0.21] * 20]
    history, row = tried(x)

    assert row.alarms == 1  # three readings apart: people are called once
    assert history.readings == history.quiet == len(x) - 20
    assert row.alarms_per_1000 == pytest.approx(1000 / (len(x) - 20))
    assert row.stretches == 0


def test_hits_far_apart_are_two_alarms():
    _, row = tried([*FALLING, 0.27, *[0.20] * 6, 0.27])

    assert row.alarms == 2


def test_failed_checks_in_a_row_are_one_stretch_and_what_follows_is_not_quiet():
    x = [*FALLING, 0.09, 0.09, 0.20, 0.27, 0.20]
    history, row = tried(x)

    assert (row.stretches, row.caught, row.alarms) == (1, 0, 0)
    assert history.quiet == history.readings - LEAD + 10 - 5  # the lead reaches into the baseline by ten


def test_theory_stands_beside_history():
    history, row = tried([*FALLING, *FALLING])

    assert row.stated_per_1000 == pytest.approx(2.6998, abs=1e-4)  # 2 (1 - normal distribution function at 3)
    assert row.stated_per_year == pytest.approx(2.6998 * history.checks_per_year / 1000, rel=1e-4)
    assert history.checks_per_year == pytest.approx(3 * 365.25)  # one every 8 hours


def test_every_published_set_is_tried():
    history, _ = tried(FALLING)
    stated = {row.key: row.stated_per_1000 for row in history.tried}

    assert [row.key for row in history.tried] == ["catalogue", *RULE_SETS]
    assert stated["four_tests_1956"] == false_alarms_per_1000(RULE_SETS["four_tests_1956"].settings)


def test_the_early_warning_stands_first_and_counts_what_it_caught():
    x = np.concatenate([np.random.default_rng(4).normal(0.2, 0.01, 120), 0.2 - 0.004 * np.arange(1, 30)])
    history, row = tried(x, "early_warning", early_warning=True, rules_signal=False)

    assert history.tried[0] is row
    assert (row.stretches, row.caught) == (1, 1)
    assert row.alarms is None
    assert row.leads[0] > 3


def test_a_stream_without_limits_has_nothing_to_try():
    history, row = tried([0.2, 0.2, 0.2])

    assert (history.readings, row.alarms, row.alarms_per_1000) == (0, 0, None)
