"""From the readings of a stream to the numbers on its chart."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from spc.arrays import BoolArray, FloatArray, IntArray, ObjectArray, frozen, shared
from spc.by_identity import by_identity
from spc.catalogue.acceptance import Acceptance, limits_at
from spc.catalogue.check import Check
from spc.records import NOT_RUN, Readings
from spc.results import Charted
from spc.times import to_microseconds

DEVIATION_RULES = ("percent_or_amperes", "percent_of_full_scale")
"""Acceptance rules whose limits are given in percent of the reference."""


def check_of_stream(readings: Readings, check: Check) -> Check:
    """Return `check` as this stream uses it: with the acceptance limits of its line and position.

    A check that is charted as its deviation from a reference needs that reference. A stream whose first number came
    without one is charted as its own value; its readings that have a reference are judged all the same, by limits in
    the unit of the value. The first number alone decides, so that later readings never change what earlier ones meant.
    """
    check = replace(check, acceptance=_stands(readings, check))
    numbers = np.flatnonzero(_numbers(readings))
    if check.charted != "deviation" or len(numbers) == 0 or np.isfinite(readings.reference[numbers[0]]):
        return check
    return replace(
        check,
        charted="value",
        chart_unit=check.unit_label,
        decimals=0,
    )


def _stands(readings: Readings, check: Check) -> Acceptance:
    """Return the acceptance limits that the last reading is judged by: those that stand."""
    parts = [acceptance for acceptance, part in limits_by_day(readings.taken_at, check) if part.start < part.stop]
    return parts[-1] if check.acceptance_since and parts else check.acceptance_for(readings.key)


def charted_readings(readings: Readings, check: Check) -> Charted:
    """Return what is on the chart of `readings`: numbers only, in time order.

    Args:
        readings: one stream, n readings.
        check: the check as the stream uses it, see `check_of_stream`.

    A deviation is 100 (value - reference) / reference, in %. Readings that say the line was not in operation, words,
    and numbers that lack the reference their chart needs are kept in `readings` and are not on the chart.
    """
    shown = _numbers(readings)
    if check.charted == "deviation":
        shown &= np.isfinite(readings.reference) & (readings.reference != 0.0)
    index = np.flatnonzero(shown)
    taken: IntArray | slice = index if len(index) < len(readings) else slice(None)  # no copy where all are shown
    value, reference = readings.value[taken], readings.reference[taken]
    x, bound = value, readings.bound[taken]
    if check.charted == "deviation":
        x = deviation_percent(value, reference)
    elif check.charted == "magnitude":
        x, bound = np.abs(value), np.where(value < 0.0, -bound, bound).astype(np.int8)  # "<-3" is more than 3
    lower, upper = np.full(len(index), np.nan), np.full(len(index), np.nan)
    for acceptance, part in limits_by_day(readings.taken_at[taken], check):
        lower[part], upper[part] = _limits(acceptance, reference[part], check)
    return Charted(
        taken_at=frozen(readings.taken_at[taken]),
        row=frozen(readings.row[taken]),
        x=frozen(x),
        bound=frozen(bound),
        lower=frozen(shared(lower)),
        upper=frozen(shared(upper)),
        index=frozen(index),
        resolution=frozen(shared(_resolution(check, reference))),
    )


def limits_by_day(taken_at: IntArray, check: Check) -> Iterator[tuple[Acceptance, slice]]:
    """Yield the acceptance limits of a stream, each with the readings that it judges: those of its own days.

    Args:
        taken_at: times of the readings in microseconds since 1970-01-01 UTC, in time order, shape (n,).
        check: the check as the stream uses it.
    """
    since = check.acceptance_since
    moments = [to_microseconds(at) for at, _ in since[1:]]
    starts = [0, *np.searchsorted(taken_at, moments, side="left").tolist()]
    limits = [acceptance for _, acceptance in since] or [check.acceptance]
    for acceptance, first, stop in zip(limits, starts, [*starts[1:], len(taken_at)], strict=True):
        yield acceptance, slice(first, stop)


def check_on(check: Check, taken_at: int) -> Check:
    """Return `check` with the acceptance limits that a reading of this moment is judged by.

    Args:
        check: as the stream uses it.
        taken_at: microseconds since 1970-01-01 UTC.
    """
    (acceptance, *_) = [each for each, part in limits_by_day(np.array([taken_at]), check) if part.start < part.stop]
    return replace(check, acceptance=acceptance)


def _limits(acceptance: Acceptance, reference: FloatArray, check: Check) -> tuple[FloatArray, FloatArray]:
    """Return the limits of readings with these references, in the unit of the chart."""
    lower, upper = limits_at(acceptance, reference)
    if acceptance.rule in DEVIATION_RULES and check.charted != "deviation":
        size = np.abs(reference)
        return reference + size * lower / 100.0, reference + size * upper / 100.0
    return lower, upper


def deviation_percent(value: FloatArray, reference: FloatArray) -> FloatArray:
    """Return the deviation of `value` from `reference`, in percent of the reference; both shape (n,), same unit."""
    return 100.0 * (value - reference) / reference


def _resolution(check: Check, reference: FloatArray) -> FloatArray:
    """Return the smallest step of each reading in the chart unit; in %, a division weighs more at low current."""
    if check.resolution is None:
        return np.full(len(reference), np.nan)
    if check.charted != "deviation":
        return np.full(len(reference), check.resolution)
    return 100.0 * check.resolution / np.abs(reference)


def was_running(readings: Readings) -> BoolArray:
    """Return which readings were taken with the line in operation, shape (n,)."""
    return _running(readings.word).copy()


@by_identity
def _running(words: ObjectArray) -> BoolArray:
    """Return which of the words do not say that the line stood still; a million take a moment, so it is remembered."""
    return frozen(np.asarray(words != NOT_RUN, dtype=np.bool_))


def _numbers(readings: Readings) -> BoolArray:
    return np.isfinite(readings.value)
