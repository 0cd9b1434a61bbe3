"""Several streams of one line under one another on one time axis, events drawn through: causes are shared."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import TYPE_CHECKING, Any

import numpy as np

from spc.arrays import IntArray
from spc.catalogue.check import LINE_EVENTS
from spc.figures.frame import Frame, Screen, frame_for
from spc.figures.individuals import pane_range, places_drawn
from spc.figures.levels import ACCEPTANCE, CENTRE, CONTROL, acceptance_in_view, drawn_line, segment_ends
from spc.figures.time_page import time_page, window_ends
from spc.figures.window import Window
from spc.figures.words import axis_time, axis_times, event_name, touched_event, touched_points, touched_words
from spc.records import Event
from spc.results import StreamResult
from spc.times import to_microseconds

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

Trace = dict[str, Any]

PANE, JUDGED, HEAD = 116, 40, 22
"""Heights in pixels at normal letter size: a pane of numbers, one of verdicts, the words above either."""


@dataclass(frozen=True, slots=True)
class Beside:
    """A stream with the words above its pane."""

    name: str
    result: StreamResult


def same_line_figure(
    streams: Sequence[Beside], *, zone: tzinfo, window: Window, screen: Screen | None = None
) -> "go.Figure":
    """Return streams of one line on one time axis.

    Args:
        streams: at least one, from top to bottom.
        zone: zone of the times on the axis.
        window: the stretch in view.
        screen: what it is drawn for.
    """
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

    screen = screen or Screen()
    frame = frame_for(screen, lanes=0, ranges=False)
    heights = [frame.px(PANE if len(each.result.charted.x) else JUDGED) for each in streams]
    head = frame.px(HEAD)
    whole = sum(heights) + head * len(heights)
    top, traces = whole, list[Trace]()
    layout: dict[str, Any] = {
        **time_page(
            frame,
            window,
            zone,
            height=whole + frame.bottom + frame.top,
            right=frame.px(16),
            anchor=f"y{len(streams)}" if len(streams) > 1 else "y",
        ),
        "annotations": [],
        "shapes": _event_shapes([each.result for each in streams], frame, window, zone),
    }
    for number, (each, height) in enumerate(zip(streams, heights, strict=True), start=1):
        axis = "y" if number == 1 else f"y{number}"
        high, low = (top - head) / whole, (top - head - height) / whole
        measured = bool(len(each.result.charted.x))
        layout["annotations"].append(_heading(each, (top - head) / whole, frame))
        layout["yaxis" if number == 1 else f"yaxis{number}"] = {
            "domain": (low, high),
            "range": pane_range(each.result, window) if measured else (0, 1),
            "fixedrange": True,
            "tickfont": {"size": frame.small},
            "nticks": 4,
            "showticklabels": measured,
            "showgrid": measured,
        }
        drawn = _measured(each.result, frame, window, zone) if measured else _judged(each.result, frame, window, zone)
        traces += [{**trace, "yaxis": axis} for trace in drawn]
        top -= height + head
    first = layout["yaxis"]["range"][1]
    traces += _event_marks([each.result for each in streams], first, frame, window, zone)
    return go.Figure(data=traces, layout=layout)


def _heading(each: Beside, top: float, frame: Frame) -> dict[str, Any]:
    unit = each.result.check.chart_unit if len(each.result.charted.x) else ""
    return {
        "x": 0.0,
        "xref": "paper",
        "xanchor": "left",
        "y": top,
        "yref": "paper",
        "yanchor": "bottom",
        "showarrow": False,
        "text": f"<b>{each.name}</b>{', ' + unit if unit else ''}",
        "font": {"size": frame.small, "color": frame.screen.colours.ink},
    }


def _measured(result: StreamResult, frame: Frame, window: Window, zone: tzinfo) -> list[Trace]:
    places = places_drawn(result, window, rules=False)
    times = axis_times(result.charted.taken_at[places], zone)
    traces = [
        *_acceptance(result, frame, window, zone),
        *_control(result, frame, window, zone),
        _readings(result, places, times, frame, window, zone),
        *_marked(result, places, times, frame),
    ]
    return [trace for trace in traces if len(trace["x"])]


def _acceptance(result: StreamResult, frame: Frame, window: Window, zone: tzinfo) -> Iterator[Trace]:
    style = drawn_line(ACCEPTANCE, frame.screen.colours.acceptance, frame)
    for side, levels in acceptance_in_view(result, window).items():
        for level in levels.tolist():
            yield _level(window_ends(window, zone), [level, level], f"{side} acceptance limit", style)


def _control(result: StreamResult, frame: Frame, window: Window, zone: tzinfo) -> Iterator[Trace]:
    """Yield the centre line and the control limits, each through all segments."""
    for name, style in (("lower", CONTROL), ("centre_line", CENTRE), ("upper", CONTROL)):
        x: list[str | None] = []
        y: list[float | None] = []
        for which, segment in enumerate(result.segments):
            if segment.limits is not None:
                level = float(getattr(segment.limits, name))
                start, stop = segment_ends(result, which, window)
                x += [axis_time(start, zone), axis_time(stop, zone), None]
                y += [level, level, None]
        yield _level(x, y, name.replace("_", " "), drawn_line(style, frame.screen.colours.control, frame))


def _readings(
    result: StreamResult, places: IntArray, times: list[str], frame: Frame, window: Window, zone: tzinfo
) -> Trace:
    ink, view = frame.screen.colours.ink, window.charted_places(result)
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "name": "reading",
        "x": times,
        "y": result.charted.x[places].tolist(),
        "line": {"color": ink, "width": frame.screen.scale},
        "marker": {"color": ink, "size": frame.screen.scale * (4.5 if view.stop - view.start < 200 else 2.5)},
        "hovertext": touched_points(result, places, zone, rules=False),
        "hoverinfo": "text",
    }


def _marked(result: StreamResult, places: IntArray, times: list[str], frame: Frame) -> Iterator[Trace]:
    """Yield the marks of signalled and of failed readings."""
    theme, size = frame.screen.colours, frame.px(10)
    moving = np.isin(places, [signal.position for signal in result.signals])
    failed = np.isin(result.charted.index[places], [failure.index for failure in result.failures])
    for name, chosen, symbol, colour in (
        ("signalled", moving, "diamond", theme.signal),
        ("outside the acceptance limits", failed, "square-x", theme.acceptance),
    ):
        at = np.flatnonzero(chosen)
        yield {
            "type": "scatter",
            "mode": "markers",
            "name": name,
            "x": [times[int(i)] for i in at],
            "y": result.charted.x[places[at]].tolist(),
            "marker": {"symbol": symbol, "color": colour, "size": size},
            "hoverinfo": "skip",
        }


def _judged(result: StreamResult, frame: Frame, window: Window, zone: tzinfo) -> list[Trace]:
    theme, readings = frame.screen.colours, result.readings
    near = window.widened().places(result)
    places = np.arange(near.start, near.stop, dtype=np.int64)
    if len(places) > 2000:
        failed = np.array([failure.index for failure in result.failures], dtype=np.int64)
        places = np.unique(np.concatenate((places[:: len(places) // 2000 + 1], failed[np.isin(failed, places)])))
    bad = np.isin(places, [failure.index for failure in result.failures])
    traces = []
    for name, which, marker in (
        ("acceptable", ~bad, {"symbol": "line-ns-open", "color": theme.ink, "size": frame.px(12)}),
        ("not acceptable", bad, {"symbol": "square-x", "color": theme.acceptance, "size": frame.px(12)}),
    ):
        own = places[which]
        traces.append(
            {
                "type": "scatter",
                "mode": "markers",
                "name": name,
                "x": axis_times(readings.taken_at[own], zone),
                "y": [0.5] * len(own),
                "marker": marker,
                "hovertext": touched_words(result, own, zone),
                "hoverinfo": "text",
            }
        )
    return traces


def _level(x: list[Any], y: list[Any], name: str, style: dict[str, Any]) -> Trace:
    return {"type": "scatter", "mode": "lines", "name": name, "x": x, "y": y, "line": style, "hoverinfo": "skip"}


def _events(results: Sequence[StreamResult], window: Window) -> list[Event]:
    """Return the events of any of the streams near the window, each once."""
    near = window.widened()
    events: dict[tuple[Any, str], Event] = {}
    for result in results:
        for event in result.events:
            if event.kind not in LINE_EVENTS and near.first <= event.at <= near.last:
                events.setdefault((event.at, event.kind), event)
    return list(events.values())


def _event_marks(
    results: Sequence[StreamResult], top: float, frame: Frame, window: Window, zone: tzinfo
) -> list[Trace]:
    """Return a wedge at the top of the first pane for each event, with its words on touch."""
    found = _events(results, window)
    if not found:
        return []
    return [
        {
            "type": "scatter",
            "mode": "markers",
            "name": "events",
            "x": [axis_time(to_microseconds(event.at), zone) for event in found],
            "y": [top] * len(found),
            "yaxis": "y",
            "cliponaxis": False,
            "marker": {"symbol": "triangle-down", "size": frame.px(9), "color": frame.screen.colours.event},
            "hovertext": [touched_event(event, zone) for event in found],
            "hoverinfo": "text",
        }
    ]


def _event_shapes(results: Sequence[StreamResult], frame: Frame, window: Window, zone: tzinfo) -> list[dict[str, Any]]:
    """Return a line through all panes at each event of any of the streams."""
    colour = frame.screen.colours.event
    return [
        {
            "type": "line",
            "xref": "x",
            "yref": "paper",
            "x0": axis_time(to_microseconds(event.at), zone),
            "x1": axis_time(to_microseconds(event.at), zone),
            "y0": 0,
            "y1": 1,
            "layer": "below",
            "line": {"color": colour, "width": 1.2},
            "opacity": 0.7,
            "name": event_name(event),
        }
        for event in _events(results, window)
    ]
