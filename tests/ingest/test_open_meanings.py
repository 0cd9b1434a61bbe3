"""Readings that could be taken for something else: open decimal signs, two units in a row, signs, repeated hours."""

import os
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from spc.catalogue.load import starter
from spc.errors import LogError
from spc.ingest.csv_log import LogReader, read_log
from spc.ingest.event_log import read_events
from spc.ingest.follow import SETTLED_SECONDS, is_settled
from spc.monitor import monitor_stream
from spc.records import Bound, RowCount
from spc.watch import Watch
from tests.ingest.made_log import CATALOGUE, HEADER, ZONE, read_rows, read_text, reading, reasons, values


def tabs(*cells: str, check: str = "viscosity") -> str:
    """Return a log parted by tabs with these values, one an hour."""
    rows = [f"2025-03-04T{6 + i:02d}:10\tLine A\t{check}\ttank\t{cell}" for i, cell in enumerate(cells)]
    return "\n".join(["taken_at\tline\tcheck\tposition\tvalue", *rows]) + "\n"


@pytest.mark.parametrize(
    ("cells", "read", "blamed"),
    [
        (("2,5", "2.450", "2,6"), [2.5, 2.6], ["2.450"]),
        (("2.450", "2,5"), [2.5], ["2.450"]),  # nothing before it settles it
        (("2.5", "2.450"), [2.5, 2.45], []),
        (("2.5", "2,6", "2.450"), [2.5, 2.6], ["2.450"]),  # both signs were used
        (("2", "2.450"), [2.0], ["2.450"]),
        (("2.5", "<2.450"), [2.5, 2.45], []),
        (("0.450", "2.450"), [0.45, 2.45], []),  # no thousands begin with 0
        (("2,5", "1,200"), [2.5], ["1,200"]),
        (("2,5", "1.234,5"), [2.5, 1234.5], []),
    ],
)
def test_in_cells_parted_by_tabs_an_open_point_is_read_only_where_it_is_settled(tmp_path, cells, read, blamed):
    path = tmp_path / "log.tsv"
    path.write_text(tabs(*cells))
    log = read_log(path, starter(), zone=ZONE)

    assert [row.text for row in log.quarantine] == blamed
    (readings,) = log.streams.values()
    assert readings.value.tolist() == read


def test_it_means_the_same_read_in_pieces(tmp_path):
    text = tabs("2,5", "2.450", "2,6", "3.125").encode()
    reader = LogReader("log.tsv", starter(), zone=ZONE)
    for at in range(0, len(text), 7):
        log = reader.feed(text[at : at + 7], final=at + 7 >= len(text))

    assert [row.text for row in log.quarantine] == ["2.450", "3.125"]


@pytest.mark.parametrize(
    ("value", "reference", "unit", "expected"),
    [
        ("1.01", "1", "kA", (1010.0, 1000.0)),
        ("0.5", "1", "kA", (500.0, 1000.0)),  # far off, and still in one unit
        ("1.01", "1000", "kA", None),
        ("1010", "1000", "A", (1010.0, 1000.0)),
        ("1.01", "", "kA", (1010.0, None)),
    ],
)
def test_a_reference_in_another_unit_than_its_value_is_not_converted_with_it(
    tmp_path, value, reference, unit, expected
):
    log = read_rows(tmp_path, reading(value, check="ammeter", unit=unit, reference=reference))

    if expected is None:
        assert reasons(log) == [(2, "reference", "1000")]
        assert "write both in one unit" in log.quarantine[0].reason
        return
    (readings,) = log.streams.values()
    assert readings.value.tolist() == [expected[0]]
    assert readings.reference.tolist() == pytest.approx([expected[1] or float("nan")], nan_ok=True)


def test_a_signed_residual_field_keeps_its_sign_and_is_judged_by_its_size(tmp_path):
    path = tmp_path / "log.csv"
    rows = [f"2025-03-{day:02d}T06:10,Line A,residual_field,exit,{v}" for day, v in enumerate(VALUES, start=1)]
    path.write_text("taken_at,line,check,position,value\n" + "\n".join(rows) + "\n")
    log = read_log(path, starter(), zone=UTC)
    ((key, readings),) = log.streams.items()

    result = monitor_stream(readings, (), starter().checks[key.check])

    assert log.rows.quarantined == 0
    assert readings.value.tolist() == [0.5, -1.5, -4.0, 3.5, -2.0, -3.0]
    assert result.charted.x.tolist() == [0.5, 1.5, 4.0, 3.5, 2.0, 3.0]
    assert [failure.index for failure in result.failures] == [2, 3, 5]
    # below -3 is beyond 3 in size; above -2 may be anything
    assert result.charted.bound.tolist() == [0, 0, 0, 0, Bound.BELOW, Bound.ABOVE]


