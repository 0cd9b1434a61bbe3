import pickle
import subprocess
import sys
import tomllib
from datetime import timedelta
from pathlib import Path

import pytest

from spc.catalogue.build import RULE_FIELDS
from spc.catalogue.check import EVENT_KINDS, LINE_EVENTS
from spc.catalogue.load import (
    ACCEPTANCE_KEYS,
    CHECK_KEYS,
    DEFAULT_KEYS,
    INTERVAL_KEYS,
    STARTER,
    load_catalogue,
    starter,
)
from spc.catalogue.table import LIFTED
from spc.rules import DEFAULT_RULES

BUILT_IN = (
    "bath_concentration", "bath_contamination", "water_break", "bath_temperature", "viscosity", "uva_irradiance",
    "lamp_integrity", "lamp_visible_light", "ambient_light", "ammeter", "timer", "quick_break", "residual_field",
    "ring_holes", "known_defect_part", "notched_shim", "yoke_lift",
)  # fmt: skip
JUDGED = ("water_break", "lamp_integrity", "quick_break", "known_defect_part", "notched_shim")
CHECKS = starter().checks
RAW = tomllib.loads(STARTER.read_text(encoding="utf-8"))


def test_the_starter_has_every_built_in_check_and_no_other():
    assert tuple(CHECKS) == BUILT_IN
    assert all(check.key == key for key, check in CHECKS.items())


@pytest.mark.parametrize("key", BUILT_IN)
def test_a_starter_check_says_what_people_need(key):
    check = CHECKS[key]

    assert check.title
    assert check.interval.words
    assert check.interval.document
    assert check.look_first["any"]
    assert check.obliges
    assert check.cautions
    assert (check.kind == "judged") == (key in JUDGED)


@pytest.mark.parametrize("key", BUILT_IN)
def test_no_starter_limit_is_confirmed(key):
    acceptance = CHECKS[key].acceptance

    assert not acceptance.confirmed
    assert acceptance.revision is None
    assert (acceptance.mark in ("found", "memory")) == (acceptance.rule != "none")
    assert bool(acceptance.document) == (acceptance.rule != "none")
    assert CHECKS[key].interval.mark != "site"


@pytest.mark.parametrize("key", [key for key in BUILT_IN if key not in JUDGED])
def test_a_measured_check_is_charted_and_says_where_to_look_either_way(key):
    check = CHECKS[key]

    assert check.charted == {"ammeter": "deviation", "residual_field": "magnitude"}.get(key, "value")
    assert check.chart_unit == ("%" if key == "ammeter" else check.unit_label)
    assert check.unit
    assert check.resolution
    assert check.rules == (DEFAULT_RULES[:1] if key == "ring_holes" else DEFAULT_RULES)  # whole holes make no runs
    assert check.moving_range
    assert check.baseline == 20
    assert check.look_first["low"]
    assert check.look_first["high"]


@pytest.mark.parametrize("key", JUDGED)
def test_a_judged_check_has_words_and_no_chart(key):
    check = CHECKS[key]

    assert check.unit == ""
    assert (check.charted, check.rules, check.moving_range) == ("none", (), False)
    assert check.acceptance.good == ("pass", "shown")
    assert check.acceptance.bad == ("fail", "partly", "not shown")


# Limits: ASTM E1444, E3024, E709, AMS 2641 and AS5282 from memory; T.O. 33B-1-1 (older edition) as found.
@pytest.mark.parametrize(
    ("key", "lower", "upper", "mark"),
    [
        ("bath_concentration", 0.1, 0.4, "memory"),  # mL/100 mL
        ("bath_contamination", None, 30.0, "found"),  # % of the particle volume
        ("viscosity", None, 3.0, "memory"),  # mm2/s at 38 C
        ("uva_irradiance", 1000.0, None, "found"),  # uW/cm2; ceilings are the customers'
        ("lamp_visible_light", None, 2.0, "found"),  # fc
        ("ambient_light", None, 2.0, "found"),  # fc
        ("timer", -0.1, 0.1, "memory"),  # s
        ("residual_field", None, 3.0, "memory"),  # G
        ("yoke_lift", 44.0, None, "found"),  # N, AC yoke
    ],
)
def test_fixed_limits_of_the_documents(key, lower, upper, mark):
    acceptance = CHECKS[key].acceptance

    assert (acceptance.rule, acceptance.lower, acceptance.upper, acceptance.mark) == ("fixed", lower, upper, mark)


