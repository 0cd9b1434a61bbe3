"""What was done to the line, on its chart: segment boundaries, events, baselines, times not in operation."""

from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from spc.catalogue.check import LINE_EVENTS
from spc.figures.frame import Frame
from spc.figures.labels import Label, Place, in_lanes
from spc.figures.window import Window
from spc.figures.words import axis_time, event_name, not_running, touched_event
from spc.records import Event
from spc.results import StreamResult
from spc.signals import resetting_events
from spc.times import to_microseconds

Shape = dict[str, Any]
Trace = dict[str, Any]

LANES = 2


@dataclass(frozen=True, slots=True)
class Mark:
    """An event with where its words stand."""

    event: Event
    resets: bool
    place: Place | None  # None: no room for the mark above the chart; the tick into it remains


def marks(result: StreamResult, frame: Frame, window: Window) -> tuple[Mark, ...]:
    """Return the events in the window and as long again on both sides, with a place for words where there is one."""
    resets = set(map(id, resetting_events(result)))
    near = window.widened()
    events = [e for e in result.events if e.kind not in LINE_EVENTS and near.first <= e.at <= near.last]
    span = (window.last - window.first) / frame.plot_width
    labels = [
        Label((event.at - window.first) / span, frame.text_width(event_name(event)), 0 if id(event) in resets else 1)
        for event in events
    ]
    places = in_lanes(labels, lanes=frame.lanes, room=frame.plot_width, mark=frame.px(14))
    return tuple(Mark(event, id(event) in resets, place) for event, place in zip(events, places, strict=True))


def event_traces(found: tuple[Mark, ...], frame: Frame, zone: tzinfo) -> list[Trace]:
    """Return the marks and words above the chart: a filled wedge where a segment starts, an open ring elsewhere."""
    theme = frame.screen.colours
    traces = []
    for resets, symbol in ((True, "triangle-down"), (False, "circle-open")):
        group = [(mark, mark.place) for mark in found if mark.resets is resets and mark.place is not None]
        if not group:
            continue
        traces.append(
            {
                "type": "scatter",
                "mode": "markers+text",
                "name": "starts a new segment" if resets else "explains readings",
                "x": [axis_time(to_microseconds(mark.event.at), zone) for mark, _ in group],
                "y": [place.lane + 0.5 for _, place in group],
                "yaxis": "y3",
                "text": ["" if place.words == "none" else event_name(mark.event) for mark, place in group],
                "textposition": ["middle left" if place.words == "left" else "middle right" for _, place in group],
                "textfont": {"color": theme.event, "size": frame.small},
                "marker": {"symbol": symbol, "size": frame.px(9 if resets else 7), "color": theme.event},
                "hovertext": [touched_event(mark.event, zone) for mark, _ in group],
                "hoverinfo": "text",
                "cliponaxis": False,
            }
        )
    return traces


def boundary_shapes(found: tuple[Mark, ...], frame: Frame, zone: tzinfo) -> list[Shape]:
    """Return a line through both panes at each resetting event, a tick into the pane at each other."""
    theme, top = frame.screen.colours, frame.main_domain[1]
    tick = frame.px(9) / frame.plot_height
    lane = frame.lane / frame.plot_height
    shapes = []
    for mark in found:
        at = axis_time(to_microseconds(mark.event.at), zone)
        foot = 0.0 if mark.resets else top - tick
        shapes.append(
            {
                "type": "line",
                "xref": "x",
                "yref": "paper",
                "x0": at,
                "x1": at,
                "y0": foot,
                "y1": top + lane * (mark.place.lane + 0.35 if mark.place else 0.0),
                "layer": "below",
                "line": {"color": theme.event, "width": 1.2 if mark.resets else 1.0, "dash": "solid"},
                "opacity": 0.8 if mark.resets else 0.6,
            }
        )
    return shapes


def baseline_shapes(result: StreamResult, frame: Frame, zone: tzinfo) -> list[Shape]:
    """Return the shade behind the readings that set the limits of each segment."""
    taken_at = result.charted.taken_at
    return [
        _band(
            axis_time(int(taken_at[segment.first]), zone),
            axis_time(int(taken_at[segment.first + segment.limits.n_baseline - 1]), zone),
            frame.screen.colours.shade,
            frame.main_domain,
            "baseline",
        )
        for segment in result.segments
        if segment.limits is not None and not segment.continues
    ]


def idle_shapes(result: StreamResult, frame: Frame, window: Window, zone: tzinfo) -> list[Shape]:
    """Return a shade over times not in operation, by events or by readings in a row; a tick for a single one."""
    readings = _idle_readings(result)
    spans = sorted(
        _idle_events(result, to_microseconds(window.last)) + [span for span in readings if span[0] < span[1]]
    )
    merged: list[list[int]] = []
    for start, stop in spans:
        if merged and start <= merged[-1][1]:
            merged[-1][1] = max(merged[-1][1], stop)
        else:
            merged.append([start, stop])
    whole, foot = (0.0, frame.main_domain[1]), (0.0, frame.px(9) / frame.plot_height)
    fill, edge = frame.screen.colours.idle, frame.screen.colours.quiet
    bands = [
        _band(axis_time(start, zone), axis_time(stop, zone), fill, whole, "not in operation") for start, stop in merged
    ]
    single = [
        _band(axis_time(at, zone), axis_time(at, zone), edge, foot, "not in operation")
        for at, stop in readings
        if at == stop and not any(start <= at <= end for start, end in merged)
    ]
    return bands + single


def _idle_events(result: StreamResult, end: int) -> list[tuple[int, int]]:
    spans, since = [], None
    for event in result.events:
        at = to_microseconds(event.at)
        if event.kind == "line_idle" and since is None:
            since = at
        elif event.kind == "line_running" and since is not None:
            spans.append((since, at))
            since = None
    return spans if since is None else [*spans, (since, max(end, since))]


def _idle_readings(result: StreamResult) -> list[tuple[int, int]]:
    """Return the stretches of readings in a row that say the line was not in operation."""
    taken_at = result.readings.taken_at
    spans: list[tuple[int, int]] = []
    before = -2
    for place in not_running(result).tolist():
        if place == before + 1:
            spans[-1] = (spans[-1][0], int(taken_at[place]))
        else:
            spans.append((int(taken_at[place]), int(taken_at[place])))
        before = place
    return spans


def _band(start: str, stop: str, fill: str, domain: tuple[float, float], name: str) -> Shape:
    return {
        "type": "rect",
        "xref": "x",
        "yref": "paper",
        "x0": start,
        "x1": stop,
        "y0": domain[0],
        "y1": domain[1],
        "layer": "below",
        "fillcolor": fill,
        "line": {"width": 1, "color": fill},
        "name": name,
    }
