"""Run lengths: how soon rule sets see a shift, what they cost in false alarms, what limits from few readings do."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from spc.arl import AutocorrelationEffect, EstimatedLimits, RunLength
from spc.arl.cost import RuleSetCost
from spc.figures.frame import Screen
from spc.figures.levels import Named
from spc.figures.sheet import GLYPHS, Axis, Pane, Trace, band, interval, line, points, series, sheet, titled
from spc.figures.theme import Theme
from spc.limits_uncertainty import FalseAlarmSpread
from spc.wording import in_figures, short, with_unit

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

EIGHT_IN_TEN = "8 of 10 runs"


def run_length_figure(costs: Sequence[RuleSetCost], *, unit: str = "", screen: Screen | None = None) -> "go.Figure":
    """Return the mean checks until a shift is seen, over the shift: a line for each rule set.

    Args:
        costs: of rule sets that were asked for the same shifts, two or more.
        unit: of the chart.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    traces: list[Trace] = []
    names: list[Named] = []
    means = [seen.checks.arl for cost in costs for seen in cost.seen]
    for place, cost in enumerate(costs):
        colour, dash, mark = series(theme, place)
        seen = sorted(cost.seen, key=lambda each: each.shift)
        x, y = [each.shift for each in seen], [each.checks.arl for each in seen]
        words = [_touched(cost.name, each.checks, f"shift {with_unit(short(each.shift), unit)}") for each in seen]
        traces.append(line(x, y, colour, cost.name, dash=dash))
        traces.append(points(x, y, colour, f"{cost.name}, each shift", words, symbol=mark, size=8))
        names.append(Named(y[-1], f"{GLYPHS[place % 6]} {cost.name}", colour))
    y_axis = Axis("checks until seen, mean", (0.9, max(means) * 1.15), "log")
    return sheet([Pane(traces, Axis(titled("shift of the level", unit)), y_axis, names, height=340)], screen)


