"""The clock of the board, what is dated ahead of it, what is due, and the run rules that warn of nothing."""

import re
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from dashboard.pages.board import grouped, todo
from dashboard.queries import Queries
from dashboard.urls import StreamView
from dashboard.views import Todo
from spc.records import StreamKey
from tests.dashboard.made_line import AMMETER, BATH, LAMP, NOW, SHIM, add_row, asked, watched, write_line


@pytest.fixture
def settings(tmp_path):
    return write_line(tmp_path)


@pytest.fixture(scope="module")
def queries(tmp_path_factory):
    return asked(write_line(tmp_path_factory.mktemp("line")))


def view_of(key: StreamKey, **more: Any) -> StreamView:
    return StreamView(key.line, key.check, key.position, **more)


LATER = "2027-12-03T06:10,Line 2,ammeter,head,1000,1000,A,shunt-1,m1,A,"


def test_a_row_ahead_of_the_clock_hides_no_failed_check(settings):
    add_row(settings, LATER)
    queries = asked(settings)
    board = queries.board()
    tile = next(tile for tile in board.tiles if tile.title == "Ammeter deviation")

    assert (tile.state, tile.value, tile.taken) == ("failed", "\N{MINUS SIGN}13.0", "10 Apr 14:10")
    assert queries.header().last_reading == "Fri 10 Apr 2026 14:10"
    assert [todo.state for todo in board.todos] == ["failed", "moving", "ahead"]
    assert "row 408 dated Fri 3 Dec 2027 06:10" in board.todos[-1].headline
    assert "Row 408: dated Fri 3 Dec 2027 06:10, ahead of the clock" in queries.stream(view_of(AMMETER)).notice


def test_a_stream_that_lies_ahead_as_a_whole_says_so_on_its_page(settings):
    add_row(settings, LATER.replace("ammeter,head", "ammeter,coil"))
    queries, coil = asked(settings), StreamKey("Line 2", "ammeter", "coil")
    page = queries.stream(view_of(coil))

    assert not page.found
    assert "ahead of the clock" in page.notice
    assert queries.figure(view_of(coil), {}) is None
    assert next(tile for tile in queries.board().tiles if tile.position == "coil").taken == "never"


def test_an_event_ahead_of_the_clock_is_listed_and_has_not_happened(settings):
    with settings.events.open("a", encoding="utf-8") as events:
        events.write("2027-01-01T06:00,Line 1,bath_changed,bath_concentration,tank,,,\n")
    board = asked(settings).board()

    assert board.todos[-1].headline == "Event bath changed: row 7 of the event file dated Fri 1 Jan 2027 06:00"
    assert next(tile for tile in board.tiles if tile.title == "Bath concentration").state == "calm"


def test_a_check_that_was_not_made_is_overdue_and_stands_between_failed_and_moving(settings):
    queries = Queries(watched(settings), settings, clock=lambda: NOW + timedelta(hours=9))
    board = queries.board()
    bath = next(tile for tile in board.tiles if tile.title == "Bath concentration")

    assert [todo.state for todo in board.todos][:2] == ["failed", "overdue"]
    assert "check overdue since Fri 10 Apr 22:40" in board.todos[1].headline
    assert bath.state == "overdue"
    assert bath.due == "since Fri 10 Apr 22:40"
    assert queries.stream(view_of(BATH)).state == "overdue"


def test_overdue_checks_of_a_line_stand_as_one_unless_more_is_to_be_said_of_one(settings):
    board = Queries(watched(settings), settings, clock=lambda: NOW + timedelta(days=3)).board()
    groups = [tuple((item.state, item.late) for item in group) for group in grouped(board.todos)]

    assert groups == [
        (("failed", ""),),
        (("overdue", ""),),  # the lamp moves too
        (("overdue", "Bath concentration, tank"), ("overdue", "Notched shim, hub")),
    ]
    assert [item for group in grouped(board.todos) for item in group] == list(board.todos)
    assert board.counted == (("failed", 1), ("overdue", 3))
    assert "falling" in board.todos[1].because


def test_many_overdue_checks_are_named_up_to_five_with_the_way_to_the_rest():
    def late(place: int) -> Todo:
        return Todo(
            "overdue", "Line 1", f"/stream?{place}", "", "", (), (), "", write=f"/write?{place}", late=f"c{place}"
        )

    def links(n: int) -> list[str]:
        return re.findall(r"href='([^']+)'", str(todo(*map(late, range(n)))))

    assert links(6) == [f"/write?{place}" for place in range(6)]
    assert links(7) == [*(f"/write?{place}" for place in range(5)), "/write"]
    assert "and 2 more" in str(todo(*map(late, range(7))))


