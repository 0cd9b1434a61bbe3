"""What monitoring a stream gives: segments, baselines, failures, signals, a forecast."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from spc.arrays import FloatArray, IntArray
from spc.catalogue.check import Check
from spc.drift import DriftOutcome
from spc.records import Event, Readings, StreamKey
from spc.signed_baseline import SignedBaseline
from spc.told import Told

Side = Literal["low", "high"]


@dataclass(frozen=True, slots=True)
class Charted:
    """The readings of a stream that are on its chart; every column has shape (n,), read-only."""

    taken_at: IntArray  # microseconds since 1970-01-01 UTC
    row: IntArray
    x: FloatArray  # value, or deviation from the reference in %, in the chart unit
    bound: NDArray[np.int8]  # values of records.Bound: the true value is below, at or above x
    lower: FloatArray  # acceptance limits of each reading, in the chart unit; NaN where none
    upper: FloatArray
    index: IntArray  # where each stands in the stream's Readings
    resolution: FloatArray  # smallest step of each reading, in the chart unit; NaN where not known


@dataclass(frozen=True, slots=True)
class Limits(Told):
    """Control limits of a segment, in the chart unit, with what set them."""

    n_baseline: int
    complete: bool  # whether the baseline has all its readings; until then nothing signals
    centre_line: float
    sigma: float
    lower: float
    upper: float
    moving_range_centre: float
    moving_range_upper: float
    floored: bool  # whether sigma is the floor that the reading's resolution sets


@dataclass(frozen=True, slots=True)
class Segment(Told):
    """Readings with the same control limits, from a resetting event on: `first` to `stop` (exclusive) in Charted."""

    first: int
    stop: int
    because: str  # the event's kind, or "start_of_log"; see `CONTINUES` for those that go on from the one before
    limits: Limits | None  # None with fewer than 2 readings
    signed: SignedBaseline | None = None  # the baseline that set them, where a person signed it off

    @property
    def continues(self) -> bool:
        """Whether other control limits hold from here on, and the line is as it was: runs go on across the start."""
        return self.because in CONTINUES

    @property
    def judged_from(self) -> int:
        """The first reading that the run rules judge: the one after the segment's own baseline."""
        return self.first + (0 if self.continues or self.limits is None else self.limits.n_baseline)


SIGNED_OFF = "baseline_signed_off"
WITHDRAWN = "baseline_withdrawn"
CONTINUES = frozenset({SIGNED_OFF, WITHDRAWN})
"""Why a segment goes on with other control limits: a baseline came into force, or holds no more."""


def since_reset(segments: Sequence[Segment], which: int = -1) -> Segment:
    """Return a segment as it goes back to the last resetting event: with the first reading and the cause of that."""
    start = from_reset(segments, which)
    return replace(segments[which], first=start.first, because=start.because)


def from_reset(segments: Sequence[Segment], which: int = -1) -> Segment:
    """Return the part of a segment that began with the last resetting event: its limits are those of its own readings.

    Args:
        segments: of a stream, at least one.
        which: the segment asked about.
    """
    place = which % len(segments)
    return next(segments[i] for i in range(place, -1, -1) if i == 0 or not segments[i].continues)


@dataclass(frozen=True, slots=True)
class Failure(Told):
    """A reading outside the acceptance limits of its day, or a judged check that did not pass."""

    index: int  # in Readings
    taken_at: int
    row: int
    value: float | str  # as charted, or the word


@dataclass(frozen=True, slots=True)
class Signal(Told):
    """A rule that fired at one reading."""

    position: int  # in Charted
    taken_at: int
    row: int
    value: float
    chart: Literal["individuals", "moving_range", "early_warning"]
    rule: str
    side: Side | None


@dataclass(frozen=True, slots=True)
class Forecast(Told):
    """What comes next if nothing is done; NaN-free, None where nothing can be said."""

    method: str
    risk_next: float | None
    risk_next_5: float | None
    readings_p10: float | None  # readings until the acceptance limit is passed
    readings_p50: float | None
    readings_p90: float | None
    date_of_limit: datetime | None  # aware, UTC; of readings_p50


@dataclass(frozen=True, slots=True, weakref_slot=True)
class StreamResult(Told):
    """All that is known of one stream at the end of its readings."""

    key: StreamKey
    check: Check
    readings: Readings
    charted: Charted
    events: tuple[Event, ...]  # those that touch this stream, in time order
    segments: tuple[Segment, ...]
    failures: tuple[Failure, ...]
    signals: tuple[Signal, ...]  # what warns: the early warning, and run rules where the catalogue lets them
    rule_signals: tuple[Signal, ...]  # of the run rules and the moving-range limit, whether or not they warn
    changes: Mapping[int, DriftOutcome]  # by position in Charted: what the model knew at each of its signals
    forecast: Forecast
