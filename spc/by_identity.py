"""Remember what was worked out of one object, as long as it is that very object: results are never changed."""

from collections import OrderedDict
from collections.abc import Callable
from functools import wraps
from typing import TypeVar

A = TypeVar("A")
R = TypeVar("R")

MOST = 32
"""Objects remembered by each function; the ones asked for longest ago go first."""


def by_identity(make: Callable[[A], R]) -> Callable[[A], R]:
    """Return `make` with a small memory: for an object it has seen before it gives what it gave then.

    The object is held, so that no other one can be taken for it. Two threads may work the same thing out twice.
    """
    kept: OrderedDict[int, tuple[A, R]] = OrderedDict()

    @wraps(make)
    def asked(of: A) -> R:
        found = kept.get(id(of))
        if found is not None and found[0] is of:
            return found[1]
        made = make(of)
        kept[id(of)] = (of, made)
        while len(kept) > MOST:
            try:
                kept.popitem(last=False)
            except KeyError:  # another thread took the last one
                break
        return made

    return asked
