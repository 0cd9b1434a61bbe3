"""From single signals to what a person is told: what moves, since when, what to look at first."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from typing import Literal

import numpy as np

from spc.as_of import as_of
from spc.catalogue.acceptance import Verdict, verdict
from spc.change_words import change_parts, change_start, limit_sentence
from spc.charted import was_running
from spc.check_due import CheckDue, due_soon
from spc.margin import last_read, last_text, margin
from spc.monitor import MOVING_RANGE_RULE, reset_since, starts_segment
from spc.records import Event
from spc.results import Failure, Segment, Side, Signal, StreamResult, since_reset
from spc.rules import HIGH, LOW, NO_SIDE, describe
from spc.times import from_microseconds
from spc.told import Told
from spc.wording import (
    NOT_CONFIRMED,
    age_text,
    bounds_text,
    chart_name,
    level_text,
    outside_text,
    reading_text,
    source_text,
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

StateWord = Literal["failed", "overdue", "moving", "idle", "learning", "calm", "judged"]
"""What a stream is at a moment; a state that needs a person goes before one that does not.

A check that is overdue, and a stream whose line is not in operation, is never called calm: what is known of it is old.
"""


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


@dataclass(frozen=True, slots=True)
class StreamState(Told):
    """What a stream's line on the board says."""

    word: StateWord
    gist: str  # what is so, short: for a heading
    because: str  # the reasons, "" where there are none; to stand after `gist`
    look_first: tuple[str, ...]
    obliges: tuple[str, ...]
    last_text: str
    margin_text: str
    margin_fraction: float | None  # 0 on or outside the acceptance limit .. 1 as far inside as a reading can be
    taken_text: str
    age_text: str
    limits_text: str
    due_text: str = ""  # that a check is overdue, due soon, or that the line is not in operation

    @property
    def headline(self) -> str:
        """The whole of it in words."""
        return joined(self.gist, self.because)


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
        and not _reset_since(result)
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


def _reset_since(result: StreamResult) -> bool:
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


def stream_state(result: StreamResult, zone: tzinfo, now: datetime, due: CheckDue | None = None) -> StreamState:
    """Return what the board says of a stream at `now`, from readings and events up to then.

    Args:
        result: of the stream.
        zone: of the times told.
        now: aware.
        due: how the stream stands to its interval; None where nothing is known of that.
    """
    result = as_of(result, now)
    return at_moment(standing_state(result, zone, due), result, zone, now, due)


def at_moment(
    state: StreamState, result: StreamResult, zone: tzinfo, now: datetime, due: CheckDue | None
) -> StreamState:
    """Return what `standing_state` says of a stream, with what the clock alone changes of it: its age, what is due."""
    last = last_read(result)
    taken = from_microseconds(int(result.readings.taken_at[last])) if last is not None else None
    return replace(
        state,
        age_text=age_text(taken, now) if taken else "",
        due_text=due_text(due, zone, now) if due else "",
    )


def standing_state(result: StreamResult, zone: tzinfo, due: CheckDue | None) -> StreamState:
    """Return what the board says of a stream for as long as neither it nor how it stands to its interval changes.

    Args:
        result: of the stream, nothing in it later than now.
        zone: of the times told.
        due: how the stream stands to its interval; None where nothing is known of that.
    """
    word, gist, because, look_first = _word(result, zone, due)
    last = last_read(result)
    taken = from_microseconds(int(result.readings.taken_at[last])) if last is not None else None
    margin_text, margin_fraction = margin(result)
    acceptance = result.check.acceptance
    return StreamState(
        word=word,
        gist=gist,
        because=because,
        look_first=look_first,
        obliges=result.check.obliges if word == "failed" else (),
        last_text=last_text(result),
        margin_text=margin_text,
        margin_fraction=margin_fraction,
        taken_text=time_text(taken, zone) if taken else "never",
        age_text="",
        limits_text=" \N{EN DASH} ".join(
            filter(None, (bounds_text(acceptance, result.check), source_text(acceptance)))
        ),
        due_text="",
    )


def due_text(due: CheckDue, zone: tzinfo, now: datetime) -> str:
    """Return how a stream stands to its interval, "" while its next check is far off."""
    if due.word == "overdue" and due.by is not None:
        return f"check overdue since {time_text(due.by, zone)}"
    if due.word == "not in operation" and due.resting_since is not None:
        return f"line not in operation since {time_text(due.resting_since, zone)}"
    return f"next check due by {time_text(due.by, zone)}" if due_soon(due, now) and due.by else ""


