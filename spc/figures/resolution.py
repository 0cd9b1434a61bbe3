"""What coarse steps do: sigma as read over sigma as it is, from fine steps to steps wider than the scatter."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from spc.coarse.resolution import RoundingEffect
from spc.coarse.rounding import COARSEST
from spc.figures.frame import Screen
from spc.figures.levels import Named
from spc.figures.sheet import Axis, Pane, band, line, sheet, upright, with_room

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types


def rounding_figure(found: Sequence[RoundingEffect], *, screen: Screen | None = None) -> "go.Figure":
    """Return what rounding does to both sigmas; the bands run over all places of the level between two steps.

    Args:
        found: for several steps.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    found = sorted(found, key=lambda each: each.step_over_sigma)
    x = [each.step_over_sigma for each in found]
    column = {name: [float(getattr(each, name)) for each in found] for name in RoundingEffect.__dataclass_fields__}
    equal = [100 * share for share in column["equal_pairs"]]
    factors = Pane(
        [
            band(x, column["within_low"], column["within_high"], theme.shade, "moving ranges"),
            band(x, column["overall_low"], column["overall_high"], theme.idle, "standard deviation"),
            line(x, column["within_mean"], theme.control, "moving ranges", width=2.0),
            line(x, column["overall_mean"], theme.ink, "standard deviation", width=2.0, dash="8px,4px"),
        ],
        Axis(""),
        Axis("sigma as read over true sigma", with_room([*column["within_low"], *column["overall_high"]])),
        [
            Named(column["within_mean"][-1], "\N{EM DASH} from moving ranges", theme.control),
            Named(column["overall_mean"][-1], "- - standard deviation", theme.ink),
        ],
        shapes=[upright(COARSEST, theme.acceptance, "the step decides", width=2.0)],
        height=260,
    )
    pairs = Pane(
        [line(x, equal, theme.ink, "equal neighbours", width=2.0)],
        Axis(
            f"step of the readings, in sigmas; beyond {COARSEST:.2f} the step decides what a chart shows", (0.0, x[-1])
        ),
        Axis("readings equal to<br>the one before, %", with_room([0.0, *equal])),
        shapes=[upright(COARSEST, theme.acceptance, "the step decides", width=2.0)],
        height=150,
    )
    return sheet([factors, pairs], screen, one_x=True)
