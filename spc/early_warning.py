"""Early warning of one stream: from its catalogue entry to the settings of the model, and from readings to signals.

What was recorded goes into the model: a resetting event starts its level anew; a top-up lifts it, by its weight where
one was written; any other event that the check is explained by may have moved it; and the longer the pause before a
reading, the further the level may have gone meanwhile.
"""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from spc.arrays import BoolArray, FloatArray, IntArray
from spc.catalogue.check import LINE_EVENTS, RESETTING_EVENTS, Check
from spc.drift import DriftOutcome, DriftReading, DriftSignal, DriftState, StreamModel, update, watch
from spc.records import Event
from spc.results import Charted, Side, Signal
from spc.times import to_microseconds
from spc.units import convert, convertible

# What readings of a check usually scatter, where the first readings have not shown it yet: relative for what is
# charted by its ratios, else in the chart unit. Estimates of our own (common practice, no source).
_USUAL_RELATIVE = {"uva_irradiance": 0.025, "lamp_visible_light": 0.15, "ambient_light": 0.17, "residual_field": 0.2}
_USUAL = {("bath_concentration", "value"): 0.012, ("ammeter", "deviation"): 1.1, ("timer", "value"): 0.012}
_ELSE_SHARE_OF_LIMITS, _ELSE_SHARE_OF_STEP = 1 / 20, 0.75
_CONSUMED_WANDER, _STEADY_WANDER = 0.5, 0.25  # a bath goes down and is topped up
_AGEING_EVENTS = frozenset({"lamp_replaced"})

TOP_UP = "bath_topped_up"
GAPS = 25
"""Times between readings that show the usual one: their middle."""

FEWEST_GAPS = 5
LONGEST_PAUSE = 400.0
"""A pause counts as no more than this many usual times between two readings."""

_KINDS: dict[DriftSignal, tuple[str, Side]] = {
    "drift_low": ("drift", "low"),
    "drift_high": ("drift", "high"),
    "step_low": ("step", "low"),
    "step_high": ("step", "high"),
}


def stream_model(check: Check) -> StreamModel:
    """Return the model's settings for a stream of `check`, from the catalogue alone.

    - A quantity of ratios, on a log scale: measured as it is, never 0 by its nature, and known to scatter by ratio.
    - What a new lamp resets ages as it is used; what is topped up wanders.
    - The usual scatter is known for the built-in checks; else it is a twentieth of the room between the limits, and
      three quarters of the smallest step where there are not two limits.
    """
    if check.key in _USUAL_RELATIVE and check.charted in ("value", "magnitude"):
        ages = not _AGEING_EVENTS.isdisjoint(check.new_segment_on)
        return StreamModel(log=True, sigma=_USUAL_RELATIVE[check.key], ages=ages)
    wander = _CONSUMED_WANDER if "bath_topped_up" in check.explained_by else _STEADY_WANDER
    return StreamModel(log=False, sigma=_usual_sigma(check), wander=wander)


def _usual_sigma(check: Check) -> float:
    limits, step = next((limits for _, limits in check.acceptance_since), check.acceptance), check.resolution
    if (check.key, check.charted) in _USUAL:
        return _USUAL[check.key, check.charted]
    if limits.lower is not None and limits.upper is not None:
        return (limits.upper - limits.lower) * _ELSE_SHARE_OF_LIMITS
    return _ELSE_SHARE_OF_STEP * step if step else 1.0


def drift_readings(charted: Charted, happened: "Happened", first: int = 0) -> Iterator[DriftReading]:
    """Yield the readings of a stream as the model takes them.

    Args:
        charted: what is on the chart, n readings.
        happened: before each of them.
        first: place of the first one to yield.
    """
    for i in range(first, len(charted.x)):
        yield DriftReading(
            value=float(charted.x[i]),
            bound=int(charted.bound[i]),
            resolution=float(charted.resolution[i]),
            lower=float(charted.lower[i]),
            upper=float(charted.upper[i]),
            restart=bool(happened.restart[i]),
            fed=int(happened.fed[i]),
            amount=float(happened.amount[i]),
            disturbed=bool(happened.disturbed[i]),
            pause=float(happened.pause[i]),
        )


