"""A sheet of panes one above the other: what every figure of a single result is laid out on.

A line is named at its right end, not in a legend. Series that stand beside one another differ in dash and mark as well
as in colour.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Literal

from spc.figures.frame import Frame, Screen, frame_for
from spc.figures.labels import spread
from spc.figures.levels import Named
from spc.figures.theme import Theme, template
from spc.wording import short

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

Trace = dict[str, Any]
Shape = dict[str, Any]

DASHES = ("solid", "8px,4px", "2px,3px", "10px,3px,2px,3px", "14px,4px", "5px,2px")
MARKS = ("circle", "square-open", "diamond", "triangle-up-open", "x-open", "star-open")
GLYPHS = (
    "\N{BLACK CIRCLE}",
    "\N{WHITE SQUARE}",
    "\N{BLACK DIAMOND}",
    "\N{WHITE UP-POINTING TRIANGLE}",
    "\N{MULTIPLICATION SIGN}",
    "\N{WHITE STAR}",
)
"""The marks as they are written in words."""

WORDS = 0.3
"""Most room for words left of the panes, and right of them, as a part of the width."""

ROOM = 0.05
"""Left free above and below what is drawn, as a part of its height."""


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis of a pane."""

    title: str  # with the unit
    span: tuple[float, float] | None = None  # values from end to end; None: what plotly finds
    kind: Literal["linear", "log", "category", "date"] = "linear"
    at: tuple[float, ...] = ()  # where ticks stand; none: plotly's
    words: tuple[str, ...] = ()  # what they say
    grid: bool = True


@dataclass(frozen=True, slots=True)
class Pane:
    """One pair of axes with what is drawn on it."""

    traces: Sequence[Trace]
    x: Axis
    y: Axis
    names: Sequence[Named] = ()  # words right of the pane, at their level
    above: Sequence[Named] = ()  # words above the pane, at their place along it
    shapes: Sequence[Shape] = ()  # in this pane's own axes: xref "x" and yref "y"
    height: int = 300  # pixels at normal letter size


def sheet(panes: Sequence[Pane], screen: Screen | None = None, *, one_x: bool = False) -> "go.Figure":
    """Return a figure of `panes`, the first on top.

    Args:
        panes: what to draw.
        screen: what it is drawn for.
        one_x: whether the panes share the x axis of the last one.
    """
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

    screen = screen or Screen()
    frame = frame_for(screen, lanes=0, ranges=False)
    panes = [replace(pane, y=replace(pane.y, words=_wrapped(pane.y.words, frame))) for pane in panes]
    places = _places(panes, frame, one_x)
    layout = _layout(panes, places, frame, one_x)
    traces = []
    for number, pane in enumerate(panes, start=1):
        x, y = _axis(1 if one_x else number), _axis(number)
        traces += [{**trace, "xaxis": f"x{x}", "yaxis": f"y{y}"} for trace in pane.traces]
        layout["shapes"] += [_moved(shape, x, y) for shape in pane.shapes]
        layout["annotations"] += _beside(pane, y, places[number - 1].pixels, frame)
        layout["annotations"] += _above(pane, x, places[number - 1].high, layout, frame)
    return go.Figure(data=traces, layout=layout)


