"""The ledger and the exposure windows as pictures: they show the entries they are given, and not by colour alone."""

import json
from dataclasses import replace
from typing import Any

import pytest

from spc.catalogue.load import starter
from spc.containment import ExposureWindow, exposure_windows
from spc.figures import THEMES, Screen
from spc.figures.ledger import KEY, exposure_course, exposures_overview, ledger_overview
from spc.monitor import monitor_stream
from spc.schedule.ledger import StreamLedger
from spc.schedule.operation import line_operation
from tests.schedule.made_site import LINE, VIENNA, calendar, kept, local, shown
from tests.test_containment import bath

TIMES = [
    "2025-03-03T06:10",
    "2025-03-03T14:50",  # late
    "2025-03-05T06:10",  # two missed before it
    "2025-03-05T14:12-",  # not in operation
    "2025-03-06T06:10",
]
NOW = "2025-03-06T07:00"
SCREENS = [Screen(theme, width, scale) for theme in THEMES for width, scale in ((420, 1.0), (1100, 1.0), (1900, 2.0))]


@pytest.fixture(scope="module")
def made() -> StreamLedger:
    return kept(TIMES, "8 h", NOW)


def trace(figure: Any, name: str) -> Any:
    (found,) = [each for each in figure.data if each.name == name]
    return found


def test_every_status_has_its_mark_at_its_moment(made):
    figure = ledger_overview([made], VIENNA)

    assert list(trace(figure, "late").x) == ["2025-03-03 14:50:00"]
    assert list(trace(figure, "missed").x) == ["2025-03-04 06:00:00", "2025-03-04 14:00:00"]
    assert list(trace(figure, "due").x) == ["2025-03-06 14:10:00"]
    assert list(trace(figure, "not in operation").x) == ["2025-03-05 14:10:00", "2025-03-06 06:00:00", None]


def test_the_line_of_what_was_done_breaks_where_a_check_was_missed(made):
    done = trace(ledger_overview([made], VIENNA), "done in time")

    assert [None if at is None else at[:16] for at in done.x] == [
        "2025-03-03 06:10",
        "2025-03-03 14:50",
        None,
        "2025-03-05 06:10",
        "2025-03-05 06:10",
        None,
        "2025-03-06 06:10",
        "2025-03-06 06:10",
        None,
    ]


def test_no_two_statuses_share_a_mark(made):
    figure = ledger_overview([made], VIENNA)

    marks = [each.marker.symbol for each in figure.data if each.mode == "markers"]
    assert len(set(marks)) == len(marks)
    dashes = [each.line.dash for each in figure.data if each.mode == "lines"]
    assert len(set(dashes)) == len(dashes)


@pytest.mark.parametrize("screen", SCREENS, ids=str)
def test_on_every_screen_a_figure_is_whole_and_can_be_sent(made, screen):
    sent = json.loads(ledger_overview([made, made], VIENNA, screen=screen).to_json())

    assert sent["layout"]["width"] == screen.width
    assert sent["layout"]["margin"]["l"] < screen.width / 2
    assert sent["layout"]["xaxis"]["title"]["text"].replace("<br>", " ").startswith("date (")


def test_the_key_names_every_status():
    assert all(word in KEY for word in ("done in time", "late", "missed", "not in operation", "due"))


def test_nothing_to_show_is_an_empty_pane():
    assert len(ledger_overview([], VIENNA).data) == 0


def test_a_window_shows_its_ends_and_when_the_line_ran():
    readings = bath([("2025-03-03T06:10", 0.2), ("2025-03-04T06:10", 0.05), ("2025-03-04T14:10", 0.2)])
    now = local("2025-03-05T12:00")
    streams = {readings.key: readings}
    operation, _ = line_operation(LINE, streams, (), calendar(), zone=VIENNA, now=now)
    result = monitor_stream(readings, (), starter().checks["bath_concentration"])
    (window,) = exposure_windows(result, streams, operation, now=now)

    figure = exposure_course(window, operation, VIENNA, now=now)

    (frame,) = figure.layout.shapes
    assert (frame.x0, frame.x1) == ("2025-03-03 06:10:00", "2025-03-04 06:10:00")
    assert shown(window.failed_at) == "2025-03-04T06:10"
    ran = [at for at in trace(figure, "in operation").x if at is not None]
    assert ran[:4] == ["2025-03-03 06:10:00", "2025-03-03 14:00:00", "2025-03-03 14:00:00", "2025-03-03 22:00:00"]
    assert ran[-1] == "2025-03-04 14:10:00"
    assert "failed: 0.050 mL/100 mL" in {each.name for each in figure.data}
    assert list(figure.layout.yaxis.ticktext)[1].strip() == "passed again"


def test_windows_of_several_streams_stand_in_rows_along_time():
    readings = bath([("2025-03-03T06:10", 0.2), ("2025-03-04T06:10", 0.05), ("2025-03-04T14:10", 0.2)])
    other = bath([("2025-03-03T06:10", 0.2), ("2025-03-05T06:10", 0.05)])
    now = local("2025-03-06T12:00")
    windows: list[ExposureWindow] = []
    for each in (readings, replace(other, key=replace(other.key, line="Line B"))):
        streams = {each.key: each}
        operation, _ = line_operation(each.key.line, streams, (), calendar(), zone=VIENNA, now=now)
        result = monitor_stream(each, (), starter().checks["bath_concentration"])
        windows += exposure_windows(result, streams, operation, now=now)

    figure = exposures_overview(windows, VIENNA, now=now)

    assert list(trace(figure, "in doubt").x)[:2] == ["2025-03-03 06:10:00", "2025-03-04 06:10:00"]
    assert "2025-03-06 12:00:00" in trace(figure, "not passed").x  # still open: followed to now
    assert list(trace(figure, "passed again").x) == ["2025-03-04 14:10:00"]
    assert [words.split(":")[0].strip() for words in figure.layout.yaxis.ticktext] == ["Line B", LINE]
    assert all("failed" in words for words in trace(figure, "failed").hovertext)
    assert {each.type for each in figure.data} == {"scatter"}
