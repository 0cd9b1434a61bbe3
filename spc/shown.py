"""A stream in the units that its site wants shown. What was judged stays judged: only numbers to read are converted.

Failures, signals and verdicts are those of the readings as written; nothing is judged again.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import lru_cache

import numpy as np

from spc.arrays import FloatArray, frozen
from spc.by_identity import by_identity
from spc.catalogue.acceptance import Acceptance
from spc.catalogue.check import Check
from spc.containment import ExposureWindow
from spc.failed_reading import failed_text
from spc.formats import Formats, label
from spc.records import Readings
from spc.results import Charted, Failure, Limits, Segment, Signal, StreamResult
from spc.times import to_microseconds
from spc.units import convert, convertible, rounded, same_unit


class Conversion:
    """From the unit that is kept to the one that is shown: a factor and, of temperatures, an offset."""

    def __init__(self, kept: str, shown: str) -> None:
        self.kept, self.shown = kept, shown
        zero, one = (float(each) for each in convert([0.0, 1.0], kept, shown))
        self.factor = one - zero if zero else one

    def values(self, x: FloatArray) -> FloatArray:
        """Return levels in the shown unit; NaN stays NaN."""
        return convert(x, self.kept, self.shown)

    def value(self, x: float) -> float:
        """Return a level in the shown unit."""
        return float(self.values(np.array([x]))[0])

    def maybe(self, x: float | None) -> float | None:
        """Return a level in the shown unit; None where there is none."""
        return None if x is None else self.value(x)

    def differences(self, x: FloatArray) -> FloatArray:
        """Return differences of levels in the shown unit."""
        return frozen(rounded(np.asarray(x * self.factor, dtype=np.float64)))

    def difference(self, x: float) -> float:
        """Return a difference of levels in the shown unit."""
        return float(self.differences(np.array([x]))[0])

    def places(self, decimals: int) -> int:
        """Return the places that tell no less than `decimals` places of the kept unit do, and no more than that takes.

        The step of the last place is the largest power of ten that is no larger than the step as kept.
        """
        return max(0, math.ceil(decimals - math.log10(abs(self.factor)) - 1e-9))


@lru_cache(maxsize=64)
def conversion(kept: str, shown: str) -> Conversion:
    """Return the conversion between two units of one quantity."""
    return Conversion(kept, shown)


def conversion_to(check: Check, unit: str) -> Conversion | None:
    """Return how a check is converted to `unit`; None where it has that one, or cannot be given in it."""
    if check.kept_in or not unit or same_unit(unit, check.unit) or not convertible(check.unit, unit):
        return None
    return conversion(check.unit, unit) if check.charted != "deviation" else None


def check_shown(check: Check, formats: Formats) -> Check:
    """Return a check with its unit, limits, places and resolution as they are shown."""
    return check_in(check, formats.unit_of(check.unit))


def check_in(check: Check, unit: str) -> Check:
    """Return a check in `unit`; the same one where it has that unit, or cannot be given in it."""
    by = conversion_to(check, unit)
    return check if by is None else _check(check, by)


def _check(check: Check, by: Conversion) -> Check:
    low, high = check.possible
    return replace(
        check,
        unit=by.shown,
        unit_label=label(by.shown),
        chart_unit=label(by.shown),
        decimals=by.places(check.decimals),
        resolution=None if check.resolution is None else by.difference(check.resolution),
        possible=(by.maybe(low), by.maybe(high)),
        acceptance=_acceptance(check.acceptance, by),
        acceptance_at=tuple(replace(at, acceptance=_acceptance(at.acceptance, by)) for at in check.acceptance_at),
        acceptance_since=tuple((since, _acceptance(each, by)) for since, each in check.acceptance_since),
        signed_baselines=tuple(
            replace(
                each,
                centre_line=by.value(each.centre_line),
                sigma=by.difference(each.sigma),
                lower=by.value(each.lower),
                upper=by.value(each.upper),
                unit=label(by.shown) if each.unit == check.chart_unit else each.unit,
            )
            if each.unit in ("", check.chart_unit)
            else each
            for each in check.signed_baselines
        ),
        kept_in=check.unit,
    )


def _acceptance(acceptance: Acceptance, by: Conversion) -> Acceptance:
    if acceptance.rule != "fixed":
        return acceptance
    return replace(acceptance, lower=by.maybe(acceptance.lower), upper=by.maybe(acceptance.upper))


def shown_in(result: StreamResult, formats: Formats) -> StreamResult:
    """Return a stream with every number in the unit that the site wants shown; the same one where that is its own."""
    return result_in(result, formats.unit_of(result.check.unit))


def windows_shown(
    windows: Iterable[ExposureWindow], results: Iterable[StreamResult], formats: Formats
) -> tuple[ExposureWindow, ...]:
    """Return exposure windows with what was read and what was asked in the units that the site wants shown.

    Args:
        windows: of the readings as kept.
        results: at least their streams, as kept.
        formats: of the site.
    """
    streams = {result.key: shown_in(result, formats) for result in results}
    failed = {
        (key, failure.row, failure.taken_at): failed_text(failure, result)
        for key, result in streams.items()
        for failure in result.failures
    }
    return tuple(
        replace(
            window,
            check=check_shown(window.check, formats),
            failed=failed[window.key, window.failed_row, to_microseconds(window.failed_at)],
        )
        for window in windows
    )


def result_in(result: StreamResult, unit: str) -> StreamResult:
    """Return a stream with every number in `unit`; the same one where it has that unit, or cannot be given in it."""
    by = conversion_to(result.check, unit)
    return result if by is None else _kept_of(by)(result)


@lru_cache(maxsize=64)
def _kept_of(by: Conversion) -> Callable[[StreamResult], StreamResult]:
    """Return the conversion with a small memory, so that what is worked out of a stream shown is not lost."""
    return by_identity(lambda result: _converted(result, by))


def _converted(result: StreamResult, by: Conversion) -> StreamResult:
    return replace(
        result,
        check=_check(result.check, by),
        readings=_readings(result.readings, by),
        charted=_charted(result.charted, by),
        segments=tuple(_segment(each, by) for each in result.segments),
        failures=tuple(_failure(each, by) for each in result.failures),
        signals=tuple(_signal(each, by) for each in result.signals),
        rule_signals=tuple(_signal(each, by) for each in result.rule_signals),
        changes={
            at: replace(
                each,
                level=by.value(each.level),
                level_sd=by.difference(each.level_sd),
                slope=by.difference(each.slope),
                slope_sd=by.difference(each.slope_sd),
                predicted=by.value(each.predicted),
                predicted_sd=by.difference(each.predicted_sd),
            )
            for at, each in result.changes.items()
        },
    )


def _readings(readings: Readings, by: Conversion) -> Readings:
    return replace(readings, value=by.values(readings.value))


def _charted(charted: Charted, by: Conversion) -> Charted:
    return replace(
        charted,
        x=by.values(charted.x),
        lower=by.values(charted.lower),
        upper=by.values(charted.upper),
        resolution=by.differences(charted.resolution),
    )


def _limits(limits: Limits, by: Conversion) -> Limits:
    return replace(
        limits,
        centre_line=by.value(limits.centre_line),
        sigma=by.difference(limits.sigma),
        lower=by.value(limits.lower),
        upper=by.value(limits.upper),
        moving_range_centre=by.difference(limits.moving_range_centre),
        moving_range_upper=by.difference(limits.moving_range_upper),
    )


def _segment(segment: Segment, by: Conversion) -> Segment:
    return segment if segment.limits is None else replace(segment, limits=_limits(segment.limits, by))


def _failure(failure: Failure, by: Conversion) -> Failure:
    return failure if isinstance(failure.value, str) else replace(failure, value=by.value(failure.value))


def _signal(signal: Signal, by: Conversion) -> Signal:
    ranged = signal.chart == "moving_range"
    return replace(signal, value=by.difference(signal.value) if ranged else by.value(signal.value))
