"""Where the level of a stream is: a Kalman filter of level, slow wander, expected ageing, and what a top-up lifts.

Recorded events are its inputs: see `inputs`.
"""

from typing import NamedTuple

from spc.drift.inputs import Move
from spc.drift.noise import MEMORY

LEVEL_WANDER = 0.02
"""How far the level itself moves from reading to reading in a quiet stream, in sigmas."""

AGEING_SD = 0.02
"""How fast a level that ages may creep, in sigmas per reading (standard deviation of the prior)."""

STEADY_SD = 0.004
"""The same for a level that is not expected to."""


LIFT_SD = 3.0
"""How far a usual top-up may lift the level, in sigmas, before any was recorded (standard deviation of the prior)."""

LIFT_CHANGES_SD = 0.1
"""The same for how much it changes when a level starts anew."""

DISTURBED_SD = 3.0
"""How far what was recorded otherwise may have moved the level, in sigmas."""


class Level(NamedTuple):
    """Mean and covariance of level, slow wander about it, ageing per reading, and the lift of a usual top-up."""

    mean: float
    slow: float
    ageing: float
    p_mean: float
    p_mean_slow: float
    p_slow: float
    p_mean_ageing: float
    p_slow_ageing: float
    p_ageing: float
    lift: float
    p_mean_lift: float
    p_slow_lift: float
    p_ageing_lift: float
    p_lift: float

    @property
    def now(self) -> float:
        """Level and wander together: what a reading without noise would be."""
        return self.mean + self.slow

    @property
    def variance(self) -> float:
        """The variance of `now`."""
        return self.p_mean + 2.0 * self.p_mean_slow + self.p_slow

    def gain(self) -> tuple[float, float, float, float]:
        """Return the covariances of mean, wander, ageing and lift with `now`."""
        return (
            self.p_mean + self.p_mean_slow,
            self.p_mean_slow + self.p_slow,
            self.p_mean_ageing + self.p_slow_ageing,
            self.p_mean_lift + self.p_slow_lift,
        )


def level_from(
    value: float, *, n: int, white: float, slow: float, rounding: float, ages: bool, before: Level | None = None
) -> Level:
    """Return the level after nothing but `n` readings with mean `value`, whose slow wander is not told from it.

    What a top-up lifts is known from the level `before`, where there was one.
    """
    shared = -slow if n == 1 else -0.9 * slow
    ageing = ((AGEING_SD if ages else STEADY_SD) ** 2) * (white + slow)
    lift, p_lift = 0.0, LIFT_SD**2 * (white + slow)
    if before is not None:
        lift, p_lift = before.lift, min(before.p_lift + LIFT_CHANGES_SD**2 * (white + slow), p_lift)
    p_mean = (white + rounding) / n + slow
    return Level(value, 0.0, 0.0, p_mean, shared, slow, 0.0, 0.0, ageing, lift, 0.0, 0.0, 0.0, p_lift)


def predicted(level: Level, slow: float, total: float, move: Move) -> Level:
    """Return the level one reading on; `slow` and `total` are the variances of wander and of all noise.

    The longer the pause before the reading, the further the level may have moved meanwhile.
    """
    f, u = MEMORY, move.lift
    wider = LEVEL_WANDER**2 * total * move.pause + DISTURBED_SD**2 * total * move.disturbed
    lifted = level.lift**2 + level.p_lift
    back = move.passing * lifted
    wider += move.lasting * lifted
    wider += 2.0 * u * (level.p_mean_lift + level.p_ageing_lift) + u * u * level.p_lift
    return Level(
        mean=level.mean + level.ageing + u * level.lift,
        slow=f * level.slow,
        ageing=level.ageing,
        p_mean=level.p_mean + 2.0 * level.p_mean_ageing + level.p_ageing + wider,
        p_mean_slow=f * (level.p_mean_slow + level.p_slow_ageing + u * level.p_slow_lift),
        p_slow=f * f * level.p_slow + slow * (1.0 - f * f) + back,
        p_mean_ageing=level.p_mean_ageing + level.p_ageing + u * level.p_ageing_lift,
        p_slow_ageing=f * level.p_slow_ageing,
        p_ageing=level.p_ageing,
        lift=level.lift,
        p_mean_lift=level.p_mean_lift + level.p_ageing_lift + u * level.p_lift,
        p_slow_lift=f * level.p_slow_lift,
        p_ageing_lift=level.p_ageing_lift,
        p_lift=level.p_lift,
    )


def corrected(level: Level, score: float, information: float) -> Level:
    """Return the level after a reading with this score and information about `level.now`."""
    m, s, a, r = level.gain()
    return Level(
        mean=level.mean + m * score,
        slow=level.slow + s * score,
        ageing=level.ageing + a * score,
        p_mean=level.p_mean - m * m * information,
        p_mean_slow=level.p_mean_slow - m * s * information,
        p_slow=level.p_slow - s * s * information,
        p_mean_ageing=level.p_mean_ageing - m * a * information,
        p_slow_ageing=level.p_slow_ageing - s * a * information,
        p_ageing=level.p_ageing - a * a * information,
        lift=level.lift + r * score,
        p_mean_lift=level.p_mean_lift - m * r * information,
        p_slow_lift=level.p_slow_lift - s * r * information,
        p_ageing_lift=level.p_ageing_lift - a * r * information,
        p_lift=level.p_lift - r * r * information,
    )
