"""The straight lines of a chart: acceptance limits, control limits, centre line, and their names beside it.

An acceptance limit is heavy and unbroken, a control limit thin and dashed (dotted while its baseline is incomplete), a
centre line thin and unbroken. Weight, dash and name tell them apart; colour only helps.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

import numpy as np

from spc.arrays import FloatArray, IntArray
from spc.by_identity import by_identity
from spc.catalogue.check import Check
from spc.figures.frame import Frame
from spc.figures.labels import spread
from spc.figures.window import Window
from spc.figures.words import axis_time
from spc.results import Segment, StreamResult
from spc.times import to_microseconds
from spc.wording import level_text, plain

ACCEPTANCE = {"width": 3.0, "dash": "solid"}
CONTROL = {"width": 1.5, "dash": "7px,4px"}
PROVISIONAL = {"width": 1.5, "dash": "2px,4px"}
CENTRE = {"width": 1.2, "dash": "solid"}

Trace = dict[str, Any]
Annotation = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Named:
    """A line with the words beside it."""

    level: float
    text: str
    colour: str
    heavy: bool = False
    note: str = ""  # on a line of its own

    @property
    def rows(self) -> int:
        """Rows of words."""
        return 2 if self.note else 1

    def words(self, shown: tuple[float, float]) -> str:
        """Return the words, with an arrow to where the line lies when that is not in what is shown."""
        low, high = shown
        arrow = "\N{DOWNWARDS ARROW} " if self.level < low else "\N{UPWARDS ARROW} " if self.level > high else ""
        text = f"<b>{arrow}{self.text}</b>" if self.heavy else arrow + self.text
        return f"{text}<br>{self.note}" if self.note else text


def control_traces(result: StreamResult, frame: Frame, window: Window, zone: tzinfo) -> list[Trace]:
    """Return centre line and control limits of both panes, one stretch a segment."""
    traces = []
    for axis, names in (
        ("y", ("lower", "centre_line", "upper")),
        ("y2", ("moving_range_centre", "moving_range_upper")),
    ):
        if axis == "y2" and not frame.ranges:
            continue
        for name in names:
            for complete in (True, False):
                style = CENTRE if "centre" in name else CONTROL if complete else PROVISIONAL
                traces.append(_stretches(result, name, complete, axis, style, frame, window, zone))
    return [trace for trace in traces if trace["x"]]


def _stretches(
    result: StreamResult,
    name: str,
    complete: bool,
    axis: str,
    style: dict[str, Any],
    frame: Frame,
    window: Window,
    zone: tzinfo,
) -> Trace:
    x: list[str | None] = []
    y: list[float | None] = []
    for number_, segment in enumerate(result.segments):
        if segment.limits is None or segment.limits.complete is not complete:
            continue
        level = float(getattr(segment.limits, name))
        start, stop = segment_ends(result, number_, window)
        x += [axis_time(start, zone), axis_time(stop, zone), None]
        y += [level, level, None]
    words = {"lower": "lower control limit", "upper": "upper control limit", "centre_line": "centre line"}
    return {
        "type": "scatter",
        "mode": "lines",
        "name": words.get(name, name.replace("_", " ")) + ("" if complete else ", provisional"),
        "x": x,
        "y": y,
        "yaxis": axis,
        "line": drawn_line(style, frame.screen.colours.control, frame),
        "hoverinfo": "skip",
    }


def drawn_line(style: dict[str, Any], colour: str, frame: Frame) -> dict[str, Any]:
    """Return a line's style at the letter size of the screen."""
    scale = frame.screen.scale
    dash = re.sub(r"\d+", lambda pixels: f"{int(pixels[0]) * scale:.0f}", style["dash"])
    return {"width": style["width"] * scale, "dash": dash, "color": colour}


def segment_ends(result: StreamResult, which: int, window: Window) -> tuple[int, int]:
    """Return where the lines of a segment start and stop: at its first reading, and at the next one's first."""
    segment = result.segments[which]
    start = int(result.charted.taken_at[segment.first])
    if which + 1 < len(result.segments):
        return start, int(result.charted.taken_at[result.segments[which + 1].first])
    return start, max(int(result.charted.taken_at[segment.stop - 1]), to_microseconds(window.last))


def acceptance_traces(result: StreamResult, frame: Frame, window: Window, zone: tzinfo) -> list[Trace]:
    """Return the acceptance limits as each reading met them."""
    return [
        {
            "type": "scatter",
            "mode": "lines",
            "name": f"{side} acceptance limit",
            "x": x,
            "y": y,
            "yaxis": "y",
            "line": {**drawn_line(ACCEPTANCE, frame.screen.colours.acceptance, frame), "shape": "hv"},
            "hoverinfo": "skip",
        }
        for side in ("lower", "upper")
        for x, y in [_runs(getattr(result.charted, side), result, window, zone)]
        if y
    ]