def _wrapped(words: Sequence[str], frame: Frame) -> tuple[str, ...]:
    """Return words that stand left of a pane on as many lines as they need there."""
    letters = max(6, int(WORDS * frame.screen.width / frame.text_width("x")))
    return tuple("<br>".join(part for line in word.split("<br>") for part in wrap(line, letters)) for word in words)


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a pane stands: as parts of the height between the margins, and its height in pixels."""

    low: float
    high: float
    pixels: int


def _axis(number: int) -> str:
    """Return what plotly puts behind the letter of an axis."""
    return "" if number == 1 else str(number)


def _places(panes: Sequence[Pane], frame: Frame, one_x: bool) -> list[_Place]:
    heights = [frame.px(pane.height) for pane in panes]
    gap = _gap(panes, frame, one_x)
    whole = sum(heights) + gap * (len(panes) - 1)
    places, top = [], whole
    for height in heights:
        places.append(_Place((top - height) / whole, top / whole, height))
        top -= height + gap
    return places


def _gap(panes: Sequence[Pane], frame: Frame, one_x: bool) -> int:
    """Return the space between two panes: for the x axis of the upper one, and words above the lower one."""
    return frame.px((22 if one_x else 58 + _second_line(frame)) + 16 * any(pane.above for pane in panes[1:]))


def _second_line(frame: Frame) -> int:
    """Return the room that axis titles need where they may take two lines."""
    return 16 if frame.screen.narrow else 0


def _layout(panes: Sequence[Pane], places: Sequence[_Place], frame: Frame, one_x: bool) -> dict[str, Any]:
    right = max((frame.text_width(name.text) for pane in panes for name in pane.names), default=0) + frame.px(14)
    inner = sum(place.pixels for place in places) + _gap(panes, frame, one_x) * (len(panes) - 1)
    top = frame.px(30 if panes[0].above else 16)
    bottom = frame.bottom + frame.px(_second_line(frame))
    layout: dict[str, Any] = {
        "template": template(frame.screen.colours),
        "width": frame.screen.width,
        "height": inner + top + bottom,
        "font": {"size": frame.font},
        "hoverlabel": {"font": {"size": frame.font}},
        "margin": {
            "l": _left(panes, frame),
            "r": round(min(right, WORDS * frame.screen.width)),
            "t": frame.px(16),
            "pad": 0,
        },
        "shapes": [],
        "annotations": [],
        "bargap": 0,
    }
    for number, (pane, place) in enumerate(zip(panes, places, strict=True), start=1):
        layout[f"yaxis{_axis(number)}"] = {
            **_shown(pane.y, frame),
            "domain": (place.low, place.high),
            "anchor": f"x{_axis(1 if one_x else number)}",
            "showgrid": pane.y.grid,
        }
        if one_x and number < len(panes):
            continue
        x = 1 if one_x else number
        width = frame.screen.width - layout["margin"]["l"] - layout["margin"]["r"]
        title = "<br>".join(wrap(pane.x.title, max(6, int(width / frame.text_width("x")))))
        layout[f"xaxis{_axis(x)}"] = {
            **_shown(replace(pane.x, title=title), frame),
            "anchor": f"y{_axis(number)}",
            "showgrid": False,
        }
    return layout


def _left(panes: Sequence[Pane], frame: Frame) -> int:
    """Return the room left of the panes: more where ticks are words."""
    words = [part for pane in panes for word in pane.y.words for part in word.split("<br>")]
    title = frame.px(24) if any(pane.y.title for pane in panes) else frame.px(8)
    return max(frame.left, round(max(map(frame.text_width, words), default=0)) + title)


def _shown(axis: Axis, frame: Frame) -> dict[str, Any]:
    small = {"size": frame.small}
    shown: dict[str, Any] = {
        "title": {"text": axis.title, "font": small},
        "tickfont": small,
        "type": axis.kind,
        "fixedrange": True,
    }
    if axis.span is not None:
        shown["range"] = [math.log10(end) for end in axis.span] if axis.kind == "log" else list(axis.span)
    at = axis.at or (_log_ticks(axis.span) if axis.kind == "log" and axis.span is not None else ())
    words = axis.words or (tuple(short(tick) for tick in at) if axis.kind == "log" else ())
    if at:
        shown |= {"tickvals": list(at)} | (
            {"ticktext": [word.replace("<br>", " <br>") + " " for word in words]} if words else {}
        )
    return shown


def _log_ticks(span: tuple[float, float]) -> tuple[float, ...]:
    """Return ticks at 1, 2 and 5 times the powers of ten, or at these alone where the span is wide."""
    first, last = math.floor(math.log10(span[0])), math.ceil(math.log10(span[1]))
    steps = (1, 2, 5) if last - first <= 3 else (1,)
    ticks = (step * 10.0**power for power in range(first, last + 1) for step in steps)
    return tuple(tick for tick in ticks if span[0] <= tick <= span[1])


def _moved(shape: Shape, x: str, y: str) -> Shape:
    """Return a shape of a pane's own axes on the axes it got."""
    moved = dict(shape)
    for ref, letter, number in (("xref", "x", x), ("yref", "y", y)):
        moved[ref] = str(moved.get(ref, letter)).replace(letter, f"{letter}{number}", 1)
    return moved


def _beside(pane: Pane, y: str, pixels: int, frame: Frame) -> list[dict[str, Any]]:
    """Return the names right of a pane, none over another."""
    if not pane.names or pane.y.span is None:
        return []
    low, high = (_scaled(end, pane.y) for end in pane.y.span)
    per_pixel = (high - low) / pixels
    row = frame.small * 1.25
    wanted = [(min(max(_scaled(name.level, pane.y), low), high) - low) / per_pixel for name in pane.names]
    placed = spread(wanted, [row * name.rows for name in pane.names], low=-row / 2, high=pixels + row / 2)
    return [
        {
            "x": 1.0,
            "xref": "paper",
            "xanchor": "left",
            "xshift": frame.px(6),
            "y": low + place * per_pixel,
            "yref": f"y{y}",
            "yanchor": "middle",
            "align": "left",
            "showarrow": False,
            "text": name.words(pane.y.span),
            "font": {"color": name.colour, "size": frame.small},
        }
        for name, place in zip(pane.names, placed, strict=True)
    ]


def _above(pane: Pane, x: str, top: float, layout: Mapping[str, Any], frame: Frame) -> list[dict[str, Any]]:
    """Return the words above a pane, none over another."""
    if not pane.above or pane.x.span is None:
        return []
    low, high = (_scaled(end, pane.x) for end in pane.x.span)
    width = layout["width"] - layout["margin"]["l"] - layout["margin"]["r"]
    per_pixel = (high - low) / width
    widths = [frame.text_width(name.text) + frame.px(10) for name in pane.above]
    wanted = [(min(max(_scaled(name.level, pane.x), low), high) - low) / per_pixel for name in pane.above]
    beyond = max(frame.px(40), (sum(widths) - width) / 2)
    placed = spread(wanted, widths, low=-beyond, high=width + beyond)
    return [
        {
            "x": low + place * per_pixel,
            "xref": f"x{x}",
            "xanchor": "center",
            "y": top,
            "yref": "paper",
            "yanchor": "bottom",
            "yshift": 2,
            "showarrow": False,
            "text": name.words(pane.x.span),
            "font": {"color": name.colour, "size": frame.small},
        }
        for name, place in zip(pane.above, placed, strict=True)
    ]


