"""A plotly figure as plain SVG, without a browser: what stands on paper is the figure that stands on the screen.

Drawn is what the figures of `spc/figures/` are made of: lines, marks, bars, filled bands, boxes, words, and linear,
logarithmic and date axes. Anything else is refused, so that nothing is left out without a word.
"""

from collections.abc import Iterator, Mapping, Sequence
from html import escape
from typing import TYPE_CHECKING, Any

from spc.errors import InputError
from spc.report.axes import Scale, scale_of, ticks_of
from spc.report.marks import mark
from spc.report.svg_parts import (
    fill,
    found_in,
    inside,
    most_ticks,
    n,
    one_of,
    plain_words,
    straight,
    stroke,
    words_at,
    wrapped,
)

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

FONT = "'Noto Sans', 'Liberation Sans', 'DejaVu Sans', 'Helvetica Neue', Arial, sans-serif"
ANCHORS = {"left": "start", "center": "middle", "right": "end"}
TICK = 4.0


def figure_svg(figure: "go.Figure", title: str) -> str:
    """Return a figure as one SVG element.

    Args:
        figure: of `spc/figures/`.
        title: what it shows, for those who hear it read out.

    Raises:
        InputError: the figure holds something that is not drawn here.
    """
    parts = figure.to_plotly_json()
    layout = {**parts["layout"]}
    template = layout.pop("template", None) or {}
    return "".join(_Drawing(parts["data"], layout, template.get("layout", {})).elements(title))


