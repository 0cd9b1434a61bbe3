"""What run rules cost a check, and `spc arl` as a person and as a script call it."""

import json
import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from spc.arl import MOVING_RANGE_LIMIT
from spc.catalogue.check import Check
from spc.catalogue.load import starter
from spc.errors import InputError
from spc.monitor import monitor_stream
from spc.records import StreamKey
from spc.results import StreamResult
from spc.rule_choice.cost import (
    RulesCost,
    chart_rules,
    compared_rules,
    every_given,
    given_sigma,
    rules_cost,
    sigma_of_stream,
    stream_named,
)
from spc.rules import ALL_EIGHT, RULE_SETS, RULES, RuleSetting
from tests.command import run as command
from tests.made import made_readings

BATH = starter().checks["bath_concentration"]


def cost_of(
    rules: str,
    *,
    shifts: Sequence[float] = (0.03,),
    sigma: float = 0.01,
    check: Check = BATH,
    per_year: float | None = None,
) -> RulesCost:
    generator = np.random.default_rng(1)
    named = [chart_rules(rules, check)]
    return rules_cost(check, named, shifts, sigma=given_sigma(sigma), generator=generator, per_year=per_year)


# -- what the rules cost -----------------------------------------------------------------------------------------------


def test_limits_alone_at_every_shift_of_eight_hours_cry_wolf_three_times_a_year():
    """1 in 370.398 readings (2 (1 - Phi(3)), any normal table); a year has 365.25 * 3 checks."""
    cost = cost_of("beyond_limits")

    assert cost.checks_per_year == pytest.approx(1095.75)
    assert cost.costs[0].false_alarms_per_year == pytest.approx(1095.75 / 370.398, rel=1e-5)


def test_a_shift_in_the_check_s_own_unit_is_seen_as_soon_as_the_same_shift_in_sigmas():
    """3 sigma: half of all readings lie beyond the limit, so 2 checks on average (1 / (1/2 + Phi(-6)))."""
    seen = cost_of("beyond_limits").costs[0].seen[0]

    assert seen.shift == 0.03
    assert seen.shift_sigmas == pytest.approx(3.0)
    assert seen.checks.arl == pytest.approx(2.0, rel=1e-8)
    assert (seen.checks.p50, seen.checks.p90) == (1, 4)


def test_days_follow_from_how_often_the_check_is_made():
    every_shift, twice_a_week = cost_of("beyond_limits"), cost_of("beyond_limits", per_year=104.0)

    assert every_shift.days(3) == pytest.approx(1.0)
    assert twice_a_week.days(104) == pytest.approx(365.25)
    assert twice_a_week.costs[0].false_alarms_per_year == pytest.approx(104 / 370.398, rel=1e-5)


def test_without_a_shift_one_two_and_three_sigma_are_looked_at():
    shifts = [seen.shift for seen in cost_of("beyond_limits", shifts=(), sigma=0.02).costs[0].seen]

    assert shifts == pytest.approx([0.02, 0.04, 0.06])


def test_limits_from_few_readings_are_told_with_the_check_s_own_baseline():
    cost = cost_of("beyond_limits", check=replace(BATH, baseline=50))

    assert cost.estimated.n_baseline == 50
    assert cost.estimated.arl_p10 < cost.estimated.arl_known < cost.estimated.arl_p90


def test_a_check_that_no_clock_sets_needs_to_be_told_how_often():
    check = replace(BATH, interval=replace(BATH.interval, every=None, words="before use"))

    with pytest.raises(InputError, match="due before use, not by the clock; say how often with --every"):
        cost_of("beyond_limits", check=check)
    assert cost_of("beyond_limits", check=every_given(check, "2 weeks")).checks_per_year == pytest.approx(365.25 / 14)


# -- names of rules ----------------------------------------------------------------------------------------------------


def test_a_rule_has_the_lengths_of_the_catalogue_where_it_is_switched_on_there():
    own = RuleSetting("one_side", 7, 7, 0)
    check = replace(BATH, rules=(own,))

    assert chart_rules("one_side, near_limit", check).settings == (own, RULES["near_limit"].default)


def test_the_catalogue_s_rules_come_with_its_moving_range_limit_and_published_sets_without():
    assert BATH.moving_range
    assert chart_rules("catalogue", BATH).settings == BATH.rules
    assert chart_rules("catalogue", BATH).moving_range_limit == MOVING_RANGE_LIMIT
    assert chart_rules("catalogue", replace(BATH, moving_range=False)).moving_range_limit == math.inf
    assert chart_rules("eight_tests", BATH).settings == ALL_EIGHT
    assert chart_rules("eight_tests", BATH).moving_range_limit == math.inf
    assert chart_rules("eight_tests,moving_range_limit", BATH).moving_range_limit == MOVING_RANGE_LIMIT