Said = tuple[StateWord, str, str, tuple[str, ...]]


def _word(result: StreamResult, zone: tzinfo, due: CheckDue | None) -> Said:
    """Return the state, its gist, its reasons, and what to look at first."""
    last = last_read(result)
    look = result.check.look_first
    failure = standing_failure(result)
    if failure is not None:
        side = _failed_side(failure, result)
        at = time_text(from_microseconds(failure.taken_at), zone)
        since = "" if failure.index == last else "; no reading since shows that it passes"
        gist = f"{subject(result)} read {failed_text(failure, result)} at {at}"
        return "failed", gist, f"{_asked(result)}{since}.", (look.get(side) if side else None) or look.get("any", ())
    moving = [episode for episode in episodes(result, zone) if episode.open]
    if due is not None and due.word == "overdue" and due.by is not None:
        gist = f"{subject(result)}: check overdue since {time_text(due.by, zone)}"
        asked = f"due {result.check.interval.words}."
        return "overdue", gist, f"{asked} {moving[-1].sentence}" if moving else asked, ()
    if moving:
        return "moving", moving[-1].gist, moving[-1].because, moving[-1].look_first
    if due is not None and due.word == "not in operation":
        return "idle", "Line not in operation", "", ()
    if result.check.kind == "judged":
        return "judged", "Last result acceptable" if last is not None else "Nothing written down yet", "", ()
    if result.check.charted != "none" and _reset_since(result):
        return "learning", _learning(result, 0), "", ()
    limits = result.segments[-1].limits if result.segments else None
    if result.check.charted != "none" and (limits is None or not limits.complete):
        return "learning", _learning(result, limits.n_baseline if limits else len(result.charted.x)), "", ()
    return "calm", "No signal", "", ()


def _learning(result: StreamResult, n: int) -> str:
    return f"Control limits need {result.check.baseline} readings since the last reset; {n} so far"


def failed_text(failure: Failure, result: StreamResult) -> str:
    """Return what failed as people read it: the word, or the number with places enough to see that it is outside."""
    if isinstance(failure.value, str):
        return failure.value
    charted = result.charted
    i = int(np.searchsorted(charted.index, failure.index))
    lower = float(np.nan_to_num(charted.lower[i], nan=-np.inf))
    upper = float(np.nan_to_num(charted.upper[i], nan=np.inf))
    return outside_text(failure.value, result.check, int(charted.bound[i]), lower, upper)


def _asked(result: StreamResult) -> str:
    """Return what the acceptance limits ask, and whether this site has confirmed them."""
    acceptance = result.check.acceptance
    asked = bounds_text(acceptance, result.check)
    return asked if acceptance.rule == "none" or acceptance.confirmed else f"{asked}, {NOT_CONFIRMED}"


def standing_failure(result: StreamResult) -> Failure | None:
    """Return the last failed reading, unless a later one surely passed.

    A reading that cannot be judged (censored across the limit, or without the reference it needs) undoes no failure.
    """
    if not result.failures:
        return None
    failure = result.failures[-1]
    if isinstance(failure.value, str):
        passed = np.flatnonzero(was_running(result.readings))
    else:
        charted = result.charted
        later = slice(int(np.searchsorted(charted.index, failure.index, side="right")), None)  # the others do not count
        judged = verdict(charted.x[later], charted.bound[later], charted.lower[later], charted.upper[later])
        passed = charted.index[later][judged == Verdict.INSIDE]
    return None if len(passed) and passed[-1] > failure.index else failure


def _failed_side(failure: Failure, result: StreamResult) -> Side | None:
    if isinstance(failure.value, str):
        return None
    i = int(np.searchsorted(result.charted.index, failure.index))
    # what is not above the upper limit failed below the lower one: a censored reading may lie on the limit itself
    return "high" if result.charted.x[i] >= result.charted.upper[i] else "low"


def resetting_events(result: StreamResult) -> tuple[Event, ...]:
    """Return the events that start a new segment of this stream."""
    return tuple(event for event in result.events if starts_segment(event, result.check))
