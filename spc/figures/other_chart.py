"""A stream on another chart than individuals, on the same time axis and with the same events."""

from collections.abc import Sequence
from datetime import tzinfo
from typing import TYPE_CHECKING, Any

import numpy as np

from spc.arrays import FloatArray, IntArray
from spc.figures.control_chart import OWN_UNIT, drawable
from spc.figures.frame import Frame, Screen, frame_for
from spc.figures.happenings import LANES, event_traces, marks
from spc.figures.individuals import axis_title
from spc.figures.levels import CENTRE, CONTROL, Named, beside, drawn_line
from spc.figures.notes import NoteMark, note_traces
from spc.figures.stream import Drawing, common_layout, merged
from spc.figures.thinning import drawn
from spc.figures.window import Window
from spc.figures.words import axis_times, plain
from spc.other_charts import OtherChart
from spc.results import StreamResult
from spc.rules import HIGH, NO_SIDE
from spc.times import to_microseconds
from spc.wording import short, with_unit

if TYPE_CHECKING:
    pass  # type: ignore[import-untyped,unused-ignore]  # it comes without types

Trace = dict[str, Any]

READING, SIGNAL = 6, 13
"""Sizes of the marks, in pixels at normal letter size."""

CROWD = 60
"""Signals from which their marks are drawn smaller."""

FAR = 1.5
"""How far beyond the limits values may stretch the pane, in heights of what is between the limits."""


def other_chart_drawing(
    result: StreamResult,
    other: OtherChart,
    *,
    zone: tzinfo,
    window: Window,
    screen: Screen | None = None,
    notes: Sequence[NoteMark] = (),
) -> Drawing:
    """Return a stream on another chart as plotly draws it: `data` and `layout`.

    Args:
        result: the stream.
        other: what the chart draws of it.
        zone: zone of the times on the axis.
        window: the stretch in view; as much again on both sides is drawn too.
        screen: what it is drawn for.
        notes: what people wrote beside it.
    """
    screen = screen or Screen()
    with_ranges = frame_for(screen, lanes=LANES, ranges=True)  # so that both charts of a stream are equally high
    height = (with_ranges.main + with_ranges.gap + with_ranges.ranges) / screen.scale
    frame = frame_for(screen, lanes=LANES, ranges=False, main=round(height))
    found = marks(result, frame, window)
    view = slice(*np.searchsorted(other.taken_at, [to_microseconds(window.first), to_microseconds(window.last) + 1]))
    span = _span(other, view)
    places = _places(other, window, view)
    times = axis_times(other.taken_at[places], zone)
    breaks = _breaks(result, other, places)
    unit = OWN_UNIT.get(other.chart.key, "" if other.chart.key in ("passes_between",) else result.check.chart_unit)
    traces = [*_levels(other, places, times, frame, breaks), *_values(other, places, times, frame, unit, breaks)]
    traces.append(_signals(other, places, times, frame, unit, span))
    title = other.chart.title if other.chart.title.isupper() else other.chart.title.capitalize()
    layout = {
        "yaxis": {
            "domain": frame.main_domain,
            "range": span,
            "fixedrange": True,
            "title": {"text": axis_title(title, unit, frame), "font": {"size": frame.small}},
            "tickfont": {"size": frame.small},
            "nticks": 7,
        },
        "shapes": [],
        "annotations": beside(_names(other, view, frame), span, "y", frame.main, frame),
    }
    traces = [trace for trace in traces if len(trace["x"])]
    return {
        "data": [*traces, *note_traces(notes, frame, zone), *event_traces(found, frame, zone)],
        "layout": merged(common_layout(result, frame, window, zone, found), layout),
    }


def _places(other: OtherChart, window: Window, view: slice) -> IntArray:
    """Return what is drawn: the extremes of every stretch, and everything that is beyond a limit."""
    near = window.widened()
    ends = [to_microseconds(near.first), to_microseconds(near.last) + 1]
    start, stop = np.searchsorted(other.taken_at, ends).tolist()
    start = max(0, start - 1)
    keep = np.flatnonzero(other.plotted.side[start : stop + 1] != NO_SIDE)
    inside = slice(view.start - start, view.stop - start)
    parts = []
    for line in other.plotted.values[start : stop + 1].T:
        parts.append(drawn(np.nan_to_num(line) if np.isnan(line).any() else line, keep, inside))
    found: IntArray = start + np.unique(np.concatenate(parts)) if parts else np.zeros(0, dtype=np.int64)
    return found


def _breaks(result: StreamResult, other: OtherChart, places: IntArray) -> IntArray:
    """Return where in `places` a segment starts, so that no line leads from one into the next."""
    if not len(result.charted.x):
        return np.zeros(0, dtype=np.int64)
    starts = [segment.first for segment in result.segments if not segment.continues]
    found = np.unique(np.searchsorted(places, starts))
    return np.asarray(found[(found > 0) & (found < len(places))], dtype=np.int64)


def broken(values: Sequence[Any], breaks: IntArray) -> list[Any]:
    """Return values with None before each of the places `breaks`."""
    parts: list[Any] = []
    before = 0
    for at in breaks.tolist():
        parts += [*values[before:at], None]
        before = at
    return [*parts, *values[before:]]


