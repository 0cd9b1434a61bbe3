"""The monitor one reading at a time: a frozen state, and the state after the next reading.

Gives the same segments, limits and signals as `monitor.monitor_stream` at every prefix, at a cost that does not grow
with the history behind it.
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields, replace

import numpy as np

from spc.arrays import ObjectArray, frozen
from spc.catalogue.check import Check
from spc.charted import charted_readings, check_of_stream
from spc.drift import DriftReading, DriftState
from spc.drift import start as start_drift
from spc.drift import update as update_drift
from spc.early_warning import GAPS, is_input, pause, put_in, stream_model, warning_signal
from spc.errors import InputError
from spc.monitor import (
    MOVING_RANGE_RULE,
    START,
    limits_of,
    ranges_beyond,
    signed_limits,
    starts_segment,
    touches,
    warning_first,
    z_interval,
)
from spc.records import Bound, Event, Reading, Readings, StreamKey
from spc.results import Limits, Side, Signal
from spc.rules import RuleState, step
from spc.signed_baseline import BEFORE_ALL, in_force
from spc.times import from_microseconds, to_microseconds

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
    """What the monitor must remember of a stream: as much after a million readings as after a hundred."""

    key: StreamKey
    check: Check  # as the stream uses it
    pending: tuple[Event, ...]  # resetting events and inputs of the model not reached yet, in time order
    rules: RuleState
    drift: DriftState | None  # the model of the stream; None where the check has none
    n: int = 0  # readings charted so far
    first: int = 0  # where the current segment starts
    because: str = START
    baseline: tuple[ChartedReading, ...] = ()  # of the current segment, until complete
    limits: Limits | None = None
    before: ChartedReading | None = None  # the reading before, within the segment
    restart: bool = False  # whether the next reading is the first after a recorded change
    inputs: tuple[Event, ...] = ()  # recorded since the reading before
    times: tuple[int, ...] = ()  # of the latest readings, in microseconds
    since: int = BEFORE_ALL  # when the event happened that started the segment, in microseconds
    latest: int = BEFORE_ALL  # when the latest reading was taken, charted or not, in microseconds
    has_number: bool = False  # whether a number was read, which settles how the stream is charted


def monitor_start(readings: Readings, events: Iterable[Event], check: Check) -> MonitorState:
    """Return what the monitor remembers after `readings`; `monitor_next` goes on from there.

    Args:
        readings: the stream so far, in time order; none is well.
        events: events of its line, in any order; later ones join by `monitor_event`.
        check: its catalogue entry.
    """
    touching = [event for event in events if touches(event, readings.key, check)]
    state = _started(readings.key, check_of_stream(readings, check), touching)
    for reading in one_by_one(readings):
        state, _ = monitor_next(state, reading)
    return state


def monitor_next(state: MonitorState, reading: Reading) -> tuple[MonitorState, tuple[Signal, ...]]:
    """Return the state after one more reading, and the signals it completes; `state` itself is left as it was.

    A signal tells of change. Whether the reading is within its acceptance limits is another question, which
    `monitor_stream` answers by its failures.

    Args:
        state: of `monitor_start`, or of the reading before.
        reading: of the same stream, not taken before the latest one.

    Raises:
        InputError: it is of another stream, or was taken before the latest one.
    """
    if reading.key != state.key:
        raise InputError(f"a reading of {reading.key}, but the state is that of {state.key}; keep a state a stream")
    taken_at = to_microseconds(reading.taken_at)
    if taken_at < state.latest:
        raise InputError(
            f"the reading of {reading.taken_at.isoformat()} was taken before the latest one, of "
            f"{from_microseconds(state.latest).isoformat()}; start anew by monitor_start, all readings in time order"
        )
    readings = _alone(reading)
    if not state.has_number and math.isfinite(reading.value):
        settled = _started(state.key, check_of_stream(readings, state.check), state.pending)
        state = replace(settled, has_number=True)
    state = replace(state, latest=taken_at)
    for charted in _charted_rows(readings, state.check):  # one, or none where it is not on the chart
        return _update(state, charted)
    return state, ()


def monitor_event(state: MonitorState, event: Event) -> MonitorState:
    """Return the state that also knows `event`, for readings still to come.

    Raises:
        InputError: a reading was taken since, which it would have told of otherwise.
    """
    if not touches(event, state.key, state.check) or not _counts(event, state.check):
        return state
    if to_microseconds(event.at) <= state.latest:
        raise InputError(
            f"{event.kind} of {event.at.isoformat()} happened before the latest reading, of "
            f"{from_microseconds(state.latest).isoformat()}; start anew by monitor_start with all events"
        )
    return replace(state, pending=tuple(sorted((*state.pending, event), key=lambda each: each.at)))


def one_by_one(readings: Readings) -> Iterator[Reading]:
    """Yield the readings of a stream in their order, each as `monitor_next` takes it."""
    other = {name: column.tolist() for name, column in readings.other.items()}
    names = [each.name for each in fields(Reading) if each.name not in ("key", "taken_at", "bound", "other")]
    columns = {name: getattr(readings, name).tolist() for name in names}
    for i, (at, bound) in enumerate(zip(readings.taken_at.tolist(), readings.bound.tolist(), strict=True)):
        yield Reading(
            key=readings.key,
            taken_at=from_microseconds(at),
            bound=Bound(bound),
            **{name: column[i] for name, column in columns.items()},
            other={name: column[i] for name, column in other.items()},
        )


def _alone(reading: Reading) -> Readings:
    """Return the stream of this one reading."""

    def text(words: str) -> ObjectArray:
        return frozen(np.array([words], dtype=np.object_))

    return Readings(
        key=reading.key,
        taken_at=frozen(np.array([to_microseconds(reading.taken_at)], dtype=np.int64)),
        offset=frozen(np.array([reading.offset], dtype=np.int16)),
        row=frozen(np.array([reading.row], dtype=np.int64)),
        value=frozen(np.array([reading.value], dtype=np.float64)),
        bound=frozen(np.array([reading.bound], dtype=np.int8)),
        word=text(reading.word),
        reference=frozen(np.array([reading.reference], dtype=np.float64)),
        instrument=text(reading.instrument),
        technician=text(reading.technician),
        shift=text(reading.shift),
        note=text(reading.note),
        other={name: text(words) for name, words in reading.other.items()},
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


def _started(key: StreamKey, check: Check, events: Iterable[Event]) -> MonitorState:
    """Return the state before the first reading."""
    pending = tuple(sorted((event for event in events if _counts(event, check)), key=lambda event: event.at))
    drift = start_drift(stream_model(check)) if check.early_warning and check.charted != "none" else None
    return MonitorState(key, check, pending, RuleState.start(check.rules), drift)


def _counts(event: Event, check: Check) -> bool:
    return starts_segment(event, check) or is_input(event, check)


def _charted_rows(readings: Readings, check: Check) -> tuple[ChartedReading, ...]:
    """Return what is charted of `readings`, in time order."""
    charted = charted_readings(readings, check)
    names = ("taken_at", "row", "x", "bound", "resolution", "lower", "upper")
    columns = (getattr(charted, name).tolist() for name in names)
    return tuple(ChartedReading(*row) for row in zip(*columns, strict=True))


def _update(state: MonitorState, reading: ChartedReading) -> tuple[MonitorState, tuple[Signal, ...]]:
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
    state = replace(state, pending=state.pending[len(reached) :], inputs=inputs)
    if not resetting:
        return state
    return replace(
        state,
        first=state.n,
        because=resetting[-1].kind,
        baseline=(),
        limits=None,
        rules=RuleState.start(state.check.rules),
        before=None,
        restart=True,
        since=to_microseconds(resetting[-1].at),
    )


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
