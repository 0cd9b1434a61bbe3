from collections import Counter
from typing import Any

import pytest

from tests.datasets.truth import SLIPS, TRUTH, lines, rows


@pytest.fixture(scope="module")
def log():
    return lines()


def planted(outcome: str) -> list[dict[str, Any]]:
    return [slip for slip in SLIPS.values() if slip["outcome"] == outcome]


def test_outcomes_add_up():
    counts = TRUTH["rows"]

    assert counts["duplicate"] == sum(len(slip["rows"]) for slip in planted("duplicate")) == 5
    assert counts["quarantined"] == sum(len(slip["rows"]) for slip in planted("quarantined")) == 11
    assert counts["accepted"] + counts["duplicate"] + counts["quarantined"] == counts["read"]


@pytest.mark.parametrize("slip", planted("duplicate"), ids=lambda slip: slip["id"])
def test_a_duplicate_repeats_the_row_above_it(log, slip):
    (row,) = slip["rows"]
    first, second = log[row - 2], log[row - 1]

    assert first[:5] == second[:5]


def test_no_other_row_is_there_twice(log):
    seen = Counter(tuple(cells[:5]) for cells in log[1:])

    assert sum(n - 1 for n in seen.values()) == TRUTH["rows"]["duplicate"]


@pytest.mark.parametrize(
    ("name", "cells"),
    [
        ("two-points", {4: "0.2.1"}),
        ("word-for-a-number", {4: "fine"}),
        ("negative-concentration", {4: "-0.20"}),
        ("nothing-written", {4: ""}),
        ("30-february", {0: "2025-02-30T06:31"}),
        ("hour-25", {0: "2026-03-03T25:24"}),
        ("check-by-another-name", {2: "settling"}),
        ("amperes-of-light", {2: "uva_irradiance", 6: "A"}),
        ("word-unknown", {4: "so-so"}),
    ],
)
def test_a_row_that_cannot_be_read_is_wrong_in_one_cell(log, name, cells):
    (row,) = SLIPS[name]["rows"]

    assert len(log[row - 1]) == 11
    assert {column: log[row - 1][column] for column in cells} == cells


def test_two_rows_have_too_few_and_too_many_cells(log):
    odd = {number: len(cells) for number, cells in enumerate(log, start=1) if len(cells) != 11}

    assert odd == {SLIPS["cut-short"]["rows"][0]: 4, SLIPS["too-long"]["rows"][0]: 13}


@pytest.mark.parametrize(
    ("name", "factor"),
    [
        ("mW-in-the-uW-column", 0.001),
        ("mW-in-the-uW-column-b", 0.001),
        ("lux-in-the-fc-column", 10.764),  # 1 fc = 10.764 lx
        ("millitesla-in-the-gauss-column", 0.1),  # 1 G = 0.1 mT
        ("kiloamperes-in-the-ampere-column", 0.001),
        ("tenfold-bath", 10.0),
        ("tenfold-bath-b", 10.0),
        ("watts-per-square-metre", 0.01),  # 1 uW/cm2 = 0.01 W/m2
        ("lux-said-so", 10.764),
    ],
)
def test_a_slip_of_the_unit_is_off_by_its_factor(log, name, factor):
    slip = SLIPS[name]
    stream = [
        row["value"]
        for row in rows()
        if (row["line"], row["check"], row["position"]) == (slip["line"], slip["check"], slip["position"])
    ]
    usual = sorted(float(value.removeprefix("<")) for value in stream if value != "not run")
    written = [float(log[row - 1][4]) for row in slip["rows"]]

    assert sum(written) / len(written) / usual[len(usual) // 2] == pytest.approx(factor, rel=0.55)


@pytest.mark.parametrize(("name", "unit", "n"), [("watts-per-square-metre", "W/m2", 10), ("lux-said-so", "lx", 8)])
def test_rows_in_another_unit_say_so(log, name, unit, n):
    wanted = SLIPS[name]["rows"]
    there = [number for number, cells in enumerate(log, start=1) if len(cells) > 6 and cells[6] == unit]

    assert there == wanted
    assert len(wanted) == n