class Happened(NamedTuple):
    """What happened between the reading before and this one; every array has shape (n,)."""

    restart: BoolArray
    fed: IntArray
    amount: FloatArray
    disturbed: BoolArray
    pause: FloatArray


def _happened(charted: Charted, events: Iterable[Event], check: Check) -> Happened:
    n = len(charted.x)
    restart, disturbed = np.zeros(n, dtype=np.bool_), np.zeros(n, dtype=np.bool_)
    fed, amount = np.zeros(n, dtype=np.int64), np.full(n, np.nan)
    inputs: dict[int, list[Event]] = {}
    for event in events:
        place = int(np.searchsorted(charted.taken_at, to_microseconds(event.at), side="left"))
        if place < n and restarts(event, check):
            restart[place] = True
        elif place < n and is_input(event, check):
            inputs.setdefault(place, []).append(event)
    for place, recorded in inputs.items():
        fed[place], amount[place], disturbed[place] = put_in(recorded)
    return Happened(restart, fed, amount, disturbed, pauses(charted.taken_at))


def restarts(event: Event, check: Check) -> bool:
    """Return whether an event that touches a stream of `check` starts its level anew."""
    return event.kind in RESETTING_EVENTS and (event.check == check.key or event.kind in check.new_segment_on)


def is_input(event: Event, check: Check) -> bool:
    """Return whether an event that touches a stream of `check` may have moved its level without starting it anew."""
    return event.kind in check.explained_by and event.kind not in LINE_EVENTS and not restarts(event, check)


def put_in(recorded: Sequence[Event]) -> tuple[int, float, bool]:
    """Return what events between two readings say: top-ups, their total in g, and whether anything else was done.

    The total is NaN where one of the top-ups has no weight.
    """
    top_ups = [event for event in recorded if event.kind == TOP_UP]
    total = math.fsum(map(_grams, top_ups)) if top_ups else math.nan
    return len(top_ups), total, len(top_ups) < len(recorded)


def _grams(event: Event) -> float:
    if not (math.isfinite(event.amount) and event.amount > 0.0):
        return math.nan
    if event.unit == "g":
        return event.amount
    weighed = event.unit and convertible(event.unit, "g")
    return float(convert([event.amount], event.unit, "g")[0]) if weighed else math.nan


def pauses(taken_at: IntArray) -> FloatArray:
    """Return `pause` before each reading, shape (n,).

    Args:
        taken_at: in time order, in microseconds, shape (n,).
    """
    n, gaps = len(taken_at), np.diff(taken_at)
    found = np.ones(n)
    for i in range(FEWEST_GAPS + 1, min(n, GAPS + 1)):
        found[i] = _in_usual_gaps(gaps[: i - 1], gaps[i - 1])
    if n > GAPS + 1:
        middle = (GAPS - 1) // 2
        windows = np.lib.stride_tricks.sliding_window_view(gaps[:-1], GAPS)
        usual = np.partition(windows, middle, axis=1)[:, middle]
        found[GAPS + 1 :] = np.clip(gaps[GAPS:] / np.maximum(usual, 1), 1.0, LONGEST_PAUSE)
    return found


def pause(taken_at: Sequence[int]) -> float:
    """Return how long the pause before the last of some readings was, in usual times between two; 1 or more.

    Args:
        taken_at: of the latest readings in time order, in microseconds; the last GAPS + 2 of them count.
    """
    latest = np.array(taken_at[-GAPS - 2 :], dtype=np.int64)
    gaps: IntArray = latest[1:] - latest[:-1]
    return _in_usual_gaps(gaps[:-1], int(gaps[-1])) if len(gaps) > FEWEST_GAPS else 1.0


