"""Arrays at the public door: checked once, copied, frozen."""

from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.errors import InputError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
ObjectArray = NDArray[np.object_]

_Scalar = TypeVar("_Scalar", bound=np.generic)


def frozen(array: NDArray[_Scalar]) -> NDArray[_Scalar]:
    """Return `array` itself, no longer writeable."""
    array.flags.writeable = False
    return array


def shared(array: NDArray[_Scalar]) -> NDArray[_Scalar]:
    """Return a read-only array like `array`, shape (n,), which takes no room where all its values are the same."""
    if len(array) < 2 or not _same(array[:1], array[-1:]).all() or not _same(array[1:], array[:-1]).all():
        return array
    return np.broadcast_to(array[:1].copy(), array.shape)


def _same(one: NDArray[_Scalar], other: NDArray[_Scalar]) -> NDArray[np.bool_]:
    """Return where both say the same; two missing numbers do."""
    same = np.asarray(one == other, dtype=np.bool_)
    if one.dtype.kind == "f":
        same |= np.isnan(one) & np.isnan(other)
    return same


def as_readings(values: ArrayLike, *, at_least: int = 1, missing: bool = False) -> FloatArray:
    """Return a frozen float copy of `values`, shape (n,).

    Args:
        values: readings in time order, shape (n,).
        at_least: fewest readings that make sense to the caller.
        missing: whether NaN is allowed, meaning a reading that was not taken.

    Raises:
        InputError: not numbers, not one-dimensional, too few, infinite, or missing where none may be.
    """
    try:
        array = np.array(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise InputError("readings must be numbers; quarantine words and blanks before charting") from None
    if array.ndim != 1:
        raise InputError(f"readings must be one row of numbers; these have shape {array.shape}")
    if len(array) < at_least:
        raise InputError(f"{len(array)} readings given; at least {at_least} are needed")
    bad = np.isinf(array) if missing else ~np.isfinite(array)
    if bad.any():
        where = int(np.flatnonzero(bad)[0])
        raise InputError(f"reading {where} is {array[where]}; drop or quarantine missing readings before charting")
    return frozen(array)
