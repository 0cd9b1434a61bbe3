"""The dashboard through its endpoints, without a browser."""

import json
from collections.abc import Mapping
from typing import Any

import pytest

from dashboard.app import create_app
from dashboard.ids import Board, Rows, Shell, Stream
from dashboard.parts import chart_place
from dashboard.queries import Queries
from dashboard.urls import StreamView
from tests.dashboard.made_line import AMMETER, BATH, LAMP, add_row, asked, watched, write_line

NOTHING = {"multi": True, "response": {}}
NEW_ROW = "2026-04-10T15:00,Line 1,bath_concentration,tank,0.05,,mL/100mL,tube-1,m1,A,"


class Page:
    """A browser that only posts callbacks."""

    def __init__(self, queries: Queries) -> None:
        self.app = create_app(queries)
        self.client = self.app.server.test_client()

    def call(self, output: str, values: Mapping[str, Any]) -> dict[str, Any]:
        """Call the callback that makes `output` with inputs and states named "id.property"."""
        made = next(c for c in self.app._callback_list if output in c["output"])
        names = made["output"].strip(".").split("...")
        outputs = [dict(zip(("id", "property"), name.rsplit(".", 1), strict=True)) for name in names]
        body = {
            "output": made["output"],
            "outputs": outputs if made["output"].startswith("..") else outputs[0],
            "changedPropIds": [f"{one['id']}.{one['property']}" for one in made["inputs"]],
        }
        for kind in ("inputs", "state"):
            body[kind] = [{**one, "value": values.get(f"{one['id']}.{one['property']}")} for one in made[kind]]
        answer = self.client.post("/_dash-update-component", json=body)
        assert answer.status_code in (200, 204), answer.text
        return dict(answer.json) if answer.status_code == 200 else {}


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    return Page(asked(write_line(tmp_path_factory.mktemp("line"))))


@pytest.fixture
def growing(tmp_path):
    settings = write_line(tmp_path)
    source = watched(settings)
    return settings, source, Page(asked(settings, source))


def search_of(key: Any, **more: Any) -> str:
    return StreamView(key.line, key.check, key.position, **more).to_search()


def show(page: Page, pathname: str, search: str = "") -> str:
    answer = page.call("page.children", {"url.pathname": pathname, "url.search": search})
    return json.dumps(answer["response"][Shell.PAGE]["children"], ensure_ascii=False)


# pages


def test_the_board_the_stream_and_the_rows_open(page):
    assert "Ammeter deviation, head read" in show(page, "/")
    assert "UV-A irradiance, lamp 1" in show(page, "/stream", search_of(LAMP))
    assert "1.2.3" in show(page, "/rows")


def test_a_file_that_is_not_to_be_had_is_a_page_of_the_board_for_who_reads_it(page):
    shown = page.client.get("/stream.csv?line=%3Cb%3E", headers={"Accept": "text/html"})
    other = page.client.get("/stream.csv?line=x")

    assert (shown.status_code, other.status_code) == (404, 404)
    assert "There is no such stream in this log." in shown.text
    assert 'href="/assets/session.css"' in shown.text
    assert 'href="/assets/session.css"' not in other.text


def test_an_address_without_a_page_says_so_with_404(page):
    assert "No such page" in show(page, "/none")
    assert page.client.get("/none").status_code == 404
    assert page.client.get("/stream").status_code == 200
    assert page.client.get("/").status_code == 200


def test_unconfirmed_limits_are_marked_on_board_and_stream(page):
    assert "not confirmed for this site" in show(page, "/")
    assert "Not confirmed for this site" in show(page, "/stream", search_of(BATH))


def test_the_caution_stands_on_every_page(page):
    layout = json.dumps(page.client.get("/_dash-layout").json)

    assert "accepts or rejects no part" in layout
    assert "responsible Level 3 decide" in layout
    assert "do not look into a lamp" in layout


def test_two_dashboards_live_side_by_side(tmp_path):
    first, second = (tmp_path / name for name in ("first", "second"))
    for folder in (first, second):
        folder.mkdir()
    one, two = Page(asked(write_line(first))), Page(asked(write_line(second)))

    assert "Ammeter" in show(one, "/")
    assert "Ammeter" in show(two, "/")


# live


def test_the_live_address_tells_the_version_and_is_never_cached(page):
    answer = page.client.get("/live")

    assert answer.json["version"] == 1
    assert answer.headers["Cache-Control"] == "no-store"


def told_on_board(page: Page) -> dict[str, str]:
    found = json.loads(show(page, "/"))

    def stores(part: Any) -> Any:
        if isinstance(part, dict):
            if part.get("type") == "Store" and part["props"]["id"] == Board.TOLD:
                yield part["props"]["data"]
            for child in part.values():
                yield from stores(child)
        if isinstance(part, list):
            for child in part:
                yield from stores(child)

    return dict(next(stores(found)))


