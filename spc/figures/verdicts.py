"""The chart of a judged check: every verdict in its row, the acceptable words above the others."""

from datetime import tzinfo
from typing import Any

import numpy as np

from spc.charted import was_running
from spc.figures.frame import Frame
from spc.figures.window import Window
from spc.figures.words import axis_times, touched_words
from spc.results import StreamResult


def verdict_traces(
    result: StreamResult, frame: Frame, window: Window, zone: tzinfo, focus_row: int | None
) -> list[dict[str, Any]]:
    """Return the acceptable verdicts as upright strokes and the others as crossed squares."""
    theme, readings = frame.screen.colours, result.readings
    failed = np.isin(np.arange(len(readings)), [failure.index for failure in result.failures])
    judged = was_running(readings) & (readings.word != "")
    near = window.widened().places(result)
    judged[: near.start] = judged[near.stop :] = False
    rows = {word: row for row, word in enumerate(words(result))}
    groups: list[tuple[str, Any, dict[str, Any]]] = [
        ("acceptable", judged & ~failed, {"symbol": "line-ns", "size": 14, "line": {"color": theme.ink, "width": 1.6}}),
        (
            "not acceptable",
            judged & failed,
            {"symbol": "square-x", "size": 13, "color": theme.acceptance, "line": {"color": theme.paper, "width": 1.5}},
        ),
        (
            "looked at",
            judged & (readings.row == (focus_row or -1)),
            {"symbol": "circle-open", "size": 26, "color": theme.ink, "line": {"width": 2}},
        ),
    ]
    return [
        {
            "type": "scatter",
            "mode": "markers",
            "name": name,
            "uid": name.replace(" ", "-"),
            "x": axis_times(readings.taken_at[places], zone),
            "y": [rows[str(readings.word[i])] for i in places],
            "yaxis": "y",
            "hovertext": touched_words(result, places, zone),
            "hoverinfo": "text",
            "marker": {**marker, "size": frame.px(marker["size"])},
        }
        for name, which, marker in groups
        for places in [np.flatnonzero(which)]
        if len(places)
    ]


def words(result: StreamResult) -> tuple[str, ...]:
    """Return the words of the check from the worst to the best, after any others that were written down."""
    acceptance = result.check.acceptance
    known = (*reversed(acceptance.bad), *reversed(acceptance.good))
    written = dict.fromkeys(str(word) for word in result.readings.word[was_running(result.readings)] if word)
    others = tuple(word for word in written if word not in known)
    return (*others, *(word for word in known if word in written))


def verdict_height(result: StreamResult) -> int:
    """Return the height of the pane in pixels at normal letter size."""
    return 30 + 32 * max(1, len(words(result)))


def verdict_layout(result: StreamResult, frame: Frame) -> dict[str, Any]:
    """Return the axis of the words."""
    rows = words(result)
    tick = {"size": frame.small}
    return {
        "yaxis": {
            "domain": frame.main_domain,
            "range": [-0.7, len(rows) - 0.3],
            "fixedrange": True,
            "tickmode": "array",
            "tickvals": list(range(len(rows))),
            "ticktext": list(rows),
            "tickfont": tick,
        }
    }
