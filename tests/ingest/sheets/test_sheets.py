"""Sheets as people keep them, each with the outcome that its description gives; no cell of any is lost."""

import tomllib
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from spc.catalogue.load import starter
from spc.errors import LayoutError, LogError
from spc.ingest.csv_log import CheckLog
from spc.ingest.fit import read_sheets
from spc.ingest.layouts import layout_from
from spc.ingest.log_file import read_log_file
from spc.ingest.proposal import propose_layout
from spc.records import Readings
from spc.times import as_written, from_microseconds

from .made_sheet import NAMES, MadeSheet, made_sheet

ZONE = ZoneInfo("Europe/Vienna")
SIGN = {-1: "<", 0: "", 1: ">"}


def read(made: MadeSheet) -> CheckLog:
    return read_log_file(made.sheet, starter(), zone=ZONE, layout=made.layout)


def written(readings: Readings) -> list[str]:
    pairs = zip(readings.value, readings.bound, readings.word, strict=True)
    return [word or f"{SIGN[int(bound)]}{value:g}" for value, bound, word in pairs]


def times(readings: Readings) -> list[str]:
    pairs = zip(readings.taken_at, readings.offset, strict=True)
    return [as_written(from_microseconds(int(at)), int(offset), ZONE) for at, offset in pairs]


def test_the_corpus_holds_at_least_forty_sheets():
    assert len(NAMES) >= 40


@pytest.mark.parametrize("name", NAMES)
def test_a_sheet_is_read_as_described(name, tmp_path):
    made = made_sheet(name, tmp_path)
    if "refused" in made.about:
        with pytest.raises((LayoutError, LogError)) as refusal:
            read(made)
        assert made.about["refused"] in str(refusal.value)
        assert "\n" not in str(refusal.value)
        return

    log = read(made)

    assert log.cells is not None
    counted = {kind: getattr(log.cells, kind) for kind in ("accepted", "duplicate", "quarantined", "blank")}
    assert counted == {kind: made.about.get(kind, 0) for kind in counted}
    if "ignored" in made.about:
        assert log.cells.ignored == made.about["ignored"]
    for note in made.about.get("notes", []):
        assert any(note in said for said in log.notes), note


@pytest.mark.parametrize("name", NAMES)
def test_every_cell_ends_in_one_place(name, tmp_path):
    made = made_sheet(name, tmp_path)
    if "refused" in made.about:
        return

    log = read(made)

    cells = log.cells
    assert cells is not None
    assert cells.read == (
        cells.accepted + cells.duplicate + cells.quarantined + cells.blank + cells.ignored + cells.context
    )
    if made.cells >= 0:
        assert cells.read == made.cells
    assert log.rows.accepted == cells.accepted == sum(len(readings) for readings in log.streams.values())
    assert log.rows.quarantined == cells.quarantined == len(log.quarantine)
    assert cells.blank == len(log.blanks)


@pytest.mark.parametrize("name", NAMES)
def test_what_is_set_aside_says_where_and_why(name, tmp_path):
    made = made_sheet(name, tmp_path)
    if "refused" in made.about:
        return

    found = read(made).quarantine

    for wanted in made.about.get("quarantine", []):
        bad = [each for each in found if each.row == wanted["row"] and each.column.startswith(wanted["column"])]
        assert [each.text for each in bad] == [wanted["text"]]
        assert wanted["says"] in bad[0].reason
    assert all(each.text and each.reason and each.column for each in found)


@pytest.mark.parametrize("name", NAMES)
def test_the_readings_are_those_described(name, tmp_path):
    made = made_sheet(name, tmp_path)
    if "refused" in made.about:
        return

    streams = {str(key): readings for key, readings in read(made).streams.items()}

    for wanted in made.about.get("stream", []):
        readings = streams[wanted["key"]]
        assert written(readings) == wanted["readings"]
        if "at" in wanted:
            assert times(readings) == wanted["at"]
        if "references" in wanted:
            np.testing.assert_array_equal(readings.reference, np.array(wanted["references"], dtype=np.float64))


@pytest.mark.parametrize("name", NAMES)
def test_a_layout_is_proposed_for_it_and_no_header_is_passed_over(name, tmp_path):
    made = made_sheet(name, tmp_path)
    sheets = read_sheets(made.sheet)

    proposal = propose_layout(sheets, starter())

    values = tomllib.loads(proposal.text)
    headers = values["headers"]
    assert {each.column: each.header for each in (*proposal.placed, *proposal.unplaced)} == headers
    for each in proposal.unplaced:
        assert f"#   {each.column}: {each.header}" in proposal.text
    with pytest.raises(LayoutError):  # the line, at least, is for a person to give
        layout_from(proposal.text, "proposal", starter())
