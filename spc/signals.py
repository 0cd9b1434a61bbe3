"""From single signals to what a person is told: what moves, since when, what to look at first."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import Literal

import numpy as np

from spc.catalogue.acceptance import Verdict, verdict
from spc.change_words import change_sentence, change_start, limit_sentence
from spc.charted import was_running
from spc.monitor import MOVING_RANGE_RULE, reset_since, starts_segment
from spc.records import Bound, Event
from spc.results import Failure, Segment, Side, Signal, StreamResult
from spc.rules import HIGH, LOW, NO_SIDE, describe
from spc.times import from_microseconds
from spc.wording import (
    NOT_CONFIRMED,
    age_text,
    bounds_text,
    level_text,
    number,
    outside_text,
    reading_text,
    source_text,
    time_text,
    with_unit,
)

GAP = 5
"""Signals at most this many readings apart belong to one cause, as long as no resetting event lies between."""

WARNING_GAP = 15
"""The same for two early warnings of one side: a long drift is told once, though the model gets used to its start."""

SAID_REASONS = 2

EXPLAINS_FOR = timedelta(days=3)
"""How long before the first signal an event may lie to be offered as its explanation."""

_RULE_SIDE = {"low": LOW, None: NO_SIDE, "high": HIGH}

StateWord = Literal["failed", "moving", "learning", "calm", "judged"]


@dataclass(frozen=True, slots=True)
class Episode:
    """Signals of one cause: a run of signals of one stream with few readings between them."""

    signals: tuple[Signal, ...]
    side: Side | None  # the side most of its sided signals are on
    since: datetime  # aware, UTC: first reading of the run that the first signal closed
    open: bool  # whether it still goes on at the last reading
    sentence: str
    look_first: tuple[str, ...]
    explained_by: tuple[Event, ...]

    @property
    def first(self) -> Signal:
        """The signal that opened the episode."""
        return self.signals[0]

    @property
    def last(self) -> Signal:
        """The latest signal of the episode."""
        return self.signals[-1]


@dataclass(frozen=True, slots=True)
class StreamState:
    """What a stream's line on the board says."""

    word: StateWord
    headline: str
    look_first: tuple[str, ...]
    obliges: tuple[str, ...]
    last_text: str
    margin_text: str
    margin_fraction: float | None  # 0 on or outside the acceptance limit .. 1 as far inside as a reading can be
    taken_text: str
    age_text: str
    limits_text: str


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
    return near and segment_of(before.position, segments) is segment_of(after.position, segments)


def segment_of(position: int, segments: Sequence[Segment]) -> Segment:
    """Return the segment that holds the reading at `position` of the chart."""
    return next(segment for segment in segments if segment.first <= position < segment.stop)


