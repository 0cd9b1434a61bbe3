"""Numbers and times at their ends: defined everywhere, and never other one at a time than all at once."""

import json
import math
import random
from dataclasses import replace
from datetime import UTC, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.as_json.scan import scan_json
from spc.ingest.tidy import LARGEST
from spc.monitor import monitor_stream
from spc.results import Signal
from spc.rules import ALL_EIGHT
from spc.scan import scan
from spc.step_monitor import monitor_next, monitor_start, one_by_one
from spc.watch import Watch
from tests.made import START, cut, made_check, made_event, made_readings

HEADER = "taken_at,line,check,position,value\n"
STEADY = [0.19, 0.21, 0.2, 0.22, 0.18] * 4
SMALLEST = 5e-324  # the smallest denormal of IEEE 754 binary64

ENDS = st.sampled_from([0.0, SMALLEST, 1e-310, 1e-200, 0.2, 0.21, 1e15, 1e29, LARGEST])


def one_at_a_time(readings, events, check):
    state, signals = monitor_start(cut(readings, 0), events, check), list[Signal]()
    for reading in one_by_one(readings):
        state, new = monitor_next(state, reading)
        signals.extend(new)
    return state, tuple(signals)


def agree(readings, events, check):
    """Hold the two forms to one another; return the result of all at once."""
    state, signals = one_at_a_time(readings, events, check)
    whole = monitor_stream(readings, events, check)
    assert signals == whole.signals
    assert state.limits == whole.segments[-1].limits
    return whole


def every_number(value):
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        for each in value:
            yield from every_number(each)
    elif isinstance(value, float):
        yield value


@settings(max_examples=40, deadline=None)
@given(st.lists(ENDS, min_size=1, max_size=40), st.booleans())
def test_numbers_at_the_ends_of_what_a_computer_holds_give_the_same_both_ways(values, warning):
    check = made_check(possible=(0.0, math.inf), rules=ALL_EIGHT, baseline=10, early_warning=warning)
    whole = agree(made_readings(values), [], check)

    for segment in whole.segments:
        if segment.limits is not None:
            limits = segment.limits
            assert not any(map(math.isnan, (limits.centre_line, limits.lower, limits.upper, limits.sigma)))


@pytest.mark.parametrize("value", ["1e308", "1.7976931348623157e308", "5e-324", "1e-310", "1e-31", "1e309", "9" * 400])
def test_such_a_number_in_a_log_is_read_or_quarantined_and_the_rest_stands(tmp_path, value):
    rows = [
        f"2025-03-{1 + i // 3:02}T{6 + 8 * (i % 3):02}:10Z,Line A,uva_irradiance,lamp 1,{2400 + i % 7}"
        for i in range(60)
    ]
    rows.insert(30, rows[30].replace(":10Z", ":11Z").rsplit(",", 1)[0] + f",{value}")
    log = tmp_path / "log.csv"
    log.write_text(HEADER + "\n".join(rows) + "\n")
    found = scan(log, zone=UTC)
    said = json.loads(json.dumps(scan_json(found), allow_nan=False))

    assert said["rows"]["read"] == 61
    assert said["rows"]["accepted"] + said["rows"]["quarantined"] == 61
    assert said["rows"]["accepted"] >= 60
    assert all(map(math.isfinite, every_number(said)))


def test_ten_years_in_one_segment_are_the_same_both_ways():
    rng = np.random.default_rng(10)
    values = np.round(rng.normal(0.2, 0.02, 10 * 365), 2).clip(0.05, 0.35)
    values[2500:] += 0.01
    whole = agree(made_readings(values.tolist()), [], made_check(resolution=0.01, rules=ALL_EIGHT, early_warning=True))

    assert len(whole.segments) == 1
    assert any(signal.position > 2500 for signal in whole.signals)


def test_a_thousand_events_in_a_minute_start_one_segment_and_every_one_is_known():
    readings = made_readings(STEADY * 2)
    at = START + timedelta(hours=8 * 20 - 1)
    events = [made_event("bath_changed", at + timedelta(milliseconds=60 * i)) for i in range(1000)]
    whole = agree(readings, events, made_check(rules=ALL_EIGHT))

    assert [segment.first for segment in whole.segments] == [0, 20]
    assert whole.segments[1].because == "bath_changed"


def test_a_thousand_top_ups_in_a_minute_are_the_same_both_ways():
    at = START + timedelta(hours=8 * 25 - 1)
    events = [made_event("bath_topped_up", at + timedelta(milliseconds=60 * i)) for i in range(1000)]

    agree(made_readings(STEADY * 2 + [0.3] * 5), events, made_check(early_warning=True))