def upright(at: float, colour: str, name: str, *, width: float = 1.6, dash: str = "solid") -> Shape:
    """Return an upright line through a pane."""
    style = {"color": colour, "width": width, "dash": dash}
    return {"type": "line", "x0": at, "x1": at, "y0": 0, "y1": 1, "yref": "y domain", "line": style, "name": name}


def level(at: float, colour: str, name: str, *, width: float = 1.6, dash: str = "solid") -> Shape:
    """Return a level line through a pane."""
    style = {"color": colour, "width": width, "dash": dash}
    return {"type": "line", "y0": at, "y1": at, "x0": 0, "x1": 1, "xref": "x domain", "line": style, "name": name}


def _scaled(value: float, axis: Axis) -> float:
    return math.log10(value) if axis.kind == "log" else value


def with_room(values: Sequence[float], *, least: float = 0.0) -> tuple[float, float]:
    """Return the span of all finite `values` with room at both ends; at least `least` high."""
    finite = [value for value in values if math.isfinite(value)]
    low, high = (min(finite), max(finite)) if finite else (0.0, 1.0)
    if high - low <= least or high == low:
        half = max(least, abs(high) * 0.1, 1e-12) / 2
        low, high = (low + high) / 2 - half, (low + high) / 2 + half
    room = ROOM * (high - low)
    return low - room, high + room


def titled(what: str, unit: str) -> str:
    """Return an axis title: what, with its unit."""
    return f"{what}, {unit}" if unit else what


def line(x: Sequence[Any], y: Sequence[Any], colour: str, name: str, **more: Any) -> Trace:
    """Return a line; `dash` and `width` may be among what else is given, with the words on touch."""
    style = {"color": colour, "width": more.pop("width", 1.5), "dash": more.pop("dash", "solid")}
    return {
        "type": "scatter",
        "mode": "lines",
        "x": list(x),
        "y": list(y),
        "line": style,
        "name": name,
        "hoverinfo": "skip",
        **more,
    }


def points(x: Sequence[Any], y: Sequence[Any], colour: str, name: str, touched: Sequence[str], **more: Any) -> Trace:
    """Return marks, each with what it says when touched."""
    marker = {"color": colour, "size": more.pop("size", 6), "symbol": more.pop("symbol", "circle")}
    marker |= more.pop("marker", {})
    return {
        "type": "scatter",
        "mode": "markers",
        "x": list(x),
        "y": list(y),
        "marker": marker,
        "name": name,
        "hovertext": list(touched),
        "hoverinfo": "text",
        **more,
    }


def signalled(x: Sequence[Any], y: Sequence[Any], theme: Theme, touched: Sequence[str], **more: Any) -> Trace:
    """Return the marks of readings that signalled."""
    edge = {"line": {"color": theme.signal_edge, "width": 1.2}}
    name = more.pop("name", "signalled")
    return points(x, y, theme.signal, name, touched, symbol="diamond", size=12, marker=edge, **more)


def band(x: Sequence[Any], low: Sequence[float], high: Sequence[float], colour: str, name: str) -> Trace:
    """Return a filled band between two lines."""
    return {
        "type": "scatter",
        "mode": "lines",
        "x": [*x, *reversed(list(x))],
        "y": [*high, *reversed(list(low))],
        "fill": "toself",
        "fillcolor": colour,
        "line": {"width": 0},
        "name": name,
        "hoverinfo": "skip",
    }


def box(x0: Any, x1: Any, y0: Any, y1: Any, colour: str, name: str, **refs: str) -> Shape:
    """Return a filled box below everything; `xref` or `yref` "paper" spans the pane's whole side."""
    return {
        "type": "rect",
        "x0": x0,
        "x1": x1,
        "y0": y0,
        "y1": y1,
        "layer": "below",
        "fillcolor": colour,
        "line": {"width": 0},
        "name": name,
        **refs,
    }


def interval(low: float, high: float, at: Any, colour: str, name: str, *, upright: bool = False) -> Trace:
    """Return a confidence interval: a bar with ends, lying or upright."""
    along, across = [low, high], [at, at]
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "x": across if upright else along,
        "y": along if upright else across,
        "line": {"color": colour, "width": 2},
        "marker": {"symbol": "line-ew-open" if upright else "line-ns-open", "size": 12, "color": colour},
        "name": name,
        "hoverinfo": "skip",
    }


def series(theme: Theme, place: int) -> tuple[str, str, str]:
    """Return colour, dash and mark of the series at `place`, counted from 0."""
    colours = (theme.control, theme.ink, theme.event, theme.signal, theme.quiet, theme.acceptance)
    return colours[place % 6], DASHES[place % 6], MARKS[place % 6]
