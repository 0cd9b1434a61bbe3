"""Readings parted by what they share: a strip of readings a group, its median and the middle half of it."""

from typing import TYPE_CHECKING

import numpy as np

from spc.catalogue.check import Check
from spc.figures.frame import Screen
from spc.figures.sheet import Axis, Pane, Trace, box, line, points, sheet, titled, with_room
from spc.splits import Split
from spc.wording import level_text

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

MOST = 400
"""Readings of a group that are drawn: the extremes, and an even share of the rest."""

ROW = 52
"""Height of a group in pixels at normal letter size."""

SPREAD = 0.24
"""How far the readings of a group stand from its middle, so that equal ones do not hide one another."""


def split_figure(split: Split, check: Check, *, screen: Screen | None = None) -> "go.Figure":
    """Return the groups of a split, one strip each.

    Args:
        split: the groups.
        check: what was measured.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    places = [float(len(split.groups) - 1 - i) for i in range(len(split.groups))]
    traces: list[Trace] = []
    shapes = []
    for place, group in zip(places, split.groups, strict=True):
        order = np.argsort(group.x, kind="stable")
        if len(order) > MOST:
            order = order[np.unique(np.linspace(0, len(order) - 1, MOST).astype(np.int64))]
        off = SPREAD * (((np.arange(len(order)) * 0.618034) % 1.0) * 2 - 1)  # the golden section fills evenly
        x = group.x[order]
        said = [f"{group.name}<br><b>{level_text(float(value), check)}</b>" for value in x]
        marks = points(x.tolist(), (place + off).tolist(), theme.ink, group.name, said, size=4)
        traces.append({**marks, "opacity": 0.6})
        shapes.append(
            box(group.low, group.high, place - 0.34, place + 0.34, theme.shade, f"middle half of {group.name}")
        )
        ends = [place - 0.4, place + 0.4]
        traces.append(line([group.median, group.median], ends, theme.control, f"median of {group.name}", width=3))
    words = tuple(f"{group.name}, n {group.n}" for group in split.groups)
    levels = [float(end) for group in split.groups for end in (group.x.min(), group.x.max())]
    x_axis = Axis(
        titled(check.title if check.charted == "value" else "Deviation from reference", check.chart_unit),
        with_room(levels),
    )
    y_axis = Axis("", (-0.6, len(places) - 0.4), at=tuple(places), words=words, grid=False)
    return sheet([Pane(traces, x_axis, y_axis, shapes=shapes, height=max(110, ROW * len(places)))], screen)
