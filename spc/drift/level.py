"""Where the level of a stream is: a Kalman filter of level, slow wander and expected ageing."""

from typing import NamedTuple

from spc.drift.noise import MEMORY

LEVEL_WANDER = 0.02
"""How far the level itself moves from reading to reading in a quiet stream, in sigmas."""

AGEING_SD = 0.02
"""How fast a level that ages may creep, in sigmas per reading (standard deviation of the prior)."""

STEADY_SD = 0.004
"""The same for a level that is not expected to."""


class Level(NamedTuple):
    """Mean and covariance of level, slow wander about it, and ageing per reading."""

    mean: float
    slow: float
    ageing: float
    p_mean: float
    p_mean_slow: float
    p_slow: float
    p_mean_ageing: float
    p_slow_ageing: float
    p_ageing: float

    @property
    def now(self) -> float:
        """Level and wander together: what a reading without noise would be."""
        return self.mean + self.slow

    @property
    def variance(self) -> float:
        """The variance of `now`."""
        return self.p_mean + 2.0 * self.p_mean_slow + self.p_slow

    def gain(self) -> tuple[float, float, float]:
        """Return the covariances of mean, wander and ageing with `now`."""
        return (
            self.p_mean + self.p_mean_slow,
            self.p_mean_slow + self.p_slow,
            self.p_mean_ageing + self.p_slow_ageing,
        )


def level_from(value: float, *, n: int, white: float, slow: float, rounding: float, ages: bool) -> Level:
    """Return the level after nothing but `n` readings with mean `value`, whose slow wander is not told from it."""
    shared = -slow if n == 1 else -0.9 * slow
    ageing = ((AGEING_SD if ages else STEADY_SD) ** 2) * (white + slow)
    return Level(value, 0.0, 0.0, (white + rounding) / n + slow, shared, slow, 0.0, 0.0, ageing)


def predicted(level: Level, slow: float, total: float) -> Level:
    """Return the level one reading on; `slow` and `total` are the variances of wander and of all noise."""
    f = MEMORY
    return Level(
        mean=level.mean + level.ageing,
        slow=f * level.slow,
        ageing=level.ageing,
        p_mean=level.p_mean + 2.0 * level.p_mean_ageing + level.p_ageing + LEVEL_WANDER**2 * total,
        p_mean_slow=f * (level.p_mean_slow + level.p_slow_ageing),
        p_slow=f * f * level.p_slow + slow * (1.0 - f * f),
        p_mean_ageing=level.p_mean_ageing + level.p_ageing,
        p_slow_ageing=f * level.p_slow_ageing,
        p_ageing=level.p_ageing,
    )


def corrected(level: Level, score: float, information: float) -> Level:
    """Return the level after a reading with this score and information about `level.now`."""
    m, s, a = level.gain()
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
    )
