from dataclasses import replace
from datetime import UTC, datetime

import pytest

from spc.results import Forecast
from spc.stream_facts import acceptance_facts, baseline_facts, chance_text, charted_text, forecast_words, written_text
from spc.wording import level_text
from tests.dashboard.made_line import AMBIENT, AMMETER, BATH, SHIM, TIMER, ZONE, results


@pytest.fixture(scope="module")
def line(tmp_path_factory):
    return results(tmp_path_factory.mktemp("line"))


def test_acceptance_facts_say_what_is_asked_by_whom_and_that_nobody_confirmed_it(line):
    facts = dict(acceptance_facts(line[BATH]))

    assert facts["Asked"] == "at least 0.1 and at most 0.4 mL/100 mL"
    assert "E1444" in facts["Document"]
    assert facts["Confirmed"] == "not confirmed for this site"
    assert facts["Due"]


def test_confirmed_limits_name_document_and_revision(line):
    check = line[BATH].check
    acceptance = replace(check.acceptance, mark="site", document="MT-07", revision="C", conflict="")
    facts = dict(acceptance_facts(replace(line[BATH], check=replace(check, acceptance=acceptance))))

    assert (facts["Document"], facts["Revision"]) == ("MT-07", "C")
    assert facts["Confirmed"] == "by this site's catalogue"
    assert "Documents disagree" not in facts


def test_baseline_facts_are_those_of_the_current_segment(line):
    limits = line[BATH].segments[-1].limits
    facts = dict(baseline_facts(line[BATH], ZONE))

    assert facts["Segment since"] == "Sat 14 Mar 2026 06:10, bath changed"
    assert facts["Readings in the baseline"] == "20"
    assert facts["Centre line"] == level_text(limits.centre_line, line[BATH].check)


def test_an_incomplete_baseline_says_how_many_readings_it_has(line):
    assert dict(baseline_facts(line[TIMER], ZONE))["Readings in the baseline"].startswith("4 of 20; provisional")


def test_a_sigma_set_by_the_resolution_says_so(line):
    segment = line[BATH].segments[-1]
    floored = replace(segment, limits=replace(segment.limits, floored=True))
    facts = dict(baseline_facts(replace(line[BATH], segments=(floored,)), ZONE))

    assert "the resolution of a reading" in facts["Sigma"]
    assert (
        "the readings themselves" in dict(baseline_facts(line[AMBIENT], ZONE))["Sigma"]
        or line[AMBIENT].segments[-1].limits.floored
    )


def test_a_judged_check_has_no_baseline(line):
    assert baseline_facts(line[SHIM], ZONE) == ()


LIMIT_AT = datetime(2026, 5, 1, 10, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("forecast", "says"),
    [
        (Forecast("m", None, None, None, None, None, None), "Nothing can be said"),
        (Forecast("m", 0.0, 0.0, None, None, None, None), "under 1 in 1000; that one of the next five does: under"),
        (Forecast("m", 0.0, 0.0, None, None, None, None), "not expected to be reached"),
        (Forecast("m", 0.2, 0.6, 4.0, None, None, None), "at the earliest in about 4 readings (1 chance in 10)"),
        (Forecast("m", 0.2, 0.6, 4.0, 9.0, 20.0, LIMIT_AT), "about 9 readings, around Fri 1 May 2026 (8"),
        (Forecast("m", 0.2, 0.6, 4.0, 9.0, 20.0, LIMIT_AT), "(8 chances in 10: 4 to 20)"),
        (Forecast("m", 0.2, 0.6, 4.0, 9.0, None, None), "(8 chances in 10: 4 to many more)"),
        (Forecast("straight line through the last 20 readings", 0.2, 0.6, 4.0, 9.0, None, None), "By a straight line"),
    ],
)
def test_a_forecast_in_words(forecast, says):
    assert says in " ".join(forecast_words(forecast, ZONE))


@pytest.mark.parametrize(
    ("probability", "text"),
    [
        (0.0, "under 1 in 1000"),
        (0.004, "4 in 1000"),
        (0.01, "1 %"),
        (0.5, "50 %"),
        (0.99, "99 %"),
        (0.999, "over 99 %"),
    ],
)
def test_a_chance_in_words(probability, text):
    assert chance_text(probability) == text


def test_a_reading_as_written_and_as_charted(line):
    place = len(line[AMMETER].readings) - 1

    assert written_text(line[AMMETER], place) == "870 A at 1000 A"
    assert charted_text(line[AMMETER], place).startswith("\N{MINUS SIGN}13.0")
    assert written_text(line[SHIM], 30) == "not shown"
    assert written_text(line[SHIM], 50) == "not in operation"
    assert "<0.1 fc" in {written_text(line[AMBIENT], i) for i in range(80)}
