"""The readings of one stream as they were written: whole steps, split where they are not to be compared."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spc.arrays import BoolArray, FloatArray, IntArray, frozen
from spc.catalogue.check import Check
from spc.coarse.repeats import likely_noise, noise_by_ranges, on_steps, written_step
from spc.records import Bound, StreamKey
from spc.results import StreamResult
from spc.units import quantity

FEWEST = 15
"""Readings from which a series is looked at."""

FEWEST_LEVELS = 3
"""Different numbers that it takes to tell in which steps they are written."""

MOST_REFERENCES = 6
"""References that a stream may be taken at in turn, and still be split by them."""

LEAST_SCATTER = 0.25
"""Least noise, in steps, that a physical quantity is taken to have: with less, nobody would read in such steps."""


FROM_RANGES = 0.7
"""Noise in steps from which moving ranges tell it, where equal neighbours are too many."""

RANGES_COUNT = 0.75
"""What is taken of it: heavy tails have a narrower middle than a normal of the same ranges."""


@dataclass(frozen=True, slots=True)
class Series:
    """Numbers written in one place and compared with each other; every column has shape (n,), in time order."""

    key: StreamKey
    check: Check
    index: IntArray  # in the stream's Readings
    row: IntArray
    taken_at: IntArray
    x: FloatArray  # as written, in the check's unit
    bound: NDArray[np.int8]
    reference: float  # that all were taken at; NaN where there is none
    step: float  # that they are written in
    part: int  # number of the series in its stream

    def __len__(self) -> int:
        return len(self.x)

    @property
    def name(self) -> str:
        """What a sentence calls it: "Line A: Bath concentration, tank"."""
        return stream_name(self.key, self.check, self.reference)

    def same(self) -> BoolArray:
        """Return which readings repeat the number before, shape (n - 1,); a censored one repeats nothing."""
        exact = self.bound == Bound.EXACT
        return np.asarray((np.diff(self.x) == 0) & exact[1:] & exact[:-1], dtype=np.bool_)

    def compared(self) -> BoolArray:
        """Return which readings and the one before are both numbers, shape (n - 1,)."""
        exact = self.bound == Bound.EXACT
        return np.asarray(exact[1:] & exact[:-1], dtype=np.bool_)

    def noise(self, left_out: BoolArray) -> FloatArray:
        """Return equally likely values of the noise, in steps, by the readings but those `left_out`, shape (n,)."""
        used = self.compared() & ~left_out[1:] & ~left_out[:-1]
        likely = likely_noise(int(np.sum(self.same() & used)), int(np.sum(used)))
        by_ranges = noise_by_ranges(np.where(left_out | (self.bound != Bound.EXACT), np.nan, self.x), self.step)
        least = RANGES_COUNT * by_ranges if by_ranges >= FROM_RANGES else 0.0
        return np.maximum(likely, max(least, LEAST_SCATTER) if self.physical else least)

    @property
    def physical(self) -> bool:
        """Whether it is a quantity that scatters, not a count."""
        return quantity(self.check.unit) is not None


def stream_name(key: StreamKey, check: Check, reference: float = float("nan")) -> str:
    """Return what a sentence calls a stream, with the reference it was taken at where that counts."""
    position = f", {key.position}" if key.position else ""
    return f"{key.line}: {check.title}{position}{'' if np.isnan(reference) else f' at {reference:g}'}"


def series_of(result: StreamResult) -> Iterator[Series]:
    """Yield the numbers of a stream, apart for each reference where there are few."""
    readings = result.readings
    numbers = np.flatnonzero(np.isfinite(readings.value))
    reference = readings.reference[numbers]
    different = np.unique(reference[np.isfinite(reference)])
    if 0 < len(different) <= MOST_REFERENCES:
        parts = [(float(each), numbers[reference == each]) for each in different]
    elif len(different) and result.check.charted == "deviation":
        return  # each has its own reference: what repeats there is no number of its own
    else:
        parts = [(float("nan"), numbers)]
    for part, (at, index) in enumerate(parts):
        if len(index) < FEWEST:
            continue
        x = readings.value[index]
        exact = readings.bound[index] == Bound.EXACT
        step = series_step(x[exact], result.check.resolution)
        if step is None:
            continue
        yield Series(
            key=result.key,
            check=result.check,
            index=frozen(index),
            row=frozen(readings.row[index]),
            taken_at=frozen(readings.taken_at[index]),
            x=frozen(x),
            bound=frozen(readings.bound[index]),
            reference=at,
            step=step,
            part=part,
        )


def series_step(x: FloatArray, resolution: float | None) -> float | None:
    """Return the step that readings are written in; with one or two different numbers the catalogue's, if finer."""
    step = written_step(x)
    if step is None or (resolution is not None and len(np.unique(x)) < FEWEST_LEVELS):
        return min((each for each in (step, resolution) if each is not None), default=None)
    return step


def in_steps(series: Series) -> tuple[IntArray, BoolArray]:
    """Return the readings in whole steps, and which of them are; both shape (n,)."""
    whole = on_steps(series.x, series.step) & (series.bound == Bound.EXACT)
    return np.rint(series.x / series.step).astype(np.int64), whole
