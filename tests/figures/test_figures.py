import itertools
import json
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from plotly.io.json import to_json_plotly  # type: ignore[import-untyped]  # it comes without types

from spc.errors import InputError
from spc.figures import (
    THEMES,
    Course,
    Screen,
    Window,
    all_readings,
    around,
    course,
    last_readings,
    last_segment,
    stream_figure,
)
from spc.figures.frame import frame_for
from spc.figures.individuals import pane_range, places_drawn, ranges_on_chart
from spc.figures.labels import Label, in_lanes, spread
from spc.figures.stream import stream_drawing
from spc.figures.thinning import MOST_DRAWN, drawn
from spc.results import StreamResult
from spc.times import from_microseconds
from tests.dashboard.made_line import AMBIENT, AMMETER, BATH, KEYS, LAMP, SHIM, TIMER, ZONE, results


@pytest.fixture(scope="module")
def line(tmp_path_factory):
    return results(tmp_path_factory.mktemp("line"))


def figure_of(result: StreamResult, **more: Any) -> Any:
    return stream_figure(result, zone=ZONE, window=more.pop("window", all_readings(result)), **more)


def traces(figure: Any) -> dict[str, Any]:
    return {trace.name: trace for trace in figure.data}


def shapes(figure: Any, name: str) -> list[Any]:
    return [shape for shape in figure.layout.shapes if shape.name == name]


@pytest.mark.parametrize("key", KEYS, ids=str)
def test_what_is_sent_to_a_browser_is_what_a_checked_figure_holds(line, key):
    window, screen = all_readings(line[key]), Screen("dark", 1200)
    sent = json.loads(to_json_plotly(stream_drawing(line[key], zone=ZONE, window=window, screen=screen)))
    checked = json.loads(to_json_plotly(figure_of(line[key], screen=screen)))

    assert checked["data"] == sent["data"]
    assert {"annotations": [], **checked["layout"]} == sent["layout"]  # a figure leaves out what is empty


# what is drawn is what the result says


def test_control_limits_are_those_of_each_segment(line):
    result = line[BATH]
    found = traces(figure_of(result))

    for name, field in (
        ("lower control limit", "lower"),
        ("centre line", "centre_line"),
        ("upper control limit", "upper"),
    ):
        levels = [y for y in found[name].y if y is not None]
        assert levels == [getattr(segment.limits, field) for segment in result.segments for _ in range(2)]
    uppers = [y for y in found["moving range upper"].y if y is not None]
    assert uppers[::2] == [segment.limits.moving_range_upper for segment in result.segments]


def test_acceptance_limits_are_those_of_the_readings(line):
    found = traces(figure_of(line[AMMETER]))

    assert set(found["lower acceptance limit"].y) == {-10.0}
    assert set(found["upper acceptance limit"].y) == {10.0}
    assert "upper acceptance limit" not in traces(figure_of(line[LAMP]))


def test_limits_differ_by_weight_and_dash_and_not_by_colour_alone(line):
    found = traces(figure_of(line[BATH]))
    acceptance, control, centre = (
        found[name].line for name in ("lower acceptance limit", "lower control limit", "centre line")
    )

    assert acceptance.width > control.width > centre.width
    assert len({acceptance.dash, control.dash}) == 2
    assert centre.dash == "solid"


def test_limits_of_an_incomplete_baseline_are_dotted_and_called_provisional(line):
    found = traces(figure_of(line[TIMER]))

    assert "upper control limit, provisional" in found
    assert "upper control limit" not in found


def test_every_reading_signal_and_failure_stands_at_its_value(line):
    result = line[LAMP]
    found = traces(figure_of(result))

    assert list(found["reading"].y) == result.charted.x.tolist()
    assert list(found["signalled"].y) == [
        float(result.charted.x[place])
        for place in sorted({s.position for s in result.signals if s.chart != "moving_range"})
    ]
    assert list(traces(figure_of(line[AMMETER]))["outside the acceptance limits"].y) == [-13.0]


def test_a_signal_and_a_failure_have_shapes_of_their_own(line):
    symbols = {
        traces(figure_of(line[LAMP]))["signalled"].marker.symbol,
        traces(figure_of(line[AMMETER]))["outside the acceptance limits"].marker.symbol,
        *traces(figure_of(line[LAMP]))["reading"].marker.symbol,
    }

    assert len(symbols) == 3


def test_a_censored_reading_points_to_where_the_true_value_lies(line):
    result = line[AMBIENT]
    symbols = traces(figure_of(result))["reading"].marker.symbol

    assert {symbol for symbol, bound in zip(symbols, result.charted.bound, strict=True) if bound == -1} == {
        "arrow-down"
    }
    assert {symbol for symbol, bound in zip(symbols, result.charted.bound, strict=True) if bound == 0} == {"circle"}


