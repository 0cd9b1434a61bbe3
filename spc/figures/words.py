"""What a chart says when a point or a mark is touched."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import tzinfo
from html import escape

import numpy as np

from spc.arrays import IntArray
from spc.records import NOT_RUN, Bound, Event
from spc.results import Signal, StreamResult
from spc.signals import rule_sentence
from spc.times import from_microseconds
from spc.wording import reading_text, time_text

LINE_LENGTH = 48


def axis_times(taken_at: IntArray, zone: tzinfo) -> list[str]:
    """Return times for a plotly axis: local time of `zone`, as it knows no zones."""
    return [axis_time(int(at), zone) for at in taken_at]


def axis_time(taken_at: int, zone: tzinfo) -> str:
    """Return one time for a plotly axis."""
    return from_microseconds(taken_at).astimezone(zone).replace(tzinfo=None).isoformat(sep=" ")


def signals_at(result: StreamResult) -> Mapping[int, tuple[str, ...]]:
    """Return for each signalled place of the chart what fired, in words: what warns, and what is drawn only."""
    found: dict[int, dict[str, None]] = defaultdict(dict)
    for signal in result.signals:
        found[signal.position][f"signal: {rule_sentence(signal, result)}"] = None
    for signal in drawn_only(result):
        found[signal.position][f"run rule, drawn only: {rule_sentence(signal, result)}"] = None
    return {place: tuple(sentences) for place, sentences in found.items()}


def drawn_only(result: StreamResult) -> tuple[Signal, ...]:
    """Return the hits of run rules and of the moving-range limit that do not warn."""
    warning = set(result.signals)
    return tuple(signal for signal in result.rule_signals if signal not in warning)


def touched_points(result: StreamResult, places: IntArray, zone: tzinfo) -> list[str]:
    """Return what each of the charted `places` says when touched."""
    signals = signals_at(result)
    failed = {failure.index for failure in result.failures}
    return [_touched(result, int(place), signals.get(int(place), ()), failed, zone) for place in places]


def _touched(result: StreamResult, place: int, signals: tuple[str, ...], failed: set[int], zone: tzinfo) -> str:
    charted, index = result.charted, int(result.charted.index[place])
    value = reading_text(float(charted.x[place]), result.check, int(charted.bound[place]))
    lines = [f"<b>{escape(value)}</b>", time_text(from_microseconds(int(charted.taken_at[place])), zone)]
    if index in failed:
        lines.append("<b>outside the acceptance limits</b>")
    lines += [line for sentence in signals for line in _wrapped(sentence)]
    return "<br>".join([*lines, *_written(result, index)])


def touched_words(result: StreamResult, places: IntArray, zone: tzinfo) -> list[str]:
    """Return what each of the judged readings at `places` of the stream says when touched."""
    readings = result.readings
    return [
        "<br>".join(
            [
                f"<b>{escape(str(readings.word[i]))}</b>",
                time_text(from_microseconds(int(readings.taken_at[i])), zone),
                *_written(result, int(i)),
            ]
        )
        for i in places
    ]


def _written(result: StreamResult, index: int) -> list[str]:
    """Return who wrote a reading down, with what, and what else was written."""
    readings = result.readings
    who = ", ".join(str(part) for part in (readings.technician[index], readings.instrument[index]) if part)
    lines = [escape(who)] if who else []
    if note := str(readings.note[index]):
        lines += [f"<i>{line}</i>" for line in _wrapped(note)]
    return [*lines, f"row {readings.row[index]}"]


def touched_event(event: Event, zone: tzinfo) -> str:
    """Return what the mark of an event says when touched."""
    lines = [f"<b>{escape(event_name(event))}</b>", time_text(event.at, zone)]
    if not np.isnan(event.amount):
        lines.append(escape(f"{event.amount:g} {event.unit}".strip()))
    return "<br>".join([*lines, *_wrapped(event.note)])


def event_name(event: Event) -> str:
    """Return the kind of an event as people say it."""
    return event.kind.replace("_", " ")


def _wrapped(text: str) -> list[str]:
    from textwrap import wrap

    return [escape(line) for line in wrap(text, LINE_LENGTH)]


def not_running(result: StreamResult) -> IntArray:
    """Return the places of readings that say the line was not in operation."""
    return np.flatnonzero(result.readings.word == NOT_RUN).astype(np.int64)


def bound_symbol(bound: int) -> str:
    """Return the mark of a reading: an arrow towards where the true value lies when only a bound was written."""
    return {Bound.BELOW: "arrow-down", Bound.ABOVE: "arrow-up"}.get(Bound(bound), "circle")
