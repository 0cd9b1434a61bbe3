"""The fleet's page: every number is that of the results, each way leads to what it counts, and trouble is said."""

from dataclasses import replace
from pathlib import Path

import pytest

from dashboard.app import ways
from dashboard.pages.fleet import at
from dashboard.queries.fleet import MOST
from dashboard.settings import Settings
from dashboard.urls import FLEET_SIGNALS, FLEET_STREAMS, UNREAD, FleetView
from spc.fleet import league, write_fleet
from tests.dashboard.made_line import asked, watched, write_line
from tests.fleet.made_fleet import made_fleet

FLEET = made_fleet(330)


@pytest.fixture(scope="module")
def line(tmp_path_factory) -> Settings:
    return write_line(tmp_path_factory.mktemp("line"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    place: Path = tmp_path_factory.mktemp("out")
    write_fleet(FLEET, place)
    return place


@pytest.fixture(scope="module")
def queries(line, folder):
    return asked(replace(line, fleet=folder), watched(line))


def whole(queries, view):
    """Return the rows of every page of `view`."""
    rows, page = [], queries.fleet(view)
    while True:
        rows += page.rows
        if not page.after:
            return rows
        assert len(page.rows) == MOST
        page = queries.fleet(FleetView.from_search(page.after.partition("?")[2]))


def shown(row):
    return [cell.words for cell in row]


def number(words: str) -> float:
    return float(words.replace("\N{NARROW NO-BREAK SPACE}", ""))


def test_every_row_of_the_league_table_stands_there_in_its_order(queries):
    rows = whole(queries, FleetView())

    assert [(number(row[0]), row[1], row[2], row[4]) for row in map(shown, rows)] == [
        (row.place, row.site, row.line, f"{row.rate:.2f}") for row in league(FLEET)
    ]


def test_each_count_leads_to_as_many_signals(queries):
    row = queries.fleet(FleetView()).rows[0]

    for place in (5, 6):
        led = FleetView.from_search(row[place].href.partition("?")[2])
        assert led.part == FLEET_SIGNALS
        assert len(whole(queries, led)) == number(row[place].words) > 0


@pytest.mark.parametrize(("sort", "column"), [("drifts", 6), ("failures", 9), ("n", 13)])
@pytest.mark.parametrize("down", [True, False])
def test_streams_sort_by_what_the_address_names(queries, sort, column, down):
    rows = whole(queries, FleetView(FLEET_STREAMS, sort=sort, down=down))
    found = [number(shown(row)[column]) for row in rows]

    assert len(found) == 330
    assert found == sorted(found, reverse=down)


def test_what_is_not_known_stands_last_either_way(queries):
    for down in (True, False):
        rows = whole(queries, FleetView(FLEET_STREAMS, sort="readings_to_limit", down=down))
        unknown = [row[5].words == "\N{EN DASH}" for row in rows]
        assert any(unknown)
        assert unknown == sorted(unknown)


def test_narrows_by_name_and_finds_by_a_part_of_it(queries):
    mine = [stream for stream in FLEET.streams if stream.site == "North" and stream.check == "uva_irradiance"]

    assert len(whole(queries, FleetView(FLEET_STREAMS, site="North", check="uva_irradiance"))) == len(mine) > 10
    assert len(whole(queries, FleetView(FLEET_STREAMS, site="North", find="UV-a"))) == len(mine)
    assert queries.fleet(FleetView(FLEET_STREAMS, site="none")).nothing


def test_a_choice_is_taken_away_by_its_own_way(queries):
    page = queries.fleet(FleetView(FLEET_STREAMS, site="North", line="Line 00001", page=3))

    assert [each.words for each in page.narrowed] == ["Site: North", "Line: Line 00001"]
    assert FleetView.from_search(page.narrowed[0].href.partition("?")[2]) == FleetView(FLEET_STREAMS, line="Line 00001")


def test_what_could_not_be_read_is_told_first_and_listed(queries):
    page = queries.fleet(FleetView())

    assert page.unread is not None
    assert page.unread.words == "1 folder of readings could not be read"
    assert shown(queries.fleet(FleetView(UNREAD)).rows[0])[-1] == "holds no Parquet file"


def test_a_page_past_the_end_leads_back(queries):
    page = queries.fleet(FleetView(page=999))

    assert page.rows == ()
    assert FleetView.from_search(page.before.partition("?")[2]).page == 4


@pytest.mark.parametrize(
    "search", ["", "?part=none&page=-3&sort=nothing", "?page=99999999999&find=%20", "?part=signals&page=2"]
)
def test_any_address_gives_a_page(queries, search):
    assert "Fleet" in str(at(queries, search))


def test_the_address_comes_back_as_it_was():
    view = FleetView(FLEET_SIGNALS, "North", "Line & 1", "ammeter", "head", "drift", "x", "n", down=False, page=7)

    assert FleetView.from_search(view.to_search()) == view


def test_without_a_folder_the_page_says_how_to_get_one_and_no_way_leads_there(line):
    queries = asked(line, watched(line))

    assert "--fleet FOLDER" in queries.fleet(FleetView()).problem
    assert "/fleet" not in str(ways(queries.header()))


def test_a_run_that_is_not_whole_is_told_and_shown_once_it_is(line, tmp_path):
    queries = asked(replace(line, fleet=tmp_path / "out"), watched(line))

    assert "there is no such folder" in queries.fleet(FleetView()).problem
    assert "/fleet" in str(ways(queries.header()))
    write_fleet(made_fleet(12), tmp_path / "out")
    assert "12 streams" in queries.fleet(FleetView()).summary
    (tmp_path / "out" / "fleet.json").unlink()
    assert "holds no run that ended" in queries.fleet(FleetView(FLEET_SIGNALS)).problem
    write_fleet(made_fleet(15), tmp_path / "out")
    assert "15 streams" in queries.fleet(FleetView()).summary
