"""Any control chart of `spc.charts`: values, centre line, limits as they were at each reading, what signalled."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from spc.arrays import FloatArray
from spc.charts.shape import Chart, Plotted
from spc.figures.frame import Screen
from spc.figures.levels import CENTRE, CONTROL, Named
from spc.figures.sheet import Axis, Pane, Trace, line, points, sheet, signalled, titled, with_room
from spc.figures.theme import Theme
from spc.rules import HIGH, NO_SIDE
from spc.wording import short, with_unit

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

OWN_UNIT = {"cusum": "sigma", "fraction_failed": "", "passes_between": ""}
"""Charts whose values are not in the readings' unit, and what they are in."""

ROOM = 110
"""Pixels along the axis, at a normal size of letters, for what one place is called."""


def control_chart_figure(
    chart: Chart[Any, Any],
    plotted: Plotted,
    *,
    what: str,
    unit: str = "",
    at: Sequence[Any] | None = None,
    along: str = "reading",
    called: Sequence[str] = (),
    screen: Screen | None = None,
) -> "go.Figure":
    """Return one chart as a figure.

    Args:
        chart: its kind, an entry of `spc.charts.CHARTS`.
        plotted: what it draws.
        what: what the readings are of.
        unit: of the readings.
        at: place of each reading on the axis (times, hours of use); without it the readings' numbers from 1.
        along: what `at` is, or what stands one after the other.
        called: what the places from 1 are called, such as months, as many as have room; without it their numbers.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    places = list(at) if at is not None else list(range(1, len(plotted.centre_line) + 1))
    unit = OWN_UNIT.get(chart.key, unit)
    levels = (plotted.lower, plotted.centre_line, plotted.upper)
    span = with_room(np.concatenate([plotted.values.ravel(), *levels]).tolist())
    steps = {"shape": "hvh"} if chart.key == "fraction_failed" else {}
    names = ("lower control limit", "centre line", "upper control limit")
    traces = [
        _limit(places, level, theme, name, CENTRE if name == "centre line" else CONTROL, steps)
        for name, level in zip(names, levels, strict=True)
    ]
    told = list(called) or places
    traces += [_values(chart, plotted, which, places, told, theme, unit) for which in range(len(chart.lines))]
    traces.append(_signals(plotted, places, told, theme, unit))
    title = chart.title if chart.title.isupper() else chart.title.lower()
    every = -(-len(called) // max(2, int(screen.width / (ROOM * screen.scale))))
    x = Axis(
        along,
        None if at is not None else (0.5, len(places) + 0.5),
        at=tuple(float(place) for place in places[::every]) if called else (),
        words=tuple(called[::every]) if called else (),
    )
    y = Axis(titled(f"{what}: {title}", unit), span)
    return sheet([Pane(traces, x, y, _names(plotted, theme), height=330)], screen)


def _limit(
    places: Sequence[Any], level: FloatArray, theme: Theme, name: str, style: dict[str, Any], steps: dict[str, str]
) -> Trace:
    trace = line(places, drawable(level), theme.control, name, **style)
    trace["line"] |= steps
    return trace


def drawable(values: FloatArray) -> list[float | None]:
    """Return values with None in place of what is not finite, where a line is broken."""
    return [float(value) if np.isfinite(value) else None for value in values]


def _values(
    chart: Chart[Any, Any],
    plotted: Plotted,
    which: int,
    places: Sequence[Any],
    told: Sequence[Any],
    theme: Theme,
    unit: str,
) -> Trace:
    values = plotted.values[:, which]
    trace = points(places, drawable(values), theme.ink, chart.lines[which], _touched(told, values, unit))
    return {**trace, "mode": "lines+markers", "line": {"color": theme.ink, "width": 1.1}}


def _signals(plotted: Plotted, places: Sequence[Any], told: Sequence[Any], theme: Theme, unit: str) -> Trace:
    """Return the marks of readings beyond a limit, each on the line that is beyond it."""
    beyond = np.flatnonzero(plotted.side != NO_SIDE)
    off = np.nan_to_num(plotted.values[beyond] - plotted.centre_line[beyond, None])
    farthest = np.argmax(off * np.sign(plotted.side[beyond, None]), axis=1)
    values = plotted.values[beyond, farthest]
    sides = ["above" if side == HIGH else "below" for side in plotted.side[beyond]]
    at = [places[int(i)] for i in beyond]
    names = [told[int(i)] for i in beyond]
    words = [f"{said}<br>{side} its limit" for said, side in zip(_touched(names, values, unit), sides, strict=True)]
    return signalled(at, values.tolist(), theme, words)


def _touched(told: Sequence[Any], values: FloatArray, unit: str) -> list[str]:
    return [f"<b>{with_unit(short(v), unit)}</b><br>{at}" for at, v in zip(told, values.tolist(), strict=True)]


def _names(plotted: Plotted, theme: Theme) -> list[Named]:
    """Return the names of the lines, at the level they have at the last reading that has them."""
    named = []
    for word, level in (("UCL", plotted.upper), ("centre", plotted.centre_line), ("LCL", plotted.lower)):
        finite = level[np.isfinite(level)]
        if len(finite):
            named.append(Named(float(finite[-1]), f"{word} {short(float(finite[-1]))}", theme.control))
    return named
