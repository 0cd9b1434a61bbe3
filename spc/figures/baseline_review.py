"""Review of a baseline: which readings are in question and why, and the limits with and without them."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import as_readings
from spc.baseline import BaselineReview, Reason
from spc.charts.individuals import IndividualsLimits
from spc.figures.control_chart import drawable
from spc.figures.frame import Screen
from spc.figures.levels import CENTRE, CONTROL, Named
from spc.figures.sheet import Axis, Pane, Trace, line, points, sheet, titled, with_room
from spc.figures.theme import Theme
from spc.wording import short, with_unit

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

LOOKS: dict[Reason, tuple[str, str, str]] = {
    "wild": ("diamond-open", "\N{WHITE DIAMOND}", "far from its neighbours"),
    "copied": ("square-open", "\N{WHITE SQUARE}", "one number again and again"),
    "other_level": ("triangle-up-open", "\N{WHITE UP-POINTING TRIANGLE}", "another level"),
}
"""Mark of each reason, the same in words, and what it says."""


def baseline_review_figure(
    readings: ArrayLike, found: BaselineReview, *, what: str, unit: str = "", screen: Screen | None = None
) -> "go.Figure":
    """Return a baseline with the readings in question marked; nothing has been left out.

    Args:
        readings: of the baseline, shape (n,), NaN for one not taken.
        found: its review.
        what: what the readings are of.
        unit: of the readings.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    x = as_readings(readings, missing=True)
    numbers = np.arange(1, len(x) + 1)
    ends = [0.5, len(x) + 0.5]
    said = [f"<b>{with_unit(short(v), unit)}</b><br>reading {i}" for i, v in zip(numbers, x.tolist(), strict=True)]
    drawn = points(numbers.tolist(), drawable(x), theme.ink, "reading", said)
    traces: list[Trace] = [{**drawn, "mode": "lines+markers", "line": {"color": theme.ink, "width": 1.0}}]
    names: list[Named] = []
    levels = x[~np.isnan(x)].tolist()
    for limits, colour, words in _both(found, theme):
        for name, value in (("lower", limits.lower), ("centre line", limits.centre_line), ("upper", limits.upper)):
            style = (
                CENTRE if name == "centre line" else CONTROL if words == "with all" else {**CONTROL, "dash": "2px,4px"}
            )
            traces.append(line(ends, [value, value], colour, f"{name}, {words}", **style))
            levels.append(value)
        names += [
            Named(limits.upper, f"UCL {words} {short(limits.upper)}", colour),
            Named(limits.lower, f"LCL {words} {short(limits.lower)}", colour),
        ]
    reasons = dict.fromkeys(proposal.reason for proposal in found.proposals)
    for reason in reasons:
        at = [i for proposal in found.proposals if proposal.reason == reason for i in proposal.indices]
        told = [p.sentence for p in found.proposals if p.reason == reason for _ in p.indices]
        mark = {"line": {"color": theme.acceptance, "width": 2.2}}
        marks = (numbers[at] if at else numbers[:0]).tolist()
        symbol = LOOKS[reason][0]
        traces.append(
            points(marks, x[at].tolist(), theme.acceptance, LOOKS[reason][2], told, symbol=symbol, size=14, marker=mark)
        )
    asked = "; ".join(f"{LOOKS[reason][1]} {LOOKS[reason][2]}" for reason in reasons)
    title = f"reading; in question: {asked}" if asked else "reading; none is in question"
    y = Axis(titled(what, unit), with_room(levels))
    return sheet([Pane(traces, Axis(title, (0.5, len(x) + 0.5)), y, names, height=340)], screen)


def _both(found: BaselineReview, theme: Theme) -> Iterator[tuple[IndividualsLimits, str, str]]:
    """Yield the limits with every reading, and those without the readings in question."""
    yield found.limits, theme.control, "with all"
    if found.proposals and found.limits_if_followed is not None:
        yield found.limits_if_followed, theme.event, "without"
