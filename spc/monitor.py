"""One stream through its catalogue entry: segments, baseline, limits, failures and signals.

Nothing here looks ahead: what is said of a reading depends on readings and events up to it alone.

- A resetting event starts a segment with the first reading at or after it.
- A baseline that a person signed off sets the limits from the moment it is valid from: see `signed_baseline`. Within a
  segment each reading is judged by the limits of its own moment, and runs go on across the change.
- The first `check.baseline` readings of a segment set its control limits; no run rule signals until they are complete.
- The run rules look back into the baseline, but a baseline reading itself never breaks one.
- The early warning needs no baseline: it carries what it learnt of the scatter from segment to segment.
- No rule reaches across a segment boundary. A line that did not run takes no reading and breaks no run.
- A censored reading ("<0.05") enters a baseline at the number written; beyond it, it counts in a rule only where the
  rule holds for every value it can have, and it has no moving range.
"""

import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from importlib.util import find_spec

import numpy as np
from numpy.typing import NDArray

from spc.arrays import BoolArray, FloatArray, IntArray
from spc.catalogue.acceptance import judged_failed, outside
from spc.catalogue.check import LINE_EVENTS, RESETTING_EVENTS, Check
from spc.charted import charted_readings, check_of_stream, limits_by_day, was_running
from spc.charts.individuals import individuals_limits
from spc.drift import DriftState
from spc.early_warning import Behind, warned, warning_signals
from spc.forecast import AheadForecast, model_forecast, straight_line_forecast
from spc.kernels import LONGEST_WINDOW, rule_hits_of_many
from spc.records import Bound, Event, Readings, StreamKey
from spc.results import (
    SIGNED_OFF,
    WITHDRAWN,
    Charted,
    Failure,
    Forecast,
    Limits,
    Segment,
    Side,
    Signal,
    StreamResult,
    since_reset,
)
from spc.rules import in_sigmas, run_rules
from spc.rules.distance import STEPS_PER_SIGMA
from spc.sigma import D2_FOR_PAIRS, D3_FOR_PAIRS
from spc.signed_baseline import BEFORE_ALL, SignedBaseline, in_force, moments
from spc.times import from_microseconds, to_microseconds

START = "start_of_log"
MOVING_RANGE_RULE = "moving_range_limit"
WIDTH = 3.0
"""Half-width of the control limits in sigmas."""

BoundArray = NDArray[np.int8]
_SIDES: dict[int, Side | None] = {-1: "low", 0: None, 1: "high"}

COMPILED_FROM = 100_000
"""Readings from which on compiled loops pay: loading them takes as long as some 20,000 readings plainly."""
LOADED_FROM = 1_000
"""The same, once they are loaded."""


def pays_to_compile(readings: int) -> bool:
    """Return whether so many readings are worth loading, or once compiling, the compiled loops; and they can be had."""
    least = LOADED_FROM if "spc.kernels.drift" in sys.modules else COMPILED_FROM
    return readings >= least and find_spec("numba") is not None


def monitor_stream(
    readings: Readings, events: Iterable[Event], check: Check, *, compiled: bool = False
) -> StreamResult:
    """Return segments, limits, failures, signals and forecast of one stream.

    Args:
        readings: the stream, in time order.
        events: events of its line, in any order; those that do not touch the stream are left out.
        check: its catalogue entry.
        compiled: whether compiled loops do the work, which pays for many readings alone; the signals are the same.
    """
    return monitor_onward(readings, events, check, None, compiled=compiled)[0]


