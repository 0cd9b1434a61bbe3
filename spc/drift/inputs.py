"""What was recorded between two readings without a new segment, as a known input of the level.

A top-up lifts the level, and what is added is, in the long run, what the bath loses: between top-ups the level is
expected to fall by as much as they lift it. How far one top-up lifts is learnt with the level (`level.Level.lift`), so
neither the jump nor the way back down surprises; a loss that grows or a powder that yields less does. Whatever else was
recorded may have moved the level by any amount, once.
"""

import math
from typing import NamedTuple

from spc.drift.reading import DriftReading

WEIGHED, UNWEIGHED = (0.08, 0.05), (0.0, 0.4)
"""How much one top-up lifts beside the next of its weight, or beside a usual one: standard deviations as shares of it,
of what stays (scale, spillage, mixing) and of what passes, as a dose by feel aims at a level (judgement, no source)."""

LARGEST_DOSE = 4.0
"""A top-up counts as no more than this many usual ones: a weight written wrongly lifts nothing."""

RATE_KEEPS = 0.99
"""Share of what is known of how often top-ups come that is kept from reading to reading."""

LONGEST_KNOWN = 1.0 / (1.0 - RATE_KEEPS)

LONGEST_WAY_DOWN = 1.0
"""A fall is expected as far as the latest top-up lifted; further down, that nobody tops up is news."""


class Move(NamedTuple):
    """How the level is expected to move to the next reading."""

    lift: float = 0.0  # in usual top-ups, less the expected loss
    lasting: float = 0.0  # variance of the lift that stays, as a share of the squared lift
    passing: float = 0.0  # likewise of what the next top-ups make up for
    disturbed: float = 0.0  # 1 where something else was recorded, else 0
    pause: float = 1.0  # time since the reading before, in usual times between two readings


class Feed(NamedTuple):
    """What is known of the top-ups of a stream, all 0 before the first one; sums fade."""

    amount: float = 0.0  # of the weighed top-ups
    n_weighed: float = 0.0
    added: float = 0.0  # in usual top-ups
    n: float = 0.0  # readings over which the level was expected to fall
    left: float = 0.0  # of the way down after the latest top-up, in usual ones

    def moved(self, reading: DriftReading, so_far: int) -> tuple["Feed", Move]:
        """Return what is known with `reading`, and how the level is expected to have moved to it.

        A level that starts anew moves from nowhere; what is known of top-ups goes on. Of a stream whose top-ups nobody
        wrote down until now, they are taken to have been as rare as that.

        Args:
            reading: the next one, with what was recorded since the one before.
            so_far: how many readings came before it.
        """
        known, loss = self.n > 0.0, 0.0
        if reading.restart:
            return (self._replace(left=LONGEST_WAY_DOWN) if known else self), Move()
        feed, dose, lasting, passing = self, 0.0, 0.0, 0.0
        if known:
            loss = min(self.added / self.n, self.left)
            n, added = RATE_KEEPS * self.n + (loss > 0.0), RATE_KEEPS * self.added
            feed = self._replace(added=added, n=n, left=self.left - loss)
        if reading.fed:
            feed, dose, lasting, passing = feed._with(reading, so_far)
        return feed, Move(dose - loss, lasting, passing, float(reading.disturbed), reading.pause)

    def _with(self, reading: DriftReading, so_far: int) -> tuple["Feed", float, float, float]:
        amount, n, dose = self.amount, self.n_weighed, float(reading.fed)
        lasting, passing = UNWEIGHED
        if math.isfinite(reading.amount) and reading.amount > 0.0:
            amount, n = amount + reading.amount, n + reading.fed
            lasting, passing = WEIGHED
            dose = reading.amount / (amount / n)
        dose = min(dose, LARGEST_DOSE)
        feed = Feed(
            amount,
            n,
            self.added + dose,
            self.n or min(float(max(so_far, 1)), LONGEST_KNOWN),
            LONGEST_WAY_DOWN * max(1.0, dose),
        )
        return feed, dose, (lasting * dose) ** 2, (passing * dose) ** 2
