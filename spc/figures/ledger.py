"""The ledger of checks as pictures: all checks of a line over two years, exposure windows.

Each status has a mark of its own beside its colour: done is a plain line or a dot, late an open triangle, missed a
crossed square, not in operation a row of dots, due an open circle.
"""

from collections.abc import Sequence
from datetime import datetime, tzinfo
from html import escape
from typing import TYPE_CHECKING, Any

from spc.containment import ExposureWindow
from spc.figures.frame import Screen
from spc.figures.sheet import Axis, Pane, Trace, sheet
from spc.figures.theme import Theme, time_formats
from spc.records import StreamKey
from spc.schedule.ledger import Entry, StreamLedger
from spc.schedule.operation import Operation
from spc.wording import time_text

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

ROW, TALL_ROW = 26, 46
"""Height of one row in pixels at normal letter size: with its name on one line, and on up to three."""

KEY = (
    "date (\N{BOX DRAWINGS HEAVY HORIZONTAL} done in time, \N{WHITE UP-POINTING TRIANGLE} late, "
    "\N{SQUARED TIMES} missed, \N{MIDLINE HORIZONTAL ELLIPSIS} not in operation, \N{WHITE CIRCLE} due)"
)


def ledger_overview(streams: Sequence[StreamLedger], zone: tzinfo, *, screen: Screen | None = None) -> "go.Figure":
    """Return the ledgers of several streams, a row each, over all their time."""
    screen = screen or Screen()
    theme = screen.colours
    rows = list(reversed(streams))
    traces: list[Trace] = [_done_lines(rows, zone, theme, screen), _rests(rows, zone, theme, screen)]
    traces += [_marks(rows, status, zone, theme, screen) for status in ("late", "missed", "overdue", "due")]
    return _a_row_each(traces, [(each.key, each.check.title) for each in rows], KEY, screen)


def _a_row_each(
    traces: Sequence[Trace], streams: Sequence[tuple[StreamKey, str]], along: str, screen: Screen
) -> "go.Figure":
    """Return traces over time with a row for each stream, from below, named by line where there are several lines."""
    several = len({key.line for key, _ in streams}) > 1
    names = tuple(
        " ".join(filter(None, (f"{key.line}:" if several else "", title, key.position))) for key, title in streams
    )
    n = len(names)
    pane = Pane(
        traces=[trace for trace in traces if trace["x"]],
        x=Axis(along, kind="date"),
        y=Axis("", span=(-0.7, max(n, 1) - 0.3), at=tuple(map(float, range(n))), words=names, grid=False),
        height=max(n, 2) * (TALL_ROW if screen.narrow else ROW),
    )
    return _dated(sheet([pane], screen), screen)


def _dated(figure: "go.Figure", screen: Screen) -> "go.Figure":
    """Return the figure with dates that cannot be read two ways, as many as have room beside one another."""
    most = max(2, int(figure.layout.width / (110 * screen.scale)))
    return figure.update_xaxes(tickformatstops=time_formats(), tickangle=0, nticks=most)


def _local(at: datetime, zone: tzinfo) -> str:
    return at.astimezone(zone).replace(tzinfo=None).isoformat(sep=" ")


def _done_lines(rows: Sequence[StreamLedger], zone: tzinfo, theme: Theme, screen: Screen) -> Trace:
    """Return a line for each stretch in which no check was missed and the line ran, one stretch apart from the next."""
    x: list[str | None] = []
    y: list[float | None] = []
    for row, stream in enumerate(rows):
        start: datetime | None = stream.first
        end = start
        for entry in stream.entries:
            if entry.done_at is not None:
                start, end = start or entry.done_at, entry.done_at
            elif not entry.open and start is not None and end is not None:
                x += [_local(start, zone), _local(end, zone), None]
                y += [row, row, None]
                start = end = None
        if start is not None and end is not None:
            x += [_local(start, zone), _local(end, zone), None]
            y += [row, row, None]
    return _trace("done in time", x, y, "lines", line={"color": theme.control, "width": 3 * screen.scale})


