"""The numbers that EWMA and CUSUM are drawn with: in the address, in words, on the chart."""

import pytest

from dashboard.queries.drift_settings import settings_of, with_settings
from dashboard.urls import StreamView
from spc.formats import Formats, formats_of
from spc.other_charts import SETTINGS_WITHIN, USUAL_SETTINGS, ChartSettings
from tests.dashboard.made_line import LAMP, asked, write_line


@pytest.fixture(scope="module")
def queries(tmp_path_factory):
    return asked(write_line(tmp_path_factory.mktemp("line")))


def view(chart: str, **more: str) -> StreamView:
    return StreamView(LAMP.line, LAMP.check, LAMP.position, chart=chart, **more)  # type: ignore[arg-type]  # texts alone


def test_the_usual_numbers_stand_nowhere_in_the_address():
    assert settings_of(view("ewma")) == (USUAL_SETTINGS, "")
    assert with_settings(view("ewma", lam="0.1"), {"lam": "0.2", "width": "2.86"}) == view("ewma")
    assert "lam=" not in view("ewma").to_search()


def test_numbers_come_back_from_an_address_and_are_those_of_the_chart_alone():
    asked_for = view("ewma", lam="0.05", width="2.5", k="1", h="4")

    assert StreamView.from_search(asked_for.to_search()) == asked_for
    assert settings_of(asked_for)[0] == ChartSettings(weight=0.05, width=2.5)
    assert settings_of(view("cusum", lam="0.05", k="1", h="4"))[0] == ChartSettings(slack=1.0, decision=4.0)


@pytest.mark.parametrize("text", ["0", "7", "-0.2", "nan", "inf", "1e999", "two", "0.2.1", "0x1", "9" * 400, "\x00"])
def test_what_cannot_be_drawn_is_said_and_the_usual_number_used(queries, text):
    settings, refused = settings_of(view("ewma", lam=text))
    page = queries.stream(view("ewma", lam=text))

    assert settings == USUAL_SETTINGS
    assert refused.startswith("Weight of the newest reading cannot be")
    assert "give 0.02 to 1" in refused
    assert page.settings.refused == refused
    assert [field.value for field in page.settings.fields] == ["0.2", "2.86"]


def test_a_site_with_a_decimal_comma_types_and_reads_it():
    with formats_of(Formats(decimal="comma")):
        typed = with_settings(view("ewma"), {"lam": "0,05", "width": "2,86"})
        twice = with_settings(view("cusum"), {"k": "1.234,5"})

        assert typed.lam == "0.05"
        assert "give 0,1 to 3" in settings_of(twice)[1]


def test_the_page_tells_how_often_such_a_chart_signals_without_need(queries):
    # Lucas and Saccucci 1990, table 3: weight 0.1 and width 2.814 give an average run length of 500
    usual, other = (
        queries.stream(view("ewma")).settings,
        queries.stream(view("ewma", lam="0.1", width="2.814")).settings,
    )

    assert "one in about 370 readings" in usual.says
    assert "one in about 500 readings" in other.says
    assert usual.usual == ""
    assert other.usual == view("ewma").href
    assert queries.stream(view("trend")).settings.fields == ()


def test_the_chart_is_drawn_with_them(queries):
    def upper(**more: str) -> list[float]:
        drawn = queries.figure(view("cusum", show="all", **more), {"theme": "light", "width": 900, "scale": 1})
        (trace,) = [one for one in drawn["data"] if one["name"] == "upper control limit"]
        return [level for level in trace["y"] if level is not None]

    assert set(upper()) == {4.77}
    assert set(upper(h="6")) == {6.0}


def test_every_number_within_its_ends_is_drawn(queries):
    for name, ends in SETTINGS_WITHIN.items():
        chart, short = {"weight": ("ewma", "lam"), "width": ("ewma", "width"), "slack": ("cusum", "k")}.get(
            name, ("cusum", "h")
        )
        for end in ends:
            shown = queries.stream(view(chart, **{short: f"{end:g}"})).settings
            assert shown.refused == ""
            assert shown.says.startswith("False alarms: ")
