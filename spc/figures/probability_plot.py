"""Probability plot: on the straight line where the shape holds."""

from typing import TYPE_CHECKING

from spc.capability.probability_plot import ProbabilityPlot
from spc.figures.frame import Screen
from spc.figures.levels import Named
from spc.figures.sheet import Axis, Pane, band, line, points, sheet, titled, with_room
from spc.wording import in_figures, short, with_unit

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types


def probability_plot_figure(
    found: ProbabilityPlot, *, what: str, unit: str = "", screen: Screen | None = None
) -> "go.Figure":
    """Return ordered readings against where the shape expects them, with the limits of each single reading.

    Args:
        found: what to draw.
        what: what the readings are of.
        unit: of the readings.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    expected, readings = found.expected.tolist(), found.readings.tolist()
    ends = [expected[0], expected[-1]]
    said = [
        f"<b>{with_unit(short(reading), unit)}</b><br>expected {short(at)}<br>{in_figures(100 * share)} % below"
        for reading, at, share in zip(readings, expected, found.share.tolist(), strict=True)
    ]
    low, high = found.lower.tolist(), found.upper.tolist()
    traces = [
        band(expected, low, high, theme.shade, "limits of each reading"),
        *(line(expected, limit, theme.control, "limit", dash="7px,4px", width=1.0) for limit in (low, high)),
        line(ends, ends, theme.control, "as expected", width=1.2),
        points(expected, readings, theme.ink, "reading", said),
    ]
    names = [
        Named(high[-1], f"{100 * found.confidence:g} % limits", theme.control),
        Named(ends[1], "as expected", theme.control),
    ]
    x = Axis(titled(f"expected of a {found.family}", unit), with_room(ends))
    y = Axis(titled(what, unit), with_room([*readings, *low, *high]))
    return sheet([Pane(traces, x, y, names, height=380)], screen)
