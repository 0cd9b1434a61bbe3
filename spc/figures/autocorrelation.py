"""Autocorrelation: how far readings follow the ones before them, against what independent readings give."""

from typing import TYPE_CHECKING

from spc.autocorrelation import LagCorrelations
from spc.figures.frame import Screen
from spc.figures.levels import Named
from spc.figures.sheet import Axis, Pane, band, level, line, points, sheet, with_room
from spc.wording import in_figures

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types


def autocorrelation_figure(found: LagCorrelations, *, screen: Screen | None = None) -> "go.Figure":
    """Return the correlation with the reading 1, 2, ... before; the band holds 95 in 100 of independent readings.

    Args:
        found: the correlations.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    lags, bound = found.lag.tolist(), found.bound.tolist()
    values = found.correlation.tolist()
    said = [f"<b>{in_figures(value, 2)}</b><br>{lag:g} before" for lag, value in zip(lags, values, strict=True)]
    stems = [line([lag, lag], [0.0, value], theme.ink, "", width=2.0) for lag, value in zip(lags, values, strict=True)]
    low = [-each for each in bound]
    traces = [
        band(lags, low, bound, theme.shade, "independent readings"),
        line(lags, bound, theme.control, "bound", dash="7px,4px", width=1.0),
        line(lags, low, theme.control, "bound", dash="7px,4px", width=1.0),
        *stems,
        points(lags, values, theme.ink, "correlation", said, size=8),
    ]
    names = [Named(bound[-1], "if independent", theme.control)]
    x = Axis("readings before", (lags[0] - 0.6, lags[-1] + 0.6), at=tuple(lags) if len(lags) <= 25 else ())
    y = Axis("correlation", with_room([*values, *bound, *low]))
    pane = Pane(traces, x, y, names, shapes=[level(0.0, theme.quiet, "none", width=1.0)], height=260)
    return sheet([pane], screen)
