"""Remember what was worked out of one object for as long as there is that object: results are never changed."""

import weakref
from collections.abc import Callable
from functools import wraps
from typing import TypeVar

A = TypeVar("A")
R = TypeVar("R")


def by_identity(make: Callable[[A], R]) -> Callable[[A], R]:
    """Return `make` with a memory: for an object it has seen before it gives what it gave then.

    What was given is let go with the object, so `make` gives nothing that holds the object itself. The object has to
    take weak references. Two threads may work the same thing out twice.
    """
    kept: dict[int, tuple[weakref.ref[A], R]] = {}

    @wraps(make)
    def asked(of: A) -> R:
        name = id(of)
        found = kept.get(name)
        if found is not None and found[0]() is of:
            return found[1]

        def let_go(gone: weakref.ref[A]) -> None:
            now = kept.get(name)
            if now is not None and now[0] is gone:  # its place may be another object's by now
                kept.pop(name, None)

        made = make(of)
        kept[name] = (weakref.ref(of, let_go), made)
        return made

    return asked
