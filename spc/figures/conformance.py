"""Conformance: how sure each reading makes us that the true value meets its limits, and what a guard band is for."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from spc.conformance import AcceptanceZone, Conformance, Risks
from spc.figures.capability import limit_names, limit_shapes
from spc.figures.frame import Screen
from spc.figures.levels import Named
from spc.figures.sheet import Axis, Pane, box, line, points, sheet, titled, upright
from spc.wording import in_figures, short, with_unit

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types


def conformance_figure(
    found: Sequence[Conformance],
    *,
    what: str,
    unit: str = "",
    zone: AcceptanceZone | None = None,
    reading: Conformance | None = None,
    screen: Screen | None = None,
) -> "go.Figure":
    """Return the probability of conformance over the reading, with the guard band and one reading, where given.

    Args:
        found: for readings from low to high, all with the same limits and uncertainty.
        what: what the readings are of.
        unit: of the readings.
        zone: the limits that readings are held against.
        reading: the one to point at.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    found = sorted(found, key=lambda each: each.reading)
    x, y = [each.reading for each in found], [100 * each.probability for each in found]
    span = (x[0], x[-1])
    limits = found[0].specification
    traces = [line(x, y, theme.ink, "probability of conformance", width=2.0)]
    shapes, above, names = limit_shapes(limits, span, theme), limit_names(limits, theme), []
    if zone is not None:
        for edge, limit in ((zone.lower, limits.lower), (zone.upper, limits.upper)):
            if edge is not None and limit is not None:
                shapes.append(upright(edge, theme.control, "edge of the zone", dash="7px,4px"))
                shapes.append(box(edge, limit, 0, 1, theme.shade, "guard band", yref="y domain"))
                above.append(Named(edge, short(edge), theme.control))
        names.append(Named(100 * zone.probability, f"{100 * zone.probability:g} %, {zone.method}", theme.control))
    if reading is not None:
        said = f"<b>{with_unit(short(reading.reading), unit)}</b><br>{in_figures(100 * reading.probability)} % sure"
        at = 100 * reading.probability
        traces.append(points([reading.reading], [at], theme.event, "the reading", [said], symbol="diamond", size=12))
        names.append(Named(at, f"\N{BLACK DIAMOND} this reading {in_figures(at)} %", theme.event))
    pane = Pane(
        traces,
        Axis(titled(what, unit), span),
        Axis("sure that the true value conforms, %", (-2.0, 103.0)),
        names,
        above,
        shapes,
        height=320,
    )
    return sheet([pane], screen)


def risks_figure(found: Sequence[tuple[float, Risks]], *, unit: str = "", screen: Screen | None = None) -> "go.Figure":
    """Return how a guard band trades one risk for the other.

    Args:
        found: guard bands, and the risks of deciding with them.
        unit: of the guard band.
        screen: what it is drawn for.
    """
    screen = screen or Screen()
    theme = screen.colours
    ordered = sorted(found, key=lambda each: each[0])
    x = [guard for guard, _ in ordered]
    consumer, producer = ([100 * getattr(each, side) for _, each in ordered] for side in ("consumer", "producer"))
    said = [
        [
            f"<b>{in_figures(share)} %</b><br>guard band {with_unit(short(at), unit)}"
            for at, share in zip(x, y, strict=True)
        ]
        for y in (consumer, producer)
    ]
    traces = [
        line(x, consumer, theme.acceptance, "consumer's risk", width=2.0),
        points(x, consumer, theme.acceptance, "consumer's, each", said[0], symbol="circle"),
        line(x, producer, theme.control, "producer's risk", width=2.0, dash="8px,4px"),
        points(x, producer, theme.control, "producer's, each", said[1], symbol="square-open", size=8),
    ]
    names = [
        Named(consumer[-1], "\N{BLACK CIRCLE} outside limits, inside zone", theme.acceptance),
        Named(producer[-1], "\N{WHITE SQUARE} inside limits, outside zone", theme.control),
    ]
    y_axis = Axis("share of all, %", (0.0, 1.1 * max(*consumer, *producer, 1e-9)))
    return sheet([Pane(traces, Axis(titled("guard band", unit)), y_axis, names, height=300)], screen)
