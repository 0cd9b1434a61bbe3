"""Figures of single results: what holds for every one, and that each shows the numbers of its result."""

import importlib
import inspect
import json
import math
import pkgutil
from typing import Any

import numpy as np
import pytest

import spc.figures
from spc.charts import CHARTS
from spc.figures import THEMES, Screen, results
from spc.figures.capability import bar_edges
from spc.figures.sheet import with_room
from tests.made_results import COSTS, LIMITS, MOVED, READINGS, SKEWED, UNIT, WHAT, Z, figures, made

FIGURES = sorted(figures())
WITHOUT_UNIT = {
    "autocorrelation_figure", "correlation_effect_figure", "estimated_limits_figure", "false_alarm_spread_figure",
    "fraction_outside_figure", "kappa_figure", "missed_and_false_figure", "rounding_figure",
    "run_length_quantiles_figure", "run_rules_figure",
}  # fmt: skip
"""Figures of numbers that have no unit of the stream."""


def drawn(name: str, screen: Screen | None = None) -> Any:
    return figures()[name](screen or Screen())


def trace(figure: Any, name: str) -> Any:
    found = [each for each in figure.data if each.name == name]
    assert len(found) == 1, (name, [each.name for each in figure.data])
    return found[0]


def shapes(figure: Any, name: str) -> list[Any]:
    return [shape for shape in figure.layout.shapes if shape.name == name]


def words(figure: Any) -> list[str]:
    return [annotation.text for annotation in figure.layout.annotations]


# -- what holds for every figure ---------------------------------------------------------------------------------------


def test_every_figure_function_is_tried():
    there = {
        name
        for module in pkgutil.iter_modules(spc.figures.__path__)
        for name, value in vars(importlib.import_module(f"spc.figures.{module.name}")).items()
        if name.endswith("_figure") and inspect.isfunction(value)
    }

    of_streams = {"stream_figure", "same_line_figure", "split_figure"}
    assert sorted(there - of_streams) == FIGURES
    assert sorted(name for name in vars(results) if name.endswith("_figure")) == FIGURES


@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_has_axes_with_words_and_units_and_no_legend(name):
    figure = drawn(name)
    titles = [axis.title.text or "" for key, axis in axes(figure).items() if key.startswith("xaxis")]
    every = " ".join(axis.title.text or "" for axis in axes(figure).values())

    assert all(titles), titles
    assert name in WITHOUT_UNIT or any(unit in every for unit in (UNIT, "fc", ", h"))
    assert figure.layout.template.layout.showlegend is False
    assert not any(axis.title.text is None and axis.type is None for axis in axes(figure).values())


def axes(figure: Any) -> dict[str, Any]:
    layout = figure.layout.to_plotly_json()
    return {key: getattr(figure.layout, key) for key in layout if key.startswith(("xaxis", "yaxis"))}


@pytest.mark.parametrize("theme", sorted(THEMES))
@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_is_drawn_in_both_themes_from_their_colours_alone(name, theme):
    text = drawn(name, Screen(theme)).to_json()
    other = {value for each in THEMES.values() if each.name != theme for value in vars_of(each)}

    assert not {colour for colour in other - vars_of(THEMES[theme]) if colour in text}


def vars_of(theme: Any) -> set[str]:
    colours = {str(getattr(theme, name)) for name in theme.__slots__ if name != "name"}
    return {colour for colour in colours if colour.startswith("#")}


@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_holds_no_number_that_json_lacks(name):
    text = drawn(name).to_json()

    assert "NaN" not in text
    assert "Infinity" not in text
    json.loads(text, parse_constant=pytest.fail)


@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_fits_a_narrow_screen_and_a_large_wall(name):
    for screen in (Screen(width=400), Screen(width=1600, scale=2.0)):
        figure = drawn(name, screen)

        assert figure.layout.width == screen.width
        inner = figure.layout.width - figure.layout.margin.l - figure.layout.margin.r
        assert inner > 0.3 * screen.width, (name, screen)