class _Drawing:
    """Draws one figure."""

    def __init__(self, traces: Sequence[Mapping[str, Any]], layout: Mapping[str, Any], template: Mapping[str, Any]):
        self.traces, self.layout, self.template = traces, layout, template
        self.width, self.height = float(layout.get("width", 900)), float(layout.get("height", 400))
        margin = layout.get("margin", {})
        self.left, self.top = float(margin.get("l", 70)), float(margin.get("t", 10))
        self.right, self.bottom = self.width - float(margin.get("r", 20)), self.height - float(margin.get("b", 50))
        self.ink = found_in(template, "font", "color") or "#000"
        self.scales: dict[str, Scale] = {}
        for name in [key for key in layout if key.startswith(("xaxis", "yaxis"))] or ["xaxis", "yaxis"]:
            self.scales[name.replace("axis", "")] = self._scale(name)

    def elements(self, title: str) -> Iterator[str]:
        """Yield the element piece by piece."""
        yield (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {n(self.width)} {n(self.height)}" '
            f'width="{n(self.width)}" height="{n(self.height)}" role="img" font-family="{escape(FONT)}">'
        )
        yield f"<title>{escape(title)}</title>"
        yield from self._shapes("below")
        yield from self._grids()
        for trace in self.traces:
            if trace.get("visible", True) is True:
                yield from self._trace(trace)
        yield from self._shapes("above")
        yield from self._axes()
        yield from self._annotations()
        yield "</svg>"

    def _axis(self, name: str) -> Mapping[str, Any]:
        base = self.template.get(name[:5], {})
        own = self.layout.get(name, {})
        return {**base, **own, "title": {**base.get("title", {}), **own.get("title", {})}}

    def _scale(self, name: str) -> Scale:
        axis = self._axis(name)
        low, high = axis.get("domain", (0.0, 1.0))
        letter, number = name[0], name[5:]
        mine = [trace for trace in self.traces if trace.get(f"{letter}axis", letter) == letter + number]
        values = [value for trace in mine for value in list(trace.get(letter, ()))]
        if letter == "x":
            ends = self.left + low * (self.right - self.left), self.left + high * (self.right - self.left)
        else:
            ends = self.bottom - low * (self.bottom - self.top), self.bottom - high * (self.bottom - self.top)
        return scale_of(axis, *ends, values)

    # axes

    def _grids(self) -> Iterator[str]:
        for name, scale in self.scales.items():
            axis = self._axis(name[0] + "axis" + name[1:])
            if axis.get("visible", True) is False or not axis.get("showgrid", False) or name[0] != "y":
                continue
            across = self._other(name, axis)
            for tick in ticks_of(axis, scale, most_ticks(axis, scale)):
                y = scale.pixel(tick.at)
                yield straight(across.start, y, across.stop, y, axis.get("gridcolor", "#ddd"), 1)

    def _other(self, name: str, axis: Mapping[str, Any]) -> Scale:
        """Return the scale that an axis is laid along."""
        anchor = axis.get("anchor")
        if anchor in self.scales:
            return self.scales[anchor]
        return self.scales["x" if name[0] == "y" else "y"]

    def _axes(self) -> Iterator[str]:
        for name, scale in self.scales.items():
            axis = self._axis(name[0] + "axis" + name[1:])
            if axis.get("visible", True) is False:
                continue
            yield from (self._x_axis if name[0] == "x" else self._y_axis)(name, axis, scale)

    def _x_axis(self, name: str, axis: Mapping[str, Any], scale: Scale) -> Iterator[str]:
        below = self._other(name, axis).start
        size = float(found_in(axis, "tickfont", "size") or 12)
        colour = found_in(axis, "tickfont", "color") or self.ink
        yield straight(scale.start, below, scale.stop, below, axis.get("linecolor", "#999"), 1)
        deepest = 0
        for tick in ticks_of(axis, scale, most_ticks(axis, scale)):
            x = scale.pixel(tick.at)
            yield straight(x, below, x, below + TICK, axis.get("tickcolor", "#999"), 1)
            lines = tick.words.split("\n")
            deepest = max(deepest, len(lines))
            yield words_at(lines, x, below + TICK + size, size, colour, "middle")
        if words := found_in(axis, "title", "text"):
            y = below + TICK + size * (1.2 * deepest + 1.1)
            yield words_at([words], (scale.start + scale.stop) / 2, y, *self._title(axis), "middle")

    def _y_axis(self, name: str, axis: Mapping[str, Any], scale: Scale) -> Iterator[str]:
        left = self._other(name, axis).start
        size = float(found_in(axis, "tickfont", "size") or 12)
        colour = found_in(axis, "tickfont", "color") or self.ink
        widest = 0.0
        for tick in ticks_of(axis, scale, most_ticks(axis, scale)):
            lines = tick.words.split("\n")
            y = scale.pixel(tick.at) + 0.35 * size - 0.6 * size * (len(lines) - 1)
            widest = max(widest, *(0.56 * size * len(line) for line in lines))
            yield words_at(lines, left - 6, y, size, colour, "end")
        if words := found_in(axis, "title", "text"):
            size, colour = self._title(axis)
            x, y = max(left - widest - 16, size), (scale.start + scale.stop) / 2
            room = max(6, int(abs(scale.start - scale.stop) / (0.54 * size)))
            lines = wrapped(words, room)
            x = max(size * 1.15 * len(lines), x - size * 1.15 * (len(lines) - 1))
            turned = "".join(
                f'<tspan x="{n(x)}" dy="{n(0 if i == 0 else size * 1.15)}">{escape(line)}</tspan>'
                for i, line in enumerate(lines)
            )
            yield (
                f'<text transform="rotate(-90 {n(x)} {n(y)})" x="{n(x)}" y="{n(y)}" '
                f'font-size="{n(size)}" fill="{colour}" text-anchor="middle">{turned}</text>'
            )

    def _title(self, axis: Mapping[str, Any]) -> tuple[float, str]:
        font = axis.get("title", {}).get("font", {})
        return float(font.get("size", 12)), font.get("color", self.ink)

    # shapes and words

    def _shapes(self, layer: str) -> Iterator[str]:
        for shape in self.layout.get("shapes", ()):
            if shape.get("layer", "above") != layer:
                continue
            x0, x1 = (self._paper(shape[key], shape.get("xref", "x"), "x") for key in ("x0", "x1"))
            y0, y1 = (self._paper(shape[key], shape.get("yref", "y"), "y") for key in ("y0", "y1"))
            if None in (x0, x1, y0, y1):
                continue
            line = shape.get("line", {})
            across, upright = inside(x0, x1, self.left, self.right), inside(y0, y1, self.top, self.bottom)
            if across is None or upright is None:
                continue
            (x0, x1), (y0, y1) = across, upright
            pen = stroke(line.get("color", self.ink), line.get("width", 2), line.get("dash", "solid"))
            opacity = f' opacity="{shape["opacity"]}"' if "opacity" in shape else ""
            if shape["type"] == "line":
                yield f'<line x1="{n(x0)}" y1="{n(y0)}" x2="{n(x1)}" y2="{n(y1)}"{pen}{opacity}/>'
            elif shape["type"] == "rect":
                x, y = min(x0, x1), min(y0, y1)
                yield (
                    f'<rect x="{n(x)}" y="{n(y)}" width="{n(abs(x1 - x0))}" height="{n(abs(y1 - y0))}"'
                    f"{fill(shape.get('fillcolor', 'none'))}{pen}{opacity}/>"
                )
            else:
                raise InputError(f"a shape of type {shape['type']!r} is not drawn on paper")

    def _at(self, value: Any, ref: str) -> Any:
        name, _, domain = ref.partition(" ")
        scale = self.scales[name]
        return scale.start + float(value) * (scale.stop - scale.start) if domain else scale.place(value)

    def _annotations(self) -> Iterator[str]:
        for words in self.layout.get("annotations", ()):
            x, y = self._paper(words["x"], words.get("xref", "x"), "x"), self._paper(words["y"], words["yref"], "y")
            if x is None or y is None:
                continue
            font = words.get("font", {})
            size = float(font.get("size", 12))
            lines = plain_words(words["text"]).split("\n")
            x += float(words.get("xshift", 0))
            y -= float(words.get("yshift", 0))
            lift = {"middle": 0.35, "bottom": -0.2, "top": 1.0}[words.get("yanchor", "middle")] * size
            lift -= (
                {"middle": 0.575, "bottom": 1.15, "top": 0.0}[words.get("yanchor", "middle")] * size * (len(lines) - 1)
            )
            anchor = ANCHORS[words.get("xanchor", "center")]
            yield words_at(lines, x, y + lift, size, font.get("color", self.ink), anchor)

    def _paper(self, value: Any, ref: str, way: str) -> Any:
        if ref == "paper":
            start, stop = (self.left, self.right) if way == "x" else (self.bottom, self.top)
            return start + float(value) * (stop - start)
        return self._at(value, ref)

    # traces

    def _trace(self, trace: Mapping[str, Any]) -> Iterator[str]:
        x, y = self.scales[trace.get("xaxis", "x")], self.scales[trace.get("yaxis", "y")]
        match trace.get("type", "scatter"):
            case "scatter":
                yield from self._scatter(trace, x, y)
            case "bar":
                yield from self._bars(trace, x, y)
            case kind:
                raise InputError(f"a trace of type {kind!r} is not drawn on paper")

    def _bars(self, trace: Mapping[str, Any], x: Scale, y: Scale) -> Iterator[str]:
        widths = trace.get("width")
        values = list(trace["x"])
        each = [one_of(widths, i) for i in range(len(values))]
        marker = trace.get("marker", {})
        colour = one_of(marker.get("color", self.ink), 0)
        line = marker.get("line", {})
        for middle, height, width in zip(values, list(trace["y"]), each, strict=True):
            number, top, foot = x.number(middle), y.place(height), y.pixel(max(y.low, 0.0))
            if number is None or top is None:
                continue
            ends = x.pixel(number - float(width or 0) / 2), x.pixel(number + float(width or 0) / 2)
            left, right = sorted(ends)
            pen = stroke(line.get("color", "none"), line.get("width", 0), "solid")
            opacity = f' opacity="{trace["opacity"]}"' if "opacity" in trace else ""
            yield (
                f'<rect x="{n(left)}" y="{n(min(top, foot))}" width="{n(right - left)}" '
                f'height="{n(abs(foot - top))}"{fill(colour)}{pen}{opacity}/>'
            )

    def _scatter(self, trace: Mapping[str, Any], x: Scale, y: Scale) -> Iterator[str]:
        places = [(x.place(at), y.place(value)) for at, value in zip(list(trace["x"]), list(trace["y"]), strict=True)]
        mode = trace.get("mode", "lines+markers")
        opacity = f' opacity="{trace["opacity"]}"' if "opacity" in trace else ""
        clip = trace.get("cliponaxis", True) is not False
        if "lines" in mode:
            yield from self._lines(trace, places, opacity, (x, y) if clip else None)
        low, high = sorted((x.start, x.stop))
        bottom, top = sorted((y.start, y.stop))
        for i, (px, py) in enumerate(places):
            if px is None or py is None or not low - 1 <= px <= high + 1 or not bottom - 1 <= py <= top + 1:
                continue
            if "markers" in mode:
                marker = trace.get("marker", {})
                line = marker.get("line", {})
                size = float(one_of(marker.get("size", 6), i))
                yield mark(
                    str(one_of(marker.get("symbol", "circle"), i)),
                    px,
                    py,
                    size,
                    str(one_of(marker.get("color", self.ink), i)),
                    str(one_of(line.get("color", "none"), i)),
                    float(one_of(line.get("width", 0), i)),
                )
            if "text" in mode:
                yield from self._beside(trace, i, px, py)

    def _beside(self, trace: Mapping[str, Any], i: int, x: float, y: float) -> Iterator[str]:
        font = trace.get("textfont", {})
        size = float(one_of(font.get("size", 12), i))
        where = str(one_of(trace.get("textposition", "middle center"), i))
        half = float(one_of(trace.get("marker", {}).get("size", 0), i)) / 2 + 3
        anchor, dx = ("start", half) if "right" in where else ("end", -half) if "left" in where else ("middle", 0.0)
        dy = -half if "top" in where else half + size if "bottom" in where else 0.35 * size
        words = plain_words(str(one_of(trace["text"], i)))
        yield words_at(words.split("\n"), x + dx, y + dy, size, str(one_of(font.get("color", self.ink), i)), anchor)

    def _lines(
        self,
        trace: Mapping[str, Any],
        places: Sequence[tuple[float | None, float | None]],
        opacity: str,
        within: tuple[Scale, Scale] | None,
    ) -> Iterator[str]:
        line = trace.get("line", {})
        steps = line.get("shape") == "hv"
        gaps = bool(trace.get("connectgaps", False))
        path: list[str] = []
        before: tuple[float, float] | None = None
        for px, py in places:
            if px is None or py is None:
                before = before if gaps else None
                continue
            if before is None:
                path.append(f"M{n(px)} {n(py)}")
            else:
                path += [f"H{n(px)}"] if steps else []
                path.append(f"V{n(py)}" if steps else f"L{n(px)} {n(py)}")
            before = (px, py)
        if not path:
            return
        filling = fill(trace.get("fillcolor", "none")) if trace.get("fill") == "toself" else ' fill="none"'
        pen = stroke(line.get("color", self.ink), line.get("width", 2), line.get("dash", "solid"))
        drawn = f'<path d="{"".join(path)}"{filling}{pen}{opacity} stroke-linejoin="round"/>'
        if within is None:
            yield drawn
            return
        x, y = within
        left, low = min(x.start, x.stop), min(y.start, y.stop)
        width, height = abs(x.stop - x.start), abs(y.stop - y.start)
        # an SVG of its own cuts off what lies outside the pane
        yield (
            f'<svg x="{n(left)}" y="{n(low)}" width="{n(width)}" height="{n(height)}" '
            f'viewBox="{n(left)} {n(low)} {n(width)} {n(height)}" overflow="hidden">{drawn}</svg>'
        )