def test_a_moving_range_spans_no_boundary_and_no_censored_reading(line):
    bath, ambient = line[BATH], line[AMBIENT]
    ranges = ranges_on_chart(bath)

    assert np.isnan(ranges[[segment.first for segment in bath.segments]]).all()
    assert ranges[1] == abs(bath.charted.x[1] - bath.charted.x[0])
    assert np.isnan(ranges_on_chart(ambient)[ambient.charted.bound != 0]).all()


def test_the_baseline_is_shaded_from_its_first_to_its_last_reading(line):
    result = line[BATH]
    first = shapes(figure_of(result), "baseline")[0]

    assert first.x0 == "2026-03-02 06:10:00"
    assert first.x1 == "2026-03-11 14:10:00"  # reading 20, two a day


def test_units_are_on_the_axes(line):
    layout = figure_of(line[LAMP]).layout

    assert layout.yaxis.title.text == "UV-A irradiance, µW/cm²"
    assert layout.yaxis2.title.text.replace("<br>", " ") == "Moving range, µW/cm²"
    assert figure_of(line[AMMETER]).layout.yaxis.title.text == "Deviation from reference, %"


def test_both_panes_share_one_time_axis(line):
    figure = figure_of(line[BATH])

    assert {trace.xaxis or "x" for trace in figure.data} == {"x"}
    assert figure.layout.xaxis.anchor == "y2"
    assert figure.layout.yaxis.domain[0] > figure.layout.yaxis2.domain[1]


