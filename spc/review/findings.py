"""What a review says on its first page: what to do first, and what changed since the period before."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, get_args

from spc.containment import ExposureWindow
from spc.failed_reading import failed_text
from spc.failures import FailureRecord
from spc.instruments import CalibrationDue
from spc.records import StreamKey
from spc.review.period import Period, day_text
from spc.review.stream import SignalStep, StreamReview
from spc.signals import subject
from spc.stream_facts import chance_text
from spc.times import from_microseconds
from spc.wording import level_text, time_text

FindingKind = Literal[
    "failing", "overdue", "unwritten", "calibration", "moving", "missed", "not capable", "unanswered", "limits"
]
ORDER: tuple[FindingKind, ...] = get_args(FindingKind)
"""What needs a person first comes first."""

NOTABLE_RISK = 0.05
"""Chance of a failed check among the next five from which a forecast is told."""

NOTABLE_SHIFT = 1.0
"""Change of the mean between periods, in short-term sigmas, from which it is told."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to do, with why."""

    kind: FindingKind
    key: StreamKey | None  # None where it is of no one stream
    words: str  # a sentence or two
    look_first: tuple[str, ...] = ()
    at: datetime | None = None  # aware; when the check failed that it is about

    @property
    def rank(self) -> int:
        """0 for what comes first."""
        return ORDER.index(self.kind)


def findings(
    streams: Sequence[StreamReview], instruments: Iterable[CalibrationDue], period: Period
) -> tuple[Finding, ...]:
    """Return what the streams and instruments ask for, in order of the streams."""
    found = [finding for stream in streams for finding in _of_stream(stream, period)]
    found += [
        Finding(
            "calibration",
            None,
            f"{each.instrument.name}: calibration overdue since {day_text(each.due)}; {each.used_overdue} readings "
            "were made with it after that day.",
        )
        for each in instruments
        if each.state == "overdue" and each.due is not None
    ]
    found += _missed(streams)
    unconfirmed = sorted({stream.result.check.title for stream in streams if _unconfirmed(stream)})
    if unconfirmed:
        words = f"Limits not confirmed for this site: {', '.join(unconfirmed)}. Confirm document and revision."
        found.append(Finding("limits", None, words))
    return tuple(found)