def _rests(rows: Sequence[StreamLedger], zone: tzinfo, theme: Theme, screen: Screen) -> Trace:
    x: list[str | None] = []
    y: list[float | None] = []
    for row, stream in enumerate(rows):
        moments = [at for entry in stream.entries for at in (entry.due, entry.done_at) if at is not None]
        ends = max(moments, default=None)
        for entry in stream.entries:
            until = entry.until or ends
            if entry.status == "not in operation" and entry.due is not None and until is not None:
                x += [_local(entry.due, zone), _local(max(until, entry.due), zone), None]
                y += [row, row, None]
    return _trace(
        "not in operation", x, y, "lines", line={"color": theme.quiet, "width": 2 * screen.scale, "dash": "dot"}
    )


def _marker(status: str, theme: Theme) -> dict[str, Any]:
    """Return the mark of a status: shape and colour."""
    edge = {"color": theme.paper, "width": 1}
    return {
        "done": {"symbol": "circle", "size": 6, "color": theme.control},
        "late": {"symbol": "triangle-up-open", "size": 11, "color": theme.signal, "line": {"width": 2}},
        "missed": {"symbol": "square-x", "size": 11, "color": theme.acceptance, "line": edge},
        "overdue": {"symbol": "square-x-open", "size": 13, "color": theme.acceptance, "line": {"width": 2}},
        "not in operation": {"symbol": "line-ew", "size": 4, "line": {"color": theme.quiet, "width": 2}},
        "due": {"symbol": "circle-open", "size": 11, "color": theme.ink, "line": {"width": 2}},
    }[status]


def _marks(rows: Sequence[StreamLedger], status: str, zone: tzinfo, theme: Theme, screen: Screen) -> Trace:
    found = [
        (row, at, entry)
        for row, stream in enumerate(rows)
        for entry in stream.entries
        if entry.status == status
        for at in [entry.done_at if status == "late" else entry.due]
        if at is not None
    ]
    marker = _marker(status, theme)
    return _trace(
        status,
        [_local(at, zone) for _, at, _ in found],
        [row for row, _, _ in found],
        "markers",
        marker={**marker, "size": marker["size"] * screen.scale},
        hovertext=[_touched(entry, rows[row], zone) for row, _, entry in found],
        hoverinfo="text",
    )


def _trace(name: str, x: Sequence[Any], y: Sequence[Any], mode: str, **more: Any) -> Trace:
    return {"type": "scatter", "name": name, "mode": mode, "x": list(x), "y": list(y), "hoverinfo": "skip", **more}


def _touched(entry: Entry, stream: StreamLedger, zone: tzinfo) -> str:
    """Return what a mark says when touched."""
    lines = [f"<b>{escape(stream.check.title)} {escape(stream.key.position)}</b>", entry.status]
    if entry.due is not None:
        lines.append(f"due {time_text(entry.due, zone)}")
    if entry.done_at is not None:
        lines.append(f"made {time_text(entry.done_at, zone)}, row {entry.row}")
    if entry.why:
        lines.append(escape(entry.why))
    return "<br>".join(lines)


def exposure_course(
    window: ExposureWindow, operation: Operation, zone: tzinfo, *, now: datetime, screen: Screen | None = None
) -> "go.Figure":
    """Return one exposure window: the good check, the failed one, the pass after it, and when the line ran."""
    screen = screen or Screen()
    theme = screen.colours
    ends = window.passed_at or max(now, window.failed_at)
    x: list[str | None] = []
    for stretch in operation.stretches:
        start, stop = max(stretch.start, window.first), min(stretch.stop, ends)
        if start < stop:
            x += [_local(start, zone), _local(stop, zone), None]
    good = "last good check" if window.last_good is not None else "first reading of the log"
    points = [
        (good, window.first, 3, _marker("done", theme) | {"size": 11}),
        (f"failed: {window.failed}", window.failed_at, 2, _marker("missed", theme) | {"size": 14}),
    ]
    if window.passed_at is not None:
        points.append(("passed again", window.passed_at, 1, {"symbol": "diamond-open", "size": 12, "color": theme.ink}))
    traces = [
        _trace(
            "in operation",
            x,
            [None if at is None else 0 for at in x],
            "lines",
            line={"color": theme.control, "width": 9 * screen.scale},
        )
    ]
    traces += [
        _trace(
            name,
            [_local(at, zone)],
            [row],
            "markers",
            marker={**marker, "size": marker["size"] * screen.scale},
            hovertext=[f"<b>{escape(name)}</b><br>{time_text(at, zone)}"],
            hoverinfo="text",
        )
        for name, at, row, marker in points
    ]
    shade = {
        "type": "rect",
        "name": "exposed",
        "x0": _local(window.first, zone),
        "x1": _local(window.failed_at, zone),
        "y0": -0.6,
        "y1": 3.6,
        "xref": "x",
        "yref": "y",
        "fillcolor": theme.outside,
        "line": {"color": theme.acceptance, "width": 1.5, "dash": "dash"},
        "layer": "below",
    }
    words = ("in operation", "passed again" if window.passed_at else "not passed since", "failed check", good)
    pane = Pane(
        traces=traces,
        x=Axis("date; within the dashed frame parts are exposed", kind="date"),
        y=Axis("", span=(-0.7, 3.7), at=(0.0, 1.0, 2.0, 3.0), words=words, grid=False),
        shapes=[shade],
        height=4 * 34,
    )
    return _dated(sheet([pane], screen), screen)