def test_the_beginning_of_a_set_s_name_will_do_and_its_whole_name_is_told():
    assert chart_rules("iso,near_limit", BATH).name == "iso_7870_2, near_limit"


def test_a_rule_that_two_sets_share_counts_once():
    both = chart_rules("four_tests,starter", BATH).settings

    assert len(both) == len(set(both)) == 5  # two lengths of one_side, two more of Western Electric, two shared


@pytest.mark.parametrize(
    ("texts", "compare", "names"),
    [
        ([], None, ["catalogue"]),
        ([], "eight,four", ["catalogue", "eight_tests_1984", "four_tests_1956"]),
        (["one_side"], "all", ["one_side", *RULE_SETS]),
        (["starter", "starter,off_centre"], "starter", ["starter", "starter, off_centre"]),
    ],
)
def test_which_sets_stand_side_by_side(texts, compare, names):
    assert [rules.name for rules in compared_rules(texts, compare, BATH)] == names


# -- sigma of a log ----------------------------------------------------------------------------------------------------


STEADY = [0.19, 0.21] * 10


def monitored(values: Sequence[float], line: str = "Line A") -> StreamResult:
    key = StreamKey(line, "bath_concentration", "tank")
    return monitor_stream(made_readings(values, key=key), [], BATH)


def log_file(folder: Path, values: Sequence[float]) -> Path:
    start = datetime(2025, 3, 3, 6, tzinfo=UTC)
    rows = [f"{start + i * timedelta(hours=8):%Y-%m-%dT%H:%M},Line A,{BATH.key},tank,{x}" for i, x in enumerate(values)]
    path = folder / "log.csv"
    path.write_text("\n".join(["taken_at,line,check,position,value", *rows, ""]), encoding="utf-8")
    return path


def test_sigma_of_a_stream_is_that_of_its_newest_whole_baseline():
    result = monitored([*STEADY, 0.2, 0.21])

    found = sigma_of_stream(result)

    assert result.segments[0].limits is not None
    assert found.sigma == result.segments[0].limits.sigma
    assert found.n_baseline == 20
    assert "since the start of the log" in found.source
    assert found.correlation == pytest.approx(-0.9, abs=0.1)  # up and down by turns
    assert found.readings_per_year == pytest.approx(3 * 365.25)


def test_a_stream_without_a_whole_baseline_is_refused():
    result = monitored(STEADY[:12])

    with pytest.raises(InputError, match="limits need 20 readings in a row without a reset and the log has 12 at most"):
        sigma_of_stream(result)


def test_a_stream_is_chosen_by_line_and_position():
    results = [monitored(STEADY), monitored(STEADY, "Line B")]

    assert stream_named(results, "bath_concentration", line="Line B").key.line == "Line B"
    with pytest.raises(InputError, match=r"2 streams of bath_concentration: Line A .*; choose with --line"):
        stream_named(results, "bath_concentration")
    with pytest.raises(InputError, match="no such stream of bath_concentration; it has Line A"):
        stream_named(results, "bath_concentration", line="Line C")
    with pytest.raises(InputError, match="no such stream of ammeter; it has Line A"):
        stream_named(results, "ammeter")


# -- the command -------------------------------------------------------------------------------------------------------


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    """Return exit code, output and error output of `spc arl` with these arguments."""
    return command(capsys, "arl", *arguments)


ASKED = ("--check", "bath_concentration", "--sigma", "0.012", "--shift", "0.03")


def test_a_person_reads_sets_side_by_side(capsys):
    code, out, err = run(capsys, *ASKED, "--compare", "four,iso")
    text = " ".join(out.split())

    assert (code, err) == (0, "")
    assert "sigma 0.012 mL/100 mL: as given" in text
    assert "1,096 checks a year: every shift, at most 8 h apart" in text
    assert "four_tests_1956 11.9 91.8 65 8 chain" in text  # Champ and Woodall (1987): 91.75
    assert "Until a shift of 0.03 mL/100 mL is seen, 2.5 sigma" in text
    assert "2 of the last 3 readings more than 2 sigma on one side of the centre line" in text
    assert "recalled from memory: take them from the document" in text
    assert "responsible Level 3" in text