def in_order(found: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return what to do, the most urgent first; within a kind in the order given."""
    return tuple(sorted(found, key=lambda finding: finding.rank))


def unwritten(
    windows: Iterable[ExposureWindow], records: Iterable[FailureRecord], steps: Sequence[SignalStep], period: Period
) -> Iterator[Finding]:
    """Yield each failed check about which nobody wrote anything down, the latest first.

    Something is written where the failed check has a record, or where a signal of its stream was answered that lies
    between the last good check and the one that passed again.

    Args:
        windows: of the failed checks, in time order.
        records: of failed checks.
        steps: what was done about signals.
        period: for its zone.
    """
    kept = {(record.key, record.failed_at) for record in records}
    for window in reversed([*windows]):
        if (window.key, window.failed_at) in kept or any(_answers(step, window) for step in steps):
            continue
        named = " ".join(filter(None, (window.check.title, window.key.position)))
        passed = "It passed again" if window.passed_at else "It has not passed since"
        words = (
            f"{window.key.line}, {named} failed {time_text(window.failed_at, period.zone)} and read {window.failed}. "
            f"{passed}; nobody wrote down who was told, what was held or what was found."
        )
        yield Finding("unwritten", window.key, words, at=window.failed_at)


def _answers(step: SignalStep, window: ExposureWindow) -> bool:
    after = window.passed_at is None or step.signal_at <= window.passed_at
    return step.key == window.key and window.first <= step.signal_at and after


def _missed(streams: Sequence[StreamReview]) -> Iterator[Finding]:
    """Yield a finding for each line on which checks were missed, the worst stream first."""
    for line in dict.fromkeys(stream.key.line for stream in streams):
        own = [stream for stream in streams if stream.key.line == line and stream.schedule.missed]
        worst = sorted(own, key=lambda stream: -stream.schedule.missed)
        told = [f"{subject(each.result)} ({each.schedule.missed} of {each.schedule.asked})" for each in worst]
        if told:
            yield Finding("missed", worst[0].key, f"{line}: checks that were due were missed: {'; '.join(told)}.")


def _unconfirmed(stream: StreamReview) -> bool:
    return any(each.acceptance.rule != "none" and not each.acceptance.confirmed for each in stream.limits)


def _of_stream(stream: StreamReview, period: Period) -> Iterator[Finding]:
    result, key, zone = stream.result, stream.key, period.zone
    named = f"{key.line}, {subject(result)}"
    if stream.failing is not None:
        at = time_text(from_microseconds(stream.failing.taken_at), zone)
        words = f"{named} read {failed_text(stream.failing, result)} at {at} and has not passed since."
        yield Finding("failing", key, words, result.check.look_first.get("any", ()))
    if stream.schedule.overdue and stream.schedule.open is not None and stream.schedule.open.deadline is not None:
        at = time_text(stream.schedule.open.deadline, zone)
        yield Finding("overdue", key, f"{named}: check overdue since {at}; asked: {stream.schedule.interval}.")
    if stream.moving is not None and stream.failing is None:
        yield Finding("moving", key, f"{key.line}: {stream.moving.sentence}", stream.moving.look_first)
    elif (risk := result.forecast.risk_next_5) is not None and risk >= NOTABLE_RISK and stream.failing is None:
        words = f"{named}: chance that one of the next five checks fails {chance_text(risk)} if nothing is done."
        yield Finding("moving", key, words, result.check.look_first.get("any", ()))
    if stream.indices is not None and stream.indices.word == "not capable":
        yield Finding("not capable", key, f"{named} is not capable: {stream.indices.words}")
    if stream.unanswered and stream.moving is None:
        many = "1 movement" if stream.unanswered == 1 else f"{stream.unanswered} movements"
        yield Finding("unanswered", key, f"{named}: {many} without a cause or an action written down.")


def changes(streams: Sequence[StreamReview], before: Sequence[StreamReview]) -> tuple[str, ...]:
    """Return what is different from the period before, a sentence each; streams without a reading then are told so."""
    earlier = {stream.key: stream for stream in before if stream.read}
    found: list[str] = []
    for stream in streams:
        named = f"{stream.key.line}, {subject(stream.result)}"
        if stream.key not in earlier:
            if stream.read:
                found.append(f"{named}: no readings in the period before.")
            continue
        said = list(_changes(stream, earlier[stream.key]))
        if said:
            found.append(f"{named}: {'; '.join(said)}.")
    return tuple(found)


def _changes(stream: StreamReview, before: StreamReview) -> Iterator[str]:
    if not stream.read:
        yield "no readings any more"
        return
    for what, now, then in (
        ("failed checks", len(stream.failures), len(before.failures)),
        ("missed checks", stream.schedule.missed, before.schedule.missed),
        ("movements", len(stream.episodes), len(before.episodes)),
    ):
        if now != then:
            yield f"{what} {then} \N{RIGHTWARDS ARROW} {now}"
    if stream.indices is not None and before.indices is not None and stream.indices.word != before.indices.word:
        yield f"capability “{before.indices.word}” \N{RIGHTWARDS ARROW} “{stream.indices.word}”"
    yield from _shift(stream, before)


def _shift(stream: StreamReview, before: StreamReview) -> Iterator[str]:
    limits = stream.result.segments[-1].limits if stream.result.segments else None
    if stream.mean is None or before.mean is None or limits is None or not limits.sigma:
        return
    if abs(stream.mean - before.mean) >= NOTABLE_SHIFT * limits.sigma:
        check = stream.result.check
        yield f"mean {level_text(before.mean, check)} \N{RIGHTWARDS ARROW} {level_text(stream.mean, check)}"