def rule_sets_figure(costs: Sequence[RuleSetCost], *, unit: str = "", screen: Screen | None = None) -> "go.Figure":
    """Return rule sets side by side: false alarms a year, and for each shift the checks until it is seen.

    The mark is the mean, the bar holds 8 of 10 runs.

    Args:
        costs: to compare.
        unit: of the chart.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    rows = tuple(range(len(costs) - 1, -1, -1))
    axis = Axis("", (-0.6, len(costs) - 0.4), at=tuple(map(float, rows)), words=_shortened(costs, screen), grid=False)
    height = 46 + 26 * len(costs)
    alarms = [cost.false_alarms_per_year for cost in costs]
    said = [f"<b>{cost.name}</b><br>{in_figures(alarm)} a year" for cost, alarm in zip(costs, alarms, strict=True)]
    bars = [line([0, alarm], [row, row], theme.control, "", width=7) for row, alarm in zip(rows, alarms, strict=True)]
    marks = points(alarms, rows, theme.ink, "false alarms a year", said, symbol="diamond", size=9)
    panes = [Pane([*bars, marks], Axis("false alarms a year", (0, 1.1 * max(alarms))), axis, height=height)]
    for place, first in enumerate(costs[0].seen):
        runs = [cost.seen[place].checks for cost in costs]
        shift = f"{with_unit(short(first.shift), unit)}, {short(first.shift_sigmas)} sigma"
        longest = max(run.p90 for run in runs)
        x = Axis(f"checks until a shift of {shift} is seen", (0, 1.08 * longest))
        panes.append(Pane(_runs([cost.name for cost in costs], runs, rows, theme), x, axis, height=height))
    return sheet(panes, screen)


def _shortened(costs: Sequence[RuleSetCost], screen: Screen) -> tuple[str, ...]:
    """Return the names of rule sets as they fit left of the panes, on two lines where there is an underscore."""
    return tuple(cost.name if len(cost.name) < 12 else cost.name.replace("_", "<br>", 1) for cost in costs)


def _runs(names: Sequence[str], runs: Sequence[RunLength], rows: Sequence[int], theme: Theme) -> list[Trace]:
    bars = [interval(run.p10, run.p90, row, theme.control, EIGHT_IN_TEN) for run, row in zip(runs, rows, strict=True)]
    means = [run.arl for run in runs]
    said = [_touched(name, run, "") for name, run in zip(names, runs, strict=True)]
    return [*bars, points(means, rows, theme.ink, "mean", said, symbol="diamond", size=9)]


def _touched(name: str, run: RunLength, shift: str) -> str:
    error = "" if run.standard_error is None else f" \N{PLUS-MINUS SIGN} {in_figures(run.standard_error, 2)}"
    lines = [f"<b>{name}</b>", shift, f"mean {in_figures(run.arl)}{error} checks ({run.method})"]
    lines.append(f"half by {run.p50:,}, 9 in 10 by {run.p90:,}")
    return "<br>".join(filter(None, lines))


def estimated_limits_figure(found: Sequence[EstimatedLimits], *, screen: Screen | None = None) -> "go.Figure":
    """Return what the number of baseline readings does to the run length of limits alone.

    The band holds the mean run lengths of 8 in 10 baselines, the heavy line is that of exact limits.

    Args:
        found: for several numbers of readings, all at the same width and shift.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    found = sorted(found, key=lambda each: each.n_baseline)
    n = [each.n_baseline for each in found]
    low, middle, high = ([getattr(each, name) for each in found] for name in ("arl_p10", "arl_p50", "arl_p90"))
    known = found[0].arl_known
    said = [
        f"<b>{each.n_baseline} readings</b><br>8 in 10 baselines: {in_figures(each.arl_p10)} to "
        f"{in_figures(each.arl_p90)} checks<br>half: {in_figures(each.arl_p50)}"
        for each in found
    ]
    traces = [
        band(n, low, high, theme.shade, "8 in 10 baselines"),
        line(n, low, theme.control, "1 in 10 below", dash="7px,4px"),
        line(n, high, theme.control, "1 in 10 above", dash="7px,4px"),
        line([n[0], n[-1]], [known, known], theme.ink, "exact limits", width=3),
        {**points(n, middle, theme.event, "half below", said), "mode": "lines+markers", "line": {"color": theme.event}},
    ]
    names = [
        Named(known, "exact limits", theme.ink, heavy=True),
        Named(high[-1], "1 in 10 above", theme.control),
        Named(middle[-1], "half below", theme.event),
        Named(low[-1], "1 in 10 below", theme.control),
    ]
    x = Axis("readings in the baseline", (n[0] * 0.9, n[-1] * 1.1), "log", at=tuple(map(float, n)))
    y = Axis("mean checks to a signal", (min(low) * 0.8, max(high) * 1.25), "log")
    return sheet([Pane(traces, x, y, names, height=340)], screen)


