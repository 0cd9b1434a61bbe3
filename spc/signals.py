"""From single signals to what a person is told: what moves, since when, what to look at first."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

import numpy as np

from spc.change_words import change_parts, change_start, limit_sentence
from spc.monitor import MOVING_RANGE_RULE, reset_since, starts_segment
from spc.records import Event
from spc.results import Segment, Side, Signal, StreamResult, since_reset
from spc.rules import HIGH, LOW, NO_SIDE, describe
from spc.times import from_microseconds
from spc.told import Told
from spc.wording import (
    chart_name,
    level_text,
    reading_text,
    time_text,
)

GAP = 5
"""Signals at most this many readings apart belong to one cause, as long as no resetting event lies between."""

WARNING_GAP = 15
"""The same for two early warnings of one side: a long drift is told once, though the model gets used to its start."""

SAID_REASONS = 2

EXPLAINS_FOR = timedelta(days=3)
"""How long before the first signal an event may lie to be offered as its explanation."""

_RULE_SIDE = {"low": LOW, None: NO_SIDE, "high": HIGH}


@dataclass(frozen=True, slots=True)
class Episode(Told):
    """Signals of one cause: a run of signals of one stream with few readings between them."""

    signals: tuple[Signal, ...]
    side: Side | None  # the side most of its sided signals are on
    since: datetime  # aware, UTC: first reading of the run that the first signal closed
    open: bool  # whether it still goes on at the last reading
    gist: str  # what moves, since when, how far: the sentence without its reasons
    because: str  # the reasons, and what comes next
    look_first: tuple[str, ...]
    explained_by: tuple[Event, ...]

    @property
    def sentence(self) -> str:
        """The whole of it in words."""
        return joined(self.gist, self.because)

    @property
    def first(self) -> Signal:
        """The signal that opened the episode."""
        return self.signals[0]

    @property
    def last(self) -> Signal:
        """The latest signal of the episode."""
        return self.signals[-1]


def joined(gist: str, because: str) -> str:
    """Return a sentence with its reasons."""
    if not because:
        return f"{gist}."
    return f"{gist}{' ' if gist.endswith('.') else ': '}{because}"


def episodes(result: StreamResult, zone: tzinfo) -> tuple[Episode, ...]:
    """Return the signals of a stream grouped by cause, oldest first, each with its sentence in local time of `zone`."""
    groups: list[list[Signal]] = []
    for signal in result.signals:
        if groups and _one_cause(groups[-1][-1], signal, result.segments):
            groups[-1].append(signal)
        else:
            groups.append([signal])
    return tuple(_episode(tuple(group), result, zone) for group in groups)


def _one_cause(before: Signal, after: Signal, segments: Sequence[Segment]) -> bool:
    near = after.position - before.position <= GAP
    if before.chart == after.chart == "early_warning":
        near = before.side == after.side and after.position - before.position <= WARNING_GAP
    return near and stretch_of(before.position, segments).first == stretch_of(after.position, segments).first


def segment_of(position: int, segments: Sequence[Segment]) -> Segment:
    """Return the segment that holds the reading at `position` of the chart."""
    return next(segment for segment in segments if segment.first <= position < segment.stop)


def stretch_of(position: int, segments: Sequence[Segment]) -> Segment:
    """Return the segment that holds the reading at `position`, as it goes back to the last resetting event."""
    return since_reset(segments, segments.index(segment_of(position, segments)))


def _episode(signals: tuple[Signal, ...], result: StreamResult, zone: tzinfo) -> Episode:
    sides = [signal.side for signal in signals if signal.side is not None]
    side: Side | None = None if not sides else "low" if 2 * sides.count("low") >= len(sides) else "high"
    segment = segment_of(signals[0].position, result.segments)
    warnings = [signal for signal in signals if signal.chart == "early_warning"]
    last = len(result.charted.x) - 1
    gap = WARNING_GAP if warnings else GAP
    whole = stretch_of(signals[0].position, result.segments)
    still = (
        whole.first == since_reset(result.segments).first
        and last - signals[-1].position <= gap
        and not is_reset(result)
    )
    if warnings and side is not None:
        start = change_start(warnings, whole, result)
        gist, reasons = change_parts(subject(result), warnings, side, whole, result, zone)
    else:
        start = _start_of_run(signals[0], side, segment, result)
        gist = _gist(signals, side, start, segment, result, zone)
        reasons = "; ".join(_reasons(signals, result))
    ahead = limit_sentence(result, side, zone) if still else ""
    look = result.check.look_first
    return Episode(
        signals=signals,
        side=side,
        since=from_microseconds(int(result.charted.taken_at[start])),
        open=still,
        gist=gist if reasons or not ahead else f"{gist}.",
        because=" ".join(filter(None, (f"{reasons}." if reasons else "", ahead))),
        look_first=(look.get(side) if side else None) or look.get("any", ()),
        explained_by=_explanations(signals[0], result),
    )


def is_reset(result: StreamResult) -> bool:
    """Return whether the limits were started anew after the last charted reading."""
    return reset_since(result.charted, result.events, result.check) is not None


def _start_of_run(signal: Signal, side: Side | None, segment: Segment, result: StreamResult) -> int:
    """Return the first reading in charted order of the run on `side` of the centre line that leads to `signal`."""
    if side is None or segment.limits is None or signal.chart == "moving_range":
        return signal.position
    off = np.sign(result.charted.x[segment.first : signal.position + 1] - segment.limits.centre_line)
    other = np.flatnonzero(off != (1 if side == "high" else -1))
    return segment.first + (int(other[-1]) + 1 if len(other) else 0) if off[-1] else signal.position


def _explanations(signal: Signal, result: StreamResult) -> tuple[Event, ...]:
    at = from_microseconds(signal.taken_at)
    kinds = result.check.explained_by
    return tuple(e for e in result.events if e.kind in kinds and at - EXPLAINS_FOR <= e.at <= at)


def _gist(
    signals: tuple[Signal, ...],
    side: Side | None,
    start: int,
    segment: Segment,
    result: StreamResult,
    zone: tzinfo,
) -> str:
    assert segment.limits is not None
    name, since = subject(result), time_text(from_microseconds(int(result.charted.taken_at[start])), zone)
    if all(signal.chart == "moving_range" for signal in signals):
        return f"{name} jumped at {since}"
    if side is None:
        return f"{name} has been behaving unusually since {since}"
    run = result.charted.x[start : signals[-1].position + 1]
    centre, mean = segment.limits.centre_line, float(run.mean())
    away = level_text(abs(mean - centre), result.check)
    way = "below" if side == "low" else "above"
    if len(run) == 1:
        reading = reading_text(float(run[0]), result.check, int(result.charted.bound[start]))
        usual = level_text(centre, result.check)
        return f"{name} read {reading} at {since}, {away} {way} its centre line {usual}"
    return (
        f"{name} has been {way} its centre line {level_text(centre, result.check)} since {since}, "
        f"by {away} on average over {len(run)} readings"
    )


def _reasons(signals: Sequence[Signal], result: StreamResult) -> list[str]:
    """Return why the first rules fired, the charts' own before the moving range's; two say enough."""
    first_of_rule = {(signal.rule, signal.side): signal for signal in reversed(signals)}
    told = sorted(first_of_rule.values(), key=lambda signal: (signal.chart == "moving_range", signal.position))
    return [rule_sentence(signal, result) for signal in told[:SAID_REASONS]]


def subject(result: StreamResult) -> str:
    """Return what a sentence about a stream calls it: "Bath concentration, tank"."""
    name = chart_name(result.check)
    return f"{name}, {result.key.position}" if result.key.position else name


def rule_sentence(signal: Signal, result: StreamResult) -> str:
    """Return in words which rule fired, or what the early warning found."""
    if signal.chart == "early_warning":
        way = {"low": "down", "high": "up", None: ""}[signal.side]
        return f"early warning: a {signal.rule} {way}".rstrip()
    if signal.rule == MOVING_RANGE_RULE:
        limits = segment_of(signal.position, result.segments).limits
        assert limits is not None
        step = abs(result.charted.x[signal.position] - result.charted.x[signal.position - 1])
        upper = level_text(limits.moving_range_upper, result.check)
        step_text = level_text(step, result.check)
        return f"a step of {step_text} from one reading to the next, where {upper} is the most to expect"
    setting = next(setting for setting in result.check.rules if setting.key == signal.rule)
    return describe(setting, _RULE_SIDE[signal.side])


def resetting_events(result: StreamResult) -> tuple[Event, ...]:
    """Return the events that start a new segment of this stream."""
    return tuple(event for event in result.events if starts_segment(event, result.check))
