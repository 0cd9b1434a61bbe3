"""Labels that do not collide."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Label:
    """Words that belong to one place along a line, all in pixels."""

    at: float
    width: float
    rank: int  # 0 is placed first


@dataclass(frozen=True, slots=True)
class Place:
    """Where a label went: its lane, counted from 0, and on which side of its mark the words stand."""

    lane: int
    words: Literal["right", "left", "none"]


Span = tuple[float, float]


def in_lanes(labels: Sequence[Label], *, lanes: int, room: float, mark: float) -> tuple[Place | None, ...]:
    """Return a place for each label: with its words, for its mark alone, or None where even that would hide words.

    Marks may lie on each other, words on nothing.

    Args:
        labels: in any order.
        lanes: how many there are.
        room: length of a lane; a label outside 0 .. room gets its mark alone.
        mark: width of a mark.
    """
    words: list[list[Span]] = [[] for _ in range(lanes)]
    marks: list[list[Span]] = [[] for _ in range(lanes)]
    places: list[Place | None] = [None] * len(labels)
    for i in sorted(range(len(labels)), key=lambda i: (labels[i].rank, -labels[i].at)):
        inside = 0 <= labels[i].at <= room
        place = _place(labels[i], words, marks, room, mark) if inside else Place(0, "none")
        places[i] = place
        if place is None or not inside:
            continue
        marks[place.lane].append(_mark(labels[i], mark))
        if place.words != "none":
            words[place.lane].append(_words(labels[i], place.words, mark))
    return tuple(places)


def _place(label: Label, words: list[list[Span]], marks: list[list[Span]], room: float, mark: float) -> Place | None:
    own = _mark(label, mark)
    free = [lane for lane in range(len(words)) if not _hits(own, words[lane])]
    for side in SIDES:
        span = _words(label, side, mark)
        if span[0] < 0 or span[1] > room:
            continue
        for lane in free:
            if not _hits(span, words[lane]) and not _hits(span, marks[lane]):
                return Place(lane, side)
    return Place(free[0], "none") if free else None


SIDES: tuple[Literal["right", "left"], ...] = ("right", "left")


def _mark(label: Label, mark: float) -> Span:
    return label.at - mark / 2, label.at + mark / 2


def _words(label: Label, side: str, mark: float) -> Span:
    if side == "left":
        return label.at - mark / 2 - label.width, label.at - mark / 2
    return label.at + mark / 2, label.at + mark / 2 + label.width


def _hits(span: Span, others: Sequence[Span]) -> bool:
    return any(span[0] < stop and start < span[1] for start, stop in others)


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
