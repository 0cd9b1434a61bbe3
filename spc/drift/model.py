"""What the model of a stream is told before the first reading."""

import math
from dataclasses import dataclass

from spc.errors import InputError


@dataclass(frozen=True, slots=True)
class StreamModel:
    """Settings of one stream; all follow from its check, none needs to be set by hand."""

    log: bool  # whether ratios count, not differences: irradiance, light, a skewed quantity above 0
    sigma: float  # what readings of such a check usually scatter: in the unit, or relative where `log`
    wander: float = 0.25  # how much more than white noise means of eight usually scatter, as a share of the variance
    ages: bool = False  # whether the level is expected to creep as it is used: a lamp

    def __post_init__(self) -> None:
        if not (math.isfinite(self.sigma) and self.sigma > 0):
            raise InputError(f"sigma is {self.sigma}; give the usual scatter of readings, above 0")
        if not (math.isfinite(self.wander) and self.wander >= 0):
            raise InputError(f"wander is {self.wander}; give a share of the variance, 0 or above")
