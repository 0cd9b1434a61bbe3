"""When it started: readings with the fitted level or drift, the likeliest date, and the dates not ruled out."""

from collections.abc import Sequence
from itertools import groupby, pairwise
from typing import TYPE_CHECKING

from numpy.typing import ArrayLike

from spc.arrays import FloatArray, as_readings
from spc.changepoint import DriftOnset, LevelChanges, Onset, StepChange
from spc.figures.frame import Screen
from spc.figures.levels import Named
from spc.figures.sheet import Axis, Pane, Shape, Trace, box, line, points, sheet, titled, upright, with_room
from spc.figures.theme import Theme
from spc.wording import short, with_unit

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

FIRST = 1
"""Readings are numbered from here where no places are given."""


def step_change_figure(
    x: ArrayLike, found: StepChange, *, what: str, unit: str = "", screen: Screen | None = None
) -> "go.Figure":
    """Return readings with the level before and after a move, and when it may have come.

    Args:
        x: the readings that were dated, shape (n,).
        found: when the level moved.
        what: what the readings are of.
        unit: of the readings.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme, n, at = screen.colours, found.when.n, found.when.index
    fitted = [
        line([FIRST, FIRST + at - 0.5], [found.before] * 2, theme.control, "level before", width=2.5),
        line([FIRST + at - 0.5, FIRST + n - 1], [found.after] * 2, theme.control, "level after", width=2.5),
    ]
    names = [
        Named(found.before, f"before {short(found.before)}", theme.control),
        Named(found.after, f"after {short(found.after)}", theme.control),
    ]
    return _dated(x, found.when, fitted, names, "move", what, unit, screen)


def drift_onset_figure(
    x: ArrayLike, found: DriftOnset, *, what: str, unit: str = "", screen: Screen | None = None
) -> "go.Figure":
    """Return readings with the level and the drift from it, and when it may have begun; arguments as of a step."""
    screen = screen or Screen()
    theme, n, at = screen.colours, found.when.n, found.when.index
    end = found.before + found.slope * (n - at)
    fitted = [
        line([FIRST, FIRST + at - 1], [found.before] * 2, theme.control, "level before", width=2.5),
        line([FIRST + at - 1, FIRST + n - 1], [found.before, end], theme.control, "drift", width=2.5),
    ]
    names = [
        Named(found.before, f"before {short(found.before)}", theme.control),
        Named(end, f"{short(found.slope)} a reading", theme.control),
    ]
    return _dated(x, found.when, fitted, names, "begin", what, unit, screen)


def _dated(
    x: ArrayLike,
    when: Onset,
    fitted: Sequence[Trace],
    names: Sequence[Named],
    verb: str,
    what: str,
    unit: str,
    screen: Screen,
) -> "go.Figure":
    theme, readings = screen.colours, as_readings(x)
    span = with_room([*readings.tolist(), *(name.level for name in names)])
    likeliest = FIRST + when.index
    x_title = (
        f"reading; shaded: where it may {verb}, {100 * when.confidence:g} % sure; "
        f"upright line: the likeliest, reading {likeliest}"
    )
    shapes = [*_stretches(when.index_set, theme), upright(likeliest - 0.5, theme.event, "likeliest")]
    traces = [_readings(readings, theme, unit), *fitted]
    y = Axis(titled(what, unit), span)
    pane = Pane(traces, _along(when.n, x_title), y, names, shapes=shapes, height=340)
    return sheet([pane], screen)


def level_changes_figure(
    x: ArrayLike, found: LevelChanges, *, what: str, unit: str = "", screen: Screen | None = None
) -> "go.Figure":
    """Return a long history with every level it has had; arguments as of a step."""
    screen = screen or Screen()
    theme, readings = screen.colours, as_readings(x)
    ends = [0, *found.indices, found.n]
    fitted = [
        line([FIRST + a - 0.5, FIRST + b - 0.5], [level, level], theme.control, "level", width=2.5)
        for (a, b), level in zip(pairwise(ends), found.levels, strict=True)
    ]
    names = [Named(found.levels[-1], f"now {short(found.levels[-1])}", theme.control)]
    if len(found.levels) > 1:
        names.append(Named(found.levels[0], f"first {short(found.levels[0])}", theme.control))
    shapes = [upright(FIRST + index - 0.5, theme.event, "move") for index in found.indices]
    many = len(found.indices)
    axis = _along(found.n, f"reading; upright lines: {many} move{'s' * (many != 1)} of the level")
    y = Axis(titled(what, unit), with_room([*readings.tolist(), *found.levels]))
    pane = Pane([_readings(readings, theme, unit), *fitted], axis, y, names, shapes=shapes, height=340)
    return sheet([pane], screen)


def _along(n: int, title: str) -> Axis:
    return Axis(title, (FIRST - 1.0, float(n) + FIRST))


def _readings(readings: FloatArray, theme: Theme, unit: str) -> Trace:
    numbers = list(range(FIRST, FIRST + len(readings)))
    said = [
        f"<b>{with_unit(short(v), unit)}</b><br>reading {i}" for i, v in zip(numbers, readings.tolist(), strict=True)
    ]
    drawn = points(numbers, readings.tolist(), theme.ink, "reading", said, size=5)
    return {**drawn, "mode": "lines+markers", "line": {"color": theme.ink, "width": 0.8}}


def _stretches(indices: Sequence[int], theme: Theme) -> list[Shape]:
    """Return a shade over each run of dates that belong to the set, each date being between two readings."""
    runs = groupby(enumerate(sorted(indices)), key=lambda item: item[1] - item[0])
    spans = [[index for _, index in run] for _, run in runs]
    return [
        box(FIRST + s[0] - 1, FIRST + s[-1], 0, 1, theme.shade, "may have come here", yref="y domain") for s in spans
    ]