def test_a_script_reads_the_same_as_json(capsys):
    code, out, _ = run(capsys, *ASKED, "--compare", "four", "--json")
    told = json.loads(out)

    assert code == 0
    assert (told["check"], told["unit"], told["lag_correlation"]) == ("bath_concentration", "mL/100 mL", 0.0)
    own, western = told["rule_sets"]
    assert (own["name"], western["name"]) == ("catalogue", "four_tests_1956")
    assert own["moving_range_limit_sigmas"] == pytest.approx(3.686, abs=5e-4)
    assert western["moving_range_limit_sigmas"] is None
    assert western["false_alarm_checks"]["method"] == "exact chain"
    assert western["false_alarm_checks"]["standard_error"] is None
    assert western["false_alarm_checks"]["mean"] == pytest.approx(91.75, abs=0.01)
    assert western["seen"][0]["shift_sigmas"] == pytest.approx(2.5)
    assert western["seen"][0]["days"]["mean"] == pytest.approx(western["seen"][0]["checks"]["mean"] / 3)
    assert western["rules"][0]["words"] == "a reading more than 3 sigma on one side of the centre line"


def test_what_is_simulated_says_so_with_its_error_and_follows_the_seed(tmp_path, capsys):
    site = tmp_path / "site.toml"
    site.write_text("[check.bath_concentration.rules]\noff_centre = {count = 10, window = 20, width = 1.0}\n")
    asked = (*ASKED, "--catalogue", site, "--rules", "off_centre,beyond_limits")

    out = run(capsys, *asked)[1]
    (told,) = json.loads(run(capsys, *asked, "--json")[1])["rule_sets"]
    (other,) = json.loads(run(capsys, *asked, "--seed", 2, "--json")[1])["rule_sets"]

    assert "simulated, ±" in out
    assert f"{told['false_alarm_checks']['p50']}" in out
    runs = told["false_alarm_checks"], other["false_alarm_checks"]
    assert all(each["method"] == "simulation" and 0 < each["standard_error"] < 10 for each in runs)
    apart = abs(runs[0]["mean"] - runs[1]["mean"])
    assert 0 < apart < 4 * math.hypot(runs[0]["standard_error"], runs[1]["standard_error"])


def test_sigma_of_a_log_is_told_with_what_it_rests_on(tmp_path, capsys):
    log = log_file(tmp_path, STEADY)

    code, out, _ = run(capsys, "--check", "bath_concentration", "--log", log, "--zone", "UTC")
    text = " ".join(out.split())

    assert code == 0
    assert "20 baseline readings of Line A · bath_concentration · tank since the start of the log" in text
    assert "the log has 1,100 readings a year" in text
    assert "--correlation counts it in" in text


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ("", "Missing option"),
        ("--check bath_concentration", "give one of --sigma and --log, and not both"),
        ("--check bath_concentration --sigma 1 --log x.csv", "give one of --sigma and --log, and not both"),
        ("--check bath_concentratoin --sigma 1", "did you mean 'bath_concentration'?"),
        ("--check water_break --sigma 1", "judged in words"),
        ("--check ammeter --sigma 0", "--sigma is 0"),
        ("--check ammeter --sigma nan", "--sigma is nan"),
        ("--check ammeter --sigma 1 --line A", "--line, --position and --events belong to --log"),
        ("--check ammeter --sigma 1 --every x", "'x' is no interval"),
        ("--check ammeter --sigma 1 --every on\u00a0condition", "is no interval"),
        ("--check ammeter --sigma 1 --per-year 0", "0.0 checks a year given"),
        ("--check ammeter --sigma 1 --correlation 1", "lag correlation is 1"),
        ("--check ammeter --sigma 1 --rules beyond_limit", "did you mean 'beyond_limits'?"),
        ("--check ammeter --sigma 1 --rules moving_range_limit", "no run rule given"),
        ("--check ammeter --sigma 1 --compare ,", "no run rule and no rule set ''"),
        ("--check ammeter --sigma 1 --shift inf", "shift is inf sigmas"),
        ("--check ammeter --sigma 1e-320 --shift 1", "shift is inf sigmas"),
        ("--check ammeter --sigma 1 --shift 5000", "shift is 5000 sigmas; give one of at most 1000"),
        ("--check ammeter --log nothing.csv", "nothing.csv"),
    ],
)
def test_a_refusal_is_one_line_and_exit_code_2(capsys, arguments, says):
    code, out, err = run(capsys, *arguments.split(" ")) if arguments else run(capsys)

    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert says in err


def test_an_interval_given_replaces_the_catalogue_s():
    assert every_given(BATH, "1 day").interval.every == timedelta(days=1)
    assert every_given(BATH, None) is BATH
    with pytest.raises(InputError, match="says no time"):
        every_given(BATH, "on condition")
