"""A question to the engineer: what the readings show, how likely that is by luck, and what to ask."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from spc.records import StreamKey
from spc.times import from_microseconds
from spc.told import Told
from spc.wording import time_text

Kind = Literal[
    "copied",  # one number in reading after reading
    "coarser_steps",  # a stretch written in coarser steps than the rest
    "little_variation",  # a stretch that scatters less than the rest
    "digit_preference",  # one last digit more often than the scatter allows
    "unit_slip",  # readings that fit once multiplied or converted
    "exchanged_positions",  # readings of two positions that fit each other's place
    "exchanged_columns",  # value and reference that fit each other's place
    "day_and_month",  # a date that fits its neighbours in the file with day and month exchanged
]

FALSE_RATE = 0.05
"""Chance at most that a line without anything of the kind gets a question of any kind, over all its readings."""


@dataclass(frozen=True, slots=True)
class Question(Told):
    """Something in how readings were written down that an engineer may want to ask about; no drift, no accusation."""

    kind: Kind
    keys: tuple[StreamKey, ...]  # the stream, or the two that were exchanged
    rows: tuple[int, ...]  # line numbers in the log, in time order
    first: datetime  # aware, UTC
    last: datetime
    chance: float  # of something like this by luck, anywhere in the stream
    sentence: str
    evidence: Mapping[str, float] = field(default_factory=dict)

    @property
    def line(self) -> str:
        """The line that the readings belong to."""
        return self.keys[0].line


def ask(
    kind: Kind,
    keys: tuple[StreamKey, ...],
    rows: ArrayLike,
    taken_at: ArrayLike,
    words: str,
    *,
    chance: float,
    zone: tzinfo,
    **evidence: float,
) -> Question:
    """Return a question.

    Args:
        kind: what it is about.
        keys: the stream or streams.
        rows: line numbers in the log, shape (n,).
        taken_at: microseconds since 1970-01-01 UTC, shape (n,).
        words: the sentence, with {rows} where the rows and their times belong and {odds} where the chance does.
        chance: of something like this by luck, anywhere in the stream.
        zone: of the times in the sentence.
        evidence: the numbers behind it.
    """
    order = np.argsort(np.asarray(taken_at), kind="stable")
    in_order = tuple(int(row) for row in np.asarray(rows)[order])
    first, last = (from_microseconds(int(np.asarray(taken_at)[order][end])) for end in (0, -1))
    return Question(
        kind=kind,
        keys=keys,
        rows=in_order,
        first=first,
        last=last,
        chance=chance,
        sentence=words.replace("{rows}", rows_text(in_order, first, last, zone)).replace("{odds}", odds(chance)),
        evidence=evidence,
    )


def rows_text(rows: tuple[int, ...], first: datetime, last: datetime, zone: tzinfo) -> str:
    """Return which rows of the log are meant, and when they were taken."""
    start, end = time_text(first, zone), time_text(last, zone)
    if len(set(rows)) == 1:
        return f"row {rows[0]} ({start})"
    return f"rows {min(rows)} to {max(rows)} ({start} to {end})"


def odds(chance: float) -> str:
    """Return a small chance as people say it: "1 in 300", "less than 1 in a million"."""
    if chance < 1e-6:
        return "less than 1 in a million"
    return f"about 1 in {float(f'{1 / chance:.1g}'):,.0f}"
