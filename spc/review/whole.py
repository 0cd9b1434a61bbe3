"""The review of a site's streams over a period."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from spc.containment import ExposureWindow
from spc.errors import InputError
from spc.failures import FailureRecord
from spc.instruments import Calibration, CalibrationDue
from spc.records import StreamKey
from spc.results import StreamResult
from spc.review.capable import CAPABLE, CapabilityWord
from spc.review.findings import Finding, changes, findings, in_order, unwritten
from spc.review.period import Period, period_before
from spc.review.stream import SignalStep, StreamReview, review_stream
from spc.schedule.ledger import Ledger
from spc.times import from_microseconds

SEED = 20_250_304
"""Seed of what is drawn unless a generator is given, so that a review made again says the same."""


@dataclass(frozen=True, slots=True)
class Review:
    """A period of a site, judged, and held against the period before."""

    period: Period
    before: Period
    now: datetime  # aware; nothing later is looked at
    streams: tuple[StreamReview, ...]  # in order of line, catalogue, position
    streams_before: tuple[StreamReview, ...]  # the same streams in the period before
    findings: tuple[Finding, ...]  # what to do, first things first
    changes: tuple[str, ...]  # since the period before, a sentence each
    windows: tuple[ExposureWindow, ...]  # of failures in the period, in time order
    records: tuple[FailureRecord, ...]  # of failed checks in the period
    instruments: tuple[CalibrationDue, ...]
    calibrations: tuple[Calibration, ...]  # in the period
    ledger: Ledger  # of these streams
    mark: float  # what Ppk's lower confidence limit is held against
    confidence: float
    notes: tuple[str, ...]  # what was assumed, a sentence each

    @property
    def lines(self) -> tuple[str, ...]:
        """The lines of the streams, in order."""
        return tuple(dict.fromkeys(stream.key.line for stream in self.streams))

    @property
    def capability(self) -> Mapping[CapabilityWord, tuple[StreamReview, ...]]:
        """The streams by their word of capability; judged checks are in none."""
        words: tuple[CapabilityWord, ...] = ("capable", "not shown", "not capable", "refused", "no limits")
        return {
            word: tuple(each for each in self.streams if each.indices is not None and each.indices.word == word)
            for word in words
        }

    @property
    def moving(self) -> tuple[StreamReview, ...]:
        """The streams that move at the end of the period."""
        return tuple(stream for stream in self.streams if stream.movement == "moving")

    @property
    def stable(self) -> tuple[StreamReview, ...]:
        """The streams without a signal in the period."""
        return tuple(stream for stream in self.streams if stream.movement == "stable")

    @property
    def overdue(self) -> tuple[StreamReview, ...]:
        """The streams whose check was overdue at the end."""
        return tuple(stream for stream in self.streams if stream.schedule.overdue)

    @property
    def failing(self) -> tuple[StreamReview, ...]:
        """The streams whose last failed check has not passed since."""
        return tuple(stream for stream in self.streams if stream.failing is not None)

    def of(self, key: StreamKey) -> StreamReview:
        """Return one stream.

        Raises:
            InputError: it is not in the review.
        """
        for stream in self.streams:
            if stream.key == key:
                return stream
        raise InputError(f"{key} is not in the review; name a stream that is")


def review(
    results: Sequence[StreamResult],
    ledger: Ledger,
    windows: Sequence[ExposureWindow],
    instruments: Sequence[CalibrationDue],
    period: Period,
    *,
    calibrations: Sequence[Calibration] = (),
    records: Sequence[FailureRecord] | None = None,
    steps: Sequence[SignalStep] = (),
    generator: np.random.Generator | None = None,
    mark: float = CAPABLE,
    confidence: float = 0.95,
    progress: Callable[[StreamKey], None] | None = None,
) -> Review:
    """Return the review of a period, with the period of as many days before it for comparison.

    Args:
        results: the streams looked at, as monitored up to the ledger's `now`, in the order to be told in.
        ledger: of at least these streams.
        windows: exposure windows of these streams.
        instruments: how the instruments stand to their calibrations.
        period: whole days; what lies after the ledger's `now` has not happened yet.
        calibrations: all that are known.
        records: of failed checks; None where none are kept, as beside a bare log.
        steps: what was done about signals.
        generator: for what has to be drawn; a fixed seed when not given, so that the same readings say the same.
        mark: what Ppk's lower confidence limit is held against.
        confidence: of the limits.
        progress: called with each stream once it is done.

    Raises:
        InputError: no streams, a period that has not begun, or a mark that is not above 0.
    """
    if not results:
        raise InputError("no stream to review; name lines and checks that the log has")
    if period.start > ledger.now:
        raise InputError(f"the period begins on {period.first}, after {ledger.now.isoformat()}; give an earlier --from")
    if not 0 < mark < 100:
        raise InputError(f"the mark {mark:g} for Ppk is no index; give one such as 1.33")
    generator = generator or np.random.default_rng(SEED)
    before = period_before(period)
    now: list[StreamReview] = []
    then: list[StreamReview] = []
    for result in results:
        for span, found in ((period, now), (before, then)):
            found.append(
                review_stream(
                    result,
                    ledger.of(result.key),
                    ledger.operations[result.key.line],
                    windows,
                    steps,
                    span,
                    now=ledger.now,
                    generator=generator,
                    mark=mark,
                    confidence=confidence,
                )
            )
        if progress is not None:
            progress(result.key)
    keys = {result.key for result in results}
    own = tuple(each for each in windows if each.key in keys and period.holds(each.failed_at))
    found_first = [*findings(now, instruments, period)]
    if records is not None:
        found_first += unwritten(own, records, steps, period)
    return Review(
        period=period,
        before=before,
        now=ledger.now,
        streams=tuple(now),
        streams_before=tuple(then),
        findings=in_order(found_first),
        changes=changes(now, then),
        windows=own,
        records=tuple(each for each in records or () if each.key in keys and period.holds(each.failed_at)),
        instruments=tuple(instruments),
        calibrations=tuple(each for each in calibrations if period.holds(each.at)),
        ledger=ledger,
        mark=mark,
        confidence=confidence,
        notes=ledger.notes,
    )


def usual_period(results: Sequence[StreamResult], ledger: Ledger, days: int) -> Period:
    """Return the `days` days that end with the last reading, or with the ledger's `now` where that is earlier."""
    last = [int(result.readings.taken_at[-1]) for result in results if len(result.readings)]
    end = min(from_microseconds(max(last)), ledger.now) if last else ledger.now
    day = end.astimezone(ledger.zone).date()
    return Period(day - timedelta(days=days - 1), day, ledger.zone)
