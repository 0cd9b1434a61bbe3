import itertools
from collections import Counter
from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from spc.catalogue.load import starter
from spc.demo import DEMO_ZONE
from spc.demo.script import script
from spc.demo.working_days import shut_down
from tests.datasets.truth import FAULTS, TRUTH, Row, events, lines, rows

CHECKS = starter().checks
STREAMS = {plan.key: plan for plan in script().streams}


@pytest.fixture(scope="module")
def log():
    return rows()


def of(log: list[Row], line: str, check: str, position: str) -> list[Row]:
    return [row for row in log if (row["line"], row["check"], row["position"]) == (line, check, position)]


def test_columns_are_the_contract_s():
    named = "taken_at,line,check,position,value,reference,unit,instrument,technician,shift,note"

    assert ",".join(lines()[0]) == named
    assert ",".join(events()[0]) == "at,line,kind,check,position,amount,unit,note"


def test_the_line_is_of_a_size_a_person_can_take_in(log):
    seen = {(row["line"], row["check"], row["position"]) for row in log}

    assert len(seen) == len(STREAMS) == 35
    assert 12_000 < TRUTH["rows"]["read"] == len(lines()) - 1 < 20_000


def test_every_built_in_check_is_on_it():
    assert {key.check for key in STREAMS} == set(CHECKS)


def test_units_are_the_catalogue_s():
    wrong = {
        str(key): plan.unit
        for key, plan in STREAMS.items()
        if plan.form not in ("word", "count") and plan.unit != CHECKS[key.check].unit
    }

    assert wrong == {}


def test_event_kinds_are_the_catalogue_s_and_touch_a_stream():
    kinds = starter().event_kinds
    named = {(row["line"], row["check"]) for row in events() if row["check"]}

    assert {row["kind"] for row in events()} <= kinds
    assert named <= {(key.line, key.check) for key in STREAMS}


def test_it_covers_two_years_in_time_order(log):
    times = [row["taken_at"] for row in log]

    assert times == sorted(times)
    assert (times[0][:10], times[-1][:10]) == ("2024-11-04", "2026-11-20")
    assert [row["at"] for row in events()] == sorted(row["at"] for row in events())


def test_nobody_works_at_weekends_nor_in_a_shutdown(log):
    days = {datetime.fromisoformat(row["taken_at"]).date() for row in log}

    assert all(day.weekday() < 5 and not shut_down(day) for day in days)
    assert sum(shut_down(datetime(2025, 8, 1).date() + timedelta(n)) for n in range(31)) == 14  # noqa: DTZ001 - local


def test_every_shutdown_is_bound_by_events():
    told = [(row["line"], row["kind"]) for row in events() if row["kind"].startswith("line_")]

    for line in ("Line A", "Line B"):
        kinds = [kind for where, kind in told if where == line]
        assert kinds[:8] == ["line_idle", "line_running"] * 4
    assert told[-1] == ("Line B", "line_idle")


def test_a_holiday_is_written_as_not_run(log):
    first_of_may = [row for row in log if row["taken_at"].startswith("2026-05-01")]

    assert {row["value"] for row in first_of_may} == {"not run"}
    assert {row["line"] for row in first_of_may} == {"Line A", "Line B"}


def test_no_time_falls_in_an_hour_that_the_clocks_skip_or_repeat(log):
    zone = ZoneInfo(DEMO_ZONE)
    for at in {datetime.fromisoformat(row["taken_at"]) for row in log}:
        first, second = (at.replace(tzinfo=zone, fold=fold).utcoffset() for fold in (0, 1))
        assert first == second


def test_readings_are_multiples_of_the_step_they_are_read_to(log):
    for key, plan in STREAMS.items():
        for row in of(log, key.line, key.check, key.position):
            if plan.form == "word" or row["value"] == "not run" or row["instrument"] == "tube-3":
                continue
            assert Decimal(row["value"].removeprefix("<")) % plan.step == 0, row


def test_some_readings_are_censored_and_some_rows_unsigned(log):
    censored = Counter(row["check"] for row in log if row["value"].startswith("<"))
    signed = Counter(row["technician"] for row in log)

    assert censored["ambient_light"] >= 3
    assert set(censored) <= {"ambient_light", "lamp_visible_light"}
    assert 0.005 < signed[""] / len(log) < 0.03
    assert {name.upper() for name in signed} == {"", "T1", "T2", "T3", "T4", "T5", "T6"}
    assert 0.01 < sum(n for name, n in signed.items() if name.startswith("t")) / len(log) < 0.06


def test_between_one_and_three_percent_of_checks_are_missed(log):
    shifts = {(row["taken_at"][:10], row["shift"]) for row in of(log, "Line A", "uva_irradiance", "lamp 1")}
    shifts |= {(row["taken_at"][:10], row["shift"]) for row in of(log, "Line A", "bath_concentration", "tank")}
    done = len(of(log, "Line A", "notched_shim", "hub"))

    assert 0.005 < 1 - done / len(shifts) < 0.03


@pytest.mark.parametrize(
    ("line", "check", "position", "centre", "sd"),
    [
        ("Line A", "bath_temperature", "tank", 23.0, 0.6),
        ("Line B", "bath_temperature", "tank", 21.0, 0.7),
        ("Line A", "lamp_visible_light", "lamp 2", 0.95, 0.12),
        ("Line B", "residual_field", "demagnetiser", 0.72, 0.18),
        ("Line B", "ring_holes", "ring 2", 6.0, 0.4),
    ],
)
def test_quiet_streams_lie_as_the_script_says(log, line, check, position, centre, sd):
    # centre and spread of line.toml; a lognormal of log spread s has mean c exp(s^2 / 2); rounding adds step^2 / 12
    x = [float(row["value"]) for row in of(log, line, check, position) if row["value"] != "not run"]
    mean = sum(x) / len(x)
    spread = (sum((value - mean) ** 2 for value in x) / (len(x) - 1)) ** 0.5

    assert mean == pytest.approx(centre, abs=0.25 * sd)
    assert spread == pytest.approx(sd, rel=0.25)


def test_a_failed_check_is_answered_before_the_next_working_day_is_over(log):
    """No measured stream stays outside its limits for more than two days, but where the log ends."""
    limits = {"bath_concentration": (0.1, 0.4), "uva_irradiance": (1000, 1e9), "residual_field": (0, 3.0)}
    for key in STREAMS:
        if key.check not in limits:
            continue
        low, high = limits[key.check]
        readings = [row for row in of(log, key.line, key.check, key.position) if row["value"] != "not run"]
        outside = [not low <= float(row["value"]) <= high for row in readings]
        for bad, run in itertools.groupby(zip(outside, readings, strict=True), key=lambda pair: pair[0]):
            if bad:
                days = {row["taken_at"][:10] for _, row in run}
                assert len(days) <= 3, (key, days)


def test_feeds_are_written_down_with_their_grams():
    fed = [row for row in events() if row["kind"] == "bath_topped_up"]

    assert len(fed) > 60
    assert all(row["unit"] == "g" and 0 < float(row["amount"]) < 200 for row in fed)


def test_faults_lie_within_the_log():
    for fault in FAULTS.values():
        assert "2024-11-04" <= fault["from"] < "2026-11-20"
        assert fault["to"] is None or fault["from"] < fault["to"]
