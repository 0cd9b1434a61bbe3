"""Wrong passwords slow down: each name and each address waits longer with every wrong one, and only for a while."""

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from threading import Lock

FORGOTTEN_AFTER = timedelta(hours=1)
"""A name or an address without a wrong password for so long starts anew."""

MOST_KEPT = 10_000
"""Names and addresses remembered at once; the oldest go first."""


@dataclass(frozen=True, slots=True)
class Slowing:
    """How one kind of thing slows down: `free` wrong ones, then a wait that doubles from 1 s up to `longest`."""

    free: int
    longest: float  # seconds

    def wait(self, wrong: int) -> float:
        """Return the seconds to wait after so many wrong ones."""
        over = wrong - self.free
        return 0.0 if over < 0 else min(2.0 ** min(over, 30), self.longest)


SLOWING: Mapping[str, Slowing] = {
    "name": Slowing(free=3, longest=60.0),  # a stranger's tries may not keep the person out for long
    "address": Slowing(free=10, longest=900.0),  # a tablet of many people gets more for nothing
}


@dataclass(frozen=True, slots=True)
class _Wrong:
    count: int
    last: datetime


class Attempts:
    """The wrong passwords of the last hour. Any thread may ask."""

    def __init__(self) -> None:
        self._wrong: OrderedDict[tuple[str, str], _Wrong] = OrderedDict()
        self._lock = Lock()

    def begin(self, name: str, address: str, now: datetime) -> float:
        """Return the seconds until `name` may be tried from `address`; at 0 the try counts as wrong until `passed`.

        Counting it first lets no crowd of tries in at the same moment.
        """
        keys = (("name", name), ("address", address))
        with self._lock:
            self._forget(now)
            left = max(self._left(key, now) for key in keys)
            if left > 0:
                return left
            for key in keys:
                before = self._wrong.pop(key, None)
                self._wrong[key] = _Wrong(1 + (before.count if before else 0), now)
            return 0.0

    def passed(self, name: str, address: str) -> None:
        """Forget the wrong ones of a name whose password fitted; take the try back from its address."""
        with self._lock:
            self._wrong.pop(("name", name), None)
            kept = self._wrong.get(("address", address))
            if kept is not None:
                self._wrong[("address", address)] = _Wrong(kept.count - 1, kept.last)

    def __len__(self) -> int:
        return len(self._wrong)

    def _left(self, key: tuple[str, str], now: datetime) -> float:
        wrong = self._wrong.get(key)
        if wrong is None:
            return 0.0
        return SLOWING[key[0]].wait(wrong.count) - (now - wrong.last).total_seconds()

    def _forget(self, now: datetime) -> None:
        while self._wrong:
            key, oldest = next(iter(self._wrong.items()))
            if now - oldest.last < FORGOTTEN_AFTER and len(self._wrong) < MOST_KEPT:
                return
            del self._wrong[key]