def monitor_onward(
    readings: Readings, events: Iterable[Event], check: Check, before: Behind | None, *, compiled: bool = False
) -> tuple[StreamResult, Behind | None]:
    """Return what `monitor_stream` does, and from where its early warning can go on when readings are added.

    Args:
        readings: the stream, in time order.
        events: events of its line, in any order.
        check: its catalogue entry.
        before: what this gave for the stream when it was shorter; None where nothing did. Nothing hangs on it but the
            time that it takes: where the stream is another up to there, all is worked out anew.
        compiled: see `monitor_stream`.
    """
    check = check_of_stream(readings, check)
    charted = charted_readings(readings, check)
    touching = tuple(sorted((e for e in events if touches(e, readings.key, check)), key=lambda event: event.at))
    segments = _segments(charted, touching, check)
    behind = warned(charted, touching, check, before, compiled=compiled) if check.early_warning else None
    changes = behind.changes if behind is not None else {}
    by_rules = _rule_signals_compiled if compiled and _plain_segments(segments, check) else _rule_signals
    rule_signals = by_rules(charted, segments, check)
    result = StreamResult(
        key=readings.key,
        check=check,
        readings=readings,
        charted=charted,
        events=touching,
        segments=segments,
        failures=_failures(readings, charted, check),
        signals=warning_first(warning_signals(charted, changes), rule_signals if check.rules_signal else ()),
        rule_signals=rule_signals,
        changes=changes,
        forecast=_forecast(charted, segments, touching, check, behind.state if behind is not None else None),
    )
    return result, behind


def warning_first(warnings: Iterable[Signal], rule_signals: Iterable[Signal]) -> tuple[Signal, ...]:
    """Return both in order of their readings; at one reading the early warning comes first."""
    return tuple(sorted((*warnings, *rule_signals), key=lambda signal: signal.position))


def touches(event: Event, key: StreamKey, check: Check) -> bool:
    """Return whether `event` says something about this stream."""
    if event.line != key.line or event.position not in ("", key.position) or event.check not in ("", key.check):
        return False
    if event.kind in LINE_EVENTS:
        return True
    return event.check == key.check or event.kind in check.new_segment_on or event.kind in check.explained_by


def starts_segment(event: Event, check: Check) -> bool:
    """Return whether `event` starts a new segment of a stream of `check` that it touches."""
    return event.kind in RESETTING_EVENTS and (event.check == check.key or event.kind in check.new_segment_on)


def _segments(charted: Charted, events: Sequence[Event], check: Check) -> tuple[Segment, ...]:
    because = {0: (START, BEFORE_ALL)}
    for event in events:
        if starts_segment(event, check):
            at = to_microseconds(event.at)
            because[int(np.searchsorted(charted.taken_at, at, side="left"))] = (event.kind, at)
    starts = sorted(start for start in because if start < len(charted.x))
    stops = [*starts[1:], len(charted.x)] if starts else []
    segments: list[Segment] = []
    for first, stop in zip(starts, stops, strict=True):
        kind, since = because[first]
        whole = Segment(first, stop, kind, _segment_limits(charted, first, stop, check))
        segments += _by_baseline(whole, since, charted, check) if check.signed_baselines else (whole,)
    return tuple(segments)


def _by_baseline(whole: Segment, since: int, charted: Charted, check: Check) -> Iterator[Segment]:
    """Yield a segment in parts: one for each baseline that sets the limits of its readings."""
    if whole.limits is None or not whole.limits.complete:
        yield whole
        return
    taken_at, earliest = charted.taken_at, whole.judged_from
    starts = {max(int(np.searchsorted(taken_at, at, side="left")), earliest) for at in moments(check.signed_baselines)}
    part, own = whole, whole.limits
    for start in sorted(start for start in starts if start < whole.stop):
        signed = in_force(check.signed_baselines, int(taken_at[start]), since=since, unit=check.chart_unit)
        if signed == part.signed:
            continue
        yield replace(part, stop=start)
        newer = signed is not None and (part.signed is None or signed.version > part.signed.version)
        limits = signed_limits(signed) if signed is not None else own
        part = Segment(start, whole.stop, SIGNED_OFF if newer else WITHDRAWN, limits, signed)
    yield part


def _segment_limits(charted: Charted, first: int, stop: int, check: Check) -> Limits | None:
    baseline = slice(first, min(stop, first + check.baseline))
    return limits_of(charted.x[baseline], charted.resolution[baseline], check)