def test_a_new_row_sends_the_tile_that_changed_and_no_other(growing):
    settings, source, page = growing
    told = told_on_board(page)
    add_row(settings, NEW_ROW)
    source.poll()
    answer = page.call(f"{Board.TOLD}.data", {"live.data": {"version": 2}, f"{Board.TOLD}.data": told})
    changed = {json.loads(key)["stream"] for key in answer["sideUpdate"] if "tile-body" in key}

    assert changed == {search_of(BATH)}
    assert Board.TODO in answer["sideUpdate"]
    assert Shell.PAGE not in answer["sideUpdate"]


def test_nothing_is_sent_when_nothing_changed(growing):
    _, _, page = growing
    told = told_on_board(page)

    assert page.call(f"{Board.TOLD}.data", {"live.data": {"version": 1}, f"{Board.TOLD}.data": told}) == NOTHING


def test_a_new_stream_draws_the_board_anew(growing):
    settings, source, page = growing
    told = told_on_board(page)
    add_row(settings, "2026-04-10T15:00,Line 3,viscosity,tank,2.6,,mm2/s,,m1,A,")
    source.poll()
    answer = page.call(f"{Board.TOLD}.data", {"live.data": {"version": 2}, f"{Board.TOLD}.data": told})

    assert "Line 3" in json.dumps(answer["sideUpdate"][Shell.PAGE])


def test_a_row_of_another_stream_redraws_nothing_on_a_stream_page(growing):
    settings, source, page = growing
    stamp = page_stamp(page, LAMP)
    add_row(settings, NEW_ROW)
    source.poll()
    values = {"url.search": search_of(LAMP), "live.data": {"version": 2}, f"{Stream.TOLD}.data": stamp}

    assert page.call(f"{Stream.TOLD}.data", values) == NOTHING


def test_a_row_of_this_stream_redraws_its_page(growing):
    settings, source, page = growing
    stamp = page_stamp(page, BATH)
    add_row(settings, NEW_ROW)
    source.poll()
    values = {"url.search": search_of(BATH), "live.data": {"version": 2}, f"{Stream.TOLD}.data": stamp}
    answer = page.call(f"{Stream.TOLD}.data", values)["response"]

    assert "0.05" in json.dumps(answer[Stream.HEAD])
    assert answer[Stream.TOLD]["data"] != stamp


def page_stamp(page: Page, key: Any) -> str:
    values = {"url.search": search_of(key), "live.data": {"version": 1}, f"{Stream.TOLD}.data": None}
    return str(page.call(f"{Stream.TOLD}.data", values)["response"][Stream.TOLD]["data"])


SCREEN = {"theme": "dark", "width": 900, "scale": 1}


def test_the_chart_waits_for_the_screen_and_is_sent_once(page):
    values = {"url.search": search_of(LAMP), "live.data": None, "screen.data": None}
    assert page.call(f"{Stream.DRAWN}.data", values) == NOTHING

    first = page.call(f"{Stream.DRAWN}.data", {**values, "screen.data": SCREEN})["response"]
    told = first[Stream.FIGURE_TOLD]["data"]
    again = page.call(f"{Stream.DRAWN}.data", {**values, "screen.data": SCREEN, f"{Stream.FIGURE_TOLD}.data": told})

    assert first[Stream.DRAWN]["data"]["layout"]["width"] == 900
    assert again == NOTHING


def test_the_rows_page_follows(growing):
    settings, source, page = growing
    add_row(settings, "2026-04-10T15:00,Line 1,bath_concentration,tank,lots,,mL/100mL,tube-1,m1,A,")
    source.poll()
    values = {"live.data": {"version": 2}, f"{Rows.TOLD}.data": "before"}

    assert "lots" in json.dumps(page.call(f"{Rows.TABLE}.children", values)["response"])


# files and headers


def test_the_readings_in_view_can_be_had_as_a_file(page):
    answer = page.client.get("/stream.csv" + search_of(AMMETER, show="all"))

    assert answer.mimetype == "text/csv"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="line-2-ammeter-head.csv"'
    assert len(answer.text.splitlines()) == 81


def test_a_file_of_no_stream_is_not_found(page):
    assert page.client.get("/stream.csv?line=x").status_code == 404


def test_the_policy_lets_pages_ask_no_other_host(page):
    policy = page.client.get("/").headers["Content-Security-Policy"]

    assert policy.startswith("default-src 'self'; script-src 'self' 'sha256-")
    assert "http" not in policy
    assert "unsafe-eval" not in policy


def test_the_page_names_no_other_host(page):
    assert "//" not in page.client.get("/").text.replace("<!--", "").split("</head>")[0]


def test_an_unchanged_script_is_not_sent_again(page):
    """A browser that has a file asks with its tag and is told 304, which is no missing page."""
    path = "/_dash-component-suites/dash/dcc/async-graph.js"
    tag = page.client.get(path).headers["ETag"]

    assert page.client.get(path, headers={"If-None-Match": tag}).status_code == 304


def test_a_chart_that_is_not_drawn_yet_shows_no_axes():
    figure = chart_place("any", {}).to_plotly_json()["props"]["figure"]

    assert figure["data"] == []
    assert [figure["layout"][axis]["visible"] for axis in ("xaxis", "yaxis")] == [False, False]
