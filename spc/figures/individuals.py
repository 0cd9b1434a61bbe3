"""The measured chart: readings over their moving ranges, with every limit that applied to them."""

from datetime import tzinfo
from typing import Any

import numpy as np

from spc.arrays import BoolArray, FloatArray, IntArray
from spc.by_identity import by_identity
from spc.catalogue.check import Check
from spc.figures.frame import Frame
from spc.figures.happenings import baseline_shapes
from spc.figures.levels import (
    acceptance_in_view,
    acceptance_traces,
    control_traces,
    names_beside,
    segments_in_view,
)
from spc.figures.thinning import drawn
from spc.figures.window import Window
from spc.figures.words import (
    SignalPlaces,
    among,
    axis_times,
    bound_symbol,
    drawn_only,
    rule_hits,
    touched_points,
    warning_signals,
)
from spc.records import Bound
from spc.results import StreamResult

Trace = dict[str, Any]

READING, SIGNAL, FAILURE, LEAST_FAILURE, RULE = 6, 13, 13, 11, 11
"""Sizes of the marks, in pixels at normal letter size."""

CROWDED = 0.55
"""The least size of marks, as a part of the normal one."""

FAR = 1.5
"""How far beyond the limits a reading may stretch the pane, in heights of what is between the limits."""


ENOUGH = 20_000
"""Readings, evenly spread over the view, that tell how high nearly all of them reach."""


def individuals_traces(
    result: StreamResult, frame: Frame, window: Window, zone: tzinfo, focus_row: int | None, *, rules: bool = True
) -> list[Trace]:
    """Return every line and point of both panes, the most important last so that nothing covers it.

    With `rules`, hits of run rules that do not warn are drawn too, small and quiet.
    """
    points = _Points(result, frame, window, zone, rules=rules)
    traces = [*control_traces(result, frame, window, zone), *acceptance_traces(result, frame, window, zone)]
    if frame.ranges:
        traces += [points.ranges(), *([points.rule_hits("moving_range")] if rules else [])]
        traces.append(points.signalled("moving_range"))
    traces += [points.readings(), *([points.rule_hits("individuals")] if rules else [])]
    traces += [points.signalled("individuals"), points.failed()]
    traces.append(points.pinned(points.x, pane_range(result, window), "y"))
    if frame.ranges:
        traces.append(points.pinned(points.range, range_pane_range(result, window), "y2"))
    if focus_row is not None:
        traces.append(points.focused(focus_row))
    return [trace for trace in traces if len(trace["x"])]


def places_drawn(result: StreamResult, window: Window, *, rules: bool = True) -> IntArray:
    """Return the charted places that are drawn: those in the window and as much again on both sides.

    Of many not all, but every signalled and every failed one; with `rules`, those that a run rule hit too. Where these
    alone are too many, the highest and the lowest of them in every stretch.
    """
    charted = result.charted
    near, view = window.widened().charted_places(result), window.charted_places(result)
    near = slice(max(0, near.start - 1), near.stop + 1)  # the lines lead out of the picture
    ends = [place for segment in result.segments for place in (segment.first, segment.stop - 1)]
    signals = [warning_signals(result).at, *([rule_hits(result).at] if rules else [])]
    keep = np.concatenate((failed_places(result), *signals, ends)).astype(np.int64) - near.start
    x = charted.x[near]
    inside = slice(view.start - near.start, max(view.start, view.stop) - near.start)
    places: IntArray = near.start + drawn(x, keep[(keep >= 0) & (keep < len(x))], inside)
    return places


@by_identity
def failed_places(result: StreamResult) -> IntArray:
    """Return the charted places of the readings that failed, in order."""
    failed = [failure.index for failure in result.failures]
    return np.flatnonzero(np.isin(result.charted.index, failed)).astype(np.int64)


@by_identity
def ranges_on_chart(result: StreamResult) -> FloatArray:
    """Return the moving range at each charted reading, NaN for the first of a segment and beside a censored one."""
    charted = result.charted
    ranges = np.full(len(charted.x), np.nan)
    exact = charted.bound == Bound.EXACT
    ranges[1:] = np.where(exact[1:] & exact[:-1], np.abs(np.diff(charted.x)), np.nan)
    ranges[[segment.first for segment in result.segments if not segment.continues]] = np.nan
    return ranges