def test_an_old_board_is_not_calm(settings):
    board = Queries(watched(settings), settings, clock=lambda: NOW + timedelta(days=400)).board()

    assert "calm" not in {tile.state for tile in board.tiles}


def test_an_idle_line_is_not_in_operation_and_not_overdue(settings):
    with settings.events.open("a", encoding="utf-8") as events:
        events.write("2026-04-10T15:30,Line 1,line_idle,,,,,\n")
    board = Queries(watched(settings), settings, clock=lambda: NOW + timedelta(days=3)).board()
    states = {tile.title: tile.state for tile in board.lines[0].tiles}

    assert states == {"Bath concentration": "idle", "UV-A irradiance": "moving", "Notched shim": "idle"}
    assert board.lines[0].states == (("moving", 1), ("idle", 2))
    assert board.lines[0].summary == "line not in operation since Fri 10 Apr 2026 15:30"
    assert {tile.due for tile in board.lines[0].tiles} == {""}


def test_a_calendar_leaves_out_the_weekend(settings, tmp_path):
    calendar = tmp_path / "calendar.toml"
    days = 'days = ["mon", "tue", "wed", "thu", "fri"]'
    calendar.write_text(
        f'[[shift]]\nname = "A"\nstart = "06:00"\nend = "14:00"\n{days}\n'
        f'[[shift]]\nname = "B"\nstart = "14:00"\nend = "22:00"\n{days}\n'
    )
    planned = replace(settings, calendar=calendar)
    sunday = NOW + timedelta(days=2)

    assert "overdue" in {
        tile.state for tile in Queries(watched(settings), settings, clock=lambda: sunday).board().tiles
    }
    assert "overdue" not in {
        tile.state for tile in Queries(watched(planned), planned, clock=lambda: sunday).board().tiles
    }


def test_a_clock_that_follows_the_log_stands_at_its_newest_time(settings):
    demo = replace(settings, clock="log")
    queries = Queries(watched(demo), demo, clock=lambda: NOW + timedelta(days=1000))
    bath = queries.board().tiles[0]

    assert (bath.state, bath.age) == ("calm", "just now")
    assert queries.header().clock == "demo clock"
    assert asked(settings).header().clock == ""


def test_a_log_clock_goes_on_with_each_row(settings):
    demo = replace(settings, clock="log")
    source = watched(demo)
    queries = Queries(source, demo, clock=lambda: NOW)
    before = queries.live()["minute"]
    assert isinstance(before, int)
    add_row(settings, "2026-04-10T22:10,Line 1,bath_concentration,tank,0.21,,mL/100mL,tube-1,m1,A,")
    source.poll()

    assert queries.live()["minute"] == before + 8 * 60


def test_quarantined_events_are_counted(settings):
    assert asked(settings).header().events_quarantined == ""
    with settings.events.open("a", encoding="utf-8") as events:
        events.write("2026-04-10T15:30,Line 1,bath_eaten,,,,,\n")

    assert asked(settings).header().events_quarantined == "1"


def test_run_rules_are_drawn_when_the_address_asks_for_them(queries):
    screen = {"theme": "light", "width": 960, "scale": 1}

    def names(rules: str) -> set[str]:
        return {trace["name"] for trace in queries.figure(view_of(LAMP, rules=rules), screen)["data"]}

    assert "run rule, drawn only" in names("on")
    assert "run rule, drawn only" not in names("off")
    assert "signalled" in names("off")
    assert queries.stream(view_of(LAMP)).rules[1:] == (view_of(LAMP, rules="on").href, False)
    assert queries.stream(view_of(LAMP, rules="on")).rules[1:] == (view_of(LAMP).href, True)
    assert queries.stream(view_of(SHIM)).rules is None


def test_each_run_rule_is_told_with_its_hits_and_its_cost(queries):
    page = queries.stream(view_of(LAMP, show="all", part="rule-sets"))

    assert page.rule_rows[0].words == "a reading more than 3 sigma on one side of the centre line"
    assert page.rule_rows[0].per_1000 == "2.7"
    assert int(page.rule_rows[0].hits) > 0
    assert any("drawn only" in words for words in page.rule_notes)
    assert queries.stream(view_of(SHIM)).rule_rows == ()
