from dataclasses import replace
from datetime import timedelta
from typing import Any

import plotly.graph_objects as go  # type: ignore[import-untyped]  # it comes without types
import pytest

from dashboard.queries import Queries, SpcError, watch
from dashboard.settings import Settings
from dashboard.urls import StreamView
from spc.records import StreamKey
from tests.dashboard.made_line import (
    AMBIENT,
    AMMETER,
    BATH,
    LAMP,
    NOW,
    SHIM,
    TIMER,
    add_row,
    asked,
    watched,
    write_line,
)


@pytest.fixture
def settings(tmp_path):
    return write_line(tmp_path)


@pytest.fixture(scope="module")
def queries(tmp_path_factory):
    return asked(write_line(tmp_path_factory.mktemp("line")))


def view_of(key: StreamKey, **more: Any) -> StreamView:
    return StreamView(key.line, key.check, key.position, **more)


# the board


def test_the_board_asks_first_for_the_failed_check_then_for_the_drift(queries):
    todos = queries.board().todos

    assert [todo.state for todo in todos] == ["failed", "moving"]
    assert todos[0].headline.startswith("Ammeter deviation, head read \N{MINUS SIGN}13.0 %")
    assert len(todos[0].obliges) >= 1
    assert todos[1].headline.startswith("UV-A irradiance, lamp 1 has been falling since about ")
    assert len(todos[1].look_first) >= 1


def test_every_stream_has_a_tile_under_its_line(queries):
    board = queries.board()

    assert [line.name for line in board.lines] == ["Line 1", "Line 2"]
    assert {(tile.title, tile.state) for tile in board.lines[0].tiles} == {
        ("Bath concentration", "calm"), ("UV-A irradiance", "moving"), ("Notched shim", "judged")
    }  # fmt: skip
    assert board.lines[0].states == (("moving", 1), ("calm", 1), ("judged", 1))


def test_a_tile_says_the_last_reading_its_unit_its_margin_and_when(queries):
    tile = next(tile for tile in queries.board().tiles if tile.title == "Ammeter deviation")

    assert (tile.value, tile.unit, tile.margin_fraction) == ("\N{MINUS SIGN}13.0", "%", 0.0)
    assert tile.margin == "3.0 beyond the limit"
    assert (tile.taken, tile.age) == ("10 Apr 14:10", "1 h ago")
    assert tile.unconfirmed
    assert tile.course_words.startswith("last 40 readings")


def test_a_word_of_two_parts_is_no_number_with_a_unit(settings):
    add_row(settings, "2026-04-10T15:00,Line 1,notched_shim,hub,not shown,,,,m1,A,")
    tile = next(tile for tile in asked(settings).board().tiles if tile.title == "Notched shim")

    assert (tile.value, tile.unit, tile.state) == ("not shown", "", "failed")


def test_the_board_of_the_same_version_and_minute_is_kept(queries):
    assert queries.board() is queries.board()


def test_ages_grow_without_a_new_row(settings):
    source = watched(settings)
    hour = iter([NOW, NOW + timedelta(hours=3)])
    queries = Queries(source, settings, clock=lambda: next(hour))

    assert [queries.board().tiles[0].age for _ in range(2)] == ["1 h ago", "4 h ago"]


def test_a_log_without_rows_is_an_empty_board(tmp_path):
    log = tmp_path / "log.csv"
    log.write_text("taken_at,line,check,value\n")
    queries = asked(Settings(log=log, zone=NOW.tzinfo))

    assert queries.board().tiles == ()
    assert queries.header().last_reading == "no reading yet"


# the header and the live state


def test_the_header_accounts_for_every_row(queries):
    header = queries.header()

    assert (header.read, header.accepted, header.duplicate, header.quarantined) == ("406", "404", "1", "1")
    assert header.last_reading == "Fri 10 Apr 2026 14:10"
    assert header.zone == "Europe/Vienna"


def test_the_live_state_changes_with_a_row_and_with_the_minute(settings):
    source = watched(settings)
    queries = asked(settings, source)
    before = queries.live()
    add_row(settings, "2026-04-10T15:00,Line 1,bath_concentration,tank,0.21,,mL/100mL,tube-1,m1,A,")
    source.poll()

    assert (before["version"], queries.live()["version"]) == (1, 2)
    assert before["problem"] is None
    assert asked(settings, source).live()["minute"] == before["minute"]


def test_only_the_stream_that_got_a_row_has_another_stamp(settings):
    source = watched(settings)
    queries = asked(settings, source)
    before = {key: queries.stamp(view_of(key)) for key in (BATH, LAMP)}
    add_row(settings, "2026-04-10T15:00,Line 1,bath_concentration,tank,0.21,,mL/100mL,tube-1,m1,A,")
    source.poll()

    assert queries.stamp(view_of(LAMP)) == before[LAMP]
    assert queries.stamp(view_of(BATH)) != before[BATH]


