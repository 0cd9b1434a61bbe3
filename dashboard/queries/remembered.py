"""Answers that take a moment to work out, kept until what they rest on is another."""

from collections import OrderedDict
from collections.abc import Callable
from typing import Any, TypeVar

T = TypeVar("T")

MOST = 96
"""Answers kept; the ones asked for longest ago go first."""


class Remembered:
    """A small memory. Two threads may work the same thing out twice; neither gets a wrong answer."""

    def __init__(self) -> None:
        self._kept: OrderedDict[Any, tuple[tuple[object, ...], Any]] = OrderedDict()

    def once(self, name: Any, rests_on: tuple[object, ...], make: Callable[[], T]) -> T:
        """Return what `make` gives, made anew where any of `rests_on` is another object than the time before."""
        kept = self._kept.get(name)
        if kept is not None and _same(kept[0], rests_on):
            found: T = kept[1]
            return found
        made = make()
        self._kept[name] = (rests_on, made)
        while len(self._kept) > MOST:
            self._kept.popitem(last=False)
        return made

    def holds(self, name: Any, rests_on: tuple[object, ...]) -> bool:
        """Return whether `once` would give what is kept under a name."""
        kept = self._kept.get(name)
        return kept is not None and _same(kept[0], rests_on)

    def latest(self, name: Any) -> Any:
        """Return what was last kept under a name, whatever it rests on; None where nothing was."""
        kept = self._kept.get(name)
        return None if kept is None else kept[1]


def _same(before: tuple[object, ...], now: tuple[object, ...]) -> bool:
    if len(before) != len(now):
        return False
    return all(a is b or (isinstance(a, int | str) and a == b) for a, b in zip(before, now, strict=True))