def limits_of(x: FloatArray, resolution: FloatArray, check: Check) -> Limits | None:
    """Return the control limits that the baseline readings so far set; None with fewer than 2, or no chart.

    Args:
        x: baseline readings in time order, shape (n,), n <= check.baseline, in the chart unit.
        resolution: smallest step of each, shape (n,), in the chart unit; NaN where not known.
        check: the check as the stream uses it.
    """
    if check.charted == "none" or len(x) < 2:
        return None
    step = float(resolution.mean())
    limits = individuals_limits(x, resolution=None if np.isnan(step) else step)
    return Limits(
        n_baseline=limits.n_baseline,
        complete=limits.n_baseline == check.baseline,
        centre_line=limits.centre_line,
        sigma=limits.sigma,
        lower=limits.lower,
        upper=limits.upper,
        moving_range_centre=limits.moving_range_centre,
        moving_range_upper=limits.moving_range_upper,
        floored=limits.floored,
    )


def signed_limits(signed: SignedBaseline) -> Limits:
    """Return the control limits that a baseline that was signed off sets."""
    return Limits(
        n_baseline=signed.n,
        complete=True,
        centre_line=signed.centre_line,
        sigma=signed.sigma,
        lower=signed.lower,
        upper=signed.upper,
        moving_range_centre=D2_FOR_PAIRS * signed.sigma,
        moving_range_upper=(D2_FOR_PAIRS + WIDTH * D3_FOR_PAIRS) * signed.sigma,
        floored=False,
    )


def _failures(readings: Readings, charted: Charted, check: Check) -> tuple[Failure, ...]:
    numbers = [
        _failure(readings, int(charted.index[i]), float(charted.x[i]))
        for i in np.flatnonzero(outside(charted.x, charted.bound, charted.lower, charted.upper))
    ]
    failed = was_running(readings)
    for acceptance, part in limits_by_day(readings.taken_at, check):
        failed[part] &= judged_failed(readings.word[part], acceptance)
    words = [_failure(readings, int(i), str(readings.word[i])) for i in np.flatnonzero(failed)]
    return tuple(sorted((*numbers, *words), key=lambda failure: failure.index))


def _failure(readings: Readings, index: int, value: float | str) -> Failure:
    return Failure(index, int(readings.taken_at[index]), int(readings.row[index]), value)


def _rule_signals(charted: Charted, segments: Sequence[Segment], check: Check) -> tuple[Signal, ...]:
    n = len(charted.x)
    z_low, z_high = np.full(n, np.nan), np.full(n, np.nan)
    monitored, boundaries = np.zeros(n, dtype=np.bool_), np.zeros(n, dtype=np.bool_)
    range_beyond = np.zeros(n, dtype=np.bool_)
    for segment in segments:
        if segment.limits is None or not segment.limits.complete:
            continue
        span = slice(segment.first, segment.stop)
        z_low[span], z_high[span] = z_interval(charted.x[span], charted.bound[span], segment.limits)
        monitored[segment.judged_from : segment.stop] = True
        boundaries[segment.first] = not segment.continues
        before = int(segment.continues)  # its first reading is a step away from the one before
        ranged = slice(segment.first - before, segment.stop)
        range_beyond[span] = ranges_beyond(charted.x[ranged], charted.bound[ranged], segment.limits)[before:]
    hits = run_rules(z_low, z_high, check.rules, boundaries=boundaries)
    found = [
        (int(i), int(rule), _signal(charted, int(i), check.rules[rule].key, _SIDES[int(side)]))
        for i, rule, side in zip(hits.index, hits.rule, hits.side, strict=True)
        if monitored[i]
    ]
    if check.moving_range:
        last = len(check.rules)
        found += [(int(i), last, _range_signal(charted, int(i))) for i in np.flatnonzero(range_beyond & monitored)]
    return tuple(signal for _, _, signal in sorted(found, key=lambda item: item[:2]))


def _plain_segments(segments: Sequence[Segment], check: Check) -> bool:
    """Return whether the compiled rules can take them: each segment for itself, no rule that looks back further."""
    return not any(segment.continues for segment in segments) and all(
        rule.window <= LONGEST_WINDOW for rule in check.rules
    )


