"""The readings of a stream parted by who, with what, when and where they were taken: a question, never a verdict.

Groups differ for many reasons that no group is to blame for: another shift measures at another time of day, another
meter stands beside another lamp. So the sentence asks, and names what to look at; nobody is ranked.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from spc.arrays import FloatArray, IntArray, frozen
from spc.records import Bound
from spc.results import StreamResult
from spc.screening.question import odds
from spc.wording import level_text

WAYS: Mapping[str, str] = {
    "instrument": "Instrument",
    "technician": "Technician",
    "shift": "Shift",
    "position": "Position or lamp",
}
"""Ways to part the readings, as people say them."""

ASKS: Mapping[str, str] = {
    "instrument": "Do they show the same on one reference, and when was each calibrated? Was one used alone for a "
    "time?",
    "technician": "Do all take the reading at the same place, distance and time, with the same steps? Compare the way "
    "it is done, with the written procedure in hand, before anything else.",
    "shift": "What differs with the time of day: lamps just switched on, the bath not yet stirred, sunlight, the load?",
    "position": "Each position has its own level; do they move together? What they share is where to look then.",
}

FEWEST = 5
"""Readings that a group needs to be compared."""

DOUBT = 0.01
"""Chance of such differences by luck below which a question is asked."""


@dataclass(frozen=True, slots=True)
class Group:
    """Readings that share something."""

    name: str
    taken_at: IntArray
    x: FloatArray  # in the chart unit; bounds count as the number written
    n: int
    median: float
    low: float  # quartiles
    high: float


@dataclass(frozen=True, slots=True)
class Split:
    """A stream parted one way."""

    by: str  # a key of WAYS
    groups: tuple[Group, ...]  # by name
    chance: float | None  # of such differences by luck; None where they were not compared
    question: str


def ways_of(result: StreamResult, streams: Iterable[StreamResult] = ()) -> tuple[str, ...]:
    """Return the ways in which the charted readings fall into two groups or more."""
    ways = [by for by in ("instrument", "technician", "shift") if len(set(_names(result, by))) > 1]
    return (*ways, *(("position",) if len(_sisters(result, streams)) > 1 else ()))


def split(result: StreamResult, by: str, view: slice, streams: Iterable[StreamResult] = ()) -> Split:
    """Return the readings in view, parted by what they share.

    Groups of one stream are compared by their distance from the centre line of their segment, so that a group that
    happened to measure before a lamp was cleaned is not told apart for that; chance by Kruskal and Wallis.

    Args:
        result: the stream.
        by: a key of WAYS.
        view: charted places.
        streams: all streams, for those of the same check on other positions.

    Source:
        Kruskal, W. H. and Wallis, W. A. (1952), Use of ranks in one-criterion variance analysis, Journal of the
        American Statistical Association 47, 583-621.
    """
    if by == "position":
        return _by_position(result, view, streams)
    places = np.arange(*view.indices(len(result.charted.x)))
    names = np.array(_names(result, by), dtype=object)[places]
    off = _from_centre(result)[places]
    groups, compared = [], []
    for name in sorted(set(names.tolist())):
        own = names == name
        groups.append(
            _group(name or "not written down", result.charted.taken_at[places[own]], result.charted.x[places[own]])
        )
        compared.append(off[own][np.isfinite(off[own])])
    chance = _chance(compared)
    return Split(by, tuple(groups), chance, _question(by, groups, compared, chance, result))


def _names(result: StreamResult, by: str) -> Sequence[str]:
    """Return what each charted reading says; what differs only in capitals or blanks is one, as most often written."""
    written = [" ".join(str(name).split()) for name in getattr(result.readings, by)[result.charted.index]]
    usual: dict[str, str] = {}
    for name, _ in Counter(written).most_common():
        usual.setdefault(name.casefold(), name)
    return [usual[name.casefold()] for name in written]


def _sisters(result: StreamResult, streams: Iterable[StreamResult]) -> list[StreamResult]:
    key = result.key
    return [
        each for each in streams if (each.key.line, each.key.check) == (key.line, key.check) and len(each.charted.x)
    ]


def _by_position(result: StreamResult, view: slice, streams: Iterable[StreamResult]) -> Split:
    start, stop, _ = view.indices(len(result.charted.x))
    groups: list[Group] = []
    if stop > start:
        ends = result.charted.taken_at[[start, stop - 1]]
        for each in _sisters(result, streams):
            inside = slice(*np.searchsorted(each.charted.taken_at, [ends[0], ends[1] + 1]))
            if inside.stop > inside.start:
                name = each.key.position or "no position"
                groups.append(_group(name, each.charted.taken_at[inside], each.charted.x[inside]))
    return Split("position", tuple(groups), None, ASKS["position"] if len(groups) > 1 else "")


def _group(name: str, taken_at: IntArray, x: FloatArray) -> Group:
    low, median, high = np.quantile(x, (0.25, 0.5, 0.75)).tolist()
    return Group(name, frozen(np.array(taken_at)), frozen(np.array(x)), len(x), median, low, high)


def _from_centre(result: StreamResult) -> FloatArray:
    """Return how far each exact reading lies from the centre line of its segment, NaN where there is none."""
    off = np.full(len(result.charted.x), np.nan)
    for segment in result.segments:
        if segment.limits is not None:
            span = slice(segment.first, segment.stop)
            off[span] = result.charted.x[span] - segment.limits.centre_line
    return np.where(result.charted.bound == Bound.EXACT, off, np.nan)


def _chance(compared: Sequence[FloatArray]) -> float | None:
    enough = [each for each in compared if len(each) >= FEWEST]
    if len(enough) < 2 or np.ptp(np.concatenate(enough)) == 0:
        return None
    from scipy.stats import kruskal

    return float(kruskal(*enough).pvalue)


def _question(
    by: str, groups: Sequence[Group], compared: Sequence[FloatArray], chance: float | None, result: StreamResult
) -> str:
    if chance is None:
        return f"Fewer than two groups have {FEWEST} readings in view: nothing is compared." if len(groups) > 1 else ""
    if chance >= DOUBT:
        return "The groups differ no more than readings of one group do among themselves."
    middle = {
        group.name: float(np.median(off)) for group, off in zip(groups, compared, strict=True) if len(off) >= FEWEST
    }
    low, high = min(middle, key=lambda name: middle[name]), max(middle, key=lambda name: middle[name])
    apart = level_text(middle[high] - middle[low], result.check)
    return f"Readings of {low} lie {apart} below those of {high} in the middle; by luck {odds(chance)}. {ASKS[by]}"