def test_readings_of_one_moment_stand_in_the_order_of_the_log_and_agree():
    rng = random.Random(4)
    values = STEADY + [rng.choice([0.1, 0.2, 0.3, 0.5]) for _ in range(480)]
    readings = made_readings(values, times=[START] * 500)
    whole = agree(readings, [], made_check(rules=ALL_EIGHT, early_warning=True))

    assert whole.readings.value.tolist() == values
    assert whole.failures


def log_rows(seed):
    """Return rows of two streams, some of them of one moment, in an order that a person might have written them."""
    rng = random.Random(seed)
    rows = []
    for i in range(90):
        at = START + timedelta(hours=8 * (i - i % 4 // 3))  # each fourth shares the moment of the one before
        for check, position, value in (
            ("bath_concentration", "tank", round(rng.gauss(0.2, 0.02) - (i > 60) * 0.002 * (i - 60), 2)),
            ("uva_irradiance", "lamp 1", round(rng.gauss(2400, 40))),
        ):
            rows.append(f"{at:%Y-%m-%dT%H:%MZ},Line A,{check},{position},{value}\n")
    for _ in range(25):  # written late: a row goes up to a week further down
        place = rng.randrange(len(rows) - 45)
        rows.insert(place + rng.randrange(1, 42), rows.pop(place))
    return rows


def told(streams):
    return [
        (
            each.key, each.readings.taken_at.tolist(), each.readings.value.tolist(), each.signals, each.rule_signals,
            each.failures, [(segment.first, segment.because, segment.limits) for segment in each.segments],
        )
        for each in streams
    ]  # fmt: skip


@pytest.mark.parametrize("seed", range(3))
def test_late_and_unordered_rows_followed_live_say_what_the_whole_log_says(tmp_path, seed):
    rows, events = log_rows(seed), tmp_path / "events.csv"
    log, rng = tmp_path / "log.csv", random.Random(100 + seed)
    events.write_text("at,line,kind,check,position\n", encoding="utf-8")
    log.write_text(HEADER + rows[0], encoding="utf-8")
    watch, place = Watch(log, events=events, zone=UTC), 1
    changed = f"{START + timedelta(days=9):%Y-%m-%dT%H:%MZ},Line A,bath_changed,bath_concentration,tank\n"
    while place < len(rows):
        more = rng.randrange(1, 25)
        with log.open("a", encoding="utf-8") as file:
            file.writelines(rows[place : place + more])
        if place <= 120 < place + more:  # an event that is written long after it happened
            with events.open("a", encoding="utf-8") as file:
                file.write(changed)
        place += more
        watch.poll()

    whole = scan(log, events=events, zone=UTC)
    live = watch.snapshot.scan

    assert live.log.rows == whole.log.rows
    assert told(live.streams) == told(whole.streams)
    assert any(len(each.segments) == 2 for each in live.streams)


@settings(max_examples=30, deadline=None)
@given(st.permutations(range(12)))
def test_the_order_in_which_rows_arrive_does_not_matter_once_their_times_differ(order):
    values = [0.19, 0.21, 0.2, 0.22, 0.18, 0.2, 0.31, 0.2, 0.05, 0.45, 0.2, 0.21]
    times = [START + timedelta(hours=8 * i) for i in range(12)]
    check = made_check(baseline=5, rules=ALL_EIGHT, early_warning=True)
    ordered = monitor_stream(made_readings(values, times=times), [], check)
    by_time = sorted(order, key=lambda i: times[i])
    again = monitor_stream(made_readings([values[i] for i in by_time], times=[times[i] for i in by_time]), [], check)

    assert replace(again, readings=ordered.readings).signals == ordered.signals


@pytest.mark.parametrize("n", [1, 2, 14, 15, 16, 44, 45, 46, 47, 60])
def test_every_length_of_a_stream_gives_finite_numbers(tmp_path, n):
    log = tmp_path / "log.csv"
    rows = [
        f"{START + timedelta(hours=8 * i):%Y-%m-%dT%H:%MZ},Line A,uva_irradiance,lamp 1,{2400 + i % 7}\n"
        for i in range(n)
    ]
    log.write_text(HEADER + "".join(rows), encoding="utf-8")
    said = json.loads(json.dumps(scan_json(scan(log, zone=UTC)), allow_nan=False))

    assert said["rows"]["accepted"] == n
    assert "nan" not in json.dumps(said["questions"])
