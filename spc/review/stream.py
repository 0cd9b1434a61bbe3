"""One stream of a review: what it did in the period, what it was asked, what comes next."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

import numpy as np

from spc.arrays import frozen
from spc.as_of import first_readings
from spc.capability.fraction_outside import FractionOutside, counted_fraction_outside
from spc.capability.indices import Specification
from spc.catalogue.acceptance import Acceptance
from spc.charted import limits_by_day, was_running
from spc.containment import ExposureWindow
from spc.failed_reading import standing_failure
from spc.interval_evidence import IntervalEvidence, interval_evidence
from spc.monitor import monitor_stream
from spc.records import Bound, StreamKey
from spc.results import Charted, Failure, StreamResult
from spc.review.capable import Indices, indices_of
from spc.review.period import Period
from spc.schedule.ledger import Entry, StreamLedger
from spc.schedule.operation import Operation
from spc.signals import Episode, episodes
from spc.times import from_microseconds, to_microseconds
from spc.wording import bounds_text, source_text

Movement = Literal["stable", "moved", "moving", "learning", "judged", "no readings"]
"""stable: no signal in the period. moved: signals, none of which goes on. moving: one goes on at the end."""


@dataclass(frozen=True, slots=True)
class SignalStep:
    """Something that was done about a signal: acknowledged, cause, action, closed."""

    key: StreamKey
    signal_at: datetime  # of the reading that signalled, aware
    rule: str
    step: str
    by: str
    at: datetime  # when it was written down, aware
    words: str = ""


@dataclass(frozen=True, slots=True)
class EpisodeReview:
    """A movement of a stream with what was done about it."""

    episode: Episode
    steps: tuple[SignalStep, ...]  # in the order in which they were written down

    @property
    def answered(self) -> bool:
        """Whether anyone wrote anything down about it."""
        return bool(self.steps)


@dataclass(frozen=True, slots=True)
class LimitsInForce:
    """Acceptance limits that held for readings of the period."""

    acceptance: Acceptance
    words: str  # what they ask
    source: str  # document and revision, or that the site has not confirmed them
    first: datetime  # first and last reading they judged, aware UTC
    last: datetime
    n: int


@dataclass(frozen=True, slots=True)
class ScheduleCount:
    """What became of the checks that were due in a period."""

    done: int
    late: int
    missed: int
    not_in_operation: int
    open: Entry | None  # the obligation at the end of the period, due or overdue; None where no clock sets one
    longest_gap: timedelta | None  # between two checks of the period
    interval: str  # in words, with its document

    @property
    def overdue(self) -> bool:
        """Whether a check was overdue at the end."""
        return self.open is not None and self.open.status == "overdue"

    @property
    def asked(self) -> int:
        """Checks that had to be made: done, late and missed."""
        return self.done + self.late + self.missed


@dataclass(frozen=True, slots=True)
class StreamReview:
    """One stream in one period; what stands in `result` is known up to the end of the period."""

    key: StreamKey
    result: StreamResult
    movement: Movement
    inside: slice  # places of the period in `result.charted`
    n: int  # charted readings in the period
    read: int  # all readings in the period
    not_run: int  # of these, rows that say the line was not in operation
    mean: float | None  # of the exact readings in the period, in the chart unit
    least: float | None
    most: float | None
    indices: Indices | None  # None for a judged check
    outside: FractionOutside | None  # counted over all charted readings of the period; None without one pair of limits
    failures: tuple[Failure, ...]  # in the period
    failing: Failure | None  # a failure that no reading since has undone, at the end of the period
    episodes: tuple[EpisodeReview, ...]  # of signals in the period, oldest first
    windows: tuple[ExposureWindow, ...]  # of failures in the period
    limits: tuple[LimitsInForce, ...]
    schedule: ScheduleCount
    evidence: IntervalEvidence | None

    @property
    def moving(self) -> Episode | None:
        """The movement that goes on at the end of the period, if any."""
        return next((each.episode for each in reversed(self.episodes) if each.episode.open), None)

    @property
    def unanswered(self) -> int:
        """Movements that nobody wrote anything down about."""
        return sum(not each.answered for each in self.episodes)


def up_to(result: StreamResult, stop: datetime) -> StreamResult:
    """Return what is known of a stream from readings and events before `stop` (aware)."""
    n = int(np.searchsorted(result.readings.taken_at, to_microseconds(stop), side="left"))
    events = tuple(event for event in result.events if event.at < stop)
    if n == len(result.readings) and len(events) == len(result.events):
        return result
    return monitor_stream(first_readings(result.readings, n), events, result.check)


def review_stream(
    result: StreamResult,
    ledger: StreamLedger,
    operation: Operation,
    windows: Sequence[ExposureWindow],
    steps: Sequence[SignalStep],
    period: Period,
    *,
    now: datetime,
    generator: np.random.Generator,
    mark: float,
    confidence: float,
) -> StreamReview:
    """Return one stream in one period; arguments as `review`, of this stream."""
    result = up_to(result, min(period.stop, now + timedelta(minutes=5)))
    inside = period.places(result.charted.taken_at)
    every = period.places(result.readings.taken_at)
    own = tuple(each for each in windows if each.key == result.key and period.holds(each.failed_at))
    exact = result.charted.bound[inside] == Bound.EXACT
    numbers = result.charted.x[inside][exact]
    found = _episodes(result, steps, period)
    indices = None
    if result.check.charted != "none" and result.check.kind == "measured":
        indices = indices_of(result, inside, zone=period.zone, generator=generator, mark=mark, confidence=confidence)
    return StreamReview(
        key=result.key,
        result=result,
        movement=_movement(result, inside, found, every),
        inside=inside,
        n=inside.stop - inside.start,
        read=every.stop - every.start,
        not_run=int(np.count_nonzero(~was_running(result.readings)[every])),
        mean=float(numbers.mean()) if len(numbers) else None,
        least=float(numbers.min()) if len(numbers) else None,
        most=float(numbers.max()) if len(numbers) else None,
        indices=indices,
        outside=_outside(result.charted, inside, indices, confidence),
        failures=tuple(each for each in result.failures if period.holds(from_microseconds(each.taken_at))),
        failing=standing_failure(result),
        episodes=found,
        windows=own,
        limits=limits_in_force(result, every),
        schedule=schedule_count(ledger, period, result),
        evidence=interval_evidence(
            result, operation, own, start=period.start, stop=min(period.stop, now), confidence=confidence
        ),
    )


def _episodes(result: StreamResult, steps: Sequence[SignalStep], period: Period) -> tuple[EpisodeReview, ...]:
    found = []
    for episode in episodes(result, period.zone):
        if not any(period.holds(from_microseconds(signal.taken_at)) for signal in episode.signals):
            continue
        moments = {signal.taken_at for signal in episode.signals}
        own = [step for step in steps if step.key == result.key and to_microseconds(step.signal_at) in moments]
        found.append(EpisodeReview(episode, tuple(sorted(own, key=lambda step: step.at))))
    return tuple(found)


def _movement(result: StreamResult, inside: slice, found: Sequence[EpisodeReview], every: slice) -> Movement:
    if every.start == every.stop:
        return "no readings"
    if result.check.charted == "none" or result.check.kind == "judged":
        return "judged"
    if found:
        return "moving" if found[-1].episode.open else "moved"
    newest = result.segments[-1] if result.segments else None
    if newest is None or newest.limits is None or (newest.first >= inside.start and not newest.limits.complete):
        return "learning"
    return "stable"


def _outside(charted: Charted, inside: slice, indices: Indices | None, confidence: float) -> FractionOutside | None:
    """Return the share of the period's readings outside the limits they share, a censored one as far as it is sure."""
    if indices is None:
        return None
    limits = {*zip(np.nan_to_num(charted.lower[inside], nan=-np.inf).tolist(),
                   np.nan_to_num(charted.upper[inside], nan=np.inf).tolist(), strict=True)}  # fmt: skip
    if len(limits) != 1 or limits == {(-np.inf, np.inf)} or np.any(charted.bound[inside] != Bound.EXACT):
        return None
    low, high = limits.pop()
    specification = Specification(None if np.isinf(low) else low, None if np.isinf(high) else high)
    return counted_fraction_outside(frozen(charted.x[inside]), specification, stable=None, confidence=confidence)