@pytest.mark.parametrize("name", FIGURES)
def test_series_that_stand_beside_one_another_differ_by_more_than_colour(name):
    """Lines drawn whole, not one a category: no two of one pane share dash and width while they differ in colour."""
    lines: dict[tuple[str, Any, Any], set[str]] = {}
    for each in drawn(name).data:
        if each.type == "scatter" and each.mode == "lines" and each.line.width and len(each.x) > 2:
            lines.setdefault((each.yaxis, each.line.dash, each.line.width), set()).add(each.line.color)

    assert all(len(colours) == 1 for colours in lines.values()), lines


@pytest.mark.parametrize("name", FIGURES)
def test_drawing_twice_gives_the_same_figure(name):
    assert drawn(name).to_json() == drawn(name).to_json()


# -- each shows its result ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("key", sorted(CHARTS))
def test_a_chart_shows_its_values_its_limits_and_what_is_beyond_them(key):
    chart = CHARTS[key]
    readings = {
        "counted": np.column_stack([np.arange(1, 21) % 9, np.full(20, 12)]),
        "whole": np.arange(20) * 7.0,
        "positive": SKEWED,
        "measured": MOVED,
    }[chart.readings]
    plotted = chart.plot(readings, made()[f"limits of {key}"])

    figure = results.control_chart_figure(chart, plotted, what=WHAT, unit=UNIT)

    for which, line in enumerate(chart.lines):
        assert np.array(trace(figure, line).y, dtype=float) == pytest.approx(plotted.values[:, which], nan_ok=True)
    for name, level in (("upper control limit", plotted.upper), ("lower control limit", plotted.lower)):
        shown = np.array(trace(figure, name).y, dtype=float)
        assert shown[np.isfinite(shown)] == pytest.approx(level[np.isfinite(level)])
    assert [x - 1 for x in trace(figure, "signalled").x] == np.flatnonzero(plotted.side).tolist()


def test_places_of_readings_are_taken_from_the_caller():
    chart = CHARTS["trend"]
    plotted = chart.plot(MOVED, made()["limits of trend"])
    hours = [10.0 * i for i in range(len(MOVED))]

    figure = results.control_chart_figure(chart, plotted, what="Lamp", unit="µW/cm²", at=hours, along="hours of use")

    assert list(trace(figure, "value" if "value" in chart.lines else chart.lines[0]).x) == hours
    assert figure.layout.xaxis.title.text == "hours of use"


@pytest.mark.parametrize(("width", "scale", "n"), [(400, 1.0, 4), (960, 1.0, 8), (960, 2.0, 4)])
def test_places_are_called_by_name_as_many_as_have_room(width, scale, n):
    chart, plotted = CHARTS["trend"], CHARTS["trend"].plot(MOVED, made()["limits of trend"])
    names = [f"month {place}" for place in range(1, len(MOVED) + 1)]
    screen = Screen(theme="light", width=width, scale=scale)

    axis = results.control_chart_figure(chart, plotted, what="Samples", called=names, screen=screen).layout.xaxis

    assert [word.strip() for word in axis.ticktext] == [names[int(place) - 1] for place in axis.tickvals]
    assert axis.tickvals[0] == 1.0
    assert len(axis.tickvals) <= n


def test_a_step_shows_levels_date_and_set():
    found, figure = made()["step"], drawn("step_change_figure")

    assert set(trace(figure, "level before").y) == {found.before}
    assert set(trace(figure, "level after").y) == {found.after}
    (upright,) = shapes(figure, "likeliest")
    assert upright.x0 == found.when.index + 0.5  # between readings 20 and 21, counted from 1
    shaded = {
        index for box in shapes(figure, "may have come here") for index in range(math.ceil(box.x0), math.ceil(box.x1))
    }
    assert shaded == set(found.when.index_set)


