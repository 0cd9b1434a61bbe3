"""The model of a stream: its level, how fast it moves, and the evidence that something started to move it.

Causal: everything said at a reading depends on readings and restarts up to it. One step is `update`; `watch` folds it.

- *What a reading says* (`reading`): the true value lies in the step it was written in, or below or above a censored
  number. On a log scale where the quantity is one of ratios.
- *How much the readings scatter* (`noise`): white noise and slow wander, learnt from differences of successive readings
  and of successive means of eight, carried over from segment to segment.
- *Where the level is* (`level`): a Kalman filter of level, slow wander and the expected ageing; it starts anew at a
  recorded change.
- *What speaks for a change* (`evidence`): for every onset in the last 50 readings, the likelihood ratio of a step, and
  of a drift that would reach an acceptance limit within weeks, against none.
"""

from spc.drift.model import StreamModel
from spc.drift.reading import DriftReading
from spc.drift.step import DriftOutcome, DriftSignal, DriftState, start, update, watch

__all__ = [
    "DriftOutcome",
    "DriftReading",
    "DriftSignal",
    "DriftState",
    "StreamModel",
    "start",
    "update",
    "watch",
]
