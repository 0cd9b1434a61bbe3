"""One number again and again, and stretches written in coarser steps than the rest."""

from collections.abc import Iterator
from datetime import tzinfo

import numpy as np

from spc.arrays import BoolArray, IntArray
from spc.coarse.repeats import equal_run_chance, largest_chance, run_chance
from spc.screening.question import Question, ask
from spc.screening.written import Series, in_steps
from spc.wording import with_unit

SHORTEST = 4
"""Equal readings from which a run is looked at."""

COARSER = (2, 4, 5, 10, 20)
"""How many steps a coarser one may hold."""

SHORTEST_COARSE = 8


def copied_runs(series: Series, most: float, zone: tzinfo) -> tuple[list[Question], BoolArray]:
    """Return the runs of one number that rounding and noise do not explain, and which readings are in them.

    The longest run is judged by the noise that all other readings show, then the next longest by what is left.

    Args:
        series: readings as written.
        most: chance above which nothing is asked.
        zone: of the times in the question.
    """
    found: list[Question] = []
    inside = np.zeros(len(series), dtype=np.bool_)
    for first, stop in sorted(_runs(series.same()), key=lambda run: run[0] - run[1]):
        if stop - first < SHORTEST:
            break
        suspect = inside.copy()
        suspect[first:stop] = True
        noise = series.noise(suspect)
        chance = equal_run_chance(stop - first, len(series), noise)
        if chance > most:
            break
        inside = suspect
        found.append(_copied(series, first, stop, float(largest_chance(noise).mean()), chance, zone))
    return found, inside


def _runs(same: BoolArray) -> Iterator[tuple[int, int]]:
    """Yield first reading and end (exclusive) of every run; `same` says which readings repeat the one before."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], same, [False]]).astype(np.int8)))
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        yield start, end + 1


def _copied(series: Series, first: int, stop: int, one: float, chance: float, zone: tzinfo) -> Question:
    value = with_unit(f"{series.x[first]:g}", series.check.unit_label)
    return ask(
        "copied",
        (series.key,),
        series.row[first:stop],
        series.taken_at[first:stop],
        f"{series.name}: {value} stands in {stop - first} readings running, {{rows}}. As the others scatter, at most "
        f"{100 * one:.0f} % repeat a number; such a run comes by luck {{odds}}. Was each of them read anew, and is the "
        "instrument fine enough and still moving?",
        chance=chance,
        zone=zone,
        readings=stop - first,
        value=float(series.x[first]),
        chance_of_one=one,
    )


def coarser_stretches(series: Series, most: float, zone: tzinfo, *, copied: BoolArray) -> list[Question]:
    """Return the longest stretch written in coarser steps than the rest, for each that luck does not explain.

    Args:
        series: readings as written.
        most: chance above which nothing is asked.
        zone: of the times in the question.
        copied: readings in runs of one number, shape (n,): asked about already.
    """
    steps, whole = in_steps(series)
    used = np.flatnonzero(whole & ~copied)
    asked = np.zeros(len(series), dtype=np.bool_)
    found = []
    for apart in sorted(COARSER, reverse=True):
        on = steps[used] % apart == 0
        first, stop = _longest(on)
        places = used[first:stop]
        if stop - first < SHORTEST_COARSE or asked[places].any() or on.mean() > 0.9:
            continue
        if len(COARSER) * run_chance(stop - first, len(used), 1 / apart) > most:
            continue
        left_out = copied.copy()
        left_out[places] = True
        one = largest_chance(series.noise(left_out), apart)
        chance = len(COARSER) * run_chance(stop - first, len(used), one)
        if chance <= most:
            asked[places] = True
            found.append(_coarser(series, places, apart, float(one.mean()), chance, zone))
    return found


def coarse_throughout(series: Series, most: float, zone: tzinfo, *, copied: BoolArray) -> list[Question]:
    """Return a question where a whole stream is written in coarser steps than the catalogue says it can be read in.

    Args:
        series: readings as written.
        most: chance above which nothing is asked.
        zone: of the times in the question.
        copied: readings in runs of one number, shape (n,): asked about already.
    """
    resolution = series.check.resolution
    apart = round(series.step / resolution) if resolution else 1
    if resolution is None or apart < 2 or not series.physical:
        return []
    _, whole = in_steps(series)
    used = np.flatnonzero(whole & ~copied)
    one = largest_chance(apart * series.noise(copied), apart)
    chance = run_chance(len(used), len(used), one)
    if chance > most:
        return []
    wide = with_unit(f"{series.step:g}", series.check.unit_label)
    return [
        ask(
            "coarser_steps",
            (series.key,),
            series.row[used],
            series.taken_at[used],
            f"{series.name}: {len(used)} of {len(series)} readings are multiples of {wide}, {{rows}}; the catalogue "
            f"says that it can be read to {resolution:g}. That comes by luck {{odds}}. Is it rounded when written? "
            "If the instrument shows no more, name its resolution in the site's catalogue.",
            chance=chance,
            zone=zone,
            readings=len(used),
            step=series.step,
            usual_step=resolution,
            chance_of_one=float(one.mean()),
        )
    ]


def _longest(on: BoolArray) -> tuple[int, int]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8)))
    if len(edges) == 0:
        return 0, 0
    longest = 2 * int((edges[1::2] - edges[::2]).argmax())
    return int(edges[longest]), int(edges[longest + 1])


def _coarser(series: Series, places: IntArray, apart: int, one: float, chance: float, zone: tzinfo) -> Question:
    wide = with_unit(f"{apart * series.step:g}", series.check.unit_label)
    return ask(
        "coarser_steps",
        (series.key,),
        series.row[places],
        series.taken_at[places],
        f"{series.name}: {len(places)} readings running are multiples of {wide}, {{rows}}; the others are read to "
        f"{series.step:g}. That comes by luck {{odds}}. Was another instrument used, or another way of reading it?",
        chance=chance,
        zone=zone,
        readings=len(places),
        step=apart * series.step,
        usual_step=series.step,
        chance_of_one=one,
    )