class _Points:
    """Builds the traces of one stream's readings."""

    def __init__(self, result: StreamResult, frame: Frame, window: Window, zone: tzinfo, *, rules: bool) -> None:
        self.result, self.frame = result, frame
        self.places = places = places_drawn(result, window, rules=rules)
        self.times = np.array(axis_times(result.charted.taken_at[places], zone), dtype=object)
        self.touched = np.array(touched_points(result, places, zone, rules=rules), dtype=object)
        self.x = result.charted.x[places]
        self.range = ranges_on_chart(result)[places]
        self.size = _mark_size(result, frame, window)

    def readings(self) -> Trace:
        theme, charted = self.frame.screen.colours, self.result.charted
        symbols = [bound_symbol(int(bound)) for bound in charted.bound[self.places]]
        sizes = [self.size * (READING if symbol == "circle" else READING + 5) for symbol in symbols]
        return self._trace(
            "reading",
            np.ones(len(self.places), dtype=np.bool_),
            self.x.tolist(),
            "y",
            mode="lines+markers",
            line={"color": theme.ink, "width": 1.1 * self.frame.screen.scale},
            marker={"symbol": symbols, "size": sizes, "color": theme.ink, "opacity": 1},
        )

    def ranges(self) -> Trace:
        theme = self.frame.screen.colours
        return self._trace(
            "moving range",
            np.ones(len(self.places), dtype=np.bool_),
            [float(r) if np.isfinite(r) else None for r in self.range],
            "y2",
            mode="lines+markers",
            **self._said_by_the_axes(),
            line={"color": theme.ink, "width": self.frame.screen.scale},
            marker={"symbol": "circle", "size": self.size * (READING - 1.5), "color": theme.ink},
        )

    def signalled(self, chart: str) -> Trace:
        theme = self.frame.screen.colours
        which = self._which(warning_signals(self.result), chart)
        y = self.x if chart == "individuals" else self.range
        return self._trace(
            "signalled" if chart == "individuals" else "signalled range",
            which,
            y[which].tolist(),
            "y" if chart == "individuals" else "y2",
            mode="markers",
            hoverinfo="skip",
            marker={
                "symbol": "diamond",
                "size": self.size * SIGNAL,
                "color": theme.signal,
                "line": {"color": theme.signal_edge, "width": 1.2 * self.size},
            },
        )

    def rule_hits(self, chart: str) -> Trace:
        """Return the hits of run rules, or of the moving-range limit, that warn of nothing."""
        main = chart == "individuals"
        which = self._which(drawn_only(self.result), chart) & ~self._which(warning_signals(self.result), chart)
        return self._trace(
            "run rule, drawn only" if main else "range rule, drawn only",
            which,
            (self.x if main else self.range)[which].tolist(),
            "y" if main else "y2",
            mode="markers",
            hoverinfo="skip",
            marker={
                "symbol": "circle-open",
                "size": self.size * RULE,
                "color": self.frame.screen.colours.quiet,
                "line": {"width": 1.5 * self.size},
            },
        )

    def _which(self, signals: SignalPlaces, chart: str) -> BoolArray:
        """Return which drawn places have one of the `signals` in a pane: the moving range, or everything else."""
        return among(self.places, signals.at[signals.of_range == (chart == "moving_range")])

    def failed(self) -> Trace:
        theme = self.frame.screen.colours
        which = np.isin(self.result.charted.index[self.places], [f.index for f in self.result.failures])
        return self._trace(
            "outside the acceptance limits",
            which,
            self.x[which].tolist(),
            "y",
            mode="markers",
            hoverinfo="skip",
            marker={
                "symbol": "square-x",
                "size": max(self.size * FAILURE, self.frame.px(LEAST_FAILURE)),
                "color": theme.acceptance,
                "line": {"color": theme.paper, "width": 1.2 * self.size},
            },
        )

    def pinned(self, y: FloatArray, pane: tuple[float, float], axis: str) -> Trace:
        """Return marks at the edge for readings, or ranges, that lie beyond the pane."""
        low, high = pane
        which = (y < low) | (y > high)
        return self._trace(
            "beyond this view" if axis == "y" else "range beyond this view",
            which,
            np.clip(y[which], low, high).tolist(),
            axis,
            mode="markers",
            cliponaxis=False,
            marker={
                "symbol": ["triangle-down-open" if at < low else "triangle-up-open" for at in y[which]],
                "size": self.frame.px(11),
                "color": self.frame.screen.colours.acceptance,
                "line": {"width": 2},
            },
        )

    def focused(self, row: int) -> Trace:
        which = self.result.charted.row[self.places] == row
        return self._trace(
            "looked at",
            which,
            self.x[which].tolist(),
            "y",
            mode="markers",
            hoverinfo="skip",
            marker={
                "symbol": "circle-open",
                "size": self.frame.px(26),
                "color": self.frame.screen.colours.ink,
                "line": {"width": 2},
            },
        )

    def _trace(self, name: str, which: Any, y: list[float | None], axis: str, **more: Any) -> Trace:
        return {
            "type": "scatter",
            "name": name,
            "uid": name.replace(" ", "-"),
            "x": self.times[which].tolist(),
            "y": y,
            "yaxis": axis,
            "connectgaps": False,
            **({} if "hoverinfo" in more or "hovertemplate" in more else self._said_by_the_reading(which)),
            **more,
        }

    def _said_by_the_reading(self, which: Any) -> Trace:
        return {"hovertext": self.touched[which].tolist(), "hoverinfo": "text"}

    def _said_by_the_axes(self) -> Trace:
        check = self.result.check
        value = f"%{{y:.{check.decimals}f}} {check.chart_unit}".rstrip()
        return {"hovertemplate": f"moving range <b>{value}</b><br>%{{x|%a %-d %b %Y %H:%M}}<extra></extra>"}


