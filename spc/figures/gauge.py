"""A measurement study: what the variation is made of, the readings by part, and each operator's by what they differ."""

from collections.abc import Hashable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray
from spc.figures.frame import Screen
from spc.figures.levels import Named
from spc.figures.sheet import (
    GLYPHS,
    Axis,
    Pane,
    Trace,
    interval,
    level,
    line,
    points,
    series,
    sheet,
    titled,
    with_room,
)
from spc.figures.theme import Theme
from spc.measurement.crossed import Layout, layout
from spc.measurement.gauge import CrossedStudy, VarianceComponent
from spc.measurement.gauge_ranges import RangeStudy
from spc.measurement.generalised_limits import GeneralisedLimits
from spc.wording import in_figures, short, with_unit

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

FARTHEST = 2.5
"""How far the pane of components reaches, in the largest standard deviation; limits beyond end in an arrow."""

WITHIN_PART = 0.5
"""Room for the readings of one part, as a share of the distance to the next."""


def gauge_figure(
    readings: ArrayLike,
    parts: Sequence[Hashable],
    operators: Sequence[Hashable],
    study: CrossedStudy,
    *,
    what: str,
    unit: str = "",
    screen: Screen | None = None,
) -> "go.Figure":
    """Return a crossed study: its components with limits over the readings they come from.

    Args:
        readings: of the study, shape (n,).
        parts: which part each is of, n labels.
        operators: who read it, n labels.
        study: the study, analysed.
        what: what the readings are of.
        unit: of the readings.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    cells = layout(readings, parts, operators)
    components = _components(study.components, study.confidence, unit, theme)
    return sheet([components, *_readings(cells, what, unit, theme)], screen)


def range_study_figure(
    readings: ArrayLike,
    parts: Sequence[Hashable],
    operators: Sequence[Hashable],
    study: RangeStudy,
    *,
    what: str,
    unit: str = "",
    screen: Screen | None = None,
) -> "go.Figure":
    """Return a study by ranges, which has no limits; arguments as of a crossed study."""
    screen = screen or Screen()
    theme = screen.colours
    names = ("repeatability", "reproducibility", "gauge", "part", "total")
    values = [float(getattr(study, name)) for name in names]
    rows = [float(row) for row in range(len(names) - 1, -1, -1)]
    said = [f"<b>{name}</b><br>{with_unit(in_figures(v), unit)}" for name, v in zip(names, values, strict=True)]
    marks = points(values, rows, theme.ink, "standard deviation", said, symbol="diamond", size=9)
    x = Axis(titled("standard deviation", unit), (0.0, 1.1 * max(values)))
    pane = Pane([marks], x, _rows(names, rows), height=40 + 24 * len(names))
    return sheet([pane, *_readings(layout(readings, parts, operators), what, unit, theme)], screen)


def generalised_limits_figure(
    found: GeneralisedLimits, study: CrossedStudy, *, unit: str = "", screen: Screen | None = None
) -> "go.Figure":
    """Return limits by drawing beside those by formula, and the shares of the variance, which have no formula.

    Args:
        found: limits by drawing.
        study: the study they were drawn from.
        unit: of the readings.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    by_formula = _components(study.components, study.confidence, unit, theme)
    rows = [float(row) for row in range(len(study.components) - 1, -1, -1)]
    end = (by_formula.x.span or (0.0, 1.0))[1]
    drawn = [
        interval(low**0.5, min(high**0.5, end), row - 0.25, theme.event, f"{100 * found.confidence:g} % by drawing")
        for row, (low, high) in zip(rows, (found.variances[each.name] for each in study.components), strict=True)
    ]
    x = replace(by_formula.x, title=f"{by_formula.x.title}; below each line, in the other colour, by drawing")
    sds = replace(by_formula, traces=[*by_formula.traces, *drawn], x=x)
    shares = [component for component in study.components if component.name in found.shares]
    places = [float(row) for row in range(len(shares) - 1, -1, -1)]
    bars = [
        interval(100 * low, 100 * high, row, theme.event, "share, by drawing")
        for row, (low, high) in zip(places, (found.shares[each.name] for each in shares), strict=True)
    ]
    said = [f"<b>{each.name}</b><br>{in_figures(100 * each.share)} % of the variance" for each in shares]
    marks = points([100 * each.share for each in shares], places, theme.ink, "share", said, symbol="diamond", size=9)
    words = [each.name for each in shares]
    of_variance = Axis(f"share of the variance, %, with {100 * found.confidence:g} % limits by drawing", (-2.0, 102.0))
    return sheet([sds, Pane([*bars, marks], of_variance, _rows(words, places), height=40 + 24 * len(shares))], screen)


def _rows(words: Sequence[str], rows: Sequence[float]) -> Axis:
    return Axis("", (-0.6, len(rows) - 0.4), at=tuple(rows), words=tuple(words), grid=False)


