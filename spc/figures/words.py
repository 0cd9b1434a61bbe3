"""What a chart says when a point or a mark is touched."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import tzinfo
from functools import lru_cache
from html import escape

import numpy as np

from spc.arrays import BoolArray, IntArray
from spc.by_identity import by_identity
from spc.charted import was_running
from spc.records import Bound, Event
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


@dataclass(frozen=True, slots=True)
class SignalPlaces:
    """Some signals of a stream, in order of place, with what is asked of them for every picture."""

    signals: tuple[Signal, ...]
    at: IntArray  # place of each in the chart, shape (n,)
    of_range: BoolArray  # which are of the moving range, shape (n,)


def signals_at(result: StreamResult, places: IntArray, *, rules: bool = True) -> Mapping[int, tuple[str, ...]]:
    """Return for each signalled one of `places` what fired: what warns and, with `rules`, what is drawn only."""
    found: dict[int, tuple[str, ...]] = {}
    warning, quiet = warning_signals(result), drawn_only(result) if rules else _NO_SIGNALS
    same: dict[tuple[str, str | None], str] = {}  # of a rule and a side; a step says how large it is

    def sentence(signal: Signal) -> str:
        if signal.chart != "individuals":
            return rule_sentence(signal, result)
        name = signal.rule, signal.side
        if name not in same:
            same[name] = rule_sentence(signal, result)
        return same[name]

    signalled = places[among(places, warning.at) | among(places, quiet.at)]
    for place, warns, hits in zip(signalled.tolist(), _at(warning, signalled), _at(quiet, signalled), strict=True):
        said = [f"signal: {sentence(signal)}" for signal in warns]
        said += [f"run rule, drawn only: {sentence(signal)}" for signal in hits]
        found[place] = tuple(dict.fromkeys(said))
    return found


def _at(signals: SignalPlaces, places: IntArray) -> Iterator[tuple[Signal, ...]]:
    """Yield the signals at each of some places."""
    starts, stops = np.searchsorted(signals.at, places), np.searchsorted(signals.at, places, side="right")
    for start, stop in zip(starts.tolist(), stops.tolist(), strict=True):
        yield signals.signals[start:stop]


def among(places: IntArray, others: IntArray) -> BoolArray:
    """Return which of `places` are among `others`, which are in order: few are looked up among very many."""
    if not len(others):
        return np.zeros(len(places), dtype=np.bool_)
    at = np.minimum(np.searchsorted(others, places), len(others) - 1)
    return np.asarray(others[at] == places, dtype=np.bool_)


def _placed(signals: tuple[Signal, ...]) -> SignalPlaces:
    at = np.fromiter((signal.position for signal in signals), np.int64, len(signals))
    return SignalPlaces(
        signals, at, np.fromiter((signal.chart == "moving_range" for signal in signals), np.bool_, len(signals))
    )


_NO_SIGNALS = _placed(())


@by_identity
def warning_signals(result: StreamResult) -> SignalPlaces:
    """Return what warns in a stream."""
    return _placed(result.signals)


@by_identity
def rule_hits(result: StreamResult) -> SignalPlaces:
    """Return the hits of run rules and of the moving-range limit, whether or not they warn."""
    return _placed(result.rule_signals)


@by_identity
def drawn_only(result: StreamResult) -> SignalPlaces:
    """Return the hits of run rules and of the moving-range limit that do not warn."""
    warning = set(result.signals)
    return _placed(tuple(signal for signal in result.rule_signals if signal not in warning))


def touched_points(result: StreamResult, places: IntArray, zone: tzinfo, *, rules: bool = True) -> list[str]:
    """Return what each of the charted `places` says when touched; with `rules`, which run rules hit there too."""
    signals = signals_at(result, places, rules=rules)
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


@lru_cache(maxsize=512)
def _wrapped(text: str) -> tuple[str, ...]:
    """Return text on lines of a length that suits a small box; the same sentence stands at many points."""
    if len(text) <= LINE_LENGTH:
        return (escape(text),) if text else ()
    from textwrap import wrap

    return tuple(escape(line) for line in wrap(text, LINE_LENGTH))


def not_running(result: StreamResult) -> IntArray:
    """Return the places of readings that say the line was not in operation."""
    return np.flatnonzero(~was_running(result.readings)).astype(np.int64)


def bound_symbol(bound: int) -> str:
    """Return the mark of a reading: an arrow towards where the true value lies when only a bound was written."""
    return {Bound.BELOW: "arrow-down", Bound.ABOVE: "arrow-up"}.get(Bound(bound), "circle")


def plain(level: float) -> str:
    """Return a level in four figures, no sign between thousands: it stands beside an axis."""
    return f"{level:.4g}".replace("-", "\N{MINUS SIGN}")