def test_a_log_that_vanishes_is_said(settings):
    source = watched(settings)
    settings.log.unlink()
    source.poll()

    assert "log.csv" in str(asked(settings, source).live()["problem"])


def test_a_log_is_followed_while_its_events_cannot_be_read(settings):
    source = watched(settings)
    read = source.snapshot.scan.log.rows.read
    kept = source.snapshot.scan.streams[0].events
    settings.events.unlink()
    add_row(settings, "2026-04-10T15:00,Line 1,bath_concentration,tank,0.05,,mL/100mL,tube-1,m1,A,")
    source.poll()

    assert "events.csv" in str(asked(settings, source).live()["problem"])
    assert source.snapshot.scan.log.rows.read == read + 1
    assert source.snapshot.scan.streams[0].events == kept
    assert not source.poll()
    settings.events.write_text("at,line,kind\n", encoding="utf-8")
    assert source.poll()
    assert asked(settings, source).live()["problem"] is None


def test_rows_that_vanish_from_the_log_are_told_until_the_end(settings):
    source = watched(settings)
    queries = asked(settings, source)
    whole = settings.log.read_bytes()
    assert queries.live()["lost"] is None
    read = source.snapshot.scan.log.rows.read

    settings.log.write_bytes(b"".join(whole.splitlines(keepends=True)[:-3]))
    source.poll()
    told = str(queries.live()["lost"])
    add_row(settings, "2026-04-10T15:00,Line 1,bath_concentration,tank,0.21,,mL/100mL,tube-1,m1,A,")
    source.poll()

    assert told.endswith(f"{read} were read before, {read - 3} are in it now")
    assert queries.live()["lost"] == told
    assert told in queries.rows().notes


def test_a_log_that_could_not_be_read_for_a_moment_lost_nothing(settings):
    source = watched(settings)
    whole = settings.log.read_bytes()
    settings.log.unlink()
    source.poll()
    settings.log.write_bytes(whole)
    source.poll()

    assert asked(settings, source).live()["problem"] is None
    assert asked(settings, source).live()["lost"] is None


def test_a_missing_log_is_refused_in_one_line(tmp_path):
    with pytest.raises(SpcError) as refusal:
        watch(Settings(log=tmp_path / "none.csv"))

    assert "\n" not in str(refusal.value)


# one stream


def test_a_stream_tells_what_moves_and_what_stands_behind_it(queries):
    page = queries.stream(view_of(LAMP))

    assert (page.title, page.state, page.unit) == ("Line 1: UV-A irradiance, lamp 1", "moving", "µW/cm²")
    assert page.explained[0].open
    assert page.explained[0].sentence.startswith("UV-A irradiance, lamp 1 has been falling")
    assert dict(page.limits)["Asked"] == "at least 1000 µW/cm²"
    assert dict(page.baseline)["Readings in the baseline"] == "20"
    assert any("readings" in sentence for sentence in page.forecast)
    assert page.cautions


def test_a_signal_opens_the_chart_where_it_was(queries):
    href = queries.stream(view_of(LAMP)).explained[0].href
    view = StreamView.from_search(href.partition("?")[2])
    figure = go.Figure(queries.figure(view, {"theme": "light", "width": 960, "scale": 1}))

    assert next(trace for trace in figure.data if trace.name == "looked at").x[0].startswith("2026-04-10 14:10")


def test_the_table_shows_the_latest_fifty_in_view_newest_first(queries):
    page = queries.stream(view_of(AMMETER))

    assert (len(page.rows), page.rows_in_view) == (50, 60)
    assert page.rows[0].value == "870 A at 1000 A"
    assert page.rows[0].charted.startswith("\N{MINUS SIGN}13.0")
    assert page.rows[0].state == "failed"
    assert (page.rows[0].technician, page.rows[0].instrument) == ("m2", "shunt-1")


def test_neighbours_follow_the_board(queries):
    first, last = queries.stream(view_of(BATH)), queries.stream(view_of(TIMER))

    assert first.previous is None
    assert StreamView.from_search(first.following[0].partition("?")[2]) == view_of(LAMP)
    assert last.following is None


