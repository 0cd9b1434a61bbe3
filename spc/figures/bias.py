"""Bias and linearity: readings against their reference, and how the difference changes over the range."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import as_readings
from spc.figures.frame import Screen
from spc.figures.levels import Named
from spc.figures.sheet import Axis, Pane, band, interval, level, line, points, sheet, titled, upright, with_room
from spc.measurement.bias import Bias, Linearity
from spc.wording import in_figures, short, with_unit

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

CURVE = 60


def bias_figure(
    readings: ArrayLike, found: Bias, *, what: str, unit: str = "", screen: Screen | None = None
) -> "go.Figure":
    """Return repeated readings of one reference, and the limits of their mean.

    Args:
        readings: shape (n,).
        found: their bias.
        what: what the readings are of.
        unit: of the readings.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    x = as_readings(readings).tolist()
    rows = _stacked(x)
    top = max(rows) + 1.0
    mean = found.reference + found.bias
    ends = [found.reference + found.lower, found.reference + found.upper]
    said = [f"<b>{with_unit(short(value), unit)}</b>" for value in x]
    told = f"<b>bias {with_unit(in_figures(found.bias), unit)}</b><br>{found.method}"
    traces = [
        points(x, rows, theme.ink, "reading", said, size=8),
        interval(ends[0], ends[1], -1.2, theme.control, f"{100 * found.confidence:g} % limits"),
        points([mean], [-1.2], theme.control, "mean", [told], symbol="diamond", size=10),
    ]
    span = with_room([*x, *ends, found.reference])
    axis = Axis(
        "", (-2.2, top), at=(-1.2, 0.0), words=(f"mean,<br>{100 * found.confidence:g} % limits", "readings"), grid=False
    )
    pane = Pane(
        traces,
        Axis(titled(what, unit), span),
        axis,
        above=[Named(found.reference, f"reference {short(found.reference)}", theme.event)],
        shapes=[{**upright(found.reference, theme.event, "reference", width=2.0), "layer": "below"}],
        height=110 + 16 * int(top),
    )
    return sheet([pane], screen)


def _stacked(x: list[float]) -> list[float]:
    """Return a height for each reading: equal ones stand on each other."""
    seen: dict[float, int] = {}
    rows = []
    for value in x:
        rows.append(float(seen.get(value, 0)))
        seen[value] = seen.get(value, 0) + 1
    return rows


def linearity_figure(
    readings: ArrayLike,
    references: ArrayLike,
    found: Linearity,
    *,
    what: str,
    unit: str = "",
    screen: Screen | None = None,
) -> "go.Figure":
    """Return the bias over the range of references: each reading's, their means, and the line with its limits.

    Args:
        readings: shape (n,).
        references: the reference of each, shape (n,).
        found: how the bias changes.
        what: what the readings are of.
        unit: of the readings.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    x = as_readings(references)
    off = as_readings(readings) - x
    ends = float(x.min()), float(x.max())
    at = np.linspace(*ends, CURVE)
    low, high = found.band(at)
    fitted = found.intercept + found.slope * at
    said = [
        f"<b>{with_unit(short(value), unit)}</b><br>reference {short(reference)}"
        for value, reference in zip(off.tolist(), x.tolist(), strict=True)
    ]
    means = [f"<b>mean {with_unit(short(value), unit)}</b>" for value in found.mean_biases.tolist()]
    traces = [
        band(at.tolist(), low.tolist(), high.tolist(), theme.shade, "limits of the line"),
        *(line(at.tolist(), end.tolist(), theme.control, "limit", dash="7px,4px", width=1.0) for end in (low, high)),
        line(at.tolist(), fitted.tolist(), theme.control, "line", width=2.0),
        points(x.tolist(), off.tolist(), theme.ink, "reading", said, size=5, symbol="circle-open"),
        points(
            found.references.tolist(), found.mean_biases.tolist(), theme.ink, "mean", means, symbol="diamond", size=9
        ),
    ]
    names = [
        Named(float(fitted[-1]), f"{short(found.slope)} a unit", theme.control),
        Named(float(high[-1]), f"{100 * found.confidence:g} % limits", theme.control),
        Named(0.0, "no bias", theme.quiet),
    ]
    pane = Pane(
        traces,
        Axis(titled("reference", unit), with_room(ends)),
        Axis(titled(f"{what} less reference", unit), with_room([*off.tolist(), *low.tolist(), *high.tolist(), 0.0])),
        names,
        shapes=[level(0.0, theme.quiet, "no bias", width=1.0)],
        height=340,
    )
    return sheet([pane], screen)
