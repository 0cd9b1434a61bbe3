"""How well a method warns: drifts signalled ahead, lead, harmless steps seen, false alarms.

A method gives, for every reading of a stream, NONE, LOW, HIGH, or ANY for a signal without a side. What counts:

- An *alarm* is a run of signals of a stream with gaps of at most 5 readings; while it goes on it counts again every 20.
- It is *false* when the reading at which it counts is quiet: no failing drift or real step is there unresolved, nor is
  the level outside the acceptance limits, nor is the reading itself a slip. Copied readings of a quiet level are quiet.
- A failing drift is *signalled ahead* when a signal of its own side, or of none, stands between its onset and the third
  reading before the first one whose true level is outside. The *lead* is counted from the first of these signals to
  that reading, and is 0 for a drift that was not signalled ahead.
- A harmless step is *seen* when a signal of its side, or of none, stands within its first 15 readings.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spc.arrays import BoolArray, FloatArray, IntArray
from tests.bench.lines.truth import SimulatedStream, State

LOW, NONE, HIGH, ANY = -1, 0, 1, 2
SideArray = NDArray[np.int8]
Method = Callable[[SimulatedStream], SideArray]

GAP = 5
COUNT_AGAIN = 20
AHEAD_BY = 3
SEEN_WITHIN = 15


@dataclass(frozen=True, slots=True)
class Tally:
    """What one method did on one line, or on several."""

    leads: tuple[int, ...]  # one per failing drift; 0 where not signalled ahead
    steps: int
    seen: int
    false: int  # alarms
    quiet: int  # readings

    @property
    def ahead(self) -> float:
        """Share of failing drifts signalled ahead."""
        return float(np.mean([lead > 0 for lead in self.leads])) if self.leads else float("nan")

    @property
    def lead(self) -> float:
        """Median readings of lead."""
        return float(np.median(self.leads)) if self.leads else float("nan")

    @property
    def steps_seen(self) -> float:
        """Share of harmless steps seen in time."""
        return self.seen / self.steps if self.steps else float("nan")

    @property
    def false_per_1000(self) -> float:
        """False alarms per 1000 quiet readings."""
        return 1000.0 * self.false / self.quiet if self.quiet else float("nan")


FIGURES: tuple[Callable[[Tally], float], ...] = (
    lambda tally: 100.0 * tally.ahead,
    lambda tally: tally.lead,
    lambda tally: 100.0 * tally.steps_seen,
    lambda tally: tally.false_per_1000,
)


def alarm_positions(signals: BoolArray) -> IntArray:
    """Return the readings at which an alarm counts; `signals` has shape (n,)."""
    counted: list[int] = []
    last = counted_at = -(10**9)
    for i in np.flatnonzero(signals):
        if i - last > GAP + 1 or i - counted_at >= COUNT_AGAIN:
            counted.append(int(i))
            counted_at = int(i)
        last = int(i)
    return np.array(counted, dtype=np.int64)


def lead_of(side: SideArray, onset: int, first_failing: int, towards: int) -> int:
    """Return the lead with which a drift was signalled ahead; 0 where it was not."""
    hits = np.flatnonzero(_speaks(side[onset : first_failing - AHEAD_BY + 1], towards))
    return first_failing - (onset + int(hits[0])) if len(hits) else 0


def _speaks(side: SideArray, towards: int) -> BoolArray:
    return np.asarray((side == towards) | (side == ANY), dtype=np.bool_)


def tally_stream(stream: SimulatedStream, side: SideArray) -> Tally:
    """Return what the signals of one stream are worth."""
    alarms = alarm_positions(side != NONE)
    quiet = stream.state == State.QUIET
    return Tally(
        leads=tuple(lead_of(side, d.onset, d.first_failing, d.side) for d in stream.drifts),
        steps=len(stream.steps),
        seen=sum(bool(_speaks(side[s.onset : s.onset + SEEN_WITHIN], s.side).any()) for s in stream.steps),
        false=int(quiet[alarms].sum()) if len(alarms) else 0,
        quiet=int(quiet.sum()),
    )


def together(tallies: Sequence[Tally]) -> Tally:
    """Return the tally of several streams or lines."""
    return Tally(
        leads=tuple(lead for tally in tallies for lead in tally.leads),
        steps=sum(tally.steps for tally in tallies),
        seen=sum(tally.seen for tally in tallies),
        false=sum(tally.false for tally in tallies),
        quiet=sum(tally.quiet for tally in tallies),
    )


def with_uncertainty(lines: Sequence[Tally], rng: np.random.Generator, draws: int = 400) -> list[tuple[float, float]]:
    """Return each figure of FIGURES over all lines, and its standard error by drawing whole lines with replacement."""
    picks = rng.integers(0, len(lines), (draws, len(lines)))
    redrawn = [together([lines[i] for i in pick]) for pick in picks]
    whole = together(lines)
    spread: list[FloatArray] = [np.array([figure(tally) for tally in redrawn]) for figure in FIGURES]
    return [(figure(whole), float(values.std())) for figure, values in zip(FIGURES, spread, strict=True)]
