"""The site's catalogue of the demo line, which people copy from."""

import csv
import tomllib
from pathlib import Path

from spc.catalogue.load import load_catalogue
from spc.records import StreamKey
from spc.rules import RuleSetting

DATASETS = Path(__file__).parents[2] / "datasets"
EXAMPLE = DATASETS / "site-example.toml"
SITE = load_catalogue(EXAMPLE)
RAW = tomllib.loads(EXAMPLE.read_text(encoding="utf-8"))


def demo_streams() -> set[StreamKey]:
    with (DATASETS / "demo-log.csv").open(encoding="utf-8", newline="") as log:
        return {StreamKey(row["line"], row["check"], row["position"]) for row in csv.DictReader(log)}


def test_the_limits_it_names_are_confirmed_and_no_others():
    named = {key for key, check in RAW["check"].items() if "acceptance" in check}

    assert {key for key, check in SITE.checks.items() if check.acceptance.confirmed} == named
    assert len(named) >= 8


def test_it_shows_both_ammeter_rules():
    ammeter = SITE.checks["ammeter"]

    assert ammeter.acceptance_for(StreamKey("Line A", "ammeter", "head")).rule == "percent_or_amperes"
    assert ammeter.acceptance_for(StreamKey("Line B", "ammeter", "head")).rule == "percent_of_full_scale"


def test_its_lines_and_positions_are_those_of_the_demo_log():
    assert SITE.places_without_stream(demo_streams()) == ()


def test_it_shows_a_rule_switched_on_and_one_with_its_own_length():
    rules = SITE.checks["bath_concentration"].rules

    assert [rule.key for rule in rules] == ["beyond_limits", "near_limit", "off_centre", "one_side"]
    assert RuleSetting("one_side", 8, 8, 0) in rules


def test_it_shows_a_check_of_its_own():
    check = SITE.checks["washer_temperature"]

    assert (check.unit, check.acceptance.lower, check.acceptance.upper) == ("degC", 55.0, 75.0)
    assert check.interval.mark == "site"
