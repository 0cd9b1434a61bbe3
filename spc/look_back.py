"""What readings are worth when their instrument comes back out of tolerance.

An instrument found in error at calibration had that error, or was on its way to it, since its last good calibration.
Every reading made with it in that time is corrected in two ways, side by side:

constant  the whole error all the time: the instrument was damaged soon after its last good calibration.
linear    nothing at the last good calibration, the whole error when it was found: it crept.

Where the readings themselves show when it happened (a step on every stream of the instrument at once) the truth lies
between; the procedure and the responsible Level 3 decide which to act on. That earlier results have to be evaluated:
ISO 9001:2015 clause 7.1.5.2 (memory).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

import numpy as np

from spc.arrays import BoolArray, FloatArray, frozen
from spc.catalogue.check import Check
from spc.containment import ExposureWindow, exposure_windows, judged
from spc.errors import InputError
from spc.monitor import monitor_stream
from spc.records import Readings, StreamKey
from spc.results import StreamResult
from spc.schedule.operation import Operation
from spc.times import from_microseconds, to_microseconds

ErrorModel = Literal["constant", "linear"]
ERROR_MODELS: tuple[ErrorModel, ...] = ("constant", "linear")


@dataclass(frozen=True, slots=True)
class AsFound:
    """How an instrument was found at calibration: it showed true * (1 + relative) + offset."""

    relative: float = 0.0  # -0.12: it showed 12 % less than true
    offset: float = 0.0  # in the unit of the check


@dataclass(frozen=True, slots=True)
class StreamLookBack:
    """What one stream's readings become once they are corrected, by one model of the error."""

    key: StreamKey
    check: Check
    model: ErrorModel
    readings: int  # made with the instrument in the time in question
    would_have_failed: int  # passed as read, fail once corrected
    would_have_passed: int  # failed as read, pass once corrected
    undecided: int  # judged as read, cannot be judged once corrected
    first_failed: datetime | None  # of those that would have failed
    windows: tuple[ExposureWindow, ...]  # exposure windows that open once the readings are corrected
    corrected: Readings  # the stream with corrected readings in place of those as read


@dataclass(frozen=True, slots=True)
class LookBack:
    """Every reading made with an instrument since its last good calibration, corrected."""

    instrument: str
    since: datetime | None  # last good calibration; None: none is known, so every reading is looked at
    found_at: datetime
    as_found: AsFound
    streams: tuple[StreamLookBack, ...]  # in order of line, check, position; both models of each

    def count(self, model: ErrorModel, what: Literal["readings", "would_have_failed", "would_have_passed"]) -> int:
        """Return a count over all streams."""
        return sum(getattr(stream, what) for stream in self.streams if stream.model == model)


def look_back(
    instrument: str,
    as_found: AsFound,
    results: Iterable[StreamResult],
    streams: Mapping[StreamKey, Readings],
    operations: Mapping[str, Operation],
    *,
    found_at: datetime,
    since: datetime | None,
    now: datetime,
) -> LookBack:
    """Correct every reading that an instrument made since its last good calibration, and judge it again.

    Args:
        instrument: its name in the log.
        as_found: the error found at calibration.
        results: the streams of the log; those without a reading of the instrument are left out. On a check that is
            charted as its deviation, the instrument is the reference, and the reference is what is corrected.
        streams: all streams of the log, for lots and parts.
        operations: when each line was in operation.
        found_at: when the error was found.
        since: the last good calibration, or None where none is known.
        now: aware; until when an exposure window is followed that no pass has closed.

    Raises:
        InputError: no reading was made with it in that time, or the error leaves nothing to correct by.
    """
    if not (np.isfinite(as_found.relative) and np.isfinite(as_found.offset)) or as_found.relative <= -1.0:
        raise InputError(f"an error of {100 * as_found.relative:g} % leaves no reading to correct; give the error")
    if as_found == AsFound():
        raise InputError("the instrument was found without error; there is nothing to look back on")
    if since is not None and since >= found_at:
        raise InputError(f"the last good calibration {since.isoformat()} is not before {found_at.isoformat()}")
    found = [
        _stream_look_back(result, model, made, as_found, streams, operations, found_at, since, now)
        for result in sorted(results, key=lambda result: result.key)
        for made in [_made_with(result.readings, instrument, since, found_at)]
        if made.any()
        for model in ERROR_MODELS
    ]
    if not found:
        when = "before" if since is None else f"between {since.isoformat()} and"
        raise InputError(
            f"no reading was made with {instrument!r} {when} {found_at.isoformat()}; {_instruments_of(streams)}"
        )
    return LookBack(instrument, since, found_at, as_found, tuple(found))


