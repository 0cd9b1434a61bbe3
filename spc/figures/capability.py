"""Capability: the readings as bars against their acceptance limits, the fitted shape, and the indices with theirs."""

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, as_readings
from spc.capability.by_quantiles import QuantileCapability
from spc.capability.fraction_outside import FractionOutside
from spc.capability.indices import Capability, Index, Specification
from spc.figures.frame import Screen
from spc.figures.levels import Named
from spc.figures.sheet import Axis, Pane, Shape, Trace, box, interval, line, points, sheet, titled, upright, with_room
from spc.figures.theme import Theme
from spc.wording import in_figures, short

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

Density = Callable[[FloatArray], FloatArray]

MOST_BARS = 40
CURVE = 200
"""Points of a drawn curve."""

AT_THREE_SIGMA = 1.0
"""The index of a process whose three sigmas, or what takes their place, just reach the limit."""


def capability_figure(
    readings: ArrayLike, found: Capability, *, what: str, unit: str = "", screen: Screen | None = None
) -> "go.Figure":
    """Return the capability of normal readings.

    Args:
        readings: those it was found from, shape (n,).
        found: the indices.
        what: what the readings are of.
        unit: of the readings.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    x = as_readings(readings)
    overall, within = _normal(found.mean, found.sigma_overall), _normal(found.mean, found.sigma_within)
    shapes = [("overall", overall, "solid"), ("within", within, "7px,4px")]
    marks = [Named(found.mean, f"mean {short(found.mean)}", theme.ink)]
    step = found.resolution.step if found.resolution is not None else None
    panes = [
        _histogram(x, shapes, marks, found.specification, what, unit, step, theme),
        _indices(found.indices, found.confidence, theme),
    ]
    return sheet(panes, screen)


def quantile_capability_figure(
    readings: ArrayLike,
    found: QuantileCapability,
    *,
    what: str,
    unit: str = "",
    resolution: float | None = None,
    screen: Screen | None = None,
) -> "go.Figure":
    """Return the capability of readings of any shape, with the quantiles that take the place of three sigmas.

    Args:
        readings: those it was found from, shape (n,).
        found: the indices and the fitted shape.
        what: what the readings are of.
        unit: of the readings.
        resolution: smallest step of the readings; bars then hold whole steps.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours

    def fitted(x: FloatArray) -> FloatArray:
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.nan_to_num(np.exp(np.asarray(found.fitted.distribution.logpdf(x[None, :])).ravel()))

    marks = [
        Named(found.low, f"0.135 % {short(found.low)}", theme.control),
        Named(found.median, f"median {short(found.median)}", theme.ink),
        Named(found.high, f"99.865 % {short(found.high)}", theme.control),
    ]
    shape = [(found.fitted.family.key, fitted, "solid")]
    pane = _histogram(as_readings(readings), shape, marks, found.specification, what, unit, resolution, theme)
    return sheet([pane, _indices(found.indices, found.confidence, theme)], screen)


def _normal(mean: float, sigma: float) -> Density:
    def density(x: FloatArray) -> FloatArray:
        return np.exp(-0.5 * ((x - mean) / sigma) ** 2) / (sigma * math.sqrt(2 * math.pi))

    return density


def _histogram(
    x: FloatArray,
    shapes: Sequence[tuple[str, Density, str]],
    marks: Sequence[Named],
    specification: Specification,
    what: str,
    unit: str,
    resolution: float | None,
    theme: Theme,
) -> Pane:
    edges = bar_edges(x, resolution)
    counts = np.histogram(x, edges)[0]
    limits = [limit for limit in (specification.lower, specification.upper) if limit is not None]
    span = with_room([float(edges[0]), float(edges[-1]), *limits, *(mark.level for mark in marks)])
    at = np.linspace(*span, CURVE)
    height = float(edges[1] - edges[0])
    curves = [(name, len(x) * height * density(at), dash) for name, density, dash in shapes]
    top = 1.12 * max(float(counts.max()), *(float(curve.max()) for _, curve, _ in curves))
    said = [
        f"<b>{count} reading{'s' * (count != 1)}</b><br>{short(low)} to {short(high)}"
        for count, low, high in zip(counts.tolist(), edges[:-1].tolist(), edges[1:].tolist(), strict=True)
    ]
    bars: Trace = {
        "type": "bar",
        "x": ((edges[:-1] + edges[1:]) / 2).tolist(),
        "y": counts.tolist(),
        "width": height,
        "marker": {"color": theme.shade, "line": {"color": theme.control, "width": 1}},
        "name": "readings",
        "hovertext": said,
        "hoverinfo": "text",
    }
    lines = [line(at.tolist(), curve.tolist(), theme.ink, name, dash=dash) for name, curve, dash in curves]
    named = [_beside_curve(name, dash, curve, theme) for name, curve, dash in curves]
    uprights = [upright(mark.level, mark.colour, mark.text, width=1.2, dash="4px,3px") for mark in marks]
    return Pane(
        traces=[bars, *lines],
        x=Axis(titled(what, unit), span),
        y=Axis("readings", (0.0, top)),
        names=named if len(curves) > 1 else (),
        above=[*marks, *limit_names(specification, theme)],
        shapes=[*uprights, *limit_shapes(specification, span, theme)],
        height=320,
    )


