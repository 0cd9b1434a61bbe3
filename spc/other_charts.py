"""The readings of a stream on another chart than individuals, each with its own limits, and why it fits or does not.

- Each segment is charted afresh. EWMA and CUSUM take centre line and sigma from the segment's own limits, a signed
  baseline among them; trend, residuals and logarithms take the readings that set those limits.
- A reading of which only a bound was written ("<0.1") is left out here, as one that was not taken.
- Nothing counts as a signal before the baseline is complete. These views are looked at; the early warning alone warns.
- A judged check has no baseline: its limits are those of all its verdicts, looked back on.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spc.arrays import BoolArray, FloatArray, IntArray, frozen
from spc.charted import was_running
from spc.charts import CHARTS
from spc.charts.cusum import CusumLimits
from spc.charts.ewma import EwmaLimits
from spc.charts.shape import Chart, Plotted
from spc.charts.trend import trend_limits, trend_plot
from spc.errors import InputError
from spc.records import Bound
from spc.results import Segment, StreamResult, since_reset
from spc.rules import NO_SIDE
from spc.times import to_microseconds

MEASURED = ("individuals", "ewma", "cusum", "trend", "residuals", "skewed")
JUDGED = ("verdicts", "fraction_failed", "passes_between")
TITLES = {
    "individuals": "Individuals",
    "ewma": "EWMA",
    "cusum": "CUSUM",
    "trend": "Trend",
    "residuals": "Residuals",
    "skewed": "Logarithms",
    "verdicts": "Verdicts",
    "fraction_failed": "Fraction failed",
    "passes_between": "Passes between failures",
}
"""What people call each view."""

DAY = 86_400_000_000
"""In microseconds: the trend is told per day."""


@dataclass(frozen=True, slots=True)
class ChartSettings:
    """How EWMA and CUSUM are drawn; the usual ones give one false alarm in about 370 independent readings."""

    weight: float = 0.2  # of the newest reading in the EWMA (lambda)
    width: float = 2.86  # half-width of the EWMA's limits, in sigmas of the average
    slack: float = 0.5  # k of the CUSUM, in sigmas
    decision: float = 4.77  # h of the CUSUM, in sigmas


USUAL_SETTINGS = ChartSettings()
SETTINGS_OF = {"ewma": ("weight", "width"), "cusum": ("slack", "decision")}
"""Which settings a chart has."""

SETTINGS_WITHIN = {"weight": (0.02, 1.0), "width": (0.5, 6.0), "slack": (0.1, 3.0), "decision": (0.5, 20.0)}
"""What can be drawn, and told how often it signals without need; a choice of ours."""


def false_alarm_every(key: str, settings: ChartSettings) -> float | None:
    """Return after how many readings in control a chart signals on average; None where that is out of reach.

    Independent normal readings around a known level: by integral equation (`spc.arl`).
    """
    from spc.arl import cusum_run_length, ewma_run_length

    try:
        if key == "ewma":
            return ewma_run_length(settings.weight, settings.width).arl
        return cusum_run_length(settings.slack, settings.decision).arl
    except InputError:
        return None


@dataclass(frozen=True, slots=True)
class OtherChart:
    """What a chart draws of a stream; every column has shape (n,) or (n, lines)."""

    chart: Chart[Any, Any]
    taken_at: IntArray  # microseconds since 1970-01-01 UTC
    place: IntArray  # of the reading in Charted, or in Readings for a judged check
    plotted: Plotted
    missing: tuple[str, ...]  # why a segment is not on it, in words


def views_of(result: StreamResult) -> tuple[str, ...]:
    """Return the views of a stream, the usual one first."""
    return MEASURED if len(result.charted.x) else JUDGED if result.check.kind == "judged" else ()


def other_chart(result: StreamResult, key: str, settings: ChartSettings = USUAL_SETTINGS) -> OtherChart:
    """Return a stream on the chart `key` of `spc.charts.CHARTS`; `settings` are those of EWMA and CUSUM.

    Raises:
        InputError: a chart that is none of the stream's views.
    """
    if key not in views_of(result) or key not in CHARTS:
        raise InputError(f"{result.key} has no chart {key!r}; choose one of {', '.join(views_of(result))}")
    return _measured(result, key, settings) if len(result.charted.x) else _judged(result, key)


# measured checks


def _measured(result: StreamResult, key: str, settings: ChartSettings) -> OtherChart:
    chart, charted = CHARTS[key], result.charted
    x = np.where(charted.bound == Bound.EXACT, charted.x, np.nan)
    lines, n = len(chart.lines), len(x)
    values, levels = np.full((n, lines), np.nan), np.full((n, 3), np.nan)
    side = np.zeros(n, dtype=np.int8)
    missing: dict[str, None] = {}
    for which, segment in enumerate(result.segments):
        if segment.limits is None:
            continue
        span = slice(segment.first, segment.stop)
        try:
            drawn = _segment_drawn(result, which, chart, x, settings)
        except InputError as error:
            missing[f"{TITLES[key]} cannot be drawn for every segment: {error}"] = None
            continue
        values[span] = drawn.values
        levels[span] = np.column_stack((drawn.centre_line, drawn.lower, drawn.upper))
        judged = np.arange(segment.first, segment.stop) >= segment.judged_from
        side[span] = np.where(judged & segment.limits.complete, drawn.side, NO_SIDE)
    plotted = Plotted(
        frozen(values),
        frozen(levels[:, 0].copy()),
        frozen(levels[:, 1].copy()),
        frozen(levels[:, 2].copy()),
        frozen(side),
    )
    return OtherChart(chart, charted.taken_at, frozen(np.arange(n)), plotted, tuple(missing)[:2])


def _segment_drawn(
    result: StreamResult, which: int, chart: Chart[Any, Any], x: FloatArray, settings: ChartSettings
) -> Plotted:
    """Return what a chart draws of one segment.

    Raises:
        InputError: the readings that set its limits do not suit the chart.
    """
    segment = result.segments[which]
    own, limits = x[segment.first : segment.stop], segment.limits
    assert limits is not None
    if chart.key == "ewma":
        return chart.plot(
            own,
            EwmaLimits(
                limits.centre_line,
                limits.sigma,
                settings.weight,
                settings.width,
                limits.n_baseline,
                floored=limits.floored,
            ),
        )
    if chart.key == "cusum":
        return chart.plot(
            own,
            CusumLimits(
                limits.centre_line,
                limits.sigma,
                settings.slack,
                settings.decision,
                0.0,
                limits.n_baseline,
                floored=limits.floored,
            ),
        )
    places = baseline_places(result, which)
    step = step_of(result, segment)
    if chart.key == "trend":
        days = (result.charted.taken_at - result.charted.taken_at[places[0]]) / DAY
        line = trend_limits(x[places], at=days[places], resolution=step)
        return trend_plot(own, line, at=days[segment.first : segment.stop])
    limits_of: Callable[..., Any] = chart.limits  # every chart of measured readings takes a resolution
    return chart.plot(own, limits_of(x[places], resolution=step))


def baseline_places(result: StreamResult, which: int = -1) -> IntArray:
    """Return the charted places of the readings that set the limits of a segment."""
    segment = result.segments[which]
    if segment.signed is not None:
        first, last = (to_microseconds(at) for at in (segment.signed.first, segment.signed.last))
        taken = result.charted.taken_at
        return np.flatnonzero((taken >= first) & (taken <= last)).astype(np.int64)
    whole = since_reset(result.segments, which)
    n = min(
        segment.limits.n_baseline if segment.limits else whole.stop - whole.first, len(result.charted.x) - whole.first
    )
    return np.arange(whole.first, whole.first + n, dtype=np.int64)


def step_of(result: StreamResult, segment: Segment) -> float | None:
    """Return the smallest step that readings of a segment are written in, in the chart unit; None where not known."""
    steps = result.charted.resolution[segment.first : segment.stop]
    steps = steps[np.isfinite(steps)]
    return float(np.median(steps)) if len(steps) and float(np.median(steps)) > 0 else None


# judged checks


def _judged(result: StreamResult, key: str) -> OtherChart:
    places = np.flatnonzero(was_running(result.readings)).astype(np.int64)
    failed = np.isin(places, [failure.index for failure in result.failures])
    taken_at = result.readings.taken_at[places]
    chart = CHARTS[key]
    if key == "fraction_failed":
        ends, rows = _by_week(taken_at, failed)
    else:
        at = np.flatnonzero(failed)
        ends, rows = at[1:], np.diff(at) - 1.0
    try:
        plotted = chart.plot(rows, chart.limits(rows))
        missing: tuple[str, ...] = ()
    except InputError:
        plotted, ends = _nothing(len(chart.lines)), ends[:0]
        few = "two weeks" if key == "fraction_failed" else "three failures"
        missing = (f"It takes verdicts of at least {few} to draw this, and there are fewer.",)
    return OtherChart(chart, frozen(taken_at[ends]), frozen(places[ends]), plotted, missing)


def _by_week(taken_at: IntArray, failed: BoolArray) -> tuple[IntArray, FloatArray]:
    """Return the last place of each week that has verdicts, and the (failed, inspected) of each."""
    week = (taken_at - 4 * DAY) // (7 * DAY)  # 1970 began on a Thursday; weeks begin on Monday
    ends = np.flatnonzero(np.diff(week, append=week[-1:] + 1)).astype(np.int64)
    total = np.cumsum(failed)[ends]
    counted = np.diff(ends, prepend=-1)
    return ends, np.column_stack((np.diff(total, prepend=0), counted)).astype(np.float64)


def _nothing(lines: int) -> Plotted:
    none = frozen(np.zeros(0))
    sides: NDArray[np.int8] = np.zeros(0, dtype=np.int8)
    return Plotted(frozen(np.zeros((0, lines))), none, none, none, frozen(sides))