def run_length_quantiles_figure(runs: Sequence[tuple[str, RunLength]], *, screen: Screen | None = None) -> "go.Figure":
    """Return by which reading how many of all runs have signalled, a line for each chart; the upright mark is its mean.

    Args:
        runs: name of each chart, and its run length.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    parts = {"p05": 5.0, "p10": 10.0, "p25": 25.0, "p50": 50.0, "p75": 75.0, "p90": 90.0, "p95": 95.0}
    shares = list(parts.values())
    traces: list[Trace] = []
    names: list[Named] = []
    longest = max(run.p95 for _, run in runs)
    for place, (name, run) in enumerate(runs):
        colour, dash, mark = series(theme, place)
        by = [int(getattr(run, part)) for part in parts]
        words = [f"<b>{share:g} % by {reading:,}</b><br>{name}" for share, reading in zip(shares, by, strict=True)]
        traces.append(line(by, shares, colour, name, dash=dash))
        traces.append(points(by, shares, colour, f"{name}, quantiles", words, symbol=mark, size=8))
        mean = f"<b>mean {in_figures(run.arl)}</b><br>{name}"
        traces.append(points([run.arl], [0.0], colour, f"{name}, mean", [mean], symbol="line-ns-open", size=16))
        names.append(Named(95.0, f"{GLYPHS[place % 6]} {name}", colour))
    x = Axis("reading; the marks below are the means", (0.0, 1.03 * longest))
    y = Axis("runs that have signalled, %", (-5.0, 103.0))
    return sheet([Pane(traces, x, y, names, height=320)], screen)


def correlation_effect_figure(found: Sequence[AutocorrelationEffect], *, screen: Screen | None = None) -> "go.Figure":
    """Return what correlation does to the run length in control, with limits from moving ranges and with right ones.

    Args:
        found: for several correlations.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    found = sorted(found, key=lambda each: each.lag_correlation)
    x = [each.lag_correlation for each in found]
    sides = [
        ("limits from moving ranges", [each.moving_range_limits.arl for each in found], theme.acceptance, "solid"),
        ("limits from the true sigma", [each.true_limits.arl for each in found], theme.control, "8px,4px"),
    ]
    traces: list[Trace] = []
    for name, y, colour, dash in sides:
        said = [f"<b>{in_figures(arl)} readings</b><br>correlation {at:g}" for at, arl in zip(x, y, strict=True)]
        symbol = "circle" if dash == "solid" else "square-open"
        traces.append(line(x, y, colour, name, dash=dash, width=2.0))
        traces.append(points(x, y, colour, f"{name}, each", said, symbol=symbol, size=7))
    every = [arl for _, y, _, _ in sides for arl in y]
    names = [Named(y[-1], f"{GLYPHS[place]} {name}", colour) for place, (name, y, colour, _) in enumerate(sides)]
    y_axis = Axis("readings to a false alarm, mean", (0.8 * min(every), 1.25 * max(every)), "log")
    return sheet([Pane(traces, Axis("correlation of a reading and the one before"), y_axis, names, height=300)], screen)


def false_alarm_spread_figure(found: Sequence[FalseAlarmSpread], *, screen: Screen | None = None) -> "go.Figure":
    """Return the false-alarm rate that limits from few readings will really have, over how many they are.

    Args:
        found: for several numbers of readings, all at the same width.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    found = sorted(found, key=lambda each: each.n_baseline)
    n = [each.n_baseline for each in found]
    low, middle, high = ([100 * getattr(each, name) for each in found] for name in ("p10", "p50", "p90"))
    nominal = 100 * found[0].nominal
    said = [
        f"<b>{each.n_baseline} readings</b><br>8 in 10 baselines: {in_figures(100 * each.p10)} to "
        f"{in_figures(100 * each.p90)} %<br>half: {in_figures(100 * each.p50)} %"
        for each in found
    ]
    traces = [
        band(n, low, high, theme.shade, "8 in 10 baselines"),
        line(n, low, theme.control, "1 in 10 below", dash="7px,4px"),
        line(n, high, theme.control, "1 in 10 above", dash="7px,4px"),
        line([n[0], n[-1]], [nominal, nominal], theme.ink, "endless readings", width=3),
        {**points(n, middle, theme.event, "half below", said), "mode": "lines+markers", "line": {"color": theme.event}},
    ]
    names = [
        Named(nominal, "endless readings", theme.ink, heavy=True),
        Named(high[-1], "1 in 10 above", theme.control),
        Named(middle[-1], "half below", theme.event),
        Named(low[-1], "1 in 10 below", theme.control),
    ]
    x = Axis("readings in the baseline", (n[0] * 0.9, n[-1] * 1.1), "log", at=tuple(map(float, n)))
    y = Axis("readings beyond the limits, %", (0.8 * min(low), 1.25 * max(high)), "log")
    return sheet([Pane(traces, x, y, names, height=320)], screen)
