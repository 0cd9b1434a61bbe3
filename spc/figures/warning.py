"""What the early warning says, on the chart: where the change most likely began, and when it reaches the limit."""

from dataclasses import dataclass
from datetime import timedelta, tzinfo
from typing import Any

import numpy as np

from spc.change_words import change_start, dated_by
from spc.figures.frame import Frame
from spc.figures.window import Window
from spc.figures.words import axis_time
from spc.results import Side, StreamResult
from spc.signals import Episode, episodes, stretch_of
from spc.times import MICROSECOND, from_microseconds, to_microseconds

Shape = dict[str, Any]
Trace = dict[str, Any]

FORECAST_SHARE = 0.3
"""How much of the stretch in view is added after the last reading at most, to show what comes next."""

PACE_READINGS = 20
"""Latest readings whose median distance in time is the pace that a forecast is drawn at."""


@dataclass(frozen=True, slots=True)
class Ahead:
    """The way to the acceptance limit, if nothing is done; times in microseconds since 1970-01-01 UTC."""

    start: int  # of the last reading
    level: float  # where it reads, in the chart unit
    limit: float
    early: int  # 1 chance in 10 that the limit is passed by then
    middle: int
    late: int | None  # 9 in 10; None where that is out of sight


def open_warning(result: StreamResult, zone: tzinfo) -> Episode | None:
    """Return the episode of the early warning that still goes on; None where there is none."""
    found = episodes(result, zone) if result.signals else ()
    return found[-1] if found and found[-1].open and found[-1].last.position in result.changes else None


def start_shapes(result: StreamResult, frame: Frame, zone: tzinfo) -> list[Shape]:
    """Return where the change of the open warning most likely began: a dotted line, and a shade over the span."""
    episode = open_warning(result, zone)
    if episode is None:
        return []
    warnings = [signal for signal in episode.signals if signal.chart == "early_warning"]
    start = change_start(warnings, stretch_of(warnings[0].position, result.segments), result)
    span, times, theme = dated_by(warnings, result).since_span, result.charted.taken_at, frame.screen.colours
    across = {"xref": "x", "yref": "y domain", "y0": 0, "y1": 1, "layer": "below"}
    at = axis_time(int(times[start]), zone)
    line = {"color": theme.signal, "width": 2 * frame.screen.scale, "dash": "dot"}
    shapes: list[Shape] = [{"type": "line", "x0": at, "x1": at, "line": line, "name": "most likely start", **across}]
    if span is not None and span[0] != span[1]:
        first, last = (axis_time(int(times[i]), zone) for i in span)
        shade = {"fillcolor": theme.signal, "opacity": 0.18, "line": {"width": 0}}
        shapes.append({"type": "rect", "x0": first, "x1": last, "name": "span of the start", **shade, **across})
    return shapes


def ahead(result: StreamResult, zone: tzinfo) -> Ahead | None:
    """Return the way to the limit that an open warning leads to; None where it leads to none that is in sight."""
    episode, forecast, charted = open_warning(result, zone), result.forecast, result.charted
    if episode is None or forecast.readings_p10 is None or forecast.readings_p50 is None or len(charted.x) < 2:
        return None
    limit, level = _limit(episode.side, result), float(charted.x[-1])
    if limit is None or (limit - level) * (1 if episode.side == "high" else -1) <= 0:  # passed already
        return None
    pace, last = float(np.median(np.diff(charted.taken_at[-PACE_READINGS:]))), int(charted.taken_at[-1])
    if pace <= 0:
        return None

    def after(readings: float) -> int:
        return last + round(readings * pace)

    late = forecast.readings_p90
    return Ahead(
        start=last,
        level=level,
        limit=limit,
        early=after(forecast.readings_p10),
        middle=after(forecast.readings_p50),
        late=None if late is None else after(late),
    )


def _limit(side: Side | None, result: StreamResult) -> float | None:
    if side is None:
        return None
    limit = float((result.charted.lower if side == "low" else result.charted.upper)[-1])
    return None if np.isnan(limit) else limit


def with_forecast(result: StreamResult, window: Window, zone: tzinfo) -> Window:
    """Return a window that ends at the last reading with room after it, where an open warning has something to show."""
    way, length = ahead(result, zone), window.last - window.first
    if way is None or from_microseconds(way.start) > window.last:
        return window
    most = window.last + FORECAST_SHARE * length
    try:
        wanted = from_microseconds(way.late or way.middle) + timedelta(hours=1)
    except OverflowError:
        wanted = most
    return Window(window.first, max(window.last, min(most, wanted)))


def warning_traces(result: StreamResult, frame: Frame, window: Window, zone: tzinfo) -> list[Trace]:
    """Return the fan from the last reading to the acceptance limit: 8 chances in 10 lie in it, the middle is dashed."""
    way = ahead(result, zone)
    if way is None:
        return []
    theme, end = frame.screen.colours, to_microseconds(window.last) + 10 * (window.last - window.first) // MICROSECOND
    edges = [_until(way, way.early, end), (end, way.level) if way.late is None else _until(way, way.late, end)]
    middle = _until(way, way.middle, end)
    start = (way.start, way.level)
    common = {"type": "scatter", "yaxis": "y", "mode": "lines", "hoverinfo": "skip"}
    fan = [start, *edges, start]
    return [
        common
        | {
            "name": "forecast, 8 chances in 10",
            "uid": "forecast-span",
            "x": [axis_time(at, zone) for at, _ in fan],
            "y": [level for _, level in fan],
            "fill": "toself",
            "fillcolor": theme.signal,
            "opacity": 0.22,
            "line": {"width": 0},
        },
        common
        | {
            "name": "forecast, the middle",
            "uid": "forecast-middle",
            "x": [axis_time(at, zone) for at, _ in (start, middle)],
            "y": [level for _, level in (start, middle)],
            "line": {"color": theme.signal, "width": 2 * frame.screen.scale, "dash": "dash"},
        },
    ]


def _until(way: Ahead, at: int, end: int) -> tuple[int, float]:
    """Return where the straight way to the limit at `at` is, no later than `end`: a calendar has an end."""
    if at <= end:
        return at, way.limit
    share = (end - way.start) / (at - way.start)
    return end, way.level + share * (way.limit - way.level)
