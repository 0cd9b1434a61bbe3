"""Fits to readings known only to lie in an interval: rounded and censored ones, and lives that have not ended."""

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import as_readings
from spc.coarse.censored import NormalFit, WeibullFit
from spc.figures.frame import Screen
from spc.figures.levels import Named
from spc.figures.sheet import Axis, Pane, Trace, interval, line, points, sheet, titled, upright, with_room
from spc.wording import in_figures, short, with_unit

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

CURVE = 200


def censored_figure(
    low: ArrayLike, high: ArrayLike, found: NormalFit, *, what: str, unit: str = "", screen: Screen | None = None
) -> "go.Figure":
    """Return the interval that each reading stands for, and the normal fitted to them all.

    Args:
        low: lower ends, shape (n,), -inf where nothing bounds the reading.
        high: upper ends.
        found: the fit.
        what: what the readings are of.
        unit: of the readings.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    a, b = (np.array(end, dtype=np.float64) for end in (low, high))
    order = np.lexsort((b, a))
    a, b = a[order], b[order]
    finite = np.concatenate([a[np.isfinite(a)], b[np.isfinite(b)]]).tolist()
    span = with_room([*finite, found.centre - 3 * found.sigma, found.centre + 3 * found.sigma])
    traces: list[Trace] = []
    exact = np.flatnonzero(a == b)
    for row in np.flatnonzero(a < b).tolist():
        bar = interval(max(float(a[row]), span[0]), min(float(b[row]), span[1]), row + 1, theme.ink, "reading")
        bar["marker"] |= {
            "symbol": [
                "arrow-left" if math.isinf(a[row]) else "line-ns-open",
                "arrow-right" if math.isinf(b[row]) else "line-ns-open",
            ],
            "size": 7,
        }
        bar["line"]["width"] = 1.0
        traces.append(bar)
    said = [f"<b>{with_unit(short(float(a[i])), unit)}</b>" for i in exact]
    traces.append(points(a[exact].tolist(), (exact + 1).tolist(), theme.ink, "exact reading", said, size=5))
    names = [Named(found.centre, f"level {short(found.centre)}", theme.control)]
    shapes = [upright(found.centre, theme.control, "level")]
    rows = Axis("readings", (0.0, len(a) + 1.0), grid=False)
    x = Axis(titled(what, unit), span)
    readings = Pane(traces, x, rows, above=names, shapes=shapes, height=90 + min(6 * len(a), 220))
    if found.sigma == 0:
        return sheet([readings], screen)
    at = np.linspace(*span, CURVE)
    density = np.exp(-0.5 * ((at - found.centre) / found.sigma) ** 2)
    ends = f"{in_figures(found.sigma_lower)} to {in_figures(found.sigma_upper)}"
    curve = Pane(
        [line(at.tolist(), density.tolist(), theme.control, "fitted normal", width=2.0)],
        x,
        Axis("", (0.0, 1.1), at=(0.0,), words=("",), grid=False),
        [Named(0.6, f"sigma {in_figures(found.sigma)}", theme.control), Named(0.4, ends, theme.control)],
        shapes=shapes,
        height=110,
    )
    return sheet([readings, curve], screen, one_x=True)


def weibull_figure(
    failed_at: ArrayLike,
    running_at: ArrayLike,
    found: WeibullFit,
    *,
    what: str,
    unit: str = "",
    screen: Screen | None = None,
) -> "go.Figure":
    """Return lives until failure, those that have not ended, and the share that the fit expects to have failed.

    Args:
        failed_at: ages at failure, shape (m,).
        running_at: ages of what still runs, shape (k,).
        found: the fit.
        what: what has the age: a lamp.
        unit: of the age.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    failed, running = as_readings(failed_at, at_least=0), as_readings(running_at, at_least=0)
    longest = float(max(failed.max(initial=0.0), running.max(initial=0.0), found.scale)) * 1.1
    at = np.linspace(0.0, longest, CURVE)
    share = 100 * -np.expm1(-((at / found.scale) ** found.shape))
    told = [
        [f"<b>{word} {with_unit(short(age), unit)}</b>" for age in ages.tolist()]
        for word, ages in (("failed at", failed), ("runs since", running))
    ]
    traces = [
        line(at.tolist(), share.tolist(), theme.control, "expected to have failed", width=2.0),
        points(failed.tolist(), [-8.0] * len(failed), theme.acceptance, "failed", told[0], symbol="x", size=9),
        points(
            running.tolist(), [-16.0] * len(running), theme.ink, "runs still", told[1], symbol="arrow-right", size=11
        ),
    ]
    names = [
        Named(float(share[-1]), f"shape {in_figures(found.shape)}", theme.control),
        Named(-8.0, "\N{MULTIPLICATION SIGN} failed", theme.acceptance),
        Named(-16.0, "\N{RIGHTWARDS ARROW} still runs", theme.ink),
    ]
    above = [Named(found.scale, f"63 % by {short(found.scale)}", theme.control)]
    pane = Pane(
        traces,
        Axis(titled(f"age of the {what.lower()}", unit), (0.0, longest)),
        Axis(
            "expected to have failed, %",
            (-22.0, 104.0),
            at=(0.0, 25.0, 50.0, 75.0, 100.0),
            words=("0", "25", "50", "75", "100"),
        ),
        names,
        above,
        [upright(found.scale, theme.control, "scale", width=1.2, dash="4px,3px")],
        height=300,
    )
    return sheet([pane], screen)
