"""One stream as a chart: individuals over moving ranges on one time axis, or the verdicts of a judged check."""

from collections.abc import Sequence
from datetime import tzinfo
from typing import TYPE_CHECKING, Any

from spc.figures.compared import Compared, compared_traces, with_compared
from spc.figures.frame import Frame, Screen, frame_for
from spc.figures.happenings import LANES, Mark, boundary_shapes, event_traces, idle_shapes, marks
from spc.figures.individuals import individuals_layout, individuals_traces
from spc.figures.notes import NoteMark, note_traces
from spc.figures.time_page import time_page
from spc.figures.verdicts import verdict_height, verdict_layout, verdict_traces
from spc.figures.warning import start_shapes, warning_traces
from spc.figures.window import Window, last_readings
from spc.results import StreamResult

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

Drawing = dict[str, Any]
"""A figure as plotly draws it. Checking every value of it again, as a `Figure` does, takes longer than all the rest."""

USUAL_READINGS = 60
"""Readings in view when nobody asked for another stretch."""


def stream_drawing(
    result: StreamResult,
    *,
    zone: tzinfo,
    window: Window | None = None,
    screen: Screen | None = None,
    focus_row: int | None = None,
    rules: bool = True,
    notes: Sequence[NoteMark] = (),
    compared: Sequence[Compared] = (),
) -> Drawing:
    """Return the chart of one stream as plotly draws it: `data` and `layout`, ready to be sent to a browser.

    Args:
        result: the stream.
        zone: zone of the times on the axis.
        window: the stretch in view; the last 60 readings when not given. As much again on both sides is drawn too.
        screen: what it is drawn for.
        focus_row: row of the reading to point at.
        rules: whether hits of run rules that do not warn are drawn.
        notes: what people wrote beside it.
        compared: limits of other baselines to lay over it.
    """
    window = window or last_readings(result, USUAL_READINGS)
    screen = screen or Screen()
    judged = not len(result.charted.x)
    limited = any(segment.limits for segment in result.segments)
    if judged:
        frame = frame_for(screen, lanes=LANES, ranges=False, main=verdict_height(result))
    else:
        frame = frame_for(screen, lanes=LANES, ranges=limited)
    found = marks(result, frame, window)
    if judged:
        data, layout = verdict_traces(result, frame, window, zone, focus_row), verdict_layout(result, frame)
    else:
        data = individuals_traces(result, frame, window, zone, focus_row, rules=rules)
        data += warning_traces(result, frame, window, zone)
        layout = individuals_layout(result, frame, window, zone)
        data += compared_traces(compared, frame, window, zone)
        layout["yaxis"]["range"] = with_compared(layout["yaxis"]["range"], compared)
        layout["shapes"] = [*layout["shapes"], *start_shapes(result, frame, zone)]
    return {
        "data": [*data, *note_traces(notes, frame, zone), *event_traces(found, frame, zone)],
        "layout": merged(common_layout(result, frame, window, zone, found), layout),
    }


def stream_figure(
    result: StreamResult,
    *,
    zone: tzinfo,
    window: Window | None = None,
    screen: Screen | None = None,
    focus_row: int | None = None,
    rules: bool = True,
    notes: Sequence[NoteMark] = (),
    compared: Sequence[Compared] = (),
) -> "go.Figure":
    """Return the chart of one stream as a figure; arguments as `stream_drawing`."""
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

    return go.Figure(
        stream_drawing(
            result,
            zone=zone,
            window=window,
            screen=screen,
            focus_row=focus_row,
            rules=rules,
            notes=notes,
            compared=compared,
        )
    )


def common_layout(
    result: StreamResult, frame: Frame, window: Window, zone: tzinfo, found: tuple[Mark, ...]
) -> dict[str, Any]:
    """Return what every chart of a stream has: the time axis, the lanes of events, times not in operation."""
    return {
        **time_page(frame, window, zone, height=frame.height, right=frame.right, anchor="y2" if frame.ranges else "y"),
        "yaxis3": {
            "domain": frame.lane_domain,
            "range": [0, frame.lanes],
            "fixedrange": True,
            "visible": False,
        },
        "shapes": [*idle_shapes(result, frame, window, zone), *boundary_shapes(found, frame, zone)],
        "annotations": [],
    }


def merged(common: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    """Return both layouts as one, shapes and words of both."""
    both = ("shapes", "annotations")
    return {**common, **own, **{name: [*own.get(name, []), *common[name]] for name in both}}