def limits_in_force(result: StreamResult, every: slice) -> tuple[LimitsInForce, ...]:
    """Return the acceptance limits that judged the readings at these places, in order of time."""
    found = []
    times = result.readings.taken_at[every]
    for acceptance, part in limits_by_day(times, result.check):
        own = times[part]
        if len(own):
            found.append(
                LimitsInForce(
                    acceptance,
                    bounds_text(acceptance, result.check),
                    source_text(acceptance),
                    from_microseconds(int(own[0])),
                    from_microseconds(int(own[-1])),
                    len(own),
                )
            )
    return tuple(found)


def schedule_count(ledger: StreamLedger, period: Period, result: StreamResult) -> ScheduleCount:
    """Return what became of the checks that were due in a period."""
    inside = [entry for entry in ledger.entries if (at := entry.due or entry.done_at) and period.holds(at)]
    gaps = [entry.gap for entry in inside if entry.gap is not None]
    interval = result.check.interval
    last = ledger.next
    return ScheduleCount(
        done=sum(entry.status == "done" for entry in inside),
        late=sum(entry.status == "late" for entry in inside),
        missed=sum(entry.status == "missed" for entry in inside),
        not_in_operation=sum(entry.status == "not in operation" for entry in inside),
        open=last,
        longest_gap=max(gaps, default=None),
        interval=interval.words + (f" ({interval.document})" if interval.document else ""),
    )