def _instruments_of(streams: Mapping[StreamKey, Readings]) -> str:
    names = sorted({str(name) for readings in streams.values() for name in set(readings.instrument.tolist()) if name})
    return f"the log names {', '.join(names)}" if names else "the log names no instrument"


def _made_with(readings: Readings, instrument: str, since: datetime | None, found_at: datetime) -> BoolArray:
    first = -np.inf if since is None else to_microseconds(since)
    at = readings.taken_at
    return np.asarray(
        (readings.instrument == instrument) & (at > first) & (at <= to_microseconds(found_at))
        & np.isfinite(readings.value)
    )  # fmt: skip


def _stream_look_back(
    result: StreamResult,
    model: ErrorModel,
    made: BoolArray,
    as_found: AsFound,
    streams: Mapping[StreamKey, Readings],
    operations: Mapping[str, Operation],
    found_at: datetime,
    since: datetime | None,
    now: datetime,
) -> StreamLookBack:
    corrected = corrected_readings(result, made, as_found, model, found_at=found_at, since=since)
    again = monitor_stream(corrected, result.events, result.check)
    before, after = judged(result)[made], judged(again)[made]
    failing = (before > 0) & (after < 0)
    at = result.readings.taken_at[made][failing]
    known = {window.failed_at for window in exposure_windows(result, streams, operations[result.key.line], now=now)}
    windows = exposure_windows(again, streams, operations[result.key.line], now=now)
    return StreamLookBack(
        key=result.key,
        check=result.check,
        model=model,
        readings=int(made.sum()),
        would_have_failed=int(failing.sum()),
        would_have_passed=int(((before < 0) & (after > 0)).sum()),
        undecided=int(((before != 0) & (after == 0)).sum()),
        first_failed=from_microseconds(int(at[0])) if len(at) else None,
        windows=tuple(window for window in windows if window.failed_at not in known),
        corrected=corrected,
    )


def corrected_readings(
    result: StreamResult,
    made: BoolArray,
    as_found: AsFound,
    model: ErrorModel,
    *,
    found_at: datetime,
    since: datetime | None,
) -> Readings:
    """Return the readings of a stream with those that `made` marks corrected; the record itself is left as it is.

    true = (read - share * offset) / (1 + share * relative), share being 1 for a constant error, and growing from 0 at
    the last good calibration (without one: at the first reading made with the instrument) to 1 when it was found.
    """
    readings = result.readings
    share = np.ones(len(readings)) if model == "constant" else _share(readings, made, since, found_at)
    read = readings.reference if result.check.charted == "deviation" else readings.value
    true = (read - share * as_found.offset) / (1.0 + share * as_found.relative)
    column = frozen(np.where(made, true, read))
    return (
        replace(readings, reference=column) if result.check.charted == "deviation" else replace(readings, value=column)
    )


def _share(readings: Readings, made: BoolArray, since: datetime | None, found_at: datetime) -> FloatArray:
    start = int(readings.taken_at[made][0]) if since is None else to_microseconds(since)
    whole = max(to_microseconds(found_at) - start, 1)
    return np.clip((readings.taken_at - start) / whole, 0.0, 1.0)
