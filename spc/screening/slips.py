"""Readings that fit their neighbours once they are taken in another unit, or with the decimal point elsewhere."""

import math
from dataclasses import dataclass
from datetime import tzinfo

import numpy as np

from spc.arrays import BoolArray, FloatArray, IntArray
from spc.formats import label
from spc.records import Bound
from spc.results import StreamResult
from spc.screening.level import distances, running_median, spread_in_steps
from spc.screening.question import Question, ask
from spc.screening.written import FEWEST, stream_name
from spc.units import convert, units_like
from spc.wording import with_unit

REACHES = (5, 15)
"""Neighbours on either side that say where a reading should lie: few follow the level, many outlast a row of slips."""

FAR = 2.5
"""Usual distances from which a reading is looked at."""

LEAST_FACTOR = 3.0

FITS_UNIT, FITS_POINT = 3.0, 1.5
"""Usual distances within which a reading fits in another unit, or with its point elsewhere.

Units are few; powers of ten stand every 2.3 on the scale, where a wide range would fit anything.
"""

LOST_DIGITS = 0.05
"""What is added to that for digits that were not written."""

POINTS = (10.0, 0.1, 100.0, 0.01, 1000.0, 0.001)

CLOSE_ENOUGH = 0.4
"""Largest such range, as a logarithm, at which a power of ten can still be told from anything else."""

MOST = 3
"""Slips of one kind whose chances are multiplied: more would take readings for independent beyond reason."""

GAP = 2
"""Readings between two slips of one kind that still make one question."""


@dataclass(frozen=True, slots=True)
class Slip:
    """How a reading would fit: as `text` says, then being `value` in the check's unit."""

    text: str
    value: float
    off: float  # distance from where it should lie, as a logarithm


def unit_slips(result: StreamResult, most: float, zone: tzinfo) -> list[Question]:
    """Return readings that are far from their neighbours and fit in another unit or with the point elsewhere.

    Args:
        result: a stream; one whose readings may be 0 or less is not looked at.
        most: chance above which nothing is asked.
        zone: of the times in the question.
    """
    index, size = _sizes(result)
    if len(index) < FEWEST:
        return []
    log = np.log(size)
    if float(log.max() - log.min()) <= math.log(LEAST_FACTOR):
        return []  # nothing can lie so far from its neighbours
    asked = np.zeros(len(index), dtype=np.bool_)
    return [
        question for reach in REACHES for question in _by_neighbours(result, index, size, log, reach, most, zone, asked)
    ]


def _by_neighbours(
    result: StreamResult,
    index: IntArray,
    size: FloatArray,
    log: FloatArray,
    reach: int,
    most: float,
    zone: tzinfo,
    asked: BoolArray,
) -> list[Question]:
    """Return the slips against `reach` neighbours on either side; marks in `asked`, shape (n,), what is asked about."""
    level = running_median(log, reach)
    off = log - level
    exact = (result.readings.bound[index] == Bound.EXACT) & ~asked
    far = np.flatnonzero((np.abs(off) > math.log(LEAST_FACTOR)) & exact)
    if len(far) == 0:
        return []  # how far they usually lie takes longest to say
    within_steps = np.log(spread_in_steps(size))
    spread = distances(within_steps - running_median(within_steps, reach))
    usual = spread.usual
    far = far[np.abs(off[far]) > FAR * usual]
    slips = {int(i): slip for i in far if (slip := _slip(result, float(size[i]), float(level[i]), usual))}
    questions = []
    for places in _together(slips):
        by_luck = math.prod(spread.chance_so_far(float(off[place])) for place in places[:MOST])
        chance = min(1.0, len(REACHES) * len(index) * by_luck)
        if chance <= most:
            asked[places] = True
            shown = max(places, key=lambda place: abs(float(off[place])))
            questions.append(_question(result, index[places], int(index[shown]), slips[shown], chance, zone))
    return questions


def _sizes(result: StreamResult) -> tuple[IntArray, FloatArray]:
    """Return the readings in `Readings` that are looked at, and their size: over the reference where there is one."""
    readings = result.readings
    size = readings.value / readings.reference if result.check.charted == "deviation" else readings.value
    size = np.abs(size) if result.check.charted == "magnitude" else size
    numbers = np.isfinite(size)
    if not numbers.any() or np.mean(size[numbers] <= 0) > 0.02:
        return np.zeros(0, dtype=np.int64), np.zeros(0)
    index = np.flatnonzero(numbers & (np.nan_to_num(size) > 0))
    return index, size[index]


def _slip(result: StreamResult, size: float, level: float, usual: float) -> Slip | None:
    """Return what makes a reading fit best; a unit of the same quantity comes before a decimal point."""
    check = result.check
    units = [
        Slip(f"written in {label(unit)}", float(convert([size], unit, check.unit)[0]), 0.0)
        for unit in units_like(check.unit)[1:]
    ]
    points = [Slip(f"with its decimal point {_moved(factor)}", size * factor, 0.0) for factor in POINTS]
    near = FITS_POINT * usual + LOST_DIGITS
    tried = [(units, FITS_UNIT * usual + LOST_DIGITS), (points if near <= CLOSE_ENOUGH else [], near)]
    for kind, within in tried:
        fitting = [Slip(slip.text, slip.value, abs(math.log(slip.value) - level)) for slip in kind if slip.value > 0]
        best = min(fitting, key=lambda slip: slip.off, default=None)
        if best is not None and best.off <= min(within, abs(math.log(size) - level) / 2):
            return best
    return None


def _moved(factor: float) -> str:
    places = round(math.log10(factor))
    return f"{abs(places)} place{'s' * (abs(places) != 1)} to the {'right' if places > 0 else 'left'}"


def _together(slips: dict[int, Slip]) -> list[list[int]]:
    """Return the places of slips, those of one kind that stand close together in one list."""
    groups: list[list[int]] = []
    for place, slip in sorted(slips.items()):
        if groups and place - groups[-1][-1] <= GAP and slips[groups[-1][-1]].text == slip.text:
            groups[-1].append(place)
        else:
            groups.append([place])
    return groups


def _question(result: StreamResult, index: IntArray, shown: int, slip: Slip, chance: float, zone: tzinfo) -> Question:
    readings, check = result.readings, result.check
    scale = float(readings.reference[shown]) if check.charted == "deviation" else 1.0
    written = with_unit(f"{readings.value[shown]:g}", check.unit_label)
    meant = with_unit(f"{slip.value * scale:.4g}", check.unit_label)
    more = f" and {len(index) - 1} more" if len(index) > 1 else ""
    return ask(
        "unit_slip",
        (result.key,),
        readings.row[index],
        readings.taken_at[index],
        f"{stream_name(result.key, check)}: {written}{more}, {{rows}}, lies far from the readings around and would fit "
        f"them {slip.text}, as {meant}. As these scatter, that comes by luck {{odds}}. Was it written so?",
        chance=chance,
        zone=zone,
        readings=len(index),
        value=float(readings.value[shown]),
        as_meant=slip.value * scale,
    )