def _episode(signals: tuple[Signal, ...], result: StreamResult, zone: tzinfo) -> Episode:
    sides = [signal.side for signal in signals if signal.side is not None]
    side: Side | None = None if not sides else "low" if 2 * sides.count("low") >= len(sides) else "high"
    segment = segment_of(signals[0].position, result.segments)
    warnings = [signal for signal in signals if signal.chart == "early_warning"]
    last = len(result.charted.x) - 1
    gap = WARNING_GAP if warnings else GAP
    still = segment is result.segments[-1] and last - signals[-1].position <= gap and not _reset_since(result)
    if warnings and side is not None:
        start = change_start(warnings, segment, result)
        sentence = change_sentence(subject(result), warnings, side, segment, result, zone)
    else:
        start = _start_of_run(signals[0], side, segment, result)
        sentence = _sentence(signals, side, start, segment, result, zone)
    ahead = limit_sentence(result, side, zone) if still else ""
    look = result.check.look_first
    return Episode(
        signals=signals,
        side=side,
        since=from_microseconds(int(result.charted.taken_at[start])),
        open=still,
        sentence=f"{sentence} {ahead}".rstrip(),
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


def _sentence(
    signals: tuple[Signal, ...],
    side: Side | None,
    start: int,
    segment: Segment,
    result: StreamResult,
    zone: tzinfo,
) -> str:
    assert segment.limits is not None
    name, since = subject(result), time_text(from_microseconds(int(result.charted.taken_at[start])), zone)
    reasons = "; ".join(_reasons(signals, result))
    if all(signal.chart == "moving_range" for signal in signals):
        return f"{name} jumped at {since}: {reasons}."
    if side is None:
        return f"{name} has been behaving unusually since {since}: {reasons}."
    run = result.charted.x[start : signals[-1].position + 1]
    centre, mean = segment.limits.centre_line, float(run.mean())
    away = level_text(abs(mean - centre), result.check)
    way = "below" if side == "low" else "above"
    if len(run) == 1:
        reading = reading_text(float(run[0]), result.check, int(result.charted.bound[start]))
        usual = level_text(centre, result.check)
        return f"{name} read {reading} at {since}, {away} {way} its centre line {usual}: {reasons}."
    return (
        f"{name} has been {way} its centre line {level_text(centre, result.check)} since {since}, "
        f"by {away} on average over {len(run)} readings: {reasons}."
    )


def _reasons(signals: Sequence[Signal], result: StreamResult) -> list[str]:
    """Return why the first rules fired, the charts' own before the moving range's; two say enough."""
    first_of_rule = {(signal.rule, signal.side): signal for signal in reversed(signals)}
    told = sorted(first_of_rule.values(), key=lambda signal: (signal.chart == "moving_range", signal.position))
    return [rule_sentence(signal, result) for signal in told[:SAID_REASONS]]


def subject(result: StreamResult) -> str:
    """Return what a sentence about a stream calls it: "Bath concentration, tank"."""
    return f"{result.check.title}, {result.key.position}" if result.key.position else result.check.title


def rule_sentence(signal: Signal, result: StreamResult) -> str:
    """Return in words which rule fired."""
    if signal.rule == MOVING_RANGE_RULE:
        limits = segment_of(signal.position, result.segments).limits
        assert limits is not None
        step = abs(result.charted.x[signal.position] - result.charted.x[signal.position - 1])
        upper = level_text(limits.moving_range_upper, result.check)
        step_text = level_text(step, result.check)
        return f"a step of {step_text} from one reading to the next, where {upper} is the most to expect"
    setting = next(setting for setting in result.check.rules if setting.key == signal.rule)
    return describe(setting, _RULE_SIDE[signal.side])


def stream_state(result: StreamResult, zone: tzinfo, now: datetime) -> StreamState:
    """Return what the board says of a stream at `now`."""
    word, headline, look_first = _word(result, zone)
    last = _last_read(result)
    taken = from_microseconds(int(result.readings.taken_at[last])) if last is not None else None
    margin_text, margin_fraction = margin(result)
    acceptance = result.check.acceptance
    return StreamState(
        word=word,
        headline=headline,
        look_first=look_first,
        obliges=result.check.obliges if word == "failed" else (),
        last_text=last_text(result),
        margin_text=margin_text,
        margin_fraction=margin_fraction,
        taken_text=time_text(taken, zone) if taken else "never",
        age_text=age_text(taken, now) if taken else "",
        limits_text=" \N{EN DASH} ".join(
            filter(None, (bounds_text(acceptance, result.check), source_text(acceptance)))
        ),
    )


def _word(result: StreamResult, zone: tzinfo) -> tuple[StateWord, str, tuple[str, ...]]:
    last = _last_read(result)
    look = result.check.look_first
    failure = standing_failure(result)
    if failure is not None:
        side = _failed_side(failure, result)
        asked = _asked(result)
        at = time_text(from_microseconds(failure.taken_at), zone)
        since = "" if failure.index == last else "; no reading since shows that it passes"
        headline = f"{subject(result)} read {failed_text(failure, result)} at {at}: {asked}{since}."
        return "failed", headline, (look.get(side) if side else None) or look.get("any", ())
    moving = [episode for episode in episodes(result, zone) if episode.open]
    if moving:
        return "moving", moving[-1].sentence, moving[-1].look_first
    if result.check.kind == "judged":
        return "judged", "Last result acceptable." if last is not None else "Nothing written down yet.", ()
    if result.check.charted != "none" and _reset_since(result):
        return "learning", f"Control limits need {result.check.baseline} readings since the last reset; 0 so far.", ()
    limits = result.segments[-1].limits if result.segments else None
    if result.check.charted != "none" and (limits is None or not limits.complete):
        n = limits.n_baseline if limits else len(result.charted.x)
        return "learning", f"Control limits need {result.check.baseline} readings since the last reset; {n} so far.", ()
    return "calm", "No signal.", ()


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
        inside = verdict(charted.x, charted.bound, charted.lower, charted.upper) == Verdict.INSIDE
        passed = charted.index[inside]
    return None if len(passed) and passed[-1] > failure.index else failure


def _failed_side(failure: Failure, result: StreamResult) -> Side | None:
    if isinstance(failure.value, str):
        return None
    i = int(np.searchsorted(result.charted.index, failure.index))
    # what is not above the upper limit failed below the lower one: a censored reading may lie on the limit itself
    return "high" if result.charted.x[i] >= result.charted.upper[i] else "low"


def _last_read(result: StreamResult) -> int | None:
    """Return the index of the last reading taken with the line in operation."""
    running = np.flatnonzero(was_running(result.readings))
    return int(running[-1]) if len(running) else None


def last_text(result: StreamResult) -> str:
    """Return the last reading as people read it, "" when there is none."""
    last = _last_read(result)
    if last is None:
        return ""
    if len(result.charted.x) and result.charted.index[-1] == last:
        return reading_text(float(result.charted.x[-1]), result.check, int(result.charted.bound[-1]))
    return str(result.readings.word[last]) or with_unit(
        number(float(result.readings.value[last]), result.check.decimals), result.check.unit_label
    )


def margin(result: StreamResult) -> tuple[str, float | None]:
    """Return how far the last reading is inside its acceptance limits: in words, and as a fraction.

    Of a reading that cannot be judged the words say why; there is no fraction then. The fraction is 0 on the limit or
    outside. With two limits it is 1 in the middle between them; with one limit it is 1 where the reading is as far
    inside as the centre line of its segment, or farther.
    """
    charted, check = result.charted, result.check
    if not len(charted.x):
        return "", None
    if charted.index[-1] != _last_read(result):
        return "not judged: no reference beside it", None
    judged = _last_verdict(result)
    if judged is Verdict.UNDECIDED and charted.bound[-1] != Bound.EXACT and _has_limits(result):
        return f"not judged: {last_text(result)} may lie on either side of the limit", None
    x, lower, upper = float(charted.x[-1]), float(charted.lower[-1]), float(charted.upper[-1])
    distances = [(x - lower, "above the lower", lower), (upper - x, "below the upper", upper)]
    distance, way, limit = min((d for d in distances if not np.isnan(d[0])), default=(np.nan, "", np.nan))
    if np.isnan(distance):
        return _why_no_limit(result), None
    shown = f"{limit:g}".replace("-", "\N{MINUS SIGN}")
    if distance >= 0 and judged is Verdict.OUTSIDE:  # ">2" where at most 2 is asked
        return f"beyond the limit {shown}", 0.0
    if distance < 0 and judged is not Verdict.OUTSIDE:  # on the limit, however the arithmetic rounded
        return f"on the limit {shown}", 0.0
    if distance < 0:
        way = "below the lower" if way.startswith("above") else "above the upper"
    text = f"{reading_text(abs(distance), check)} {way} limit {shown}"
    if distance <= 0:
        return (text if distance else f"on the limit {shown}"), 0.0
    limits = result.segments[-1].limits if result.segments else None
    if not np.isnan(lower) and not np.isnan(upper):
        usual = (upper - lower) / 2
    else:
        usual = abs((limits.centre_line if limits else x) - limit)
    return text, min(1.0, distance / usual) if usual > 0 else 1.0


def _last_verdict(result: StreamResult) -> Verdict:
    """Return how the last charted reading lies to its acceptance limits."""
    last = result.charted
    return Verdict(int(verdict(last.x[-1:], last.bound[-1:], last.lower[-1:], last.upper[-1:])[0]))


def _has_limits(result: StreamResult) -> bool:
    """Return whether the last charted reading has an acceptance limit."""
    return not (np.isnan(result.charted.lower[-1]) and np.isnan(result.charted.upper[-1]))


def _why_no_limit(result: StreamResult) -> str:
    """Return why the last charted reading has no acceptance limit."""
    if result.check.acceptance.rule in ("none", "fixed"):
        return "no acceptance limit"
    if np.isnan(result.readings.reference[result.charted.index[-1]]):
        return "not judged: no reference beside it"
    reference = float(result.readings.reference[result.charted.index[-1]])
    return f"not judged: the document names no limit at {reference:g} A"


def resetting_events(result: StreamResult) -> tuple[Event, ...]:
    """Return the events that start a new segment of this stream."""
    return tuple(event for event in result.events if starts_segment(event, result.check))
