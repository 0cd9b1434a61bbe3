"""Readings of two positions, or of value and reference, that fit in each other's place."""

from datetime import timedelta, tzinfo

import numpy as np

from spc.arrays import BoolArray, FloatArray, IntArray
from spc.records import Bound
from spc.results import StreamResult
from spc.screening.level import Distances, distances, running_median, spread_in_steps
from spc.screening.question import Question, ask
from spc.screening.written import FEWEST, MOST_REFERENCES, stream_name
from spc.wording import with_unit

REACH = 30
"""Pairs on either side that say how far two positions lie apart: a stretch of up to 30 pairs shows."""

TOLD_APART = 3.0
"""Usual distances that each reading must lie from its own position's level, to count as the other's."""

FITS = 2.0
"""Usual distances from the other position's level within which it fits there."""

GAP = 2
"""Rounds that fit neither way inside one stretch."""

SAME_ROUND = timedelta(hours=4)
"""Readings of two positions this close belong to one round."""

MOST_EQUAL = 1 / 3
"""Share of readings equal to their reference from which an exchange of the columns cannot be seen."""


def exchanged_positions(a: StreamResult, b: StreamResult, most: float, zone: tzinfo) -> list[Question]:
    """Return stretches in which two positions of one check read as each other do before and after.

    Each must lie off its own level and on the other's in the same rounds.

    Args:
        a: a stream of positive readings.
        b: another of the same line and check.
        most: chance above which nothing is asked.
        zone: of the times in the question.
    """
    pairs = _pairs(a, b)
    if len(pairs) < FEWEST:
        return []
    log_a, log_b = np.log(a.readings.value[pairs[:, 0]]), np.log(b.readings.value[pairs[:, 1]])
    usual_a, usual_b = running_median(log_a, REACH), running_median(log_b, REACH)
    off_a, off_b, apart = log_a - usual_a, log_b - usual_b, usual_a - usual_b
    spread_a, spread_b = _own_spread(log_a, -apart), _own_spread(log_b, apart)
    turned = (
        (np.abs(off_a + apart) <= FITS * spread_b.usual)
        & (np.abs(off_b - apart) <= FITS * spread_a.usual)
        & (np.abs(off_a) >= TOLD_APART * spread_a.usual)
        & (np.abs(off_b) >= TOLD_APART * spread_b.usual)
    )
    questions = []
    for rounds in _stretches(turned):
        by_a, by_b = (float(np.median(np.abs(off[rounds]))) for off in (off_a, off_b))
        chance = min(1.0, len(pairs) * spread_a.chance_so_far(by_a) * spread_b.chance_so_far(by_b))
        if chance <= most:
            questions.append(_positions(a, b, pairs[rounds], chance, zone))
    return questions


def _own_spread(log: FloatArray, other: FloatArray) -> Distances:
    """Return how far readings lie from their own level, those left out that lie nearer to the `other` one."""
    within_steps = np.log(spread_in_steps(np.exp(log)))
    off = within_steps - running_median(within_steps, REACH)
    return distances(off[np.abs(off) <= np.abs(off - other)])


def _pairs(a: StreamResult, b: StreamResult) -> IntArray:
    """Return places in both streams' readings that belong to one round, shape (n, 2)."""
    usable = [np.flatnonzero((r.readings.value > 0) & (r.readings.bound == Bound.EXACT)) for r in (a, b)]
    if not all(len(each) for each in usable) or any(np.any(r.readings.value <= 0) for r in (a, b)):
        return np.zeros((0, 2), dtype=np.int64)
    at_a, at_b = a.readings.taken_at[usable[0]], b.readings.taken_at[usable[1]]
    after = np.clip(np.searchsorted(at_b, at_a), 1, max(len(at_b) - 1, 1)) if len(at_b) > 1 else np.zeros_like(at_a)
    before = np.maximum(after - 1, 0)
    nearest = np.where(np.abs(at_b[before] - at_a) <= np.abs(at_b[after] - at_a), before, after)
    close = np.abs(at_b[nearest] - at_a) <= SAME_ROUND / timedelta(microseconds=1)
    _, once = np.unique(nearest[close], return_index=True)
    return np.stack([usable[0][close][once], usable[1][nearest[close]][once]], axis=1)