def test_the_stretch_asked_for_is_marked_and_another_one_is_not(queries):
    assert [shown for _, _, shown in queries.stream(view_of(BATH)).ranges] == [True, False, False]
    assert [shown for _, _, shown in queries.stream(view_of(BATH, show="all")).ranges] == [False, False, True]
    zoomed = view_of(BATH, start="2026-03-05T00:00", end="2026-03-06T00:00")
    assert [shown for _, _, shown in queries.stream(zoomed).ranges] == [False, False, False]
    assert len(queries.stream(view_of(SHIM)).ranges) == 2  # a judged check has no segments


def test_earlier_and_later_lead_through_the_stream_and_stop_at_its_ends(queries):
    page = queries.stream(view_of(BATH))
    seen = {row.row for row in page.rows}
    while page.earlier:
        page = queries.stream(StreamView.from_search(page.earlier.partition("?")[2]))
        seen |= {row.row for row in page.rows}

    assert page.later is not None
    assert len(seen) == 80


def test_a_zoomed_address_shows_exactly_that_stretch(queries):
    view = view_of(BATH, start="2026-03-05T00:00", end="2026-03-07T00:00")
    figure = go.Figure(queries.figure(view, {"theme": "dark", "width": 1200, "scale": 1}, "?as=written"))

    assert figure.layout.xaxis.range == ("2026-03-05 00:00:00", "2026-03-07 00:00:00")
    assert figure.layout.meta["search"] == "?as=written"
    assert queries.stream(view).rows_in_view == 4


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"start": "yesterday", "end": "2026-03-07"}, "“yesterday” is no time"),
        ({"start": "2026-03-07T00:00"}, "“” is no time"),
        ({"start": "2026-03-07T00:00", "end": "2026-03-05T00:00"}, "not after its start"),
        ({"start": "0001-01-01T00:00", "end": "9999-12-31T23:59"}, ""),
        ({"start": "0001-01-01T00:00+14:00", "end": "2026-03-05T00:00"}, "outside the calendar"),
        ({"show": "everything"}, "asks to show “everything”"),
        ({"row": "none"}, ""),
        ({"row": "9" * 400}, ""),
    ],
)
def test_an_address_that_cannot_be_followed_says_so_and_shows_the_usual_stretch(queries, more, says):
    view = view_of(BATH, **more)
    page = queries.stream(view)

    assert says in page.notice
    assert queries.figure(view, {}) is not None
    if says:
        assert page.rows_in_view == 60


def test_an_unknown_stream_is_a_page_that_says_so(queries):
    view = StreamView("Line 9", "bath_concentration", "tank")

    assert queries.stream(view).notice.startswith("There is no stream “Line 9 · bath_concentration · tank”")
    assert queries.figure(view, {}) is None
    assert queries.csv(view) is None
    assert queries.stream(StreamView()).notice.startswith("This address names no stream")


@pytest.mark.parametrize(
    "screen",
    [
        {},
        {"theme": "pink", "width": "wide", "scale": None},
        {"width": 1e308, "scale": float("nan")},
        {"width": -5, "scale": True},
    ],
)
def test_a_screen_that_cannot_be_is_drawn_for_a_usual_one(queries, screen):
    figure = go.Figure(queries.figure(view_of(BATH), screen))

    assert 240 <= figure.layout.width <= 4000


def test_the_file_holds_what_is_in_view(queries):
    view = view_of(BATH, start="2026-03-05T00:00", end="2026-03-07T00:00")

    assert len(queries.csv(view).splitlines()) == 1 + 4


# rows


def test_the_rows_page_lists_every_quarantined_row_with_its_reason(queries):
    page = queries.rows()

    assert len(page.rows) == 1
    file, row, column, text, reason = page.rows[0]
    assert (file, row, column, text) == ("log.csv", "42", "value", "1.2.3")
    assert "number" in reason
    assert page.counted == "406 rows read: 404 accepted, 1 duplicate, 1 quarantined."


def test_a_judged_check_lists_the_verdicts_that_did_not_pass(queries):
    page = queries.stream(view_of(SHIM))

    assert page.judged
    assert [failure.words for failure in page.failures] == ["not shown"]
    assert page.forecast == ()


def test_a_censored_reading_keeps_its_sign(queries):
    rows = queries.stream(view_of(AMBIENT)).rows

    assert "<0.1 fc" in {row.value for row in rows}


def test_a_confirmed_limit_is_not_called_unconfirmed(tmp_path):
    settings = write_line(tmp_path)
    catalogue = tmp_path / "site.toml"
    catalogue.write_text(
        '[check.bath_concentration.acceptance]\nrule = "fixed"\nlower = 0.1\nupper = 0.4\n'
        'document = "MT-07"\nrevision = "C"\n'
    )
    queries = asked(settings, watch(replace(settings, catalogue=catalogue)))

    assert not queries.stream(view_of(BATH)).unconfirmed
    assert queries.header().unconfirmed == 5