VALUES = ("0.5", "-1.5", "-4", "3.5", ">-2", "<-3")


def test_in_an_hour_that_comes_twice_other_values_are_kept_and_equal_ones_are_told(tmp_path):
    night = [
        f"2025-10-26T02:{minute:02d},Line A,bath_concentration,tank,{value},,,,,,"
        for minute, value in ((10, 0.21), (10, 0.22), (30, 0.25), (30, 0.25), (30, 0.26))
    ]
    log = read_text(tmp_path, "\n".join([HEADER, *night]) + "\n")

    assert log.rows == RowCount(read=5, accepted=4, duplicate=1, quarantined=0)
    assert values(log) == [0.21, 0.22, 0.25, 0.26]
    said = " ".join(log.notes)
    assert "row 5 says the same as an earlier one and was taken for a duplicate" in said
    assert "write its offset from UTC" in said


EVENTS = "at,line,kind,check,position,amount,unit,note\n2025-03-04T05:30,Line A,bath_changed,,,,,\n"
HALF = "2025-03-05T05:30,Line A,bath_changed,,,,,tank cle"


def test_the_last_event_waits_until_its_line_has_its_end_or_nobody_writes_any_more(tmp_path):
    path = tmp_path / "events.csv"
    path.write_text(EVENTS + HALF)
    now = datetime.fromtimestamp(path.stat().st_mtime + 0.1, UTC)
    later = datetime.fromtimestamp(path.stat().st_mtime + SETTLED_SECONDS + 0.1, UTC)

    assert not is_settled(path, now)
    assert is_settled(path, later)
    assert len(read_events(path, CATALOGUE, zone=ZONE, final=False).events) == 1
    assert len(read_events(path, CATALOGUE, zone=ZONE).events) == 2
    path.write_text(EVENTS + HALF + "aned\n")
    assert is_settled(path, datetime.fromtimestamp(path.stat().st_mtime, UTC))
    assert is_settled(tmp_path / "none.csv", now)


@pytest.fixture
def followed(tmp_path: Path) -> tuple[Path, Path]:
    """Return a log and an event file."""
    log, events = tmp_path / "log.csv", tmp_path / "events.csv"
    log.write_text("\n".join([HEADER, reading("0.21"), reading("0.22").replace("06:10", "07:10")]) + "\n")
    events.write_text(EVENTS)
    return log, events


def test_a_watch_takes_no_half_written_event(followed):
    log, events = followed
    watch = Watch(log, events=events, zone=ZONE)
    with events.open("a") as file:
        file.write(HALF)
    watch.poll()
    assert watch.snapshot.scan.events is not None
    before = len(watch.snapshot.scan.events.events)
    old = time.time() - SETTLED_SECONDS - 1.0
    os.utime(events, (old, old))
    watch.poll()

    assert (before, len(watch.snapshot.scan.events.events)) == (1, 2)


def test_a_watch_says_that_rows_read_before_were_changed(followed):
    log, _ = followed
    watch = Watch(log, zone=ZONE)
    log.write_text(log.read_text().replace("0.21", "0.19"))

    assert watch.poll()
    assert watch.snapshot.lost is not None
    assert "changed in rows read before" in watch.snapshot.lost
    with log.open("a") as file:
        file.write(reading("0.23").replace("06:10", "08:10") + "\n")
    watch.poll()
    assert "changed in rows read before" in (watch.snapshot.lost or "")  # said until the watch ends


def test_a_log_that_only_grew_is_nothing_to_be_told(followed):
    log, _ = followed
    watch = Watch(log, zone=ZONE)
    with log.open("a") as file:
        file.write(reading("0.23").replace("06:10", "08:10") + "\n")

    assert watch.poll()
    assert watch.snapshot.lost is None


def test_a_log_all_of_whose_dates_are_open_is_refused_even_where_it_is_followed(tmp_path):
    log = tmp_path / "log.csv"
    log.write_text(HEADER + "\n" + reading("0.21").replace("2025-03-04T06:10", "04/03/2025 06:10") + "\n")

    with pytest.raises(LogError, match="--dates"):
        Watch(log, zone=ZONE)
