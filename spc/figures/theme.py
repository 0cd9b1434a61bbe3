"""The look of a chart: two sets of colours, one for a darkened booth and one for daylight, and their plotly template.

The dark set is kept dim and warm on purpose: a wall screen beside the bench must not lift the booth's ambient light.
Each pair of colours that has to be told apart also differs in lightness, and nothing is told by colour alone.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from spc.formats import formats_now

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

FONT = "'Segoe UI', 'Noto Sans', 'Liberation Sans', 'Helvetica Neue', Arial, sans-serif"
FONT_SIZE = 13
SMALL = 12


@dataclass(frozen=True, slots=True)
class Theme:
    """Colours of one look, by what they are for."""

    name: str
    paper: str  # behind the plot
    ink: str  # readings, words
    quiet: str  # axes, notes
    rule: str  # grid, frames
    control: str  # control limits and centre line
    acceptance: str  # acceptance limits and what lies outside them
    signal: str  # signalled readings
    signal_edge: str  # around them
    event: str  # something done to the line
    shade: str  # behind the baseline
    idle: str  # behind times not in operation
    outside: str  # behind what lies outside the acceptance limits


DARK = Theme(
    name="dark",
    paper="#191815",
    ink="#d3ccbb",
    quiet="#9d9584",
    rule="#33302a",
    control="#63aca3",
    acceptance="#f0765a",
    signal="#edb54a",
    signal_edge="#191815",
    event="#a9bf63",
    shade="rgba(99, 172, 163, 0.11)",
    idle="rgba(157, 149, 132, 0.13)",
    outside="rgba(240, 118, 90, 0.07)",
)
LIGHT = Theme(
    name="light",
    paper="#fbf9f3",
    ink="#26241e",
    quiet="#696354",
    rule="#dfd9ca",
    control="#1d6f69",
    acceptance="#b0341a",
    signal="#e3a021",
    signal_edge="#5f3b00",
    event="#566a14",
    shade="rgba(29, 111, 105, 0.09)",
    idle="rgba(105, 99, 84, 0.12)",
    outside="rgba(176, 52, 26, 0.06)",
)
THEMES: Mapping[str, Theme] = MappingProxyType({theme.name: theme for theme in (DARK, LIGHT)})

_TIME_FORMATS: list[dict[str, Any]] = [
    {"dtickrange": [None, 60_000], "value": "%H:%M:%S\n%-d %b %Y"},
    {"dtickrange": [60_000, 86_400_000], "value": "%H:%M\n%a %-d %b %Y"},
    {"dtickrange": [86_400_000, "M1"], "value": "%-d %b\n%Y"},
    {"dtickrange": ["M1", "M12"], "value": "%b\n%Y"},
    {"dtickrange": ["M12", None], "value": "%Y"},
]
"""Day before month in words, so that no date can be read two ways."""


def time_formats() -> list[dict[str, Any]]:
    """Return how times are written along an axis, in the hours of the site's clock."""
    if formats_now().clock == "24 h":
        return _TIME_FORMATS
    return [
        {**each, "value": str(each["value"]).replace("%H:%M:%S", "%-I:%M:%S %p").replace("%H:%M", "%-I:%M %p")}
        for each in _TIME_FORMATS
    ]


def template(theme: Theme) -> "go.layout.Template":
    """Return the plotly template of `theme`, with decimals as the site writes them; plotly copies it."""
    return _template(theme, formats_now().decimal)


@lru_cache(maxsize=8)
def _template(theme: Theme, decimal: str) -> "go.layout.Template":
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

    axis = {
        "gridcolor": theme.rule,
        "linecolor": theme.rule,
        "tickcolor": theme.rule,
        "tickfont": {"color": theme.quiet, "size": SMALL},
        "title": {"font": {"color": theme.quiet, "size": SMALL}, "standoff": 8},
        "zeroline": False,
    }
    return go.layout.Template(
        layout={
            "font": {"family": FONT, "size": FONT_SIZE, "color": theme.ink},
            "paper_bgcolor": "rgba(0,0,0,0)",
            "plot_bgcolor": "rgba(0,0,0,0)",
            "xaxis": {**axis, "showgrid": False, "ticks": "outside", "ticklen": 5},
            "yaxis": {**axis, "showgrid": True, "ticks": "", "automargin": False},
            "showlegend": False,
            **({"separators": ",\N{NARROW NO-BREAK SPACE}"} if decimal == "comma" else {}),
            "hovermode": "closest",
            "hoverdistance": 24,
            "hoverlabel": {
                "bgcolor": theme.paper,
                "bordercolor": theme.quiet,
                "font": {"family": FONT, "size": FONT_SIZE, "color": theme.ink},
                "align": "left",
            },
            "dragmode": "zoom",
            "newselection": {"line": {"color": theme.event}},
        }
    )
