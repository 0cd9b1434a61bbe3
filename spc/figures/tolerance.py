"""Tolerance intervals: readings, the intervals that hold a stated share of all, and the acceptance limits."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from numpy.typing import ArrayLike

from spc.arrays import as_readings
from spc.capability.indices import Specification
from spc.capability.tolerance import ToleranceInterval
from spc.figures.capability import limit_names, limit_shapes
from spc.figures.frame import Screen
from spc.figures.sheet import Axis, Pane, Trace, interval, points, sheet, titled, with_room
from spc.figures.theme import Theme
from spc.wording import short, with_unit

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types


def tolerance_figure(
    readings: ArrayLike,
    found: Sequence[ToleranceInterval],
    *,
    what: str,
    unit: str = "",
    specification: Specification | None = None,
    screen: Screen | None = None,
) -> "go.Figure":
    """Return tolerance intervals, one or several, below the readings they come from.

    Args:
        readings: shape (n,).
        found: intervals of these readings.
        what: what the readings are of.
        unit: of the readings.
        specification: acceptance limits, where there are any.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    x = as_readings(readings).tolist()
    ends = [end for each in found for end in (each.lower, each.upper) if end is not None]
    limits = [] if specification is None else [v for v in (specification.lower, specification.upper) if v is not None]
    span = with_room([*x, *ends, *limits])
    rows = [float(row) for row in range(len(found) - 1, -1, -1)]
    traces: list[Trace] = [_strip(x, float(len(found)), unit, theme)]
    for each, row in zip(found, rows, strict=True):
        traces += _interval(each, row, span, unit, theme)
    words = tuple(f"{each.method}<br>{100 * each.coverage:g} %, {100 * each.confidence:g} % sure" for each in found)
    axis = Axis(
        "", (-0.6, len(found) + 0.6), at=(float(len(found)), *rows), words=(f"{len(x)} readings", *words), grid=False
    )
    pane = Pane(
        traces,
        Axis(titled(what, unit), span),
        axis,
        above=[] if specification is None else limit_names(specification, theme),
        shapes=[] if specification is None else limit_shapes(specification, span, theme),
        height=70 + 44 * len(found),
    )
    return sheet([pane], screen)


def _strip(x: list[float], row: float, unit: str, theme: Theme) -> Trace:
    said = [f"<b>{with_unit(short(value), unit)}</b>" for value in x]
    strokes = {"opacity": 0.7, "line": {"width": 1.4, "color": theme.ink}}
    return points(x, [row] * len(x), theme.ink, "reading", said, symbol="line-ns-open", size=16, marker=strokes)


def _interval(each: ToleranceInterval, row: float, span: tuple[float, float], unit: str, theme: Theme) -> list[Trace]:
    """Return an interval, with an arrow where it has no end."""
    low, high = (span[i] if end is None else end for i, end in enumerate((each.lower, each.upper)))
    bar = interval(low, high, row, theme.control, each.method)
    bar["marker"]["symbol"] = [
        "line-ns-open" if each.lower is not None else "arrow-left",
        "line-ns-open" if each.upper is not None else "arrow-right",
    ]
    told = [
        f"<b>{with_unit(short(end), unit)}</b>" if end is not None else "no end" for end in (each.lower, each.upper)
    ]
    words = {"hovertext": told, "hoverinfo": "text"}
    return [{**bar, **words}]