# Intervals: ASTM E3024/E3024M-16, Table 1 (read in an extract), but for those marked otherwise.
@pytest.mark.parametrize(
    ("key", "every", "months", "mark"),
    [
        ("bath_concentration", timedelta(hours=8), 0, "found"),
        ("bath_contamination", timedelta(weeks=1), 0, "found"),
        ("water_break", timedelta(days=1), 0, "found"),
        ("uva_irradiance", timedelta(days=1), 0, "found"),
        ("lamp_integrity", timedelta(weeks=1), 0, "found"),
        ("ambient_light", timedelta(weeks=1), 0, "found"),
        ("ammeter", timedelta(days=182.625), 6, "found"),
        ("timer", timedelta(days=182.625), 6, "found"),
        ("quick_break", timedelta(days=182.625), 6, "found"),
        ("yoke_lift", timedelta(days=182.625), 6, "found"),
        ("ring_holes", timedelta(days=1), 0, "found"),
        ("known_defect_part", timedelta(days=1), 0, "found"),
        ("notched_shim", timedelta(days=1), 0, "found"),
        ("viscosity", timedelta(days=30.4375), 1, "memory"),  # older military practice
        ("bath_temperature", timedelta(hours=8), 0, "none"),  # common practice, no source
        ("lamp_visible_light", timedelta(weeks=1), 0, "none"),  # common practice, no source
        ("residual_field", None, 0, "none"),  # common practice, no source
    ],
)
def test_intervals_of_the_documents(key, every, months, mark):
    interval = CHECKS[key].interval

    assert (interval.every, interval.months, interval.mark) == (every, months, mark)


@pytest.mark.parametrize(
    ("key", "names"),
    [
        ("bath_concentration", ["0.5 or 0.7", "0.1 to 0.3", "ISO 9934-2"]),
        ("bath_contamination", ["particle volume", "all settled solids"]),
        ("ambient_light", ["21.5 lx", "20 lx"]),
        ("lamp_visible_light", ["20 lx"]),
        ("ammeter", ["full scale", "percent_of_full_scale"]),
        ("ring_holes", ["5 at 2500 A", "not interchangeable"]),
        ("yoke_lift", ["178 N", "222 N"]),
    ],
)
def test_where_documents_disagree_the_starter_says_so(key, names):
    assert all(name in CHECKS[key].acceptance.conflict for name in names)


def test_the_quick_break_interval_names_its_other_document():
    assert "60 calendar days" in CHECKS["quick_break"].interval.conflict


def test_an_event_without_a_check_touches_the_checks_it_can_change():
    touched = {kind: {key for key in CHECKS if kind in starter().events_for(key)} for kind in EVENT_KINDS - LINE_EVENTS}

    assert {"bath_concentration", "bath_contamination", "water_break", "viscosity"} <= touched["bath_changed"]
    assert {"uva_irradiance", "lamp_integrity", "lamp_visible_light"} <= touched["lamp_replaced"]
    assert touched["booth_repaired"] == {"ambient_light"}
    assert "ammeter" in touched["unit_repaired"]
    assert "uva_irradiance" not in touched["bath_changed"]
    assert all(touched.values())
    assert starter().event_kinds == EVENT_KINDS


def test_the_starter_uses_no_key_that_the_format_lacks():
    assert set(RAW) == {"defaults", "check"}
    assert set(RAW["defaults"]) == set(DEFAULT_KEYS)
    for check in RAW["check"].values():
        assert set(check) <= set(CHECK_KEYS)
        assert set(check["acceptance"]) <= {*ACCEPTANCE_KEYS, "mark", "conflict"}
        assert set(check["interval"]) <= {*INTERVAL_KEYS, "mark", "conflict"}


def test_the_header_of_the_starter_documents_every_key():
    header = STARTER.read_text(encoding="utf-8").split("\n[defaults]")[0]

    keys = {
        *DEFAULT_KEYS,
        *CHECK_KEYS,
        *INTERVAL_KEYS,
        *ACCEPTANCE_KEYS,
        *RULE_FIELDS,
        "mark",
        "conflict",
        "line",
        "position",
    }
    assert [key for key in sorted(keys) if key not in header] == []
    assert LIFTED in header


def test_every_value_of_the_starter_reaches_its_check():
    for key, raw in RAW["check"].items():
        check = CHECKS[key]
        for field in ("title", "kind", "decimals", "resolution", "unit"):
            assert raw.get(field, getattr(check, field)) == getattr(check, field)
        for field in ("new_segment_on", "explained_by", "cautions", "obliges"):
            assert tuple(raw.get(field, getattr(check, field))) == getattr(check, field)
        assert {side: tuple(texts) for side, texts in raw["look_first"].items()} == check.look_first
        for field in ("lower", "upper", "percent", "amperes", "document", "mark"):
            assert raw["acceptance"].get(field, getattr(check.acceptance, field)) == getattr(check.acceptance, field)
        for field in ("words", "document", "mark"):
            assert raw["interval"].get(field, getattr(check.interval, field)) == getattr(check.interval, field)
        assert raw["acceptance"].get("conflict", "") == check.acceptance.conflict
        assert raw["interval"].get("conflict", "") == check.interval.conflict


def test_without_a_site_file_the_starter_is_the_catalogue():
    assert load_catalogue() is starter()
    assert starter().source == "starter catalogue"


def test_a_catalogue_can_be_handed_to_another_process():
    assert pickle.loads(pickle.dumps(starter())) == starter()


def test_loading_the_catalogue_loads_no_heavy_library():
    script = (
        "import sys; from spc.catalogue.load import starter; starter();"
        "print([m for m in ('pandas', 'scipy', 'pint', 'plotly', 'statsmodels') if m in sys.modules])"
    )
    root = Path(__file__).parents[2]

    done = subprocess.run([sys.executable, "-c", script], cwd=root, capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "[]"
