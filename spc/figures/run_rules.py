"""Run rules on a stream: readings in sigmas over the zones the rules look at, and which rule signalled where."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import as_readings
from spc.figures.control_chart import drawable
from spc.figures.frame import Screen
from spc.figures.levels import Named
from spc.figures.sheet import Axis, Pane, line, points, sheet, signalled, with_room
from spc.rules import Hits, RuleSetting, describe
from spc.wording import short

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

ZONES = (1.0, 2.0, 3.0)


def run_rules_figure(
    z: ArrayLike, hits: Hits, settings: Sequence[RuleSetting], *, screen: Screen | None = None
) -> "go.Figure":
    """Return a stream in sigmas with every signal, and below it a row a rule, marked where it signalled.

    Args:
        z: distances from the centre line in sigmas, shape (n,); NaN for a reading not taken.
        hits: the signals of `run_rules` on them.
        settings: the rules that were switched on.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    readings = as_readings(z, at_least=0, missing=True)
    numbers = list(range(1, len(readings) + 1))
    span = (0.5, len(readings) + 0.5)
    said = [f"<b>{short(value)} sigma</b><br>reading {i}" for i, value in zip(numbers, readings.tolist(), strict=True)]
    drawn = points(numbers, drawable(readings), theme.ink, "reading", said)
    zones = [
        line(
            span, [side * zone] * 2, theme.control, f"{side * zone:g} sigma", width=1.5 if zone == 3 else 0.9, dash=dash
        )
        for zone, dash in zip(ZONES, ("2px,4px", "4px,4px", "7px,4px"), strict=True)
        for side in (-1, 1)
    ]
    at = np.unique(hits.index)
    told = [
        f"<b>{short(float(readings[i]))} sigma</b><br>reading {i + 1}<br>"
        + "<br>".join(describe(settings[rule], side) for rule, side in _fired(hits, int(i)))
        for i in at.tolist()
    ]
    marks = signalled((at + 1).tolist(), readings[at].tolist(), theme, told)
    main = Pane(
        [
            *zones,
            line(span, [0.0, 0.0], theme.control, "centre line", width=1.2),
            {**drawn, "mode": "lines+markers", "line": {"color": theme.ink, "width": 1.0}},
            marks,
        ],
        Axis(""),
        Axis("sigmas from the centre line", with_room([*readings.tolist(), -3.0, 3.0])),
        [Named(zone, f"{short(zone)} sigma", theme.control) for zone in (3.0, 2.0, 1.0, -1.0, -2.0, -3.0)],
        height=300,
    )
    return sheet([main, _rows(hits, settings, span, screen)], screen, one_x=True)


def _fired(hits: Hits, reading: int) -> list[tuple[int, int]]:
    which = np.flatnonzero(hits.index == reading)
    return [(int(hits.rule[i]), int(hits.side[i])) for i in which]


def _rows(hits: Hits, settings: Sequence[RuleSetting], span: tuple[float, float], screen: Screen) -> Pane:
    """Return the pane with a row a rule."""
    theme = screen.colours
    rows = np.arange(len(settings) - 1, -1, -1)
    said = [describe(settings[rule], side) for rule, side in zip(hits.rule.tolist(), hits.side.tolist(), strict=True)]
    marks = signalled((hits.index + 1).tolist(), rows[hits.rule].tolist(), theme, said, name="rule signalled")
    marks["marker"]["symbol"] = [("triangle-down", "diamond", "triangle-up")[side + 1] for side in hits.side.tolist()]
    words = tuple(setting.key.replace("_", " ") for setting in settings)
    y = Axis("", (-0.7, len(settings) - 0.3), at=tuple(map(float, rows.tolist())), words=words, grid=True)
    return Pane([marks], Axis("reading", span), y, height=24 + 22 * len(settings))