EXPOSED_KEY = (
    "date (\N{BOX DRAWINGS HEAVY HORIZONTAL} in doubt: last good check to failed one, \N{SQUARED TIMES} failed, "
    "\N{MIDLINE HORIZONTAL ELLIPSIS} until it passed, \N{WHITE DIAMOND} passed again)"
)


def exposures_overview(
    windows: Sequence[ExposureWindow], zone: tzinfo, *, now: datetime, screen: Screen | None = None
) -> "go.Figure":
    """Return exposure windows of any streams along time, a row a stream; one without a pass goes on to `now`."""
    screen = screen or Screen()
    theme = screen.colours
    keys = sorted({each.key for each in windows}, reverse=True)
    row = {key: place for place, key in enumerate(keys)}
    titles = {each.key: each.check.title for each in windows}
    doubt_x: list[str | None] = []
    after_x: list[str | None] = []
    doubt_y: list[float | None] = []
    after_y: list[float | None] = []
    for each in windows:
        at, ends = row[each.key], each.passed_at or max(now, each.failed_at)
        doubt_x += [_local(each.first, zone), _local(each.failed_at, zone), None]
        after_x += [_local(each.failed_at, zone), _local(ends, zone), None]
        doubt_y += [at, at, None]
        after_y += [at, at, None]
    passed = [(each, each.passed_at) for each in windows if each.passed_at is not None]
    marker = _marker("missed", theme)
    wide, thin = 5 * screen.scale, 2 * screen.scale
    traces = [
        _trace("in doubt", doubt_x, doubt_y, "lines", line={"color": theme.acceptance, "width": wide}),
        _trace("not passed", after_x, after_y, "lines", line={"color": theme.quiet, "width": thin, "dash": "dot"}),
        _trace(
            "failed",
            [_local(each.failed_at, zone) for each in windows],
            [row[each.key] for each in windows],
            "markers",
            marker={**marker, "size": marker["size"] * screen.scale},
            hovertext=[_exposed_touched(each, zone) for each in windows],
            hoverinfo="text",
        ),
        _trace(
            "passed again",
            [_local(at, zone) for _, at in passed],
            [row[each.key] for each, _ in passed],
            "markers",
            marker={"symbol": "diamond-open", "size": 9 * screen.scale, "color": theme.ink},
        ),
    ]
    return _a_row_each(traces, [(key, titles[key]) for key in keys], EXPOSED_KEY, screen)


def _exposed_touched(window: ExposureWindow, zone: tzinfo) -> str:
    """Return what the mark of a failed check says when touched."""
    good = f"last good check {time_text(window.last_good, zone)}" if window.last_good else "no good check before it"
    passed = f"passed again {time_text(window.passed_at, zone)}" if window.passed_at else "not passed since"
    head = f"<b>{escape(window.check.title)} {escape(window.key.position)}</b>"
    failed = f"failed {time_text(window.failed_at, zone)}: {escape(window.failed)}"
    return "<br>".join((head, failed, good, passed))
