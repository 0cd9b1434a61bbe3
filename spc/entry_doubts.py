"""What is asked before an unlikely reading is kept: another unit, another decimal point, far off, copied.

A question is no accusation and refuses nothing: whoever read it may keep what was typed. It looks at the readings of
the same stream up to now, so that a typed 24 among readings of 2400 is asked about while the meter is still at hand;
`spc.screening` looks at the whole history later, with all of it in view.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from spc.arrays import FloatArray
from spc.catalogue.check import Check
from spc.charted import deviation_percent
from spc.coarse.repeats import equal_run_chance
from spc.entry import Written
from spc.formats import label
from spc.records import Bound
from spc.results import StreamResult
from spc.screening.repeated import SHORTEST
from spc.screening.written import series_of
from spc.units import convert, units_like
from spc.wording import chart_name, number, short, with_unit

LOOKED_AT = 200
"""Readings, newest first, that say what is usual."""

FEWEST = 5
"""Readings from which it can be said what is usual."""

LEAST_FACTOR = 3.0
"""How many times too large or too small a reading has to be to be taken for a slip (our own choice, no source)."""

FITS = 1.25
"""How far beyond the readings before, as a factor, one that was a slip may lie once it is put right."""

STEPS = 3.0
"""Steps of the instrument that readings may at least spread over."""

COPIED = 0.01
"""Chance below which a run of one number is asked about."""

POINTS = (10.0, 0.1, 100.0, 0.01, 1000.0, 0.001)


@dataclass(frozen=True, slots=True)
class Doubt:
    """One question about a reading that is not kept yet."""

    kind: Literal["unit", "point", "far", "copied"]
    says: str


def doubts(result: StreamResult | None, written: Written, check: Check) -> tuple[Doubt, ...]:
    """Return what to ask before a reading is kept; nothing where it is as usual.

    Args:
        result: of its stream as it stands; None where it has no reading yet.
        written: the reading; a word is never asked about.
        check: as the stream uses it.
    """
    if written.word or not math.isfinite(written.value):
        return ()
    found: list[Doubt | None] = []
    if written.bound is Bound.EXACT:
        slip = _slip(result, written, check)
        found.append(slip or _far(result, written, check))
        found.append(_copied(result, written, check))
    return tuple(each for each in found if each is not None)


def usual_range(result: StreamResult | None) -> tuple[float, float] | None:
    """Return the lowest and the highest reading, in the chart unit, about which nothing is asked; None while unknown.

    The readings before, and as much beyond them as they spread over themselves: what is noise or a slow drift is never
    asked about, a jump is.
    """
    x = _before(result)
    if result is None or len(x) < FEWEST:
        return None
    low, high = float(x.min()), float(x.max())
    step = float(result.charted.resolution[-1])
    wide = max(high - low, STEPS * step if math.isfinite(step) else 0.0)
    return low - wide, high + wide


def _before(result: StreamResult | None) -> FloatArray:
    """Return the exact readings that say what is usual, as charted."""
    if result is None:
        return np.zeros(0)
    charted = result.charted
    return np.asarray(charted.x[charted.bound == Bound.EXACT][-LOOKED_AT:], dtype=np.float64)


def _charted(written: Written, check: Check) -> float:
    """Return a reading as the chart takes it; NaN where the reference that it needs is missing."""
    if check.charted != "deviation":
        return written.value
    return float(deviation_percent(np.array([written.value]), np.array([written.reference]))[0])


def _sizes(result: StreamResult | None, written: Written, check: Check) -> tuple[float, FloatArray]:
    """Return the size of a reading and of those before: over the reference where the check is a deviation from it."""
    if check.charted != "deviation":
        x = _before(result)
        return written.value, x[x > 0]
    before = 1.0 + _before(result) / 100.0
    return written.value / written.reference, before[before > 0] if len(before) else np.array([1.0])


def _slip(result: StreamResult | None, written: Written, check: Check) -> Doubt | None:
    """Return in which unit, or with its point where, a reading would be as usual; None where it is, or never would."""
    size, before = _sizes(result, written, check)
    if not len(before) or not math.isfinite(size) or size <= 0:
        return None
    level, low, high = float(np.median(before)), float(before.min()) / FITS, float(before.max()) * FITS
    if low <= size <= high or max(size / level, level / size) < LEAST_FACTOR:
        return None
    typed, usual = with_unit(short(written.value), check.unit_label), _usual(result, written, check)
    for unit in units_like(check.unit)[1:]:
        meant = float(convert([written.value], unit, check.unit)[0])
        if low <= meant * size / written.value <= high:
            read = with_unit(short(meant), check.unit_label)
            says = f"{typed} is far from {usual}. Was it read in {label(unit)}? Then it is {read}."
            return Doubt("unit", says)
    for factor in POINTS:
        if low <= factor * size <= high:
            read = with_unit(short(factor * written.value), check.unit_label)
            return Doubt("point", f"{typed} is far from {usual}. Is the decimal point right? {read} would be as usual.")
    return None


def _far(result: StreamResult | None, written: Written, check: Check) -> Doubt | None:
    usual, x = usual_range(result), _charted(written, check)
    if usual is None or not math.isfinite(x) or usual[0] <= x <= usual[1]:
        return None
    typed = with_unit(short(written.value), check.unit_label)
    return Doubt("far", f"{typed} lies far outside {_usual(result, written, check)}. Is it what the instrument shows?")


def _usual(result: StreamResult | None, written: Written, check: Check) -> str:
    """Return where the readings before lie, in words."""
    x = _before(result)
    if not len(x):
        return f"its reference {with_unit(short(written.reference), check.unit_label)}"
    ends = [number(float(end), check.decimals) for end in (x.min(), x.max())]
    of = chart_name(check).lower() if check.charted == "deviation" else "reading"
    span = with_unit(ends[0] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}", check.chart_unit)
    return f"the {of} before, {span}" if len(x) == 1 else f"the last {len(x)} readings, {span}"


def _copied(result: StreamResult | None, written: Written, check: Check) -> Doubt | None:
    """Return that one number was written down again and again, more often than rounding and noise explain."""
    if result is None:
        return None
    for series in series_of(result):
        if not math.isnan(series.reference) and series.reference != written.reference:
            continue
        other = np.flatnonzero((series.x != written.value) | (series.bound != Bound.EXACT))
        run = len(series) - (int(other[-1]) + 1 if len(other) else 0)
        if run + 1 < SHORTEST:
            continue
        suspect = np.arange(len(series)) >= len(series) - run
        if equal_run_chance(run + 1, len(series) + 1, series.noise(suspect)) <= COPIED:
            typed = with_unit(short(written.value), check.unit_label)
            return Doubt("copied", f"{typed} would stand there {run + 1} times running. Was it read anew?")
    return None
