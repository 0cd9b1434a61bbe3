"""Last digits that come more often than the scatter of the readings allows."""

from dataclasses import dataclass
from datetime import tzinfo

import numpy as np

from spc.arrays import BoolArray, FloatArray, IntArray
from spc.coarse.repeats import excess_chance, largest_chance
from spc.screening.question import Question, ask
from spc.screening.written import Series, in_steps
from spc.wording import with_unit

FEWEST = 40
"""Readings from which last digits are compared."""

ROUND = (2, 5)
"""Round numbers looked for, in steps: every second, every fifth; every tenth is among the last digits."""

LOOKS = 10 + len(ROUND)


@dataclass(frozen=True, slots=True)
class Excess:
    """Readings on numbers `apart` steps from each other, from `start` on."""

    apart: int
    start: int
    found: int
    n: int
    chance_of_one: float  # largest that the scatter allows
    chance: float


def largest_excess(steps: IntArray, noise: FloatArray) -> Excess:
    """Return the last digit or round number that comes most against the scatter.

    Args:
        steps: readings in whole steps, shape (n,).
        noise: equally likely standard deviations of their noise, in steps.

    Exact: whatever the level does, a reading ends in one digit with at most the chance that the scatter allows, and
    readings of independent noise multiply. Twelve looks share the chance.
    """
    found = []
    one = {apart: largest_chance(noise, apart) for apart in (10, *ROUND)}
    for apart, start, count in _counts(steps):
        chance = LOOKS * excess_chance(count, len(steps), one[apart])
        found.append(Excess(apart, start, count, len(steps), float(one[apart].mean()), chance))
    return min(found, key=lambda excess: excess.chance)


def _counts(steps: IntArray) -> list[tuple[int, int, int]]:
    """Return for every look how many steps it goes by, from which, and how many readings it finds."""
    digits = np.bincount(steps % 10, minlength=10)
    ends = [(10, digit, count) for digit, count in enumerate(digits.tolist())]
    return ends + [(apart, 0, int(digits[::apart].sum())) for apart in ROUND]


def _any_too_many(steps: IntArray, most: float) -> bool:
    """Return whether any look could find too many, were the scatter as wide as can be.

    Over all digits the chances of a reading add up to 1, so the largest is at least one in so many.
    """
    largest: dict[int, int] = {}
    for apart, _, count in _counts(steps):
        largest[apart] = max(count, largest.get(apart, 0))
    return any(LOOKS * excess_chance(count, len(steps), 1 / apart) <= most for apart, count in largest.items())


def digit_preference(series: Series, most: float, zone: tzinfo, *, left_out: BoolArray) -> list[Question]:
    """Return a question where one last digit, or round numbers, come too often.

    Args:
        series: readings as written.
        most: chance above which nothing is asked.
        zone: of the times in the question.
        left_out: readings asked about already, shape (n,).
    """
    steps, whole = in_steps(series)
    used = np.flatnonzero(whole & ~left_out)
    if len(used) < FEWEST or not _any_too_many(steps[used], most):
        return []
    excess = largest_excess(steps[used], series.noise(left_out))
    if excess.chance > most:
        return []
    which, most_often = _which(excess, series), 100 * excess.chance_of_one
    ends = used[steps[used] % excess.apart == excess.start]
    return [
        ask(
            "digit_preference",
            (series.key,),
            series.row[ends],
            series.taken_at[ends],
            f"{series.name}: {excess.found} of {excess.n} readings {which}, {{rows}}; as they scatter, "
            f"at most {most_often:.0f} % should. That comes by luck {{odds}}. Is the value read as finely as it is "
            "written, or rounded to a favourite?",
            chance=excess.chance,
            zone=zone,
            found=excess.found,
            readings=excess.n,
            apart=excess.apart * series.step,
            start=excess.start * series.step,
            chance_of_one=excess.chance_of_one,
        )
    ]


def _which(excess: Excess, series: Series) -> str:
    apart = with_unit(f"{excess.apart * series.step:g}", series.check.unit_label)
    if excess.start == 0:
        return f"are multiples of {apart}"
    return f"lie {excess.start * series.step:g} above a multiple of {apart}"