def _in_usual_gaps(before: IntArray, gap: int) -> float:
    usual = np.sort(before)[(len(before) - 1) // 2]
    return float(np.clip(gap / max(usual, 1), 1.0, LONGEST_PAUSE))


def early_warning(charted: Charted, events: Iterable[Event], check: Check) -> tuple[DriftState, list[DriftOutcome]]:
    """Return the model's state at the end of a stream, and what was known after each reading."""
    return watch(stream_model(check), drift_readings(charted, _happened(charted, events, check)))


@dataclass(frozen=True, slots=True)
class Behind:
    """What the model of a stream was told up to a reading, and what it then knew: from there it goes on."""

    model: StreamModel
    charted: Charted
    happened: Happened
    state: DriftState
    changes: Mapping[int, DriftOutcome]  # what was known at each signal


def warned(charted: Charted, events: Iterable[Event], check: Check, before: Behind | None, *, compiled: bool) -> Behind:
    """Return what is known at the end of a stream, to the bit what a watch from its start gives.

    It goes on from `before` where the model was told the same then, reading by reading; else from the start.

    Args:
        charted: what is on the chart.
        events: those that touch the stream, in any order.
        check: the check as the stream uses it.
        before: what was known of the stream when it was shorter; None where nothing was.
        compiled: whether compiled loops do the work from the start, see `early_warning_compiled`.
    """
    model, happened = stream_model(check), _happened(charted, events, check)
    if before is not None and before.model == model and _told_alike(before, charted, happened):
        state, changes = before.state, dict(before.changes)
        for i, reading in enumerate(drift_readings(charted, happened, len(before.charted.x)), len(before.charted.x)):
            state, outcome = update(state, reading)
            if outcome.signal is not None:
                changes[i] = outcome
        return Behind(model, charted, happened, state, changes)
    if compiled:
        state, found = early_warning_compiled(charted, events, check)
        return Behind(model, charted, happened, state, found)
    state, outcomes = watch(model, drift_readings(charted, happened))
    known = {i: outcome for i, outcome in enumerate(outcomes) if outcome.signal is not None}
    return Behind(model, charted, happened, state, known)


def _told_alike(before: Behind, charted: Charted, happened: Happened) -> bool:
    """Return whether the model was told then what it would be told now of the readings that there were."""
    n = len(before.charted.x)
    if n > len(charted.x):
        return False
    names = ("x", "bound", "resolution", "lower", "upper")
    pairs = [(getattr(before.charted, name), getattr(charted, name)) for name in names]
    return all(
        np.array_equal(then, now[:n], equal_nan=then.dtype.kind == "f")
        for then, now in (*pairs, *zip(before.happened, happened, strict=True))
    )


def early_warning_compiled(
    charted: Charted, events: Iterable[Event], check: Check
) -> tuple[DriftState, Mapping[int, DriftOutcome]]:
    """Return what `early_warning` does of a long stream, compiled, and only what was known at each signal."""
    from spc.kernels.watch import watch_quietly

    return watch_quietly(
        stream_model(check),
        x=charted.x,
        bound=charted.bound,
        resolution=charted.resolution,
        lower=charted.lower,
        upper=charted.upper,
        **_happened(charted, events, check)._asdict(),
    )


def warning_signals(charted: Charted, outcomes: Mapping[int, DriftOutcome]) -> tuple[Signal, ...]:
    """Return the signals among what was known after readings of a stream, by their place in `charted`."""
    return tuple(
        warning_signal(i, int(charted.taken_at[i]), int(charted.row[i]), float(charted.x[i]), outcome.signal)
        for i, outcome in sorted(outcomes.items())
        if outcome.signal is not None
    )


def warning_signal(position: int, taken_at: int, row: int, value: float, found: DriftSignal) -> Signal:
    """Return what the model found at one reading as a signal."""
    rule, side = _KINDS[found]
    return Signal(position, taken_at, row, value, "early_warning", rule, side)
