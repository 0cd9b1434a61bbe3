"""The readings a run length is asked for: normal, in sigmas of the chart's limits."""

import math
from dataclasses import dataclass

from spc.errors import InputError

MOST_CORRELATION = 0.99
MOST_SHIFT = 1_000.0
"""Sigmas; whatever lies farther is a slip in a unit."""


@dataclass(frozen=True, slots=True)
class NormalReadings:
    """Normal readings around a level, each with the same correlation to the one before (AR(1)).

    All in units of the sigma that the limits are drawn with, the centre line being 0.

    Raises:
        InputError: a shift beyond +-1000, a spread that is not above 0, a correlation beyond +-0.99.
    """

    shift: float = 0.0  # of the level from the centre line
    spread: float = 1.0  # standard deviation of the readings; 1 where the limits' sigma is right
    lag_correlation: float = 0.0  # of a reading and the one before

    def __post_init__(self) -> None:
        if not abs(self.shift) <= MOST_SHIFT:
            raise InputError(f"shift is {self.shift:g} sigmas; give one of at most {MOST_SHIFT:g}, either way")
        if not (math.isfinite(self.spread) and self.spread > 0):
            raise InputError(f"spread is {self.spread}; give the readings' standard deviation in sigmas, above 0")
        if not abs(self.lag_correlation) <= MOST_CORRELATION:
            raise InputError(
                f"lag correlation is {self.lag_correlation}; give one from {-MOST_CORRELATION} to {MOST_CORRELATION}"
            )

    @property
    def in_control(self) -> "NormalReadings":
        """The same readings around the centre line."""
        return NormalReadings(0.0, self.spread, self.lag_correlation)

    @property
    def step_sigma(self) -> float:
        """Standard deviation of a reading when the one before is known."""
        return self.spread * math.sqrt(1 - self.lag_correlation**2)