def _mark_size(result: StreamResult, frame: Frame, window: Window) -> float:
    """Return how large marks are: smaller where many readings share the width, so that the course stays visible."""
    view = window.charted_places(result)
    pixels_each = frame.plot_width / max(1, view.stop - view.start)
    return float(frame.screen.scale * min(1.0, max(CROWDED, pixels_each / (READING + 2))))


def individuals_layout(result: StreamResult, frame: Frame, window: Window, zone: tzinfo) -> dict[str, Any]:
    """Return axes, shades and names of both panes."""
    check = result.check
    main, lower = pane_range(result, window), range_pane_range(result, window)
    tick = {"size": frame.small}
    layout: dict[str, Any] = {
        "yaxis": {
            "domain": frame.main_domain,
            "range": main,
            "fixedrange": True,
            "title": {"text": axis_title(_on_the_axis(check), check.chart_unit, frame), "font": tick},
            "tickfont": tick,
            "nticks": 7,
        },
        "shapes": [*baseline_shapes(result, frame, zone), *_outside_shapes(result, frame, window, main)],
        "annotations": names_beside(result, frame, window, main, lower),
    }
    if frame.ranges:
        layout["yaxis2"] = {
            "domain": frame.range_domain,
            "range": lower,
            "fixedrange": True,
            "title": {"text": axis_title("Moving range", check.chart_unit, frame, frame.ranges), "font": tick},
            "tickfont": tick,
            "nticks": 4,
        }
    return layout


def _on_the_axis(check: Check) -> str:
    return "Deviation from reference" if check.charted == "deviation" else check.title


def axis_title(what: str, unit: str, frame: Frame, pane: int | None = None) -> str:
    """Return the title of a value axis: what, with its unit; on two lines where the pane is too low for one."""
    if not unit:
        return what
    one_line = f"{what}, {unit}"
    fits = frame.text_width(one_line) <= (pane or frame.main)
    return one_line if fits else f"{what},<br>{unit}"


def pane_range(result: StreamResult, window: Window) -> tuple[float, float]:
    """Return the values the main pane spans.

    All control limits in view and nearly all readings; an acceptance limit where it lies near; a reading far from
    everything does not flatten the rest, and is marked at the edge instead.
    """
    view = window.charted_places(result)
    x = result.charted.x[view] if view.stop > view.start else result.charted.x[-1:]
    limits = [segment.limits for _, segment in segments_in_view(result, window) if segment.limits]
    some = x[:: -(-len(x) // ENOUGH)]
    usual = [*np.quantile(some, (0.05, 0.95)), *(level for each in limits for level in (each.lower, each.upper))]
    low, high = float(min(usual)), float(max(usual))
    height = max(high - low, _least_height(result))
    low, high = max(float(x.min()), low - FAR * height), min(float(x.max()), high + FAR * height)
    low, high = min(low, *usual), max(high, *usual)
    height = max(high - low, _least_height(result))
    for level in np.concatenate(list(acceptance_in_view(result, window).values())).tolist():
        if low - height <= level <= high + height:
            low, high = min(low, level), max(high, level)
    room = 0.06 * max(high - low, _least_height(result))
    return low - room, high + room


def _least_height(result: StreamResult) -> float:
    """Return the least height of the pane, so that a constant stream does not show rounding alone."""
    return 4 * 10.0**-result.check.decimals


def range_pane_range(result: StreamResult, window: Window) -> tuple[float, float]:
    """Return the values the moving-range pane spans, from 0."""
    ranges = ranges_on_chart(result)[window.charted_places(result)]
    limits = [segment.limits.moving_range_upper for _, segment in segments_in_view(result, window) if segment.limits]
    top = max(limits, default=0.0)
    usual = float(np.fmax.reduce(ranges, initial=0.0))  # none is below 0, some are missing
    if top > 0:
        usual = min(usual, top * (1 + FAR))
    height = max(top, usual, _least_height(result))
    return -0.05 * height, 1.08 * height


def _outside_shapes(
    result: StreamResult, frame: Frame, window: Window, pane: tuple[float, float]
) -> list[dict[str, Any]]:
    """Return the tint over values outside the acceptance limits, where one limit holds for the whole view."""
    shapes = []
    for side, levels in acceptance_in_view(result, window).items():
        if len(levels) != 1:
            continue
        edge = pane[0] if side == "lower" else pane[1]
        level = min(max(float(levels[0]), pane[0]), pane[1])
        if level != edge:
            shapes.append(
                {
                    "type": "rect",
                    "xref": "paper",
                    "yref": "y",
                    "x0": 0,
                    "x1": 1,
                    "y0": edge,
                    "y1": level,
                    "layer": "below",
                    "fillcolor": frame.screen.colours.outside,
                    "line": {"width": 0},
                    "name": "outside the acceptance limits",
                }
            )
    return shapes
