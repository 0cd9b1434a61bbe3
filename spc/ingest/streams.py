"""Clean rows to streams: sorted by time, what was written twice left out, new rows joined to those read before."""

from collections.abc import Mapping

import numpy as np

from spc.arrays import BoolArray, IntArray, frozen
from spc.ingest.tidy import TEXTS, Cleaned
from spc.records import Readings, StreamKey

Identity = tuple[int, int, float, int, str]


def join_streams(
    before: Mapping[StreamKey, Readings], new: Cleaned, *, twice: list[int] | None = None
) -> tuple[dict[StreamKey, Readings], int]:
    """Return all streams with the rows of `new` in them, and how many of these were duplicates.

    Args:
        before: the streams so far.
        new: rows, in file order.
        twice: is given the rows of the file that were duplicates.

    A duplicate has the stream, time and value (with its bound, or the word) of an earlier row of the file. A stream
    without new readings is the same object as before.
    """
    order = _by_stream_and_time(new)
    doubled = _doubled(new, order, before)
    if twice is not None:
        twice += np.sort(new.row[order[doubled]]).tolist()
    order = order[~doubled]
    counts = np.bincount(new.stream[order], minlength=len(new.keys)).tolist()
    readings = _cut(new, order, counts)
    streams = dict(before)
    for key, fresh in readings.items():
        streams[key] = _joined(before[key], fresh) if key in before else fresh
    return streams, int(np.count_nonzero(doubled))


def _by_stream_and_time(new: Cleaned) -> IntArray:
    """Return the rows ordered by stream, then time, then place in the file."""
    small = len(new.keys) <= np.iinfo(np.int16).max
    order = np.argsort(new.stream.astype(np.int16) if small else new.stream, kind="stable")
    stream, at = new.stream[order], new.taken_at[order]
    if np.any((stream[1:] == stream[:-1]) & (at[1:] < at[:-1])):
        return np.lexsort((new.taken_at, new.stream))
    return order


def _doubled(new: Cleaned, order: IntArray, before: Mapping[StreamKey, Readings]) -> BoolArray:
    """Return which of the ordered rows were written before, in `new` or in `before`, shape (n,)."""
    stream, at = new.stream[order], new.taken_at[order]
    twin = (stream[1:] == stream[:-1]) & (at[1:] == at[:-1])
    suspect = np.zeros(len(order), dtype=np.bool_)
    suspect[1:] |= twin
    suspect[:-1] |= twin
    seen: set[Identity] = set()
    for place, key in enumerate(new.keys):
        if key in before:
            mine = stream == place
            suspect |= mine & np.isin(at, before[key].taken_at)
            seen |= _identities(place, before[key], at[mine])
    doubled = np.zeros(len(order), dtype=np.bool_)
    for where in np.flatnonzero(suspect).tolist():
        row = int(order[where])
        identity = _identity(int(stream[where]), int(at[where]), new.value[row], new.bound[row], new.word[row])
        doubled[where] = identity in seen
        seen.add(identity)
    return doubled


def _identities(place: int, readings: Readings, times: IntArray) -> set[Identity]:
    """Return what the readings at `times` say."""
    return {
        _identity(place, int(readings.taken_at[at]), readings.value[at], readings.bound[at], readings.word[at])
        for at in np.flatnonzero(np.isin(readings.taken_at, times)).tolist()
    }


def _identity(place: int, at: int, value: float, bound: int, word: str) -> Identity:
    return place, at, 0.0 if word else float(value), int(bound), word


def _cut(new: Cleaned, order: IntArray, counts: list[int]) -> dict[StreamKey, Readings]:
    """Return the ordered rows as one Readings for each stream that has any."""
    taken_at, row = frozen(new.taken_at[order]), frozen(new.row[order])
    offset, bound = frozen(new.offset[order]), frozen(new.bound[order])
    value, reference = frozen(new.value[order]), frozen(new.reference[order])
    word = frozen(new.word[order])
    text = {name: frozen(column[order]) for name, column in new.text.items()}
    streams, first = {}, 0
    for key, count in zip(new.keys, counts, strict=True):
        part = slice(first, first + count)
        first += count
        if count:
            streams[key] = Readings(
                key=key,
                taken_at=taken_at[part],
                offset=offset[part],
                row=row[part],
                value=value[part],
                bound=bound[part],
                word=word[part],
                reference=reference[part],
                **{name: text[name][part] for name in TEXTS},
                other={name: column[part] for name, column in text.items() if name not in TEXTS},
            )
    return streams


def _joined(old: Readings, new: Readings) -> Readings:
    """Return both in time order; at equal times the old ones, which stand earlier in the file, come first."""
    order = np.argsort(np.concatenate((old.taken_at, new.taken_at)), kind="stable")
    names = ("taken_at", "offset", "row", "value", "bound", "word", "reference", *TEXTS)
    columns = {name: np.concatenate((getattr(old, name), getattr(new, name)))[order] for name in names}
    other = {name: np.concatenate((old.other[name], new.other[name]))[order] for name in old.other}
    return Readings(
        key=old.key,
        **{name: frozen(column) for name, column in columns.items()},
        other={name: frozen(column) for name, column in other.items()},
    )
