"""The demo line as the package reads it: every row where it belongs, every fault on its stream's chart."""

from collections.abc import Iterator
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from spc.demo import DEMO_ZONE
from spc.records import NO_OFFSET, StreamKey
from spc.results import StreamResult
from spc.scan import Scan, scan
from spc.state import stream_state
from spc.times import as_written, from_microseconds
from tests.datasets.truth import EVENTS, FAULTS, LOG, SLIPS, TRUTH, lines

ZONE = ZoneInfo(DEMO_ZONE)
ON_CHARTS = [
    name
    for name, fault in FAULTS.items()
    if fault["effect"] not in ("copied", "missing", "spent", "step") and not fault["technician"]
]
"""Faults that move a chart; the others are for screening, the schedule or the judged checks themselves."""


@pytest.fixture(scope="module")
def whole():
    return scan(LOG, events=EVENTS, zone=ZONE)


def written(taken_at: int) -> str:
    """Return a time as the log has it."""
    return as_written(from_microseconds(taken_at), NO_OFFSET, ZONE)


def on_streams_of(fault: dict[str, Any], whole: Scan) -> Iterator[StreamResult]:
    for result in whole.streams:
        key = result.key
        if (key.line, key.check) == (fault["line"], fault["check"]) and (
            not fault["positions"] or key.position in fault["positions"]
        ):
            yield result


def times(found, fault: dict[str, Any]) -> list[str]:
    return [at for at in (written(one.taken_at) for one in found) if fault["from"] <= at < (fault["to"] or "9")]


def test_every_row_ends_where_the_truth_says(whole):
    rows, counts = whole.log.rows, TRUTH["rows"]

    assert (rows.read, rows.accepted) == (counts["read"], counts["accepted"])
    assert (rows.duplicate, rows.quarantined) == (counts["duplicate"], counts["quarantined"])
    assert not whole.events.quarantine


def test_what_is_quarantined_is_what_was_planted_and_nothing_else(whole):
    planted = {
        row: slip["column"] for slip in SLIPS.values() if slip["outcome"] == "quarantined" for row in slip["rows"]
    }

    assert {bad.row: bad.column for bad in whole.log.quarantine} == planted
    assert all(bad.reason for bad in whole.log.quarantine)


def test_every_reading_keeps_the_time_that_was_written(whole):
    log = lines()
    kept = [
        (written(int(at)), log[int(row) - 1][0])
        for result in whole.streams
        for at, row in zip(result.readings.taken_at, result.readings.row, strict=True)
    ]

    assert len(kept) == TRUTH["rows"]["accepted"]
    assert [pair for pair in kept if pair[0] != pair[1]] == []


def test_duplicates_are_left_out_of_the_streams(whole):
    read = {int(row) for result in whole.streams for row in result.readings.row}
    planted = {row for slip in SLIPS.values() if slip["outcome"] == "duplicate" for row in slip["rows"]}

    assert planted.isdisjoint(read)


def test_readings_in_another_unit_are_converted(whole):
    streams = {result.key: result.readings for result in whole.streams}
    led, booth = (
        streams[StreamKey("Line A", "uva_irradiance", "lamp 1")],
        streams[StreamKey("Line B", "ambient_light", "booth")],
    )
    watts = [float(led.value[led.row == row][0]) for row in SLIPS["watts-per-square-metre"]["rows"]]
    lux = [float(booth.value[booth.row == row][0]) for row in SLIPS["lux-said-so"]["rows"]]

    assert all(4000 < value < 5000 for value in watts)
    assert all(0.3 < value < 1.2 for value in lux)


def has_limits(result: StreamResult, fault: dict[str, Any]) -> bool:
    """Return whether the segment that the fault is in has its whole baseline before the fault is over."""
    inside = [n for n, at in enumerate(map(written, result.charted.taken_at)) if at < (fault["to"] or "9")]
    segment = next(segment for segment in result.segments if segment.first <= inside[-1] < segment.stop)
    return (
        segment.limits is not None and segment.limits.complete and len(inside) - segment.first > result.check.baseline
    )


def test_two_faults_come_with_too_few_readings_for_control_limits(whole):
    without = {
        name for name in ON_CHARTS if not all(has_limits(r, FAULTS[name]) for r in on_streams_of(FAULTS[name], whole))
    }

    assert without == {"shot-in-bath", "oil-carried-in"}  # weekly readings of a bath that is changed


@pytest.mark.parametrize("name", ON_CHARTS)
def test_a_fault_is_signalled_on_each_of_its_streams(whole, name):
    fault = FAULTS[name]
    results = list(on_streams_of(fault, whole))

    # A lamp read cold on some mornings and one weekly reading beyond the limit are no drift and no lasting step: the
    # first breaks run rules that are drawn and warn of nothing, the second is a failed check.
    told = {"cold-lamp": "rule_signals", "torn-curtain": "failures"}.get(name, "signals")
    assert results
    assert all(times(getattr(result, told), fault) for result in results if has_limits(result, fault))


@pytest.mark.parametrize("name", ["soiled-lamp-2", "bath-unfed", "head-ammeter-creeping", "head-ammeter-b-creeping"])
def test_a_drift_that_fails_a_check_is_signalled_three_readings_before(whole, name):
    fault = FAULTS[name]
    (result,) = on_streams_of(fault, whole)
    signalled, failed = times(result.signals, fault)[0], times(result.failures, fault)[0]

    assert len([at for at in map(written, result.readings.taken_at) if signalled <= at < failed]) >= 3


@pytest.mark.parametrize(
    "name", [name for name in ON_CHARTS if FAULTS[name]["ends"] not in ("failed check", "open at the end of the log")]
)
def test_what_was_caught_or_did_no_harm_failed_no_check(whole, name):
    fault = FAULTS[name]
    slips = {row for slip in SLIPS.values() for row in slip["rows"]}
    for result in on_streams_of(fault, whole):
        assert not times((failure for failure in result.failures if failure.row not in slips), fault)


def test_the_board_is_calm_but_for_what_the_readme_tells(whole):
    now = from_microseconds(max(int(result.readings.taken_at[-1]) for result in whole.streams))
    words = {result.key: stream_state(result, ZONE, now).word for result in whole.streams}
    failed = [key for key, word in words.items() if word == "failed"]
    moving = [key for key, word in words.items() if word == "moving"]

    assert failed == [StreamKey("Line B", "ammeter", "head")]
    assert StreamKey("Line A", "uva_irradiance", "lamp 2") in moving
    assert len(moving) <= 4
    assert len(words) == 35
