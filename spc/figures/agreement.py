"""Agreement of judged checks: kappa with its limits, word by word; what a judge missed and called bad for nothing."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from spc.figures.frame import Screen
from spc.figures.sheet import Axis, Pane, interval, points, sheet, upright, with_room
from spc.measurement.agreement import Kappa, MissedAndFalse
from spc.wording import in_figures

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

CHANCE, FULL = 0.0, 1.0


def kappa_figure(found: Kappa, *, screen: Screen | None = None) -> "go.Figure":
    """Return kappa with its limits, over the kappa of each word; a word that has none is left out.

    Args:
        found: the agreement.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    words = [(each.category, each.value) for each in found.by_category if each.value is not None]
    named = [("all words", found.value), *words] if found.value is not None else words
    rows = [float(row) for row in range(len(named) - 1, -1, -1)]
    values = [float(value or 0.0) for _, value in named]
    said = [f"<b>{word}</b><br>kappa {in_figures(value)}" for (word, _), value in zip(named, values, strict=True)]
    traces = [points(values, rows, theme.ink, "kappa", said, symbol="diamond", size=9)]
    ends = [CHANCE, FULL, *values]
    if found.lower is not None and found.upper is not None:
        traces.insert(0, interval(found.lower, found.upper, rows[0], theme.control, "confidence limits"))
        ends += [found.lower, found.upper]
    x = Axis(
        f"kappa, with {100 * found.confidence:g} % confidence limits: 0 is chance, 1 is full agreement", with_room(ends)
    )
    y = _rows([f"{word} {in_figures(value, 2)}" for (word, _), value in zip(named, values, strict=True)], rows)
    marks = [
        upright(at, theme.quiet, name, width=1.2, dash="2px,3px") for at, name in ((CHANCE, "chance"), (FULL, "full"))
    ]
    return sheet([Pane(traces, x, y, shapes=marks, height=50 + 24 * len(named))], screen)


def missed_and_false_figure(
    judges: Sequence[tuple[str, MissedAndFalse]], *, screen: Screen | None = None
) -> "go.Figure":
    """Return what each judge missed and called bad for nothing, in percent with exact limits.

    Args:
        judges: name of each, and how they did against the known references.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    rates = [
        (f"{judge},<br>{words}", rate)
        for judge, found in judges
        for words, rate in (
            ("bad called good", found.missed),
            ("good called bad", found.false_alarms),
            ("agreed", found.agreed),
        )
        if rate is not None
    ]
    rows = [float(row) for row in range(len(rates) - 1, -1, -1)]
    bars = [
        interval(100 * rate.lower, 100 * rate.upper, row, theme.control, "exact limits")
        for (_, rate), row in zip(rates, rows, strict=True)
    ]
    said = [f"<b>{rate.count} of {rate.of}</b><br>{name}" for name, rate in rates]
    marks = points([100 * rate.share for _, rate in rates], rows, theme.ink, "share", said, symbol="diamond", size=9)
    x = Axis(f"share, %, with {100 * judges[0][1].confidence:g} % limits", (-2.0, 102.0))
    return sheet(
        [Pane([*bars, marks], x, _rows([name for name, _ in rates], rows), height=50 + 36 * len(rates))], screen
    )


def _rows(words: Sequence[str], rows: Sequence[float]) -> Axis:
    return Axis("", (-0.6, len(rows) - 0.4), at=tuple(rows), words=tuple(words), grid=False)
