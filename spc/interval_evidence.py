"""What the logged history of a check supports about its interval: evidence for those who set it, no decision.

Footnote of ASTM E3024-16, Table 1 (found): the intervals are maxima, and may be reduced or extended where actual
technical or reliability data support that. Whether they do is for the responsible Level 3 and the customer to say.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np

from spc.arrays import FloatArray
from spc.containment import ExposureWindow, judged
from spc.errors import InputError
from spc.pivots import check_confidence
from spc.results import StreamResult
from spc.schedule.operation import Operation
from spc.times import from_microseconds, to_microseconds

STRETCHES = (2, 3, 4)
"""How many times as long the intervals tried are."""

PARTS = (2, 4)
"""Into how many parts the intervals tried are divided."""

CAUTION = (
    "This is what the log supports, as evidence for the responsible Level 3 and the customer. It is no decision: the "
    "interval stays what the governing document and the written procedure say until they agree in writing."
)
ASSUMED = (
    "The counts suppose that failures come independently, at one rate, and that the line was run as it was. What "
    "happened between two checks is in no log."
)


@dataclass(frozen=True, slots=True)
class Bounds:
    """An estimate with its one-sided upper confidence bound."""

    estimate: float
    upper: float
    confidence: float
    method: str


@dataclass(frozen=True, slots=True)
class LongerInterval:
    """What checks `times` as far apart would have shown of the same history, over every way to start."""

    times: int  # only every second, third ... check is kept
    seen: float  # failed windows that at least one kept check falls into, mean over the ways to start
    unseen: float  # failed windows no kept check falls into: failed, put right, and never known
    unseen_at_worst: int
    exposed: timedelta  # time in operation from the last kept good check to the first kept failed one, mean


@dataclass(frozen=True, slots=True)
class ShorterInterval:
    """What checks `parts` times as often would have left exposed at most."""

    parts: int
    exposed_at_most: timedelta  # time in operation, had the failure shown at the next check


@dataclass(frozen=True, slots=True)
class IntervalEvidence:
    """What the log of one stream says of its interval, in the period looked at."""

    interval: str  # in words, with its document
    first: datetime  # of the checks counted, aware
    last: datetime
    checks: int  # readings that passed or failed
    failed: int  # failed readings
    windows: int  # failures with what followed before the check passed again, counted once
    in_operation: timedelta  # from the first to the last check
    per_check: Bounds  # probability that a check fails
    per_1000_hours: Bounds | None  # failures in 1000 hours in operation; None where the line never ran
    typical_gap: timedelta  # in operation, median between checks
    drift_per_check: float | None  # median change from check to check, signed, in the chart unit; None of words
    drift_high: float | None  # 95 of 100 changes are no larger, whatever the side
    least_margin: float | None  # smallest distance of a reading that passed to its acceptance limit
    margin_in_drifts: float | None  # median distance to the nearer limit, in units of `drift_high`
    exposed: timedelta  # time in operation in all exposure windows, as it was
    longer: tuple[LongerInterval, ...]
    shorter: tuple[ShorterInterval, ...]


def rate_bound(events: int, exposure: float, *, confidence: float = 0.95) -> Bounds:
    """Return a Poisson rate with its exact one-sided upper bound.

    Args:
        events: counted, 0 or more.
        exposure: what they were counted over, above 0.
        confidence: of the bound.

    Raises:
        InputError: events below 0, or an exposure that is not above 0.

    Source:
        Garwood (1936), Biometrika 28; with 0 events and 95 % confidence the bound is 3.00 over the exposure.
    """
    from scipy.stats import chi2

    check_confidence(confidence)
    if events < 0 or not exposure > 0:
        raise InputError(f"{events} events over {exposure}; count 0 or more over an exposure above 0")
    upper = float(chi2.ppf(confidence, 2 * (events + 1))) / 2
    return Bounds(events / exposure, upper / exposure, confidence, "Poisson, exact (Garwood)")


def share_bound(failed: int, checks: int, *, confidence: float = 0.95) -> Bounds:
    """Return a share with its exact one-sided upper bound.

    Args:
        failed: of `checks`, 0 or more.
        checks: 1 or more.
        confidence: of the bound.

    Raises:
        InputError: no checks, or more failed than were made.

    Source:
        Clopper and Pearson (1934), Biometrika 26.
    """
    from scipy.stats import beta

    check_confidence(confidence)
    if checks < 1 or not 0 <= failed <= checks:
        raise InputError(f"{failed} of {checks} checks failed; count at least one check, and no more failed than made")
    upper = 1.0 if failed == checks else float(beta.ppf(confidence, failed + 1, checks - failed))
    return Bounds(failed / checks, upper, confidence, "binomial, exact (Clopper-Pearson)")


def interval_evidence(
    result: StreamResult,
    operation: Operation,
    windows: Sequence[ExposureWindow],
    *,
    start: datetime,
    stop: datetime,
    confidence: float = 0.95,
) -> IntervalEvidence | None:
    """Return what the checks of one stream from `start` to `stop` say of its interval; None with fewer than 2 checks.

    Args:
        result: of the stream.
        operation: when its line was in operation.
        windows: exposure windows of this stream; those that failed in the period are looked at.
        start: aware, inclusive.
        stop: aware, exclusive.
        confidence: of the upper bounds.
    """
    states = judged(result)
    at = result.readings.taken_at
    inside = (at >= to_microseconds(start)) & (at < to_microseconds(stop)) & (states != 0)
    places = np.flatnonzero(inside)
    if len(places) < 2:
        return None
    own = [window for window in windows if window.key == result.key and start <= window.failed_at < stop]
    moments = [from_microseconds(int(at[place])) for place in places]
    failed = states[places] < 0
    hours = operation.time_between(moments[0], moments[-1])
    gaps = [operation.time_between(*pair) for pair in pairwise(moments)]
    interval = result.check.interval
    drift = _drift(result, start, stop)
    return IntervalEvidence(
        interval=interval.words + (f" ({interval.document})" if interval.document else ""),
        first=moments[0],
        last=moments[-1],
        checks=len(places),
        failed=int(failed.sum()),
        windows=len(own),
        in_operation=hours,
        per_check=share_bound(int(failed.sum()), len(places), confidence=confidence),
        per_1000_hours=rate_bound(len(own), hours / timedelta(hours=1000), confidence=confidence) if hours else None,
        typical_gap=sorted(gaps)[len(gaps) // 2],
        drift_per_check=drift[0],
        drift_high=drift[1],
        least_margin=drift[2],
        margin_in_drifts=drift[3],
        exposed=sum((window.in_operation for window in own), timedelta()),
        longer=tuple(_longer(times, moments, failed.tolist(), operation) for times in STRETCHES),
        shorter=tuple(
            ShorterInterval(parts, sum((min(window.in_operation, _part(gaps, parts)) for window in own), timedelta()))
            for parts in PARTS
        ),
    )


def _part(gaps: Sequence[timedelta], parts: int) -> timedelta:
    return sorted(gaps)[len(gaps) // 2] / parts


Drift = tuple[float | None, float | None, float | None, float | None]


def _drift(result: StreamResult, start: datetime, stop: datetime) -> Drift:
    """Return the median change between checks, its 95 % size, the least margin, and the median margin in such sizes."""
    charted = result.charted
    inside = (charted.taken_at >= to_microseconds(start)) & (charted.taken_at < to_microseconds(stop))
    inside &= charted.bound == 0
    if inside.sum() < 2:
        return None, None, None, None
    changes = _changes(result, inside)
    margins = np.fmin(charted.x[inside] - charted.lower[inside], charted.upper[inside] - charted.x[inside])
    passed = margins[margins >= 0]
    if not len(changes):
        return None, None, float(passed.min()) if len(passed) else None, None
    high = float(np.quantile(np.abs(changes), 0.95))
    middle = float(np.median(passed)) / high if len(passed) and high > 0 else None
    return float(np.median(changes)), high, float(passed.min()) if len(passed) else None, middle


def _changes(result: StreamResult, inside: np.ndarray) -> FloatArray:
    """Return the changes from check to check inside one segment, in the chart unit."""
    found = []
    for segment in result.segments:
        span = np.zeros(len(inside), dtype=np.bool_)
        span[segment.first : segment.stop] = True
        found.append(np.diff(result.charted.x[span & inside]))
    return np.concatenate(found) if found else np.empty(0)


def _longer(times: int, moments: Sequence[datetime], failed: Sequence[bool], operation: Operation) -> LongerInterval:
    """Return what every `times`-th check alone would have shown, over each way to start."""
    spells = failed_spells(failed)
    unseen = []
    exposed = timedelta()
    for start in range(times):
        kept = range(start, len(moments), times)
        unseen.append(sum(not any(spell.start <= place < spell.stop for place in kept) for spell in spells))
        good, failing = 0, False
        for place in kept:
            if failed[place] and not failing:
                exposed += operation.time_between(moments[good], moments[place])
            failing = failed[place]
            good = good if failing else place
    mean = sum(unseen) / times
    return LongerInterval(times, len(spells) - mean, mean, max(unseen, default=0), exposed / times)


def failed_spells(failed: Sequence[bool]) -> tuple[range, ...]:
    """Return the runs of failed checks, each from its first failed check to the next good one (exclusive)."""
    spells = []
    start = None
    for place, bad in enumerate(failed):
        if bad and start is None:
            start = place
        elif not bad and start is not None:
            spells.append(range(start, place))
            start = None
    if start is not None:
        spells.append(range(start, len(failed)))
    return tuple(spells)
