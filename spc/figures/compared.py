"""Limits of other baselines laid over a chart: what would be drawn if they set the limits."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from spc.figures.frame import Frame
from spc.figures.window import Window
from spc.figures.words import axis_time, plain
from spc.times import to_microseconds

Trace = dict[str, Any]

DASHES = ("2px,5px", "12px,5px")
"""One for each baseline that is laid over."""


@dataclass(frozen=True, slots=True)
class Compared:
    """Another baseline of the stream; levels in the chart unit."""

    name: str  # "version 2", "as proposed"
    lower: float
    centre_line: float
    upper: float
    first: datetime | None = None  # of its readings
    last: datetime | None = None


def compared_traces(compared: Sequence[Compared], frame: Frame, window: Window, zone: tzinfo) -> list[Trace]:
    """Return three lines across the view for each baseline, named where they start, and a bar over its readings."""
    ends = [axis_time(to_microseconds(at), zone) for at in (window.first, window.last)]
    colour = frame.screen.colours.event
    traces: list[Trace] = []
    for which, each in enumerate(compared):
        dash = DASHES[which % len(DASHES)]
        for word, level in (("UCL", each.upper), ("centre", each.centre_line), ("LCL", each.lower)):
            traces.append(
                {
                    "type": "scatter",
                    "mode": "lines+text",
                    "name": f"{each.name}: {word}",
                    "x": ends,
                    "y": [level, level],
                    "yaxis": "y",
                    "line": {"color": colour, "width": 1.8 * frame.screen.scale, "dash": dash},
                    "text": ["", f"{each.name}: {word} {plain(level)} "],
                    "textposition": "top left",
                    "textfont": {"color": colour, "size": frame.small},
                    "hoverinfo": "skip",
                }
            )
        if each.first is not None and each.last is not None:
            spanned = [axis_time(to_microseconds(at), zone) for at in (each.first, each.last)]
            traces.append(
                {
                    "type": "scatter",
                    "mode": "lines",
                    "name": f"{each.name}: its readings",
                    "x": spanned,
                    "y": [each.centre_line, each.centre_line],
                    "yaxis": "y",
                    "line": {"color": colour, "width": 7 * frame.screen.scale},
                    "opacity": 0.45,
                    "hoverinfo": "skip",
                }
            )
    return traces


def with_compared(span: tuple[float, float], compared: Sequence[Compared]) -> tuple[float, float]:
    """Return the values a pane spans, with the limits of all compared baselines in it."""
    levels = [level for each in compared for level in (each.lower, each.upper)]
    if not levels:
        return span
    room = 0.04 * (max(*levels, *span) - min(*levels, *span))
    low, high = min(levels) - room, max(levels) + room
    return min(span[0], low), max(span[1], high)