def test_times_on_the_axis_are_local_across_a_clock_change(line):
    result = line[BATH]
    x = list(traces(figure_of(result))["reading"].x)

    assert {time[11:] for time in x} == {"06:10:00", "14:10:00"}
    assert len({int(at) // 3_600_000_000 % 24 for at in result.charted.taken_at}) == 4  # 05, 13 and 04, 12 UTC


def test_unconfirmed_limits_say_so(line):
    texts = [annotation.text for annotation in figure_of(line[BATH]).layout.annotations]

    assert sum("not confirmed" in text for text in texts) == 2
    assert any(text.startswith("<b>") and "at least 0.1" in text for text in texts)
    assert any(text.startswith("UCL") for text in texts)


def test_an_acceptance_limit_far_away_is_named_at_the_edge_with_an_arrow(line):
    result = line[LAMP]
    window = Window(
        from_microseconds(int(result.charted.taken_at[0])), from_microseconds(int(result.charted.taken_at[38]))
    )
    figure = figure_of(result, window=window)
    low, _high = figure.layout.yaxis.range

    assert low > 1000
    assert any("\N{DOWNWARDS ARROW} at least 1000" in annotation.text for annotation in figure.layout.annotations)


# events


def test_a_resetting_event_crosses_both_panes_and_another_is_a_tick(line):
    figure = figure_of(line[BATH])
    lines = {shape.x0: shape for shape in figure.layout.shapes if shape.type == "line"}

    assert lines["2026-03-14 05:30:00"].y0 == 0.0
    assert lines["2026-03-26 06:00:00"].y0 > figure.layout.yaxis.domain[0]
    assert list(traces(figure)["starts a new segment"].text) == ["bath changed"]


def test_what_people_wrote_is_no_markup(line):
    figure = figure_of(line[BATH])

    assert "new powder &lt;lot 7&gt;" in traces(figure)["starts a new segment"].hovertext[0]
    assert "&lt;b&gt;&amp; note&lt;/b&gt;" in traces(figure)["reading"].hovertext[12]


def test_times_not_in_operation_are_shaded_and_a_single_one_is_a_tick(line):
    bands = shapes(figure_of(line[SHIM]), "not in operation")
    spans = sorted((band.x0, band.x1) for band in bands)

    assert spans == [
        ("2026-03-27 06:10:00", "2026-03-27 14:10:00"),  # two shifts in a row say "not run"
        ("2026-04-01 06:10:00", "2026-04-01 06:10:00"),  # one does
        ("2026-04-03 18:00:00", "2026-04-05 05:00:00"),  # line_idle to line_running
    ]


LABELS = st.lists(
    st.builds(Label, at=st.floats(-50, 900), width=st.floats(10, 200), rank=st.integers(0, 1)), max_size=30
)


@given(LABELS, st.integers(1, 3))
def test_words_above_the_chart_never_cover_words_or_marks(labels, lanes):
    places = in_lanes(labels, lanes=lanes, room=800, mark=14)
    words, marks = [], []
    for label, place in zip(labels, places, strict=True):
        if place is None or not 0 <= label.at <= 800:
            continue
        marks.append((place.lane, label.at - 7, label.at + 7))
        if place.words == "right":
            words.append((place.lane, label.at + 7, label.at + 7 + label.width))
        if place.words == "left":
            words.append((place.lane, label.at - 7 - label.width, label.at - 7))

    for i, (lane, start, stop) in enumerate(words):
        assert start >= 0
        assert stop <= 800
        others = words[:i] + words[i + 1 :] + marks
        assert all(stop <= a or b <= start for other, a, b in others if other == lane)


def test_a_resetting_event_is_named_before_others():
    crowd = [Label(at=100 + i, width=120, rank=1) for i in range(5)] + [Label(at=103, width=120, rank=0)]

    place = in_lanes(crowd, lanes=1, room=800, mark=14)[-1]

    assert place is not None
    assert place.words == "right"


@given(st.lists(st.tuples(st.floats(0, 300), st.sampled_from((15.0, 30.0))), max_size=8))
def test_names_beside_the_chart_keep_apart_and_in_order(labels):
    wanted, heights = [at for at, _ in labels], [height for _, height in labels]
    places = spread(wanted, heights, low=-10, high=310)
    edges = sorted((place - height / 2, place + height / 2) for place, height in zip(places, heights, strict=True))

    assert all(after[0] >= before[1] - 1e-6 for before, after in itertools.pairwise(edges))
    assert all(low >= -10 - 1e-6 and high <= 310 + 1e-6 for low, high in edges)
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    assert [places[i] for i in order] == sorted(places)


def test_a_name_that_has_room_stays_at_its_line():
    assert spread([50.0, 150.0], [15.0, 15.0], low=0, high=300) == (50.0, 150.0)


# judged checks


def test_a_judged_check_is_a_strip_of_its_words(line):
    figure = figure_of(line[SHIM])
    found = traces(figure)

    assert list(figure.layout.yaxis.ticktext) == ["not shown", "shown"]  # the worst at the bottom
    assert list(found["not acceptable"].x) == ["2026-03-17 06:10:00"]
    assert len(found["acceptable"].x) == 80 - 1 - 3  # one not shown, three shifts not run
    assert found["not acceptable"].marker.symbol != found["acceptable"].marker.symbol


# long streams


@given(st.integers(0, 2**32 - 1), st.integers(0, 9000), st.integers(0, 9000))
def test_thinning_keeps_what_must_be_kept_and_the_extremes(seed, start, length):
    rng = np.random.default_rng(seed)
    x = rng.normal(size=9000)
    keep = rng.choice(9000, size=50, replace=False).astype(np.int64)
    places = drawn(x, keep, slice(start, start + length))

    assert set(keep.tolist()) <= set(places.tolist())
    assert len(places) <= 2000 + 50 + 2
    assert (np.diff(places) > 0).all()
    assert int(np.argmax(x)) in places
    assert int(np.argmin(x)) in places


@given(st.integers(0, 2**32 - 1), st.integers(0, 40_000), st.integers(1, 40_000), st.integers(1, 30_000))
def test_however_many_must_be_kept_no_more_is_drawn_than_can_be_told_apart(seed, start, length, many):
    rng = np.random.default_rng(seed)
    x = rng.normal(size=40_000)
    keep = rng.choice(40_000, size=many).astype(np.int64)  # some twice
    view = slice(start, start + length)
    places = drawn(x, keep, view)

    assert len(places) <= MOST_DRAWN + 100  # what is left over of a division
    assert (np.diff(places) > 0).all()
    kept = np.intersect1d(keep, np.arange(40_000)[view])
    if len(kept):
        assert {int(kept[np.argmin(x[kept])]), int(kept[np.argmax(x[kept])])} <= set(places.tolist())
    assert {int(np.argmin(x)), int(np.argmax(x))} <= set(places.tolist())


def test_a_stream_that_fits_is_drawn_whole():
    assert drawn(np.zeros(MOST_DRAWN), np.array([], dtype=np.int64), slice(0, 10)).tolist() == list(range(MOST_DRAWN))


def test_every_reading_in_view_is_drawn_when_the_view_is_short():
    places = drawn(np.random.default_rng(1).normal(size=50_000), np.array([], dtype=np.int64), slice(20_000, 21_000))

    assert set(range(20_000, 21_000)) <= set(places.tolist())


def test_signalled_and_failed_readings_outlive_thinning(line, monkeypatch):
    monkeypatch.setattr("spc.figures.individuals.drawn", lambda x, keep, view: np.unique(keep))
    result = line[LAMP]
    found = traces(figure_of(result))

    assert len(found["reading"].y) < len(result.charted.x)
    assert len(found["signalled"].y) == len({s.position for s in result.signals if s.chart != "moving_range"})


def test_what_is_far_from_the_window_is_not_sent_and_lines_lead_out_of_it(line):
    result = line[BATH]
    places = places_drawn(result, last_readings(result, 10))
    figure = figure_of(result, window=last_readings(result, 10))

    assert set(range(70, 80)) < set(places.tolist())
    assert places[0] > 50
    assert len(traces(figure)["reading"].x) == len(places)
    assert "starts a new segment" not in traces(figure)  # the bath was changed long before


# the window


def test_windows_show_what_they_say(line):
    result = line[BATH]

    assert all_readings(result).charted_places(result) == slice(0, 80)
    assert last_readings(result, 10).charted_places(result) == slice(70, 80)
    assert last_segment(result).charted_places(result) == slice(24, 80)
    assert last_segment(line[SHIM]) == all_readings(line[SHIM])
    view = around(result, 40, 30).charted_places(result)
    assert view.start < 40 < view.stop
    assert view.stop - view.start == 30


def test_a_window_needs_zones_and_an_end_after_its_start():
    at = datetime(2026, 3, 1, tzinfo=UTC)

    with pytest.raises(InputError, match="zone"):
        Window(at.replace(tzinfo=None), at)
    with pytest.raises(InputError, match="not after its start"):
        Window(at, at)


def test_an_empty_stretch_of_time_is_a_chart_too(line):
    result = line[BATH]
    late = all_readings(result).last + timedelta(days=400)

    for key in (BATH, SHIM):
        figure = figure_of(line[key], window=Window(late, late + timedelta(days=9)))
        assert figure.layout.xaxis.range[0].startswith("2027")


def test_a_reading_far_from_all_others_is_marked_at_the_edge_and_flattens_nothing(line):
    from dataclasses import replace

    result = line[BATH]
    x = result.charted.x.copy()
    x[60] = 210.0  # written a thousand times too large
    slipped = replace(result, charted=replace(result.charted, x=x))
    _low, high = pane_range(slipped, all_readings(slipped))
    edge = traces(figure_of(slipped))["beyond this view"]

    assert high < 1
    assert list(edge.y) == [high]
    assert edge.marker.symbol == ("triangle-up-open",)
    assert 210.0 in traces(figure_of(slipped))["reading"].y
    assert len(traces(figure_of(slipped))["range beyond this view"].y) == 2  # the step up and the step down


def test_a_constant_stream_has_a_pane(line):
    from dataclasses import replace

    result = line[BATH]
    flat = replace(result, charted=replace(result.charted, x=np.full(80, 0.2)))
    low, high = pane_range(flat, all_readings(flat))

    assert low < 0.2 < high


# every stream, every screen


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("width", [320, 960, 3600])
def test_every_stream_can_be_drawn_for_every_screen(line, theme, width):
    for key in KEYS:
        figure = figure_of(line[key], screen=Screen(theme, width, 1.5), focus_row=int(line[key].readings.row[-1]))
        sent = json.loads(figure.to_json())
        assert sent["layout"]["width"] == width
        assert "looked at" in traces(figure)
        assert "NaN" not in figure.to_json()


def test_colours_have_enough_contrast():
    """WCAG 2.2, success criteria 1.4.3 and 1.4.11: 4.5 to 1 for words, 3 to 1 for marks, against the paper."""
    for theme in THEMES.values():
        for words in (theme.ink, theme.quiet, theme.control, theme.acceptance, theme.event):
            assert contrast(words, theme.paper) >= 4.5
        assert max(contrast(theme.signal, theme.paper), contrast(theme.signal_edge, theme.paper)) >= 3


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of WCAG 2.2 (relative luminance of sRGB)."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_of_black_on_white_is_21():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)


def test_panes_and_lanes_fill_the_height():
    frame = frame_for(Screen(), lanes=2, ranges=True)

    assert frame.range_domain[0] == 0.0
    assert frame.lane_domain[1] == 1.0
    assert frame.range_domain[1] < frame.main_domain[0] < frame.main_domain[1] == frame.lane_domain[0]


# the small course


def course_of(result: StreamResult) -> Course:
    found = course(result)
    assert found is not None
    return found


def test_the_course_shows_forty_readings_and_says_so(line):
    found = course_of(line[LAMP])

    assert found.words.startswith("last 40 readings, from ")
    assert found.course.count("%2C") >= 40  # a comma in each point
    assert found.course.startswith('url("data:image/svg+xml,')


def test_the_course_marks_failures(line):
    assert "path" in course_of(line[AMMETER]).marks
    assert "path" not in course_of(line[LAMP]).marks
    assert course_of(line[SHIM]).words == "last 40 verdicts, none not acceptable"


def test_one_reading_has_no_course(line):
    from dataclasses import replace

    charted = line[BATH].charted
    one = replace(charted, **{name: getattr(charted, name)[:1] for name in charted.__slots__})

    assert course(replace(line[BATH], charted=one)) is None


def test_places_drawn_are_all_of_a_short_stream(line):
    assert len(places_drawn(line[BATH], all_readings(line[BATH]))) == 80