def test_a_drift_starts_at_the_level_and_ends_where_its_slope_leads():
    found, figure = made()["drift"], drawn("drift_onset_figure")

    start, end = trace(figure, "drift").y
    assert start == found.before
    assert end == pytest.approx(found.before + found.slope * (found.when.n - found.when.index))


def test_levels_of_a_history_are_all_there():
    found, figure = made()["levels"], drawn("level_changes_figure")

    assert [each.y[0] for each in figure.data if each.name == "level"] == list(found.levels)
    assert [shape.x0 - 0.5 for shape in shapes(figure, "move")] == list(found.indices)


def test_capability_shows_all_readings_both_limits_and_every_index():
    found, figure = made()["capability"], drawn("capability_figure")

    assert sum(trace(figure, "readings").y) == len(READINGS)
    assert sorted(shape.x0 for shape in shapes(figure, "acceptance limit")) == [LIMITS.lower, LIMITS.upper]
    assert list(trace(figure, "index").x) == [index.value for index in found.indices]
    drawn_limits = [tuple(each.x) for each in figure.data if each.name == "95 % limits"]
    assert drawn_limits == [(index.lower, index.upper) for index in found.indices]
    overall = trace(figure, "overall")
    area = np.trapezoid(overall.y, overall.x)
    assert area == pytest.approx(len(READINGS) * trace(figure, "readings").width, rel=0.01)


def test_the_quantile_method_shows_its_three_quantiles_and_only_the_limit_there_is():
    found, figure = made()["quantile capability"], drawn("quantile_capability_figure")

    above = " ".join(words(figure))
    assert "0.135 %" in above
    assert "99.865 %" in above
    assert "at least" not in above
    uprights = {shape.x0 for shape in figure.layout.shapes if shape.type == "line"}
    assert {found.low, found.median, found.high, found.specification.upper} <= uprights


def test_a_probability_plot_pairs_each_reading_with_what_is_expected():
    found, figure = made()["probability plot"], drawn("probability_plot_figure")

    assert list(trace(figure, "reading").x) == found.expected.tolist()
    assert list(trace(figure, "reading").y) == sorted(SKEWED.tolist())


def test_a_bound_without_an_end_ends_in_an_arrow():
    figure = drawn("tolerance_figure")
    interval, bound = made()["tolerance interval"], made()["tolerance bound"]

    assert list(trace(figure, interval.method).x) == [interval.lower, interval.upper]
    assert trace(figure, bound.method).x[0] == bound.lower
    assert list(trace(figure, bound.method).marker.symbol) == ["line-ns-open", "arrow-right"]


def test_a_study_shows_every_reading_twice_and_every_component():
    found, figure = made()["study"], drawn("gauge_figure")

    assert list(trace(figure, "standard deviation").x) == [component.sd for component in found.components]
    assert sum(len(each.x) for each in figure.data if each.name in {"X", "Y", "Z"}) == 2 * found.n


def test_linearity_shows_line_means_and_band():
    found, figure = made()["linearity"], drawn("linearity_figure")
    line = trace(figure, "line")

    assert line.y[0] == pytest.approx(found.intercept + found.slope * line.x[0])
    assert list(trace(figure, "mean").y) == found.mean_biases.tolist()
    low, high = found.band(np.array(line.x))
    assert [list(each.y) for each in figure.data if each.name == "limit"] == [low.tolist(), high.tolist()]


def test_conformance_shows_the_guard_band_between_limit_and_zone():
    zone, figure = made()["guarded acceptance"], drawn("conformance_figure")

    bands = [(shape.x0, shape.x1) for shape in shapes(figure, "guard band")]
    assert bands == [(zone.lower, LIMITS.lower), (zone.upper, LIMITS.upper)]
    at = trace(figure, "the reading")
    assert (at.x[0], at.y[0]) == (0.38, pytest.approx(100 * made()["conformance"].probability))


