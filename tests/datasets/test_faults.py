"""The magnitude of every planted fault, measured from the committed log."""

import math
from collections.abc import Callable, Sequence
from typing import Any, get_args

import numpy as np
import pytest

from spc.demo.faults import Effect, Ending
from tests.datasets.truth import FAULTS, Row, day, events, number, of_fault, rows, within

Fault = dict[str, Any]

# Starter limits, from ASTM E1444/E3024, E709 and T.O. 33B-1-1 (the concentration, the ammeter's and the residual
# field's from memory); the ammeter's 10 % holds from 500 A up.
LIMITS = {
    "bath_concentration": (0.1, 0.4),
    "bath_contamination": (-math.inf, 30.0),
    "uva_irradiance": (1000.0, math.inf),
    "ambient_light": (-math.inf, 2.0),
    "ammeter": (-10.0, 10.0),
    "residual_field": (-math.inf, 3.0),
    "ring_holes": (5.0, math.inf),
    "viscosity": (-math.inf, 3.0),
}
BEFORE = 40  # readings that show how the stream lay before the fault
SURE = 4  # standard errors: what is measured from readings may lie this far from what was planted


@pytest.fixture(scope="module")
def log():
    return rows()


def window(log: list[Row], fault: Fault) -> list[Row]:
    return [row for row in of_fault(fault, log) if within(fault, row)]


def just_before(log: list[Row], fault: Fault) -> list[Row]:
    return [row for row in of_fault(fault, log) if row["taken_at"] < fault["from"]]


def concerned(fault: Fault, readings: list[Row]) -> list[Row]:
    """Return the readings that the fault is on: one shift's or one person's alone, if it says so."""
    return [
        row
        for row in readings
        if fault["shift"] in ("", row["shift"]) and fault["technician"] in ("", row["technician"].upper())
    ]


def with_effect(*effects: str) -> list[str]:
    return [name for name, fault in FAULTS.items() if fault["effect"] in effects]


def at_position(readings: list[Row], position: str) -> list[Row]:
    return [row for row in readings if row["position"] == position]


def mean(readings: list[Row]) -> float:
    return float(np.mean([number(row) for row in readings]))


def step(before: Sequence[float], now: Sequence[float]) -> tuple[float, float]:
    """Return by how much readings step up, and the standard error, their spread taken from before."""
    return float(np.mean(now) - np.mean(before)), float(np.std(before, ddof=1)) * math.sqrt(
        1 / len(now) + 1 / len(before)
    )


def slope(
    rows: list[Row], of: Callable[[Row], float] = number, over: Callable[[Row], float] = day
) -> tuple[float, float]:
    """Return the least-squares slope of the readings, over days if nothing else is said, and its standard error."""
    at, x = np.array([over(row) for row in rows]), np.array([of(row) for row in rows])
    (rate, _), covariance = np.polyfit(at - at.mean(), x, 1, cov=True)
    return float(rate), math.sqrt(covariance[0, 0])


def test_each_kind_of_fault_is_planted():
    assert {fault["effect"] for fault in FAULTS.values()} == set(get_args(Effect))
    assert {fault["ends"] for fault in FAULTS.values()} == set(get_args(Ending))
    assert len(FAULTS) >= 20


@pytest.mark.parametrize("name", with_effect("factor"))
def test_a_factor_is_that_large(log, name):
    fault = FAULTS[name]
    readings, before = concerned(fault, window(log, fault))[:BEFORE], just_before(log, fault)
    for position in {row["position"] for row in readings}:
        then, now = ([math.log(number(row)) for row in at_position(part, position)] for part in (before, readings))
        unfed = 0.01 * (len(now) + 1) / 2 if fault["check"] == "bath_concentration" else 0.0  # it loses 1 % a shift

        measured, error = step(then[-BEFORE:], now)

        assert measured == pytest.approx(math.log(fault["size"]) - unfed, abs=SURE * error)
        assert abs(measured) > SURE * error


@pytest.mark.parametrize("name", with_effect("add"))
def test_an_addition_is_that_large(log, name):
    fault = FAULTS[name]
    readings = window(log, fault)
    others = [row for row in readings if row["technician"].upper() not in ("", fault["technician"])]
    then = others if fault["technician"] else just_before(log, fault)[-BEFORE:]

    measured, error = step([number(row) for row in then], [number(row) for row in concerned(fault, readings)])

    assert measured == pytest.approx(fault["size"], abs=SURE * error)
    assert measured > SURE * error


@pytest.mark.parametrize("name", with_effect("factor_per_day"))
def test_a_growing_factor_grows_that_fast(log, name):
    fault = FAULTS[name]
    feeding = 0.0 if fault["check"] != "bath_concentration" else 0.008 * 10 / 7  # the unfed bath loses 0.8 % a shift

    rate, error = slope(window(log, fault), lambda row: math.log(number(row)))

    assert rate == pytest.approx(math.log(1 + fault["size"]) - feeding, abs=SURE * error)
    assert SURE * error < abs(rate)


