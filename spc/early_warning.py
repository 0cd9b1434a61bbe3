"""Early warning of one stream: from its catalogue entry to the settings of the model, and from readings to signals."""

from collections.abc import Iterable, Iterator, Mapping

import numpy as np

from spc.catalogue.check import RESETTING_EVENTS, Check
from spc.drift import DriftOutcome, DriftReading, DriftSignal, DriftState, StreamModel, watch
from spc.records import Event
from spc.results import Charted, Side, Signal
from spc.times import to_microseconds

# What readings of a check usually scatter, where the first readings have not shown it yet: relative for what is
# charted by its ratios, else in the chart unit. Estimates of our own (common practice, no source).
_USUAL_RELATIVE = {"uva_irradiance": 0.025, "lamp_visible_light": 0.15, "ambient_light": 0.17, "residual_field": 0.2}
_USUAL = {("bath_concentration", "value"): 0.012, ("ammeter", "deviation"): 1.1, ("timer", "value"): 0.012}
_ELSE_SHARE_OF_LIMITS, _ELSE_SHARE_OF_STEP = 1 / 20, 0.75
_CONSUMED_WANDER, _STEADY_WANDER = 0.5, 0.25  # a bath goes down and is topped up
_AGEING_EVENTS = frozenset({"lamp_replaced"})

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


def drift_readings(charted: Charted, events: Iterable[Event], check: Check) -> Iterator[DriftReading]:
    """Yield the readings of a stream as the model takes them.

    Args:
        charted: what is on the chart, n readings.
        events: those that touch the stream, in any order.
        check: the check as the stream uses it.
    """
    restarts = _restarts(charted, events, check)
    for i in range(len(charted.x)):
        yield DriftReading(
            value=float(charted.x[i]),
            bound=int(charted.bound[i]),
            resolution=float(charted.resolution[i]),
            lower=float(charted.lower[i]),
            upper=float(charted.upper[i]),
            restart=i in restarts,
        )


def _restarts(charted: Charted, events: Iterable[Event], check: Check) -> set[int]:
    """Return the first reading after each event that starts a segment; n for one that has none yet."""
    return {
        int(np.searchsorted(charted.taken_at, to_microseconds(event.at), side="left"))
        for event in events
        if event.kind in RESETTING_EVENTS and (event.check == check.key or event.kind in check.new_segment_on)
    }


def early_warning(charted: Charted, events: Iterable[Event], check: Check) -> tuple[DriftState, list[DriftOutcome]]:
    """Return the model's state at the end of a stream, and what was known after each reading."""
    return watch(stream_model(check), drift_readings(charted, events, check))


def early_warning_compiled(
    charted: Charted, events: Iterable[Event], check: Check
) -> tuple[DriftState, Mapping[int, DriftOutcome]]:
    """Return what `early_warning` does of a long stream, compiled, and only what was known at each signal."""
    from spc.kernels.watch import watch_quietly

    restart = np.zeros(len(charted.x), dtype=np.bool_)
    restart[[place for place in _restarts(charted, events, check) if place < len(restart)]] = True
    return watch_quietly(
        stream_model(check),
        x=charted.x,
        bound=charted.bound,
        resolution=charted.resolution,
        lower=charted.lower,
        upper=charted.upper,
        restart=restart,
    )


def watch_stream(charted: Charted, events: Iterable[Event], check: Check) -> tuple[Signal, ...]:
    """Return the early-warning signals of one stream, one for each reading at which a drift or a step shows.

    A signal at a reading depends on readings and events up to it alone.
    """
    if check.charted == "none":
        return ()
    _, outcomes = early_warning(charted, events, check)
    return warning_signals(charted, dict(enumerate(outcomes)))


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