def _components(found: Sequence[VarianceComponent], confidence: float, unit: str, theme: Theme) -> Pane:
    """Return the pane of standard deviations, each with its limits; one far beyond the others ends in an arrow."""
    rows = [float(row) for row in range(len(found) - 1, -1, -1)]
    end = FARTHEST * max(component.sd for component in found)
    traces: list[Trace] = []
    for component, row in zip(found, rows, strict=True):
        low, high = float(np.sqrt(component.lower)), float(np.sqrt(component.upper))
        bar = interval(low, min(high, end), row, theme.control, f"{100 * confidence:g} % limits")
        bar["marker"]["symbol"] = ["line-ns-open", "line-ns-open" if high <= end else "arrow-right"]
        traces.append(bar)
    said = [
        f"<b>{each.name} {with_unit(in_figures(each.sd), unit)}</b><br>"
        f"{in_figures(float(np.sqrt(each.lower)))} to {in_figures(float(np.sqrt(each.upper)))}, "
        f"{100 * confidence:g} %<br>{in_figures(100 * each.share)} % of the variance<br>{each.method}"
        for each in found
    ]
    sds = [component.sd for component in found]
    traces.append(points(sds, rows, theme.ink, "standard deviation", said, symbol="diamond", size=9))
    title = titled(f"standard deviation with {100 * confidence:g} % confidence limits", unit)
    words = [f"{component.name} {in_figures(component.sd)}" for component in found]
    return Pane(traces, Axis(title, (0.0, 1.03 * end)), _rows(words, rows), height=40 + 24 * len(found))


def _readings(cells: Layout, what: str, unit: str, theme: Theme) -> list[Pane]:
    values = cells.mean + cells.deviations
    return [_by_part(cells, values, what, unit, theme), _by_operator(cells, values, what, unit, theme)]


def _by_part(cells: Layout, values: FloatArray, what: str, unit: str, theme: Theme) -> Pane:
    """Return the pane of all readings, part by part; a line an operator runs through the means of the cells."""
    order = np.argsort([values[cells.part == part].mean() for part in range(len(cells.parts))])
    place = np.empty(len(order))
    place[order] = np.arange(len(order))
    traces: list[Trace] = []
    names: list[Named] = []
    for operator, label in enumerate(cells.operators):
        colour, dash, mark = series(theme, operator)
        own = cells.operator == operator
        aside = WITHIN_PART * ((operator + 0.5) / len(cells.operators) - 0.5)
        read = [part for part in order.tolist() if (own & (cells.part == part)).any()]
        means = [float(values[own & (cells.part == part)].mean()) for part in read]
        at = [float(place[part]) + aside for part in read]
        traces.append(line(at, means, colour, f"mean of {label}", dash=dash, width=1.2))
        traces.append(_marks(cells, values, own, place[cells.part[own]] + aside, unit, colour, mark, label))
        if means:
            names.append(Named(means[-1], f"{GLYPHS[operator % 6]} {label}", colour))
    many = len(cells.parts)
    words = tuple(cells.parts[part] for part in order.tolist()) if many <= 15 else ("",) * many
    x = Axis(
        "part, from the lowest mean to the highest", (-0.6, many - 0.4), at=tuple(map(float, range(many))), words=words
    )
    return Pane(traces, x, Axis(titled(what, unit), with_room(values.tolist())), names, height=280)


def _by_operator(cells: Layout, values: FloatArray, what: str, unit: str, theme: Theme) -> Pane:
    """Return the pane of what each operator reads above or below the mean of the same part."""
    part_means = np.array([values[cells.part == part].mean() for part in range(len(cells.parts))])
    off = values - part_means[cells.part]
    traces: list[Trace] = []
    for operator, label in enumerate(cells.operators):
        colour, _, mark = series(theme, operator)
        own = cells.operator == operator
        at = operator + WITHIN_PART * (cells.part[own] / max(len(cells.parts) - 1, 1) - 0.5)
        traces.append(_marks(cells, off, own, at, unit, colour, mark, label))
        mean, half = float(off[own].mean()), WITHIN_PART / 2
        traces.append(line([operator - half, operator + half], [mean, mean], theme.ink, "mean", width=2.5))
    many = len(cells.operators)
    x = Axis("operator", (-0.6, many - 0.4), at=tuple(map(float, range(many))), words=cells.operators)
    y = Axis(titled("reading less mean of the part", unit), with_room([*off.tolist(), 0.0]))
    return Pane(traces, x, y, shapes=[level(0.0, theme.quiet, "no difference", width=1.0)], height=230)


def _marks(
    cells: Layout, y: FloatArray, own: "np.ndarray", at: FloatArray, unit: str, colour: str, mark: str, label: str
) -> Trace:
    said = [
        f"<b>{with_unit(short(float(value)), unit)}</b><br>part {cells.parts[part]}, operator {label}"
        for value, part in zip(y[own], cells.part[own], strict=True)
    ]
    return points(at.tolist(), y[own].tolist(), colour, label, said, symbol=mark, size=7)
