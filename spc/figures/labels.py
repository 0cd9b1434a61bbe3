"""Labels that do not collide."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Label:
    """Words that belong to one place along a line, all in pixels."""

    at: float
    width: float
    rank: int  # 0 is placed first


@dataclass(frozen=True, slots=True)
class Place:
    """Where a label went: its lane, counted from 0, and whether the words stand left of their mark."""

    lane: int
    left: bool


def in_lanes(labels: Sequence[Label], *, lanes: int, room: float, mark: float) -> tuple[Place | None, ...]:
    """Return a place for each label, None for one that fits nowhere and keeps its mark alone.

    Args:
        labels: in any order.
        lanes: how many there are.
        room: length of a lane.
        mark: width kept free for a mark.
    """
    taken: list[list[tuple[float, float]]] = [[] for _ in range(lanes)]
    places: list[Place | None] = [None] * len(labels)
    marks = [(label.at - mark / 2, label.at + mark / 2) for label in labels]
    for i in sorted(range(len(labels)), key=lambda i: (labels[i].rank, -labels[i].at)):
        if not 0 <= labels[i].at <= room:
            continue
        places[i] = _place(labels[i], taken, room, mark)
        place = places[i]
        if place is not None:
            taken[place.lane].append(_span(labels[i], place.left, mark))
        else:
            taken[0].append(marks[i])
    return tuple(places)


def _place(label: Label, taken: list[list[tuple[float, float]]], room: float, mark: float) -> Place | None:
    for left in (False, True):
        start, stop = _span(label, left, mark)
        if start < -mark or stop > room + mark:
            continue
        for lane, spans in enumerate(taken):
            if all(stop <= a or b <= start for a, b in spans):
                return Place(lane, left)
    return None


def _span(label: Label, left: bool, mark: float) -> tuple[float, float]:
    if left:
        return label.at - mark - label.width, label.at + mark / 2
    return label.at - mark / 2, label.at + mark + label.width


def spread(wanted: Sequence[float], heights: Sequence[float], *, low: float, high: float) -> tuple[float, ...]:
    """Return places as near as possible to `wanted` at which labels of `heights` do not overlap.

    Args:
        wanted: middles of the labels, in pixels.
        heights: their heights; together at most high - low.
        low: lowest place a label may reach down to.
        high: highest place a label may reach up to.

    Labels keep their order. Neighbours that overlap move apart by the same amount, as one block.
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    blocks: list[tuple[float, list[int]]] = []  # lower edge, labels from below
    for i in order:
        edge, members = _kept(wanted[i] - heights[i] / 2, heights[i], low, high), [i]
        while blocks and blocks[-1][0] + _height(blocks[-1][1], heights) > edge:
            below_edge, below = blocks.pop()
            n_below, n = len(below), len(members)
            meant = (below_edge * n_below + (edge - _height(below, heights)) * n) / (n_below + n)
            members = below + members
            edge = _kept(meant, _height(members, heights), low, high)
        blocks.append((edge, members))
    places = [0.0] * len(wanted)
    for edge, members in blocks:
        for i in members:
            places[i] = edge + heights[i] / 2
            edge += heights[i]
    return tuple(places)


def _height(members: Sequence[int], heights: Sequence[float]) -> float:
    return sum(heights[i] for i in members)


def _kept(edge: float, height: float, low: float, high: float) -> float:
    return max(low, min(edge, high - height))
