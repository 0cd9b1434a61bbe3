"""The page and the time axis that every chart of one stretch of time has: one stream, or several under one another."""

from datetime import tzinfo
from typing import Any

from spc.figures.frame import Frame
from spc.figures.theme import template, time_formats
from spc.figures.window import Window
from spc.figures.words import axis_time
from spc.times import to_microseconds


def time_page(frame: Frame, window: Window, zone: tzinfo, *, height: int, right: int, anchor: str) -> dict[str, Any]:
    """Return the layout of an empty chart over `window`.

    Args:
        frame: sizes of the chart.
        window: the stretch in view.
        zone: zone of the times on the axis.
        height: of the whole picture, in pixels.
        right: its right margin, in pixels.
        anchor: the value axis that the time axis stands under, such as "y2".
    """
    return {
        "template": template(frame.screen.colours),
        "width": frame.screen.width,
        "height": height,
        "font": {"size": frame.font},
        "hoverlabel": {"font": {"size": frame.font}},
        "margin": {"l": frame.left, "r": right, "t": frame.top, "b": frame.bottom, "pad": 0},
        "xaxis": {
            "type": "date",
            "range": window_ends(window, zone),
            "anchor": anchor,
            "tickfont": {"size": frame.small},
            "tickformatstops": time_formats(),
            "nticks": max(3, frame.plot_width // frame.px(110)),
            "showspikes": True,
            "spikemode": "across",
            "spikesnap": "hovered data",
            "spikethickness": 1,
            "spikedash": "2px,3px",
            "spikecolor": frame.screen.colours.quiet,
        },
    }


def window_ends(window: Window, zone: tzinfo) -> list[str]:
    """Return both ends of a window as the time axis has them."""
    return [axis_time(to_microseconds(at), zone) for at in (window.first, window.last)]