def test_rule_sets_show_means_and_eight_in_ten_runs():
    figure = drawn("rule_sets_figure")

    assert list(trace(figure, "false alarms a year").x) == [cost.false_alarms_per_year for cost in COSTS]
    means = [list(each.x) for each in figure.data if each.name == "mean"]
    assert means == [[cost.seen[place].checks.arl for cost in COSTS] for place in range(3)]
    bars = [tuple(each.x) for each in figure.data if each.name == "8 of 10 runs"]
    assert bars[0] == (COSTS[0].seen[0].checks.p10, COSTS[0].seen[0].checks.p90)


def test_quantiles_of_a_run_length_are_those_of_the_chart():
    figure, run = drawn("run_length_quantiles_figure"), COSTS[1].seen[0].checks

    shown = trace(figure, f"{COSTS[1].name}, quantiles")
    assert (shown.x[0], shown.x[3], shown.x[-1]) == (run.p05, run.p50, run.p95)
    assert list(shown.y) == [5, 10, 25, 50, 75, 90, 95]
    assert trace(figure, f"{COSTS[1].name}, mean").x[0] == run.arl


def test_limits_by_drawing_stand_below_those_by_formula():
    found, study, figure = made()["drawn limits"], made()["study"], drawn("generalised_limits_figure")

    by_drawing = [each.x[0] for each in figure.data if each.name == "95 % by drawing"]
    assert by_drawing == [found.variances[each.name][0] ** 0.5 for each in study.components]
    shares = [tuple(each.x) for each in figure.data if each.name == "share, by drawing"]
    assert shares[0] == pytest.approx(tuple(100 * end for end in found.shares["repeatability"]))


def test_run_rules_mark_each_signal_once_on_the_stream_and_once_in_its_row():
    from spc.rules import ALL_EIGHT, run_rules

    hits, figure = run_rules(Z, Z, ALL_EIGHT), drawn("run_rules_figure")

    assert [x - 1 for x in trace(figure, "signalled").x] == sorted(set(hits.index.tolist()))
    rows = trace(figure, "rule signalled")
    assert [x - 1 for x in rows.x] == hits.index.tolist()
    assert [len(ALL_EIGHT) - 1 - y for y in rows.y] == hits.rule.tolist()


def test_a_baseline_review_marks_what_is_in_question_and_leaves_it_in():
    found, figure = made()["review"], drawn("baseline_review_figure")

    asked = {index for proposal in found.proposals for index in proposal.indices}
    assert asked == {12}
    assert list(trace(figure, "far from its neighbours").x) == [13]
    assert np.count_nonzero(~np.isnan(np.array(trace(figure, "reading").y, dtype=float))) == found.n


def test_a_word_without_kappa_is_left_out():
    figure = drawn("kappa_figure")

    assert len(trace(figure, "kappa").x) == 1 + len(made()["kappa of two"].by_category)


def test_bars_of_coarse_readings_hold_whole_steps():
    edges = bar_edges(np.array([0.1, 0.15, 0.15, 0.2, 0.3]), 0.05)
    widths = np.diff(edges) / 0.05

    assert widths == pytest.approx(np.round(widths))
    assert np.diff(edges) == pytest.approx(edges[1] - edges[0])
    assert edges[0] <= 0.1
    assert edges[-1] > 0.3


@pytest.mark.parametrize("x", [[2.0, 2.0], [0.0, 0.0], [1.0, 1.0, 1.0, 5.0]])
def test_bars_hold_every_reading_however_alike(x):
    readings = np.array(x)

    assert np.histogram(readings, bar_edges(readings))[0].sum() == len(x)
    assert np.histogram(readings, bar_edges(readings, 0.5))[0].sum() == len(x)


def test_room_is_left_around_what_is_drawn_and_never_none():
    assert with_room([0.0, 1.0]) == pytest.approx((-0.05, 1.05))
    low, high = with_room([3.0, 3.0, math.nan])
    assert low < 3.0 < high
    assert with_room([])[0] < with_room([])[1]