def _runs(
    level: FloatArray, result: StreamResult, window: Window, zone: tzinfo
) -> tuple[list[str], list[float | None]]:
    """Return corner points of `level`, shape (n,): every reading where it changes, and both ends."""
    changed = _changes(level)
    if not len(level) or (not len(changed) and np.isnan(level[0])):
        return [], []
    places = [0, *changed.tolist()]
    taken_at = result.charted.taken_at
    times = [min(int(taken_at[0]), to_microseconds(window.first)), *taken_at[changed].tolist()]
    times.append(max(int(taken_at[-1]), to_microseconds(window.last)))
    values = [float(v) if np.isfinite(v) else None for v in level[[*places, len(level) - 1]]]
    return [axis_time(at, zone) for at in times], values


@by_identity
def _changes(level: FloatArray) -> IntArray:
    """Return where `level`, shape (n,), differs from the place before; from NaN to NaN nothing changes."""
    same = (level[1:] == level[:-1]) | (np.isnan(level[1:]) & np.isnan(level[:-1]))
    return np.flatnonzero(~same).astype(np.int64) + 1


def segments_in_view(result: StreamResult, window: Window) -> Iterator[tuple[int, Segment]]:
    """Return the segments that have limits and reach into the window, with their number."""
    first, last = to_microseconds(window.first), to_microseconds(window.last)
    for which, segment in enumerate(result.segments):
        start, stop = segment_ends(result, which, window)
        if segment.limits is not None and start <= last and stop >= first:
            yield which, segment


def acceptance_in_view(result: StreamResult, window: Window) -> dict[str, FloatArray]:
    """Return the distinct acceptance limits, by side, of the readings in the window; of the last one if it is empty."""
    view = window.charted_places(result)
    if view.stop <= view.start:
        view = slice(max(0, view.stop - 1), max(1, view.stop))
    found = {side: _distinct(getattr(result.charted, side), view) for side in ("lower", "upper")}
    return {side: levels[np.isfinite(levels)] for side, levels in found.items()}


def _distinct(level: FloatArray, view: slice) -> FloatArray:
    """Return the distinct values of `level`, shape (n,), in `view`, which is not empty where `level` is not."""
    changes = _changes(level)
    inside = changes[slice(*np.searchsorted(changes, [view.start + 1, view.stop]))]
    found: FloatArray = np.unique(level[np.append(inside, view.start)] if len(level) else level)
    return found


def names_beside(
    result: StreamResult, frame: Frame, window: Window, shown: tuple[float, float], shown_range: tuple[float, float]
) -> list[Annotation]:
    """Return the words right of both panes, none over another."""
    annotations = beside(_main_names(result, frame, window), shown, "y", frame.main, frame)
    if frame.ranges:
        annotations += beside(_range_names(result, frame, window), shown_range, "y2", frame.ranges, frame)
    return annotations


def _main_names(result: StreamResult, frame: Frame, window: Window) -> list[Named]:
    theme, check = frame.screen.colours, result.check
    named = []
    for side, levels in acceptance_in_view(result, window).items():
        for level in levels[:2]:
            text = f"{'at least' if side == 'lower' else 'at most'} {plain(level)}"
            note = "" if check.acceptance.confirmed else "not confirmed"
            named.append(Named(float(level), text, theme.acceptance, heavy=True, note=note))
    for _, segment in list(segments_in_view(result, window))[-1:]:
        limits = segment.limits
        if limits is not None:
            for word, level in (("UCL", limits.upper), ("centre", limits.centre_line), ("LCL", limits.lower)):
                named.append(Named(level, f"{word} {_bare(level, check)}", theme.control))
    return named


def _range_names(result: StreamResult, frame: Frame, window: Window) -> list[Named]:
    theme, check = frame.screen.colours, result.check
    for _, segment in list(segments_in_view(result, window))[-1:]:
        limits = segment.limits
        if limits is not None:
            return [
                Named(limits.moving_range_upper, f"UCL {_bare(limits.moving_range_upper, check)}", theme.control),
                Named(limits.moving_range_centre, f"mean {_bare(limits.moving_range_centre, check)}", theme.control),
            ]
    return []


def _bare(level: float, check: Check) -> str:
    """Return a limit without its unit, which is on the axis."""
    return level_text(level, check).removesuffix(f" {check.chart_unit}")


def beside(named: list[Named], shown: tuple[float, float], axis: str, pane: int, frame: Frame) -> list[Annotation]:
    """Return names right of a pane of `pane` pixels that shows `shown`, none over another."""
    low, high = shown
    per_pixel = (high - low) / pane
    row = frame.small * 1.25
    wanted = [(min(max(name.level, low), high) - low) / per_pixel for name in named]
    placed = spread(wanted, [row * name.rows for name in named], low=-row / 2, high=pane + row / 2)
    return [
        {
            "x": 1.0,
            "xref": "paper",
            "xanchor": "left",
            "xshift": frame.px(6),
            "y": low + place * per_pixel,
            "yref": axis,
            "yanchor": "middle",
            "align": "left",
            "showarrow": False,
            "text": name.words(shown),
            "font": {"color": name.colour, "size": frame.small},
        }
        for name, place in zip(named, placed, strict=True)
    ]
