"""Whether the divisions of the instrument, not the readers or the parts, decide a measurement study.

A settling tube with 0.05 mL divisions and a repeatability of 0.015 mL gives the same reading again and again. The
analysis of variance then reports a repeatability near zero, or one that the rounding made; neither tells of the reader.
"""

import math
from dataclasses import dataclass

import numpy as np

from spc.arrays import FloatArray
from spc.chart_constants import LARGEST, chart_constants
from spc.coarse.resolution import sigma_from_equal_repeats, sigma_without_rounding
from spc.coarse.rounding import COARSEST
from spc.measurement.crossed import Layout
from spc.told import Told


@dataclass(frozen=True, slots=True)
class Divisions(Told):
    """What the step of the readings does to a study; sigmas in the readings' unit."""

    resolution: float
    cells_repeated: int  # cells with at least two readings
    cells_all_equal: int
    repeatability_as_read: float  # from the cells' own scatter
    repeatability_without_rounding: float  # by Sheppard's correction; 0 where rounding alone explains it
    from_equal_repeats: tuple[float, float] | None  # limits of repeatability, from how many cells repeat exactly
    possible_ranges: int  # different ranges that fit within the range's control limit
    decides: bool
    statement: str


def judge_divisions(study: Layout, resolution: float, *, confidence: float = 0.95) -> Divisions:
    """Return whether reading in steps of `resolution` decides the study.

    It does when repeatability, freed of rounding, is below the step / 1.23 (`rounding.COARSEST`), or when fewer than
    four different ranges fit within the range's control limit. How many cells repeat exactly then says more of
    repeatability than the analysis of variance does: the limits are those of a binomial share, turned into sigmas,
    parts lying anywhere between two divisions.

    Raises:
        InputError: a resolution that is not above 0.

    Source:
        Wheeler and Lyday (1989), Evaluating the Measurement Process, on inadequate measurement units; Sheppard (1898).
    """
    cells = [cell for cell in study.cells() if len(cell) > 1]
    as_read = _pooled_sd(cells)
    sigma = sigma_without_rounding(as_read, resolution)
    ranges = np.array([float(np.ptp(cell)) for cell in cells])
    equal = int(np.sum(ranges < resolution / 2))
    possible = _possible_ranges(cells, float(ranges.mean()) if len(cells) else 0.0, resolution)
    decides = bool(cells) and (possible < 4 or resolution > COARSEST * sigma)
    limits = _from_equal_repeats(cells, equal, resolution, confidence)
    return Divisions(
        resolution=resolution,
        cells_repeated=len(cells),
        cells_all_equal=equal,
        repeatability_as_read=as_read,
        repeatability_without_rounding=sigma,
        from_equal_repeats=limits,
        possible_ranges=possible,
        decides=decides,
        statement=_statement(decides, resolution, len(cells), equal, limits, as_read),
    )


def _pooled_sd(cells: list[FloatArray]) -> float:
    squares = sum(float(np.sum((cell - cell.mean()) ** 2)) for cell in cells)
    df = sum(len(cell) - 1 for cell in cells)
    return math.sqrt(squares / df) if df else 0.0


def _possible_ranges(cells: list[FloatArray], mean_range: float, resolution: float) -> int:
    """Return how many multiples of the step, 0 included, lie within the upper control limit of the cells' ranges."""
    sizes = [len(cell) for cell in cells]
    if not sizes:
        return 0
    usual = min(LARGEST, round(float(np.median(sizes))))
    return math.floor(mean_range * chart_constants(usual).range_limits[1] / resolution + 1e-9) + 1


def _from_equal_repeats(
    cells: list[FloatArray], equal: int, resolution: float, confidence: float
) -> tuple[float, float] | None:
    """Return limits of the repeatability sigma, where every repeated cell has the same number of readings."""
    from scipy.stats import binomtest

    sizes = {len(cell) for cell in cells}
    if len(sizes) != 1:
        return None
    repeats = sizes.pop()
    share = binomtest(equal, len(cells)).proportion_ci(confidence, method="exact")
    return (
        resolution * sigma_from_equal_repeats(float(share.high), repeats),
        resolution * sigma_from_equal_repeats(float(share.low), repeats),
    )


def _statement(
    decides: bool, resolution: float, cells: int, equal: int, limits: tuple[float, float] | None, as_read: float
) -> str:
    if not cells:
        return "No cell is read twice, so nothing tells what the divisions hide."
    seen = f"Readings step by {resolution:g}; {equal} of {cells} cells repeat exactly."
    if not decides:
        return f"{seen} The divisions are fine enough for this study."
    bounds = ""
    if limits is not None:
        low, high = limits
        upper = (
            f"at most {high:.2g}"
            if low == 0
            else f"at least {low:.2g}"
            if math.isinf(high)
            else f"{low:.2g} to {high:.2g}"
        )
        bounds = f" So many equal repeats fit a repeatability sigma of {upper}."
    return (
        f"{seen} The resolution decides the answer: the repeatability sigma of {as_read:.2g} comes from the divisions, "
        f"not from the readers, and the shares and categories built on it tell nothing.{bounds} Repeat the study with "
        "finer divisions, or estimate between them."
    )