@pytest.mark.parametrize("name", with_effect("add_per_day"))
def test_a_growing_addition_grows_that_fast(log, name):
    fault = FAULTS[name]

    rate, error = slope(window(log, fault))

    assert rate == pytest.approx(fault["size"], abs=SURE * error)
    assert SURE * error < abs(rate)


@pytest.mark.parametrize("name", with_effect("loss_per_shift"))
def test_a_bath_loses_that_share_a_shift(log, name):
    fault = FAULTS[name]
    readings = window(log, fault)
    shift = {row["taken_at"]: place for place, row in enumerate(readings)}

    rate, error = slope(readings, lambda row: math.log(number(row)), lambda row: shift[row["taken_at"]])

    assert rate == pytest.approx(math.log(1 - fault["size"] - 0.01), abs=SURE * error)  # 1 % a shift it loses anyway
    assert SURE * error < abs(rate)


@pytest.mark.parametrize("name", with_effect("share_per_week"))
def test_contaminant_grows_that_fast(log, name):
    fault = FAULTS[name]

    rate, error = slope(window(log, fault))

    assert rate * 7 == pytest.approx(fault["size"] + 1.0, abs=SURE * error * 7)  # a point a week it grows anyway
    assert SURE * error < rate


@pytest.mark.parametrize("name", with_effect("step"))
def test_readings_are_rounded_to_that_step(log, name):
    fault = FAULTS[name]
    readings = window(log, fault)

    assert len(readings) > 30
    assert {row["instrument"] for row in readings} == {"tube-3"}
    assert all(number(row) / fault["size"] == pytest.approx(round(number(row) / fault["size"])) for row in readings)
    assert "tube-3" not in {row["instrument"] for row in log if row not in readings}


@pytest.mark.parametrize("name", with_effect("copied"))
def test_copied_readings_are_all_the_same(log, name):
    fault = FAULTS[name]
    readings = window(log, fault)
    before = {row["value"] for row in just_before(log, fault)[-BEFORE:]}

    assert len(readings) >= 15
    assert len({row["value"] for row in readings}) == 1
    assert len(before) > 3


@pytest.mark.parametrize("name", with_effect("missing"))
def test_nothing_at_all_was_written(log, name):
    fault = FAULTS[name]
    other_line = [row for row in log if row["line"] != fault["line"] and within(fault, row)]

    assert window(log, fault) == []
    assert [row for row in log if row["line"] == fault["line"] and within(fault, row)] == []
    assert len({row["taken_at"][:10] for row in other_line}) == 10  # working days of a fortnight
    assert not any(row["kind"] == "line_idle" and within(fault, row | {"taken_at": row["at"]}) for row in events())


@pytest.mark.parametrize("name", with_effect("spent"))
def test_the_judged_check_fails_often(log, name):
    fault = FAULTS[name]
    words = [row["value"] for row in window(log, fault)]
    ever = [row["value"] for row in of_fault(fault, log)]

    assert words.count("fail") >= 3
    assert ever.count("fail") <= words.count("fail") + 3


@pytest.mark.parametrize("name", [name for name, fault in FAULTS.items() if fault["check"] in LIMITS])
def test_it_ends_as_it_says(log, name):
    fault = FAULTS[name]
    low, high = LIMITS[fault["check"]]
    outside = [not low <= number(row) <= high for row in window(log, fault)]

    if fault["ends"] == "failed check":
        assert any(outside)
        assert not any(outside[: len(outside) // 3]) or len(outside) <= 3  # warned of before, unless it is a step
    elif fault["ends"] == "open at the end of the log":
        assert not any(outside[:-1])
    else:
        assert not any(outside)


def test_one_check_has_just_failed_and_one_drift_is_on_its_way(log):
    ammeter, lamp = FAULTS["head-ammeter-b-creeping"], FAULTS["lamp-2-soiling"]

    failed, falling = number(window(log, ammeter)[-1]), number(window(log, lamp)[-1])

    assert failed < -10
    assert 1500 < falling < 2200
    assert events()[-1]["kind"] == "line_idle"
    assert events()[-1]["at"] > window(log, ammeter)[-1]["taken_at"]


def test_what_was_wrong_is_put_right(log):
    for fault in FAULTS.values():
        if (
            fault["to"] is None
            or fault["to"] > "2026-11-20"
            or fault["effect"] not in ("factor_per_day", "add_per_day")
        ):
            continue
        during, after = window(log, fault), [row for row in of_fault(fault, log) if row["taken_at"] >= fault["to"]]
        before, last, next_ = (mean(part) for part in (just_before(log, fault)[-8:], during[-4:], after[:8]))

        assert abs(next_ - before) < 0.4 * abs(last - before), fault["id"]


def test_shims_fade_when_the_bath_is_poor(log):
    poor = FAULTS["agitator-blocked"]
    shims = [row for row in log if row["check"] == "notched_shim" and row["value"] != "not run"]
    faded = [row for row in shims if row["value"] != "shown"]

    assert len([row for row in faded if within(poor, row)]) >= 3
    assert len(faded) < 0.02 * len(shims)
