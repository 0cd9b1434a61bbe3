"""The committed files of the demo line, read with the standard library alone."""

import csv
import json
from datetime import datetime
from pathlib import Path
from typing import Any

DATASETS = Path(__file__).parents[2] / "datasets"
LOG, EVENTS = DATASETS / "demo-log.csv", DATASETS / "demo-events.csv"
TRUTH: dict[str, Any] = json.loads((DATASETS / "faults.json").read_text(encoding="utf-8"))
FAULTS: dict[str, dict[str, Any]] = {fault["id"]: fault for fault in TRUTH["faults"]}
SLIPS: dict[str, dict[str, Any]] = {slip["id"]: slip for slip in TRUTH["slips"]}

Row = dict[str, str]


def lines() -> list[list[str]]:
    """Return every line of the log, cut into cells; the header is the first."""
    with LOG.open(encoding="utf-8", newline="") as file:
        return list(csv.reader(file))


def rows() -> list[Row]:
    """Return the rows of the log that were written as they should be, in file order."""
    header, *rest = lines()
    wrong = {row for slip in SLIPS.values() if slip["outcome"] != "duplicate" for row in slip["rows"]}
    return [dict(zip(header, cells, strict=True)) for number, cells in enumerate(rest, start=2) if number not in wrong]


def events() -> list[Row]:
    """Return the rows of the event file."""
    with EVENTS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def of_fault(fault: dict[str, Any], among: list[Row]) -> list[Row]:
    """Return the readings of the streams that `fault` is on, `not run` left out."""
    return [
        row
        for row in among
        if row["line"] == fault["line"]
        and fault["check"] in ("", row["check"])
        and (not fault["positions"] or row["position"] in fault["positions"])
        and row["value"] != "not run"
    ]


def within(fault: dict[str, Any], row: Row) -> bool:
    """Return whether `row` was taken while `fault` lasted."""
    return fault["from"] <= row["taken_at"] and (fault["to"] is None or row["taken_at"] < fault["to"])


def number(row: Row) -> float:
    """Return the value of a measured reading: its deviation in % where a current was compared with a reference."""
    value = float(row["value"].removeprefix("<"))
    return 100 * (value / float(row["reference"]) - 1) if row["check"] == "ammeter" else value


def day(row: Row) -> float:
    """Return the time of a reading in days."""
    return datetime.fromisoformat(row["taken_at"]).timestamp() / 86400
