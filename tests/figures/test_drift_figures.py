"""Figures of the drift room: what they draw is what the results say."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types
import pytest

from spc.figures import all_readings, stream_figure
from spc.figures.compared import Compared
from spc.figures.notes import NoteMark
from spc.figures.other_chart import broken, other_chart_drawing
from spc.figures.same_line import Beside, same_line_figure
from spc.figures.split import MOST, split_figure
from spc.monitor import monitor_stream
from spc.other_charts import other_chart
from spc.splits import split
from tests.dashboard.made_line import BATH, LAMP, SHIM, ZONE, results
from tests.made import made_check, made_readings


@pytest.fixture(scope="module")
def line(tmp_path_factory):
    return results(tmp_path_factory.mktemp("line"))


def trace(figure, name):
    found = [each for each in figure.data if each.name == name]
    assert len(found) == 1, [each.name for each in figure.data]
    return found[0]


@pytest.mark.parametrize("key", ["ewma", "cusum", "trend", "residuals", "skewed"])
def test_values_and_limits_are_those_of_the_chart_and_break_at_a_segment(line, key):
    result, other = line[BATH], other_chart(line[BATH], key)
    figure = go.Figure(other_chart_drawing(result, other, zone=ZONE, window=all_readings(result)))
    drawn = trace(figure, other.chart.lines[0])
    values = [y for x, y in zip(drawn.x, drawn.y, strict=True) if x is not None]

    assert values == pytest.approx([None if np.isnan(v) else v for v in other.plotted.values[:, 0]])
    assert list(drawn.x).count(None) == len(result.segments) - 1
    assert list(trace(figure, "upper control limit").y).count(None) >= len(result.segments) - 1


def test_what_is_beyond_a_limit_is_ringed(line):
    result, other = line[LAMP], other_chart(line[LAMP], "cusum")
    figure = go.Figure(other_chart_drawing(result, other, zone=ZONE, window=all_readings(result)))

    assert len(trace(figure, "beyond a limit of this chart").x) == int((other.plotted.side != 0).sum()) > 5


def test_lines_are_broken_before_the_places_named():
    assert broken([1, 2, 3, 4], np.array([2])) == [1, 2, None, 3, 4]
    assert broken([1, 2], np.array([], dtype=np.int64)) == [1, 2]


def test_another_baseline_is_laid_over_with_its_readings(line):
    first, last = datetime(2026, 3, 3, tzinfo=UTC), datetime(2026, 3, 13, tzinfo=UTC)
    other = Compared("version 3", 0.1, 0.2, 0.9, first, last)
    figure = stream_figure(line[BATH], zone=ZONE, window=all_readings(line[BATH]), compared=[other])

    assert list(trace(figure, "version 3: UCL").y) == [0.9, 0.9]
    assert trace(figure, "version 3: its readings").x[0] == "2026-03-03 01:00:00"
    assert figure.layout.yaxis.range[1] > 0.9


def test_a_note_is_a_mark_with_its_words_and_no_markup(line):
    note = NoteMark(datetime(2026, 3, 9, 12, tzinfo=UTC), "<i>dirty</i>", "k & m")
    figure = stream_figure(line[BATH], zone=ZONE, notes=[note])

    assert "&lt;i&gt;dirty&lt;/i&gt;" in trace(figure, "note").hovertext[0]
    assert "k &amp; m, Mon 9 Mar 2026 13:00" in trace(figure, "note").hovertext[0]


def test_streams_of_one_line_share_the_axis_and_their_events(line):
    window = all_readings(line[BATH])
    streams = [Beside("one", line[BATH]), Beside("two", line[LAMP]), Beside("three", line[SHIM])]
    figure = same_line_figure(streams, zone=ZONE, window=window)
    axes = [name for name in figure.layout.to_plotly_json() if name.startswith("yaxis")]
    domains = [figure.layout[name].domain for name in axes]

    assert len(axes) == 3
    assert all(low < high for low, high in domains)
    assert all(upper[0] >= lower[1] for upper, lower in pairwise(domains))
    assert {shape.name for shape in figure.layout.shapes} >= {"bath changed", "bath topped up"}
    assert [note.text for note in figure.layout.annotations] == [
        "<b>one</b>, mL/100 mL",
        "<b>two</b>, µW/cm²",
        "<b>three</b>",
    ]


def test_an_event_of_two_streams_is_drawn_once(line):
    figure = same_line_figure([Beside("a", line[BATH])] * 2, zone=ZONE, window=all_readings(line[BATH]))

    assert sum(shape.name == "bath changed" for shape in figure.layout.shapes) == 1


def test_each_group_has_its_median_and_its_middle_half(line):
    result = line[LAMP]
    found = split(result, "technician", slice(None))
    figure = split_figure(found, result.check)

    for group in found.groups:
        assert trace(figure, f"median of {group.name}").x[0] == group.median
        half = next(shape for shape in figure.layout.shapes if shape.name == f"middle half of {group.name}")
        assert (half.x0, half.x1) == (group.low, group.high)
    assert "µW/cm²" in figure.layout.xaxis.title.text


def test_a_large_group_keeps_its_extremes():
    x = np.random.default_rng(2).normal(0.2, 0.01, 3000)
    at = [datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=i) for i in range(3000)]
    columns = {"shift": ["A", "B"] * 1500}
    result = monitor_stream(made_readings(list(x), times=at, columns=columns), (), made_check())
    figure = split_figure(split(result, "shift", slice(None)), result.check)

    assert len(trace(figure, "A").x) <= MOST
    assert (min(trace(figure, "A").x), max(trace(figure, "A").x)) == (x[::2].min(), x[::2].max())
