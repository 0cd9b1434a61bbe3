"""What people wrote beside a chart, as marks at its foot."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from html import escape
from textwrap import wrap
from typing import Any

from spc.figures.frame import Frame
from spc.figures.words import LINE_LENGTH, axis_time
from spc.times import to_microseconds
from spc.wording import time_text

Trace = dict[str, Any]


@dataclass(frozen=True, slots=True)
class NoteMark:
    """A note at a moment."""

    at: datetime
    words: str
    by: str


def note_traces(notes: Sequence[NoteMark], frame: Frame, zone: tzinfo) -> list[Trace]:
    """Return a leaf at the top of the pane for every note, with its words on touch."""
    if not notes:
        return []
    theme = frame.screen.colours
    return [
        {
            "type": "scatter",
            "mode": "markers",
            "name": "note",
            "uid": "notes",
            "x": [axis_time(to_microseconds(note.at), zone) for note in notes],
            "y": [0.0 for _ in notes],
            "yaxis": "y3",
            "cliponaxis": False,
            "marker": {
                "symbol": "bowtie",
                "size": frame.px(13),
                "color": theme.ink,
                "line": {"color": theme.paper, "width": 1},
            },
            "hovertext": ["<br>".join(_said(note, zone)) for note in notes],
            "hoverinfo": "text",
        }
    ]


def _said(note: NoteMark, zone: tzinfo) -> list[str]:
    lines = [escape(line) for line in wrap(note.words, LINE_LENGTH)]
    by = f"{escape(note.by)}, " if note.by else ""
    return ["<b>note</b>", *lines, f"{by}{time_text(note.at, zone)}"]