def _beside_curve(name: str, dash: str, curve: FloatArray, theme: Theme) -> Named:
    stroke = "\N{BOX DRAWINGS LIGHT HORIZONTAL}\N{BOX DRAWINGS LIGHT HORIZONTAL}" if dash == "solid" else "- -"
    return Named(float(curve.max()), f"{stroke} {name}", theme.ink)


def limit_names(specification: Specification, theme: Theme) -> list[Named]:
    """Return what stands above the acceptance limits."""
    sides = (("at least", specification.lower), ("at most", specification.upper))
    return [
        Named(limit, f"{side} {short(limit)}", theme.acceptance, heavy=True)
        for side, limit in sides
        if limit is not None
    ]


def limit_shapes(specification: Specification, span: tuple[float, float], theme: Theme) -> list[Shape]:
    """Return the acceptance limits as heavy upright lines, with a tint over what lies outside them."""
    shapes = []
    for limit, end in ((specification.lower, span[0]), (specification.upper, span[1])):
        if limit is not None:
            shapes.append(upright(limit, theme.acceptance, "acceptance limit", width=3.0))
            shapes.append(box(limit, end, 0, 1, theme.outside, "outside the acceptance limits", yref="y domain"))
    return shapes


def bar_edges(x: FloatArray, resolution: float | None = None) -> FloatArray:
    """Return the edges of the bars: by Freedman and Diaconis, of whole steps where readings come in steps.

    Source: Freedman, D. and Diaconis, P. (1981), Zeitschrift fuer Wahrscheinlichkeitstheorie 57, 453-476.
    """
    low, high = float(x.min()), float(x.max())
    if high == low:
        half = resolution / 2 if resolution else max(abs(low) * 0.05, 1e-9)
        return np.array([low - half, low + half])
    quarter, three_quarters = np.quantile(x, (0.25, 0.75)).tolist()
    spread = (three_quarters - quarter) or (high - low) / 2
    width = max(2 * spread / len(x) ** (1 / 3), (high - low) / MOST_BARS)
    if resolution is None:
        return np.linspace(low, high, math.ceil((high - low) / width) + 1)
    steps = max(1, round(width / resolution))
    first = round(low / resolution) * resolution - resolution / 2
    count = math.ceil((high - first) / (steps * resolution))
    return np.asarray(first + steps * resolution * np.arange(count + 1))


def _indices(indices: Sequence[Index], confidence: float, theme: Theme) -> Pane:
    """Return the pane of indices, each with its limits."""
    rows = [float(row) for row in range(len(indices) - 1, -1, -1)]
    bars = [
        interval(index.lower, index.upper, row, theme.control, f"{100 * confidence:g} % limits")
        for index, row in zip(indices, rows, strict=True)
    ]
    said = [
        f"<b>{index.name} {in_figures(index.value)}</b><br>{in_figures(index.lower)} to {in_figures(index.upper)}, "
        f"{100 * index.confidence:g} %<br>{index.method}"
        for index in indices
    ]
    marks = points([index.value for index in indices], rows, theme.ink, "index", said, symbol="diamond", size=9)
    span = with_room([0.0, AT_THREE_SIGMA, *(end for index in indices for end in (index.lower, index.upper))])
    words = tuple(f"{index.name} {in_figures(index.value)}" for index in indices)
    return Pane(
        traces=[*bars, marks],
        x=Axis(f"capability index, with {100 * confidence:g} % confidence limits", span),
        y=Axis("", (-0.6, len(indices) - 0.4), at=tuple(rows), words=words, grid=False),
        shapes=[upright(AT_THREE_SIGMA, theme.quiet, "three sigmas reach the limit", width=1.2, dash="2px,3px")],
        height=40 + 22 * len(indices),
    )


def fraction_outside_figure(found: Sequence[FractionOutside], *, screen: Screen | None = None) -> "go.Figure":
    """Return expected shares outside the acceptance limits, by one method or several, each with its limits.

    Args:
        found: shares of the same readings.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    rows = [float(row) for row in range(len(found) - 1, -1, -1)]
    percent = [(100 * each.lower, 100 * each.outside, 100 * each.upper) for each in found]
    bars = [
        interval(low, high, row, theme.control, "confidence limits")
        for (low, _, high), row in zip(percent, rows, strict=True)
    ]
    said = [
        f"<b>{in_figures(share)} %</b><br>{in_figures(low)} to {in_figures(high)} %<br>{each.method}"
        for each, (low, share, high) in zip(found, percent, strict=True)
    ]
    marks = points([share for _, share, _ in percent], rows, theme.ink, "share outside", said, symbol="diamond", size=9)
    words = tuple(each.method.replace(", ", ",<br>", 1) for each in found)
    x = Axis(
        f"expected outside the acceptance limits, %, with {100 * found[0].confidence:g} % confidence limits",
        (0.0, 1.08 * max(high for *_, high in percent) or 1.0),
    )
    y = Axis("", (-0.6, len(found) - 0.4), at=tuple(rows), words=words, grid=False)
    return sheet([Pane([*bars, marks], x, y, height=46 + 34 * len(found))], screen)
