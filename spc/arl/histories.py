"""What a set of run rules must remember, reduced to a finite number of states.

A rule looks at the last `window` flags of each side. Of these only the ones that can still be part of a signal matter;
the others are struck out, and what is left of all rules together is the state. Where a rule compares a reading with the
one before, or the last value matters for another reason, the state also says in which cell (between two lines of the
chart) the last reading lay, and whether it rose or fell.

Source: Champ, C. W. and Woodall, W. H. (1987), Exact results for Shewhart control charts with supplementary runs
rules, Technometrics 29, 393-399; the struck-out flags follow from the condition stated in `still_matter`.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from spc.arrays import IntArray, frozen
from spc.errors import InputError
from spc.rules import RuleSetting, rule_of
from spc.rules.table import Flag, Seen

MOST_STATES = 20_000

RISING, LEVEL, FALLING = 1, 0, -1
"""How a reading lies to the one before; LEVEL where that does not matter."""


class TooManyStates(Exception):
    """The rules remember more than can be counted through; simulation remains."""


class Track(NamedTuple):
    """One side of one rule: it signals where the flag is set and `needed` of the last `window` flags are."""

    flag: Flag
    width: float
    needed: int
    window: int
    lead: int  # readings before the first that can have a flag


class State(NamedTuple):
    """What the rules remember after a reading."""

    flags: tuple[int, ...]  # one for each track: the flags that still matter as bits, the last one lowest
    moved: int  # whether the last reading rose or fell, where a rule asks for it
    cell: int  # of the last reading, where a rule asks for it


@dataclass(frozen=True, slots=True, eq=False)
class Machine:
    """All states of a set of rules, and every reading that takes one to another without a signal."""

    borders: tuple[float, ...]  # of the cells, in sigmas, from -inf to inf
    cell: IntArray  # (n,) cell of the last reading in each state
    first: tuple[int, ...]  # for each cell: the state after a first reading there, -1 where it signals
    source: IntArray  # (m,) state before ...
    target: IntArray  # ... and after a reading ...
    reading_cell: IntArray  # ... in this cell ...
    reading_moved: IntArray  # ... that rose or fell this way
    memory: int  # the longest window


def tracks_of(settings: Sequence[RuleSetting]) -> tuple[Track, ...]:
    """Return the tracks of a set of rules, at least one.

    Raises:
        InputError: no rule, or one that cannot be.
    """
    if not settings:
        raise InputError("no run rule given; switch on at least one")
    tracks: list[Track] = []
    for setting in settings:
        rule = rule_of(setting)
        needed, window = setting.count - rule.lead, setting.window - rule.lead
        tracks.extend(Track(flag, setting.width, needed, window, rule.lead) for _, flag in rule.flags)
    return tuple(tracks)


def still_matter(flags: int, needed: int, window: int) -> int:
    """Return `flags` without those that can be part of no signal to come.

    A flag seen j readings ago leaves the window after window - 1 - j more. Even if all of those set theirs, it counts
    only together with the flags since; where these are fewer than `needed`, so are they for every older flag.
    """
    kept = seen = 0
    while flags:
        flag = flags & -flags  # the youngest one left
        seen += 1
        if seen + window - flag.bit_length() < needed or flag.bit_length() >= window:
            break
        kept |= flag
        flags ^= flag
    return kept


@lru_cache(maxsize=16)
def machine_of(settings: tuple[RuleSetting, ...], *, with_last_cell: bool) -> Machine:
    """Count through all states of a set of rules.

    Args:
        settings: the rules switched on.
        with_last_cell: whether a state says in which cell the last reading lay; always so where a rule compares
            a reading with the one before.

    Raises:
        InputError: a rule that cannot be.
        TooManyStates: more than MOST_STATES.
    """
    walk = _Walk(settings, with_last_cell=with_last_cell)
    nothing = State((0,) * len(walk.tracks), LEVEL, 0)
    after_first = [walk.after(nothing, cell, LEVEL) for cell in range(len(walk.middles))]
    starts = after_first if walk.with_last_cell else [nothing, *after_first]
    states = list(dict.fromkeys(state for state in starts if state is not None))
    numbers: dict[State | None, int] = {None: -1, **{state: i for i, state in enumerate(states)}}
    moves: list[tuple[int, int, int, int]] = []
    for state in states:  # grows as new ones are reached
        for cell, moved in walk.readings_after(state):
            after = walk.after(state, cell, moved)
            if after is None:
                continue
            if after not in numbers:
                numbers[after] = len(states)
                states.append(after)
            moves.append((numbers[state], numbers[after], cell, moved))
        if len(states) > MOST_STATES:
            raise TooManyStates
    source, target, reading_cell, reading_moved = np.array(moves, dtype=np.int64).reshape(-1, 4).T.copy()
    return Machine(
        borders=walk.borders,
        cell=frozen(np.array([state.cell for state in states], dtype=np.int64)),
        first=tuple(numbers[state] for state in after_first),
        source=frozen(source),
        target=frozen(target),
        reading_cell=frozen(reading_cell),
        reading_moved=frozen(reading_moved),
        memory=max(setting.window for setting in settings),
    )


class _Walk:
    """Steps from state to state."""

    def __init__(self, settings: Sequence[RuleSetting], *, with_last_cell: bool) -> None:
        self.tracks = tracks_of(settings)
        lead = max(track.lead for track in self.tracks)
        self.compares = lead > 0
        self.remembers_move = lead > 1
        self.with_last_cell = with_last_cell or self.compares
        lines = sorted({0.0, *(side * track.width for track in self.tracks for side in (-1, 1))})
        self.borders = (-math.inf, *lines, math.inf)
        between = [(low + high) / 2 for low, high in pairwise(lines)]
        self.middles = (lines[0] - 1, *between, lines[-1] + 1)

    def readings_after(self, state: State) -> Iterator[tuple[int, int]]:
        """Yield the cell and the direction of every reading that can come after `state`."""
        for cell in range(len(self.middles)):
            if not self.compares:
                yield cell, LEVEL
                continue
            if cell >= state.cell:
                yield cell, RISING
            if cell <= state.cell:
                yield cell, FALLING

    def after(self, state: State, cell: int, moved: int) -> State | None:
        """Return the state after a reading, None where it signals."""
        z = self.middles[cell]
        seen = Seen(z, z, moved == RISING, moved == FALLING, state.moved == RISING, state.moved == FALLING)
        flags = []
        for track, before in zip(self.tracks, state.flags, strict=True):
            now = before << 1 | bool(track.flag(seen, track.width))
            if now & 1 and now.bit_count() >= track.needed:
                return None
            flags.append(still_matter(now, track.needed, track.window))
        return State(tuple(flags), moved if self.remembers_move else LEVEL, cell if self.with_last_cell else 0)
