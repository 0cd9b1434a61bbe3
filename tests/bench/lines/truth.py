"""What is known of a simulated stream, reading by reading."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from spc.arrays import BoolArray, FloatArray, IntArray

AHEAD = 60
"""How many readings past the end of a segment its truth is followed, as if nothing were done."""


class State(IntEnum):
    """What the true level does at one reading."""

    QUIET = 0
    DRIFT = 1  # from the onset of a drift that fails until it is put right
    STEP = 2  # after a real step that nobody has dealt with
    SLIP = 3  # a misread, or a lamp read cold: the reading is wrong, the level is not


@dataclass(frozen=True, slots=True)
class FailingDrift:
    """A drift of the true level that passes an acceptance limit."""

    onset: int  # first reading whose level is off
    first_failing: int  # first reading whose true level is outside
    side: int  # -1 falling, +1 rising
    shape: str


@dataclass(frozen=True, slots=True)
class HarmlessStep:
    """A lasting step of the true level that stays inside the acceptance limits."""

    onset: int
    resolved: int  # first reading after it was undone or dealt with
    side: int


@dataclass(frozen=True, slots=True)
class NoiseLaw:
    """How the readings of a stream scatter about the true level; rates are per reading."""

    sigma: float  # of a reading, before it is rounded: in the unit, or relative where `relative`
    relative: bool
    step: float  # the steps readings are written in
    tail: float  # degrees of freedom of the noise; inf: normal
    memory: float  # share of the variance that remembers
    misread: float
    cold: float
    copied: float  # rate at which runs of copied readings start


@dataclass(frozen=True, slots=True)
class SimulatedStream:
    """One stream as written down, with its truth; every array has shape (n,)."""

    name: str
    check: str  # key of the starter catalogue
    line: int
    lower: float  # acceptance limits; NaN where none
    upper: float
    hours: FloatArray  # since the first reading
    value: FloatArray  # as written
    bound: NDArray[np.int8]  # values of records.Bound
    reset: BoolArray  # a resetting event was written down between the reading before and this one
    fed: IntArray  # how many top-ups were written down between the two
    amount: FloatArray  # what they added, as written; NaN where not all of it is
    level: FloatArray  # the true level
    quiet: FloatArray  # what it would be without a fault
    began: BoolArray  # a change, written down or not, between the reading before and this one
    law: NoiseLaw
    state: NDArray[np.int8]  # values of State
    copied: BoolArray  # the reading before, written once more
    fails_in: FloatArray  # readings until one is written that is outside, if nothing is done; inf beyond AHEAD
    drifts: tuple[FailingDrift, ...]
    steps: tuple[HarmlessStep, ...]

    def __len__(self) -> int:
        return len(self.value)
