"""The drift room without a browser: what it shows of one stream."""

import plotly.graph_objects as go  # type: ignore[import-untyped]  # it comes without types
import pytest

from dashboard.app import create_app
from dashboard.ids import Drift
from dashboard.pages.drift_forms import keep
from dashboard.urls import PARTS, StreamView
from tests.dashboard.made_line import AMMETER, BATH, KEYS, LAMP, SHIM, TIMER, asked, write_line
from tests.dashboard.made_room import in_depth, store_of, stored, view_of

SCREEN: dict[str, object] = {"theme": "light", "width": 900, "scale": 1}


@pytest.fixture(scope="module")
def bare(tmp_path_factory):
    return asked(write_line(tmp_path_factory.mktemp("line")))


@pytest.fixture
def room(tmp_path):
    queries = stored(tmp_path)
    yield queries
    store_of(queries).close()


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize("key", KEYS, ids=str)
def test_every_part_of_every_stream_opens(bare, key, part):
    app = create_app(bare)
    show = next(c for c in app._callback_list if c["output"] == "page.children")
    body = {
        "output": "page.children",
        "outputs": {"id": "page", "property": "children"},
        "changedPropIds": ["url.pathname"],
        "inputs": [{**show["inputs"][0], "value": "/stream"}],
        "state": [{**show["state"][0], "value": view_of(key, part=part).to_search()}],
    }
    answer = app.server.test_client().post("/_dash-update-component", json=body)

    assert answer.status_code == 200
    assert Drift.PART in answer.text
    assert "No such stream" not in answer.text


@pytest.mark.parametrize("chart", ["", "ewma", "cusum", "trend", "residuals", "skewed"])
@pytest.mark.parametrize("key", [BATH, LAMP, AMMETER, TIMER], ids=str)
def test_every_view_can_be_drawn_with_its_unit(bare, key, chart):
    figure = go.Figure(bare.figure(view_of(key, chart=chart, show="all"), SCREEN))
    unit = {BATH: "mL/100 mL", LAMP: "µW/cm²", AMMETER: "%", TIMER: "s"}[key]

    assert ("sigma" if chart == "cusum" else unit) in figure.layout.yaxis.title.text.replace("<br>", " ")
    assert figure.layout.xaxis.range[0][:10] == "2026-03-01"


@pytest.mark.parametrize("chart", ["fraction_failed", "passes_between"])
def test_a_judged_check_has_views_of_its_own(bare, chart):
    page = bare.stream(view_of(SHIM, chart=chart))

    assert page.chart == chart
    assert [choice.words for choice in page.charts] == ["Verdicts", "Fraction failed", "Passes between failures"]
    assert bare.figure(view_of(SHIM, chart=chart), SCREEN) is not None


def test_a_view_that_a_stream_does_not_have_is_the_usual_one(bare):
    assert bare.stream(view_of(BATH, chart="passes_between")).chart == "individuals"


def test_the_views_say_which_suits_the_readings(bare):
    page = bare.stream(view_of(LAMP))
    suits = {choice.words for choice in page.charts if choice.note}

    assert "Trend" in suits
    assert not page.suits
    assert "fall" in page.fit


def test_the_address_keeps_every_choice():
    view = view_of(
        LAMP,
        show="all",
        chart="ewma",
        part="line",
        beside=("timer@head", "ammeter"),
        by="shift",
        about="x 1",
        against=("2",),
    )

    assert StreamView.from_search(view.to_search()) == view
    assert view.moved(show="last").chart == "ewma"


def test_links_of_the_page_keep_the_view(bare):
    page = bare.stream(view_of(LAMP, chart="ewma", part="splits", beside=("timer",)))
    for href in [*(href for _, href, _ in page.ranges), page.earlier, *(part.href for part in page.parts)]:
        if href:
            found = StreamView.from_search(href.partition("?")[2])

            assert (found.chart, found.beside) == ("ewma", ("timer",))


def test_other_streams_of_the_line_share_the_time_axis(bare):
    view = view_of(LAMP, part="line", beside=("bath_concentration@tank", "notched_shim@hub", "no_such"))
    part, figure = in_depth(bare, view).line(), bare.part_figure(view, SCREEN)

    assert [choice.words for choice in part.choices if choice.on] == ["Bath concentration, tank", "Notched shim, hub"]
    assert sum(name.startswith("yaxis") for name in figure.layout.to_plotly_json()) == 3
    assert list(figure.layout.xaxis.range) == list(bare.figure(view, SCREEN)["layout"]["xaxis"]["range"])
    bath_changed = [
        shape
        for shape in bare.part_figure(
            view_of(LAMP, part="line", show="all", beside=("bath_concentration@tank",)), SCREEN
        ).layout.shapes
        if shape.name == "bath changed"
    ]
    assert len(bath_changed) == 1


def test_no_more_than_six_streams_stand_beside_one(bare):
    view = view_of(LAMP, part="line", beside=tuple(f"none-{i}" for i in range(9)))

    assert in_depth(bare, view).line().shown == 0
    assert bare.part_figure(view, SCREEN) is None


def test_the_readings_in_view_are_split(bare):
    view = view_of(LAMP, part="splits", by="technician", show="all")
    part = in_depth(bare, view).splits()

    assert [row.name for row in part.groups] == ["m1", "m2", "m3"]
    assert sum(int(row.n) for row in part.groups) == 80
    assert bare.part_figure(view, SCREEN) is not None


def test_rule_sets_are_compared_on_this_history(bare):
    part = in_depth(bare, view_of(AMMETER, part="rule-sets")).rule_sets()

    assert part.rows[0].title == "Early warning"
    assert all("of 1" in row.caught for row in part.rows)
    assert "judged readings" in part.history


def test_a_bare_log_says_why_nothing_can_be_written(bare):
    for part in ("signals", "baseline", "readings"):
        forms = bare.forms(view_of(LAMP, part=part), "", lambda right: True)

        assert "bare log" in forms[0].why_not
        assert "spc serve --store FILE" in forms[0].why_not
        assert forms[0].buttons == ()
    said, _, _ = keep(bare, view_of(LAMP), "note", {"words": "x", "who": "k"}, 0)
    assert said.startswith("Not kept. This board shows a bare log")


def test_the_list_of_streams_stands_in_order_of_need(bare):
    page = bare.streams()

    assert [row.state for row in page.urgent] == ["failed", "moving"]
    assert [row.line for row in page.urgent] == [view.line for view in (AMMETER, LAMP)]
    assert all(row.line == "" for _, rows in page.lines for row in rows)  # its heading names it
    assert [name for name, _ in page.lines] == ["Line 1", "Line 2"]
    assert sum(len(rows) for _, rows in page.lines) == len(KEYS)


def test_next_checks_are_named_soonest_first_and_lead_to_where_they_are_written(room, bare):
    stored_board, bare_board = room.board(), bare.board()

    assert stored_board.due
    assert all(due.href.startswith("/write?line=") for due in stored_board.due)
    assert all(due.href.startswith("/stream?") for due in bare_board.due)
