"""Limits as decisions: a reading is judged by the limits of its own day, whichever stand now."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from spc.catalogue.acceptance import Acceptance
from spc.catalogue.load import load_catalogue, starter
from spc.charted import charted_readings, check_of_stream
from spc.errors import StoreError
from spc.monitor import monitor_stream
from spc.records import StreamKey
from spc.store.entries import LimitDecision
from spc.store.limits import decided_check, decided_for, decisions_of
from tests.store.made_store import BATH, NOW, read_text

DAY = datetime(2025, 3, 4, tzinfo=UTC)
CHECK = starter().checks[BATH.check]


def fixed(lower: float, upper: float, revision: str = "A") -> Acceptance:
    return Acceptance(rule="fixed", lower=lower, upper=upper, document="WP-1", revision=revision, mark="site")


def decision(days: int, limits: Acceptance, line: str = "", position: str = "") -> LimitDecision:
    return LimitDecision(BATH.check, line, position, limits, DAY + timedelta(days=days), "the Level 3")


def test_the_limits_of_the_day():
    decisions = [decision(0, fixed(0.1, 0.4)), decision(10, fixed(0.15, 0.3))]

    days = [DAY + timedelta(days=days) for days in (-1, 0, 9, 10, 99)]
    found = [decided_check(decisions, CHECK, BATH, day).acceptance.upper for day in days]

    assert found == [CHECK.acceptance.upper, 0.4, 0.4, 0.3, 0.3]


def test_the_narrower_place_counts_first_whenever_it_was_decided():
    decisions = [
        decision(5, fixed(0.2, 0.3), "Line A", "tank"),
        decision(0, fixed(0.1, 0.4)),
        decision(7, fixed(0.1, 0.35)),
        decision(3, fixed(0.1, 0.36), "Line A"),
        decision(1, fixed(0.1, 0.9), "Line B"),
    ]

    dated = decided_for(decisions, BATH)

    assert [(moment - DAY).days for moment, _ in dated] == [0, 3, 5]
    assert [limits.upper for _, limits in dated] == [0.4, 0.36, 0.3]
    assert [limits.upper for _, limits in decided_for(decisions, StreamKey("Line C", BATH.check, ""))] == [0.4, 0.35]


def test_of_two_decisions_for_one_moment_the_later_written_counts():
    decisions = [decision(0, fixed(0.1, 0.4)), decision(0, fixed(0.1, 0.5))]

    assert decided_check(decisions, CHECK, BATH, DAY).acceptance.upper == 0.5


def test_a_reading_is_judged_by_the_limits_of_its_own_day(tmp_path):
    rows = [f"2025-03-{4 + day:02}T06:00Z,Line A,bath_concentration,tank,0.35,,,,,,," for day in range(6)]
    header = "taken_at,line,check,position,value,reference,unit,instrument,technician,shift,note,lot"
    readings = read_text(tmp_path, "\n".join([header, *rows]) + "\n").streams[BATH]
    moment = DAY + timedelta(days=2, hours=6)  # exactly that of the third reading
    decisions = [decision(0, fixed(0.1, 0.4)), replace(decision(0, fixed(0.1, 0.3, "B")), valid_from=moment)]
    check = decided_check(decisions, CHECK, BATH, DAY + timedelta(days=9))

    result = monitor_stream(readings, (), check)
    again = monitor_stream(readings, (), result.check)

    assert result.charted.upper.tolist() == [0.4, 0.4, 0.3, 0.3, 0.3, 0.3]
    assert [failure.index for failure in result.failures] == [2, 3, 4, 5]
    assert result.check.acceptance.revision == "B"
    assert again.charted.upper.tolist() == result.charted.upper.tolist()


def test_later_decisions_do_not_change_what_earlier_readings_were_judged_by(tmp_path):
    rows = [f"2025-03-{4 + day:02}T06:00Z,Line A,bath_concentration,tank,0.35,,,,,,," for day in range(6)]
    header = "taken_at,line,check,position,value,reference,unit,instrument,technician,shift,note,lot"
    readings = read_text(tmp_path, "\n".join([header, *rows]) + "\n").streams[BATH]
    first = [decision(0, fixed(0.1, 0.4))]
    later = [*first, decision(4, fixed(0.1, 0.3))]

    before, after = (
        charted_readings(readings, check_of_stream(readings, decided_check(each, CHECK, BATH, DAY + timedelta(days=9))))
        for each in (first, later)
    )

    assert np.array_equal(before.upper[:4], after.upper[:4])
    assert after.upper[4] == 0.3


def test_words_are_judged_by_their_day_too(tmp_path):
    key = StreamKey("Line A", "notched_shim", "bracket")
    rows = [f"2025-03-0{day}T06:00Z,Line A,notched_shim,bracket,partly,,,,,,," for day in (4, 5, 6)]
    header = "taken_at,line,check,position,value,reference,unit,instrument,technician,shift,note,lot"
    readings = read_text(tmp_path, "\n".join([header, *rows]) + "\n").streams[key]
    lenient = Acceptance(rule="words", good=("shown", "partly"), bad=("not shown",), document="WP-1", revision="A")
    strict = replace(lenient, good=("shown",), bad=("partly", "not shown"), revision="B")
    decisions = [
        LimitDecision("notched_shim", "", "", limits, DAY + timedelta(days=days), "x")
        for days, limits in ((0, lenient), (1, strict))
    ]
    check = decided_check(decisions, starter().checks["notched_shim"], key, DAY + timedelta(days=9))

    failures = monitor_stream(readings, (), check).failures

    assert [failure.index for failure in failures] == [1, 2]


SITE = """\
[check.bath_concentration.acceptance]
rule = "fixed"
lower = 0.10
upper = 0.35
document = "WP-1"
revision = "B"

[[check.bath_concentration.acceptance_at]]
line = "Line A"
rule = "fixed"
lower = 0.15
upper = 0.30
document = "WP-1"
revision = "B"
"""


def test_a_catalogue_makes_decisions_and_makes_them_once(tmp_path, store):
    (tmp_path / "site.toml").write_text(SITE)
    catalogue = load_catalogue(tmp_path / "site.toml")

    new = decisions_of(catalogue, [], valid_from=DAY, confirmed_by="the Level 3")
    store.append(*new, who="anna", now=NOW)
    kept = [entry.record for entry in store.records(LimitDecision)]

    assert [(each.check, each.line, each.acceptance.upper) for each in kept] == [
        (BATH.check, "", 0.35),
        (BATH.check, "Line A", 0.3),
    ]
    assert kept == list(new)
    assert decisions_of(catalogue, kept, valid_from=DAY + timedelta(days=9), confirmed_by="the Level 3") == ()
    with pytest.raises(StoreError, match="confirms no limit"):
        decisions_of(starter(), [], valid_from=DAY, confirmed_by="the Level 3")