def _stretches(turned: BoolArray) -> list[IntArray]:
    """Return the rounds that are turned, those with a short gap between them together."""
    rounds = np.flatnonzero(turned)
    if len(rounds) == 0:
        return []
    return np.split(rounds, np.flatnonzero(np.diff(rounds) > GAP + 1) + 1)


def _positions(a: StreamResult, b: StreamResult, pairs: IntArray, chance: float, zone: tzinfo) -> Question:
    places = ((a, pairs[:, 0]), (b, pairs[:, 1]))
    values = [float(np.median(result.readings.value[index])) for result, index in places]
    reads = " and ".join(
        f"{result.key.position} reads {with_unit(f'{value:g}', result.check.unit_label)}"
        for (result, _), value in zip(places, values, strict=True)
    )
    return ask(
        "exchanged_positions",
        (a.key, b.key),
        np.concatenate([result.readings.row[index] for result, index in places]),
        np.concatenate([result.readings.taken_at[index] for result, index in places]),
        f"{a.key.line}: {a.check.title}: {reads} in {len(pairs)} round{'s' * (len(pairs) != 1)}, {{rows}}: as the "
        "other one reads before and after. That comes by luck {odds}. Were they read in the other order, or did they "
        "change places?",
        chance=chance,
        zone=zone,
        rounds=len(pairs),
        first_position=values[0],
        second_position=values[1],
    )


def exchanged_columns(result: StreamResult, zone: tzinfo) -> list[Question]:
    """Return rows whose value is a reference that is used, and whose reference is not but would do as the value.

    The chance is that of a reading exactly on its reference, given a reference that is used nowhere else.
    """
    readings, check = result.readings, result.check
    numbers = np.flatnonzero(np.isfinite(readings.value) & np.isfinite(readings.reference))
    if check.charted != "deviation" or len(numbers) < FEWEST:
        return []
    value, reference = readings.value[numbers], readings.reference[numbers]
    different, count = np.unique(reference, return_counts=True)
    usual = different[count >= max(3, 0.1 * len(numbers))]
    if not 0 < len(usual) <= MOST_REFERENCES or np.isin(reference, usual).mean() < 0.9:
        return []
    at_usual = np.isin(reference, usual)
    equal = (float(np.sum(value[at_usual] == reference[at_usual])) + 1) / (float(at_usual.sum()) + 2)
    deviation = value[at_usual] / reference[at_usual] - 1
    centre = float(np.median(deviation))
    spread = distances(deviation - centre).usual
    odd = np.flatnonzero(~at_usual & np.isin(value, usual))
    fits = odd[np.abs(reference[odd] / value[odd] - 1 - centre) <= FITS * spread]
    if len(fits) == 0 or equal > MOST_EQUAL:
        return []
    return [_columns(result, numbers[fits], equal ** len(fits), zone)]


def _columns(result: StreamResult, index: IntArray, chance: float, zone: tzinfo) -> Question:
    readings, check = result.readings, result.check
    value, reference = float(readings.value[index[0]]), float(readings.reference[index[0]])
    odd = with_unit(f"{reference:g}", check.unit_label)
    return ask(
        "exchanged_columns",
        (result.key,),
        readings.row[index],
        readings.taken_at[index],
        f"{stream_name(result.key, check)}: value {value:g}, reference {odd}, {{rows}}: "
        f" {value:g} is a usual reference and {reference:g} is none, but would do as a value. With such a "
        "reference, a reading exactly on a usual one comes by luck {odds}. Do the two stand in each other's column?",
        chance=chance,
        zone=zone,
        readings=len(index),
        value=value,
        reference=reference,
    )