def _rule_signals_compiled(charted: Charted, segments: Sequence[Segment], check: Check) -> tuple[Signal, ...]:
    """Return what `_rule_signals` does, to the bit."""
    taken = [s for s in segments if s.limits is not None and s.limits.complete]
    limits = [s.limits for s in taken if s.limits is not None]
    hits = rule_hits_of_many(
        charted.x,
        [s.first for s in taken],
        [s.stop for s in taken],
        check.rules,
        centre_line=[each.centre_line for each in limits],
        sigma=[each.sigma for each in limits],
        monitored=[s.judged_from for s in taken],
        bound=charted.bound,
        moving_range_upper=[each.moving_range_upper for each in limits] if check.moving_range else None,
    )
    last = len(check.rules)
    return tuple(
        _range_signal(charted, i) if rule == last else _signal(charted, i, check.rules[rule].key, _SIDES[side])
        for i, rule, side in zip(hits.index.tolist(), hits.rule.tolist(), hits.side.tolist(), strict=True)
    )


def z_interval(x: FloatArray, bound: BoundArray, limits: Limits) -> tuple[FloatArray, FloatArray]:
    """Return the interval in sigmas from the centre line that surely holds each true value; both shape (n,)."""
    z = in_sigmas(x, limits.centre_line, limits.sigma)
    return np.where(bound == Bound.BELOW, -np.inf, z), np.where(bound == Bound.ABOVE, np.inf, z)


def ranges_beyond(x: FloatArray, bound: BoundArray, limits: Limits) -> BoolArray:
    """Return which readings lie beyond the moving-range limit from the one before, shape (n,); the first never does."""
    exact = bound == Bound.EXACT
    beyond = np.zeros(len(x), dtype=np.bool_)
    most = limits.moving_range_upper + limits.sigma / STEPS_PER_SIGMA
    beyond[1:] = (np.abs(np.diff(x)) > most) & exact[1:] & exact[:-1]
    return beyond


def _signal(charted: Charted, i: int, rule: str, side: Side | None) -> Signal:
    return Signal(i, int(charted.taken_at[i]), int(charted.row[i]), float(charted.x[i]), "individuals", rule, side)


def _range_signal(charted: Charted, i: int) -> Signal:
    side: Side = "high" if charted.x[i] > charted.x[i - 1] else "low"
    return Signal(
        i, int(charted.taken_at[i]), int(charted.row[i]), float(charted.x[i]), "moving_range", MOVING_RANGE_RULE, side
    )


FORECAST_READINGS = 20
"""How many of the latest readings of a segment the straight-line forecast looks at."""


def reset_since(charted: Charted, touching: Sequence[Event], check: Check) -> Event | None:
    """Return the latest event that starts a new segment of which no reading has been taken yet; None if there is none.

    Args:
        charted: what is on the chart.
        touching: events that touch the stream, in time order.
        check: the check as the stream uses it.
    """
    resets = [event for event in touching if starts_segment(event, check)]
    if not resets or not len(charted.x) or to_microseconds(resets[-1].at) <= charted.taken_at[-1]:
        return None
    return resets[-1]


def _forecast(
    charted: Charted, segments: Sequence[Segment], touching: Sequence[Event], check: Check, state: DriftState | None
) -> Forecast:
    """Return what comes next in the newest segment: nothing can be said of one that has no reading yet."""
    first = since_reset(segments).first if segments else 0
    if reset_since(charted, touching, check) is not None:
        first = len(charted.x)
    latest = np.arange(first, len(charted.x))[-FORECAST_READINGS:]
    ahead = _ahead(charted, latest, state)
    date = None
    if ahead.readings_p50 is not None and len(latest) > 1:
        interval = float(np.median(np.diff(charted.taken_at[latest])))
        date = from_microseconds(int(charted.taken_at[-1] + ahead.readings_p50 * interval))
    return Forecast(
        ahead.method,
        ahead.risk_next,
        ahead.risk_next_5,
        ahead.readings_p10,
        ahead.readings_p50,
        ahead.readings_p90,
        date,
    )


def _ahead(charted: Charted, latest: IntArray, state: DriftState | None) -> AheadForecast:
    """Return the forecast of the model, or of a straight line where a check has none.

    For the line a censored reading counts as the number written: left out, those before it would speak for a stream
    that has since gone off the scale.
    """
    if state is not None and len(latest):
        return model_forecast(state)
    limits = (float(charted.lower[-1]), float(charted.upper[-1])) if len(charted.x) else (np.nan, np.nan)
    return straight_line_forecast(charted.x[latest], lower=limits[0], upper=limits[1])