def _levels(other: OtherChart, places: IntArray, times: list[str], frame: Frame, breaks: IntArray) -> list[Trace]:
    plotted, colour = other.plotted, frame.screen.colours.control
    steps = "hvh" if other.chart.key == "fraction_failed" else "linear"
    return [
        {
            "type": "scatter",
            "mode": "lines",
            "name": name,
            "uid": name.replace(" ", "-"),
            "x": broken(times, breaks),
            "y": broken(drawable(level[places]), breaks),
            "connectgaps": False,
            "line": {**drawn_line(CENTRE if name == "centre line" else CONTROL, colour, frame), "shape": steps},
            "hoverinfo": "skip",
        }
        for name, level in (
            ("lower control limit", plotted.lower),
            ("centre line", plotted.centre_line),
            ("upper control limit", plotted.upper),
        )
    ]


def _values(
    other: OtherChart, places: IntArray, times: list[str], frame: Frame, unit: str, breaks: IntArray
) -> list[Trace]:
    theme = frame.screen.colours
    size = frame.screen.scale * (READING if len(places) < 300 else READING - 3)
    traces = []
    for which, name in enumerate(other.chart.lines):
        values = other.plotted.values[places, which]
        traces.append(
            {
                "type": "scatter",
                "mode": "lines+markers",
                "name": name,
                "uid": name.replace(" ", "-"),
                "x": broken(times, breaks),
                "y": broken(drawable(values), breaks),
                "connectgaps": False,
                "line": {"color": theme.ink, "width": 1.1 * frame.screen.scale, "dash": "dot" if which else "solid"},
                "marker": {"color": theme.ink, "size": size, "symbol": "circle-open" if which else "circle"},
                "hovertext": broken(_touched(name, values, times, unit), breaks),
                "hoverinfo": "text",
            }
        )
    return traces


def _signals(
    other: OtherChart, places: IntArray, times: list[str], frame: Frame, unit: str, span: tuple[float, float]
) -> Trace:
    theme, plotted = frame.screen.colours, other.plotted
    which = np.flatnonzero(plotted.side[places] != NO_SIDE)
    at = places[which]
    off = np.nan_to_num(plotted.values[at] - plotted.centre_line[at, None])
    farthest = np.argmax(off * np.sign(plotted.side[at, None]), axis=1) if len(at) else np.zeros(0, dtype=np.int64)
    values = plotted.values[at, farthest] if len(at) else np.zeros(0)
    where = [times[int(i)] for i in which]
    sides = ["above" if side == HIGH else "below" for side in plotted.side[at]]
    said = [
        f"{words}<br>{side} its limit" for words, side in zip(_touched("", values, where, unit), sides, strict=True)
    ]
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "beyond a limit of this chart",
        "uid": "beyond",
        "x": where,
        "y": np.clip(values, *span).tolist(),
        "marker": {
            "symbol": "circle-open",
            "size": frame.px(SIGNAL if len(at) < CROWD else SIGNAL - 6),
            "color": theme.signal if theme.name == "dark" else theme.signal_edge,
            "line": {"width": (2 if len(at) < CROWD else 1.2) * frame.screen.scale},
        },
        "hovertext": said,
        "hoverinfo": "text",
    }


def _touched(name: str, values: FloatArray, times: list[str], unit: str) -> list[str]:
    before = f"{name} " if name else ""
    return [
        f"{before}<b>{with_unit(short(value), unit)}</b><br>{at[:16]}" if np.isfinite(value) else ""
        for at, value in zip(times, values.tolist(), strict=True)
    ]


def _span(other: OtherChart, view: slice) -> tuple[float, float]:
    """Return the values the pane spans: all limits in view, and values as far as they do not flatten the rest."""
    plotted = other.plotted
    seen = view if view.stop > view.start else slice(None)
    levels = _extent(*(each[seen] for each in (plotted.lower, plotted.centre_line, plotted.upper)))
    values = _extent(plotted.values[seen])
    usual = levels or values
    if usual is None:
        return 0.0, 1.0
    low, high = usual
    tall = (high - low) or abs(high) or 1.0
    if values:
        low = min(low, max(values[0], low - FAR * tall))
        high = max(high, min(values[1], high + FAR * tall))
    room = 0.06 * ((high - low) or 1.0)
    return low - room, high + room


def _extent(*columns: FloatArray) -> tuple[float, float] | None:
    """Return the lowest and the highest finite number; None where there is none."""
    ends = []
    for column in columns:
        low, high = (
            np.fmin.reduce(column, axis=None, initial=np.inf),
            np.fmax.reduce(column, axis=None, initial=-np.inf),
        )
        if low == -np.inf or high == np.inf:
            finite = column[np.isfinite(column)]
            low, high = finite.min(initial=np.inf), finite.max(initial=-np.inf)
        ends += [float(low), float(high)] if low <= high else []
    return (min(ends), max(ends)) if ends else None


def _names(other: OtherChart, view: slice, frame: Frame) -> list[Named]:
    """Return the names of the lines, at the level they have at the last place in view that has them."""
    colour, named = frame.screen.colours.control, []
    plotted = other.plotted
    for word, level in (("UCL", plotted.upper), ("centre", plotted.centre_line), ("LCL", plotted.lower)):
        seen = level[: view.stop][::-1]
        finite = np.isfinite(seen)
        if finite.any():
            last = float(seen[np.argmax(finite)])
            named.append(Named(last, f"{word} {plain(last)}", colour))
    return named
