"""The monitor one reading at a time: a frozen state, and `update(state, reading)`.

Gives the same segments, limits and signals as `monitor.monitor_stream` at every prefix, at a cost that does not grow
with the history behind it.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from spc.catalogue.check import Check
from spc.drift import DriftReading, DriftState
from spc.drift import start as start_drift
from spc.drift import update as update_drift
from spc.early_warning import GAPS, is_input, pause, put_in, stream_model, warning_signal
from spc.monitor import (
    MOVING_RANGE_RULE,
    START,
    limits_of,
    ranges_beyond,
    signed_limits,
    starts_segment,
    warning_first,
    z_interval,
)
from spc.records import Event
from spc.results import Charted, Limits, Side, Signal
from spc.rules import RuleState, step
from spc.signed_baseline import BEFORE_ALL, in_force
from spc.times import to_microseconds

_SIDES: dict[int, Side | None] = {-1: "low", 0: None, 1: "high"}


@dataclass(frozen=True, slots=True)
class ChartedReading:
    """One reading as the chart takes it: a row of `results.Charted`."""

    taken_at: int  # microseconds since 1970-01-01 UTC
    row: int
    x: float
    bound: int
    resolution: float
    lower: float  # acceptance limits; NaN where none
    upper: float


@dataclass(frozen=True, slots=True)
class MonitorState:
    """What the monitor must remember of a stream."""

    check: Check
    pending: tuple[Event, ...]  # resetting events and inputs of the model not reached yet, in time order
    n: int  # readings charted so far
    first: int  # where the current segment starts
    because: str
    baseline: tuple[ChartedReading, ...]  # of the current segment, until complete
    limits: Limits | None
    rules: RuleState
    before: ChartedReading | None  # the reading before, within the segment
    drift: DriftState | None  # the model of the stream; None where the check has none
    restart: bool  # whether the next reading is the first after a recorded change
    inputs: tuple[Event, ...] = ()  # recorded since the reading before
    times: tuple[int, ...] = ()  # of the latest readings, in microseconds
    since: int = BEFORE_ALL  # when the event happened that started the segment, in microseconds


def start(check: Check, events: Iterable[Event] = ()) -> MonitorState:
    """Return the state before the first reading.

    Args:
        check: the check as the stream uses it.
        events: events that touch the stream; later ones join by `with_event`.
    """
    pending = sorted((event for event in events if _counts(event, check)), key=lambda event: event.at)
    drift = start_drift(stream_model(check)) if check.early_warning and check.charted != "none" else None
    rules = RuleState.start(check.rules)
    return MonitorState(check, tuple(pending), 0, 0, START, (), None, rules, None, drift, restart=False)


def with_event(state: MonitorState, event: Event) -> MonitorState:
    """Return the state that also knows `event`, for readings still to come."""
    if not _counts(event, state.check):
        return state
    return replace(state, pending=tuple(sorted((*state.pending, event), key=lambda e: e.at)))


def _counts(event: Event, check: Check) -> bool:
    return starts_segment(event, check) or is_input(event, check)


def update(state: MonitorState, reading: ChartedReading) -> tuple[MonitorState, tuple[Signal, ...]]:
    """Return the state after `reading`, and the signals it completes."""
    state = _past_events(state, reading.taken_at)
    state, warnings = _warn(state, reading)
    if state.limits is None or not state.limits.complete:
        return _learn(state, reading), warnings
    limits = limits_for(state, reading.taken_at) or state.limits
    rules, fired = _apply(state.rules, reading, limits)
    signals = [
        Signal(
            state.n, reading.taken_at, reading.row, reading.x, "individuals", state.check.rules[rule].key, _SIDES[side]
        )
        for rule, side in fired
    ]
    if state.check.moving_range and _range_beyond(state.before, reading, limits):
        way: Side = "high" if state.before is not None and reading.x > state.before.x else "low"
        signals.append(
            Signal(state.n, reading.taken_at, reading.row, reading.x, "moving_range", MOVING_RANGE_RULE, way)
        )
    state = replace(state, n=state.n + 1, rules=rules, before=reading)
    return state, warning_first(warnings, signals if state.check.rules_signal else ())


def _warn(state: MonitorState, reading: ChartedReading) -> tuple[MonitorState, tuple[Signal, ...]]:
    if state.drift is None:
        return state, ()
    times = (*state.times, reading.taken_at)[-GAPS - 2 :]
    fed, amount, disturbed = put_in(state.inputs)
    drift, outcome = update_drift(
        state.drift,
        DriftReading(
            value=reading.x,
            bound=reading.bound,
            resolution=reading.resolution,
            lower=reading.lower,
            upper=reading.upper,
            restart=state.restart,
            fed=fed,
            amount=amount,
            disturbed=disturbed,
            pause=pause(times),
        ),
    )
    state = replace(state, drift=drift, restart=False, inputs=(), times=times)
    if outcome.signal is None:
        return state, ()
    return state, (warning_signal(state.n, reading.taken_at, reading.row, reading.x, outcome.signal),)


def _past_events(state: MonitorState, taken_at: int) -> MonitorState:
    reached = [event for event in state.pending if to_microseconds(event.at) <= taken_at]
    if not reached:
        return state
    resetting = [event for event in reached if starts_segment(event, state.check)]
    inputs = (*state.inputs, *(event for event in reached if event not in resetting))
    if not resetting:
        return replace(state, pending=state.pending[len(reached) :], inputs=inputs)
    return MonitorState(
        check=state.check,
        pending=state.pending[len(reached) :],
        n=state.n,
        first=state.n,
        because=resetting[-1].kind,
        baseline=(),
        limits=None,
        rules=RuleState.start(state.check.rules),
        before=None,
        drift=state.drift,
        restart=True,
        inputs=inputs,
        times=state.times,
        since=to_microseconds(resetting[-1].at),
    )


def limits_for(state: MonitorState, taken_at: int) -> Limits | None:
    """Return the control limits of a reading taken at `taken_at` in the current segment; None while it has none.

    Those of the baseline that is signed off and in force then, else those that the segment's own readings set.
    """
    check = state.check
    if state.limits is None or not state.limits.complete or not check.signed_baselines:
        return state.limits
    signed = in_force(check.signed_baselines, taken_at, since=state.since, unit=check.chart_unit)
    return signed_limits(signed) if signed is not None else state.limits


def _learn(state: MonitorState, reading: ChartedReading) -> MonitorState:
    baseline = (*state.baseline, reading)
    limits = limits_of(np.array([r.x for r in baseline]), np.array([r.resolution for r in baseline]), state.check)
    rules = state.rules
    if limits is not None and limits.complete:
        for earlier in baseline:
            rules, _ = _apply(rules, earlier, limits)
        baseline = ()
    if state.check.charted == "none":
        baseline = ()
    return replace(state, n=state.n + 1, baseline=baseline, limits=limits, rules=rules, before=reading)


def _apply(rules: RuleState, reading: ChartedReading, limits: Limits) -> tuple[RuleState, tuple[tuple[int, int], ...]]:
    low, high = z_interval(np.array([reading.x]), np.array([reading.bound], dtype=np.int8), limits)
    return step(rules, float(low[0]), float(high[0]))


def _range_beyond(before: ChartedReading | None, reading: ChartedReading, limits: Limits) -> bool:
    if before is None:
        return False
    bound = np.array([before.bound, reading.bound], dtype=np.int8)
    return bool(ranges_beyond(np.array([before.x, reading.x]), bound, limits)[1])


def charted_rows(charted: Charted) -> tuple[ChartedReading, ...]:
    """Return the rows of `charted`, in time order."""
    names = ("taken_at", "row", "x", "bound", "resolution", "lower", "upper")
    columns = (getattr(charted, name).tolist() for name in names)
    return tuple(ChartedReading(*row) for row in zip(*columns, strict=True))
