"""The shape every chart has, and the fold that makes its batch form out of its step."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Generic, Literal, NamedTuple, Protocol, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.arrays import FloatArray, as_readings, frozen
from spc.errors import InputError
from spc.rules import HIGH, LOW, NO_SIDE

ON_THE_LIMIT = 1e-9
"""A value this close to a limit, as a part of the limit's distance from the centre line, lies on it: not beyond."""

ROUNDED_BITS = 16
"""Last bits that the arithmetic of a chart may lose: a value beyond a limit by no more lies on it."""


class Point(NamedTuple):
    """What a chart draws for one reading."""

    values: tuple[float, ...]  # one for each of the chart's lines; NaN where there is nothing to draw
    centre_line: float
    lower: float  # control limits at this reading; -inf or inf where that side has none
    upper: float
    side: int  # HIGH or LOW when a value is beyond a limit, else NO_SIDE


class ChartState(Protocol):
    """What a chart remembers of the readings so far."""

    @property
    def point(self) -> Point | None:
        """What the last reading drew; None before the first."""


@dataclass(frozen=True, slots=True)
class Plotted:
    """What a chart draws for every reading of a stream; read-only."""

    values: FloatArray  # shape (n, lines), NaN where there is nothing to draw
    centre_line: FloatArray  # shape (n,), and so on
    lower: FloatArray
    upper: FloatArray
    side: NDArray[np.int8]  # HIGH or LOW when a value is beyond a limit, else NO_SIDE


L = TypeVar("L")
S = TypeVar("S", bound=ChartState)


@dataclass(frozen=True, slots=True)
class Chart(Generic[L, S]):
    """One kind of chart with its default settings."""

    key: str
    title: str
    lines: tuple[str, ...]  # what its values are
    readings: Literal["measured", "positive", "whole", "counted"]
    """What it takes: any numbers; numbers above 0; whole numbers from 0; rows of (failed, inspected)."""
    at_least: int  # fewest readings of a baseline
    limits: Callable[[ArrayLike], L]
    start: Callable[[L], S]
    update: Callable[[S, Any], S]
    plot: Callable[[ArrayLike, L], Plotted]


def side_of(value: float, centre_line: float, lower: float, upper: float) -> int:
    """Return the side on which `value` is beyond a limit. On a limit, and missing, is not beyond."""
    if value > upper and value - upper > _slack(centre_line, upper):
        return HIGH
    if value < lower and lower - value > _slack(centre_line, lower):
        return LOW
    return NO_SIDE


def sides_of(value: FloatArray, centre_line: float, lower: FloatArray, upper: FloatArray) -> NDArray[np.int8]:
    """Return `side_of` of every value, to the bit; arrays of shape (n,) or numbers."""
    high = (value > upper) & (value - upper > _slacks(centre_line, upper))
    low = (value < lower) & (lower - value > _slacks(centre_line, lower))
    return np.where(high, HIGH, np.where(low, LOW, NO_SIDE)).astype(np.int8)


def _slacks(centre_line: float, limit: FloatArray) -> FloatArray:
    farthest: FloatArray = np.maximum(np.abs(limit), abs(centre_line))
    slack: FloatArray = ON_THE_LIMIT * np.abs(limit - centre_line) + ROUNDED_BITS * np.spacing(farthest)
    return slack


def _slack(centre_line: float, limit: float) -> float:
    return ON_THE_LIMIT * abs(limit - centre_line) + ROUNDED_BITS * math.ulp(max(abs(limit), abs(centre_line)))


def point_of(value: float, centre_line: float, lower: float, upper: float) -> Point:
    """Return the point of a chart with one line."""
    return Point((value,), centre_line, lower, upper, side_of(value, centre_line, lower, upper))


def fold(state: S, update: Callable[[S, Any], S], readings: Iterable[Any], *, lines: int = 1) -> Plotted:
    """Return what a chart draws for `readings`, one step after the other from `state`."""
    points = []
    for x in readings:
        state = update(state, x)
        if state.point is not None:
            points.append(state.point)
    return plotted(points, lines=lines)


def plotted(points: list[Point], *, lines: int = 1) -> Plotted:
    """Return the points of a chart as arrays."""
    numbers = np.array([(p.centre_line, p.lower, p.upper) for p in points], dtype=np.float64).reshape(-1, 3)
    return Plotted(
        values=frozen(np.array([p.values for p in points], dtype=np.float64).reshape(-1, lines)),
        centre_line=frozen(numbers[:, 0].copy()),
        lower=frozen(numbers[:, 1].copy()),
        upper=frozen(numbers[:, 2].copy()),
        side=frozen(np.array([p.side for p in points], dtype=np.int8)),
    )


def none_infinite(x: FloatArray) -> FloatArray:
    """Return `x`, shape (n,); as `not_infinite` of every reading.

    Raises:
        InputError: one is infinite.
    """
    if np.isinf(x).any():
        not_infinite(float(x[np.isinf(x)][0]))
    return x


def as_measured(x: ArrayLike) -> list[float]:
    """Return readings to be charted as plain floats; NaN for one not taken."""
    measured: list[float] = as_readings(x, at_least=0, missing=True).tolist()
    return measured


def not_infinite(x: float) -> float:
    """Return `x`; NaN, a reading not taken, passes.

    Raises:
        InputError: `x` is infinite.
    """
    if math.isinf(x):
        raise InputError(f"the reading is {x}; quarantine it before charting")
    return x


def above_zero(value: float, what: str) -> float:
    """Return `value`.

    Raises:
        InputError: it is not a finite number above 0.
    """
    if not (math.isfinite(value) and value > 0):
        raise InputError(f"{what} is {value}; give a number above 0")
    return value
