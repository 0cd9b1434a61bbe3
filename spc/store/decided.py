"""What people decided about the streams of a store: limits, each from its day on, and baselines signed off."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from spc.catalogue.check import Check
from spc.records import Readings, StreamKey
from spc.store.baselines import signed_baselines
from spc.store.entries import Baseline, Entry, LimitDecision
from spc.store.limits import decided_check
from spc.times import from_microseconds

if TYPE_CHECKING:
    from spc.store.store import Store


@dataclass(frozen=True, slots=True)
class Decided:
    """The decisions of a store, in the order in which they were written."""

    limits: Sequence[LimitDecision]
    baselines: Sequence[Entry[Baseline]]

    @classmethod
    def of(cls, store: "Store") -> "Decided":
        """Return what was decided up to now."""
        return cls([entry.record for entry in store.records(LimitDecision)], store.records(Baseline))

    def check(self, check: Check, key: StreamKey, last: datetime) -> Check:
        """Return the catalogue's `check` as a stream uses it: each reading by the limits of its own day.

        Args:
            check: the catalogue's.
            key: the stream.
            last: time of its last reading, whose limits are shown as those that stand.
        """
        signed = signed_baselines(self.baselines, key)
        decided = decided_check(self.limits, check, key, last)
        return replace(decided, signed_baselines=signed) if signed else decided

    def check_of(self, readings: Readings, check: Check) -> Check:
        """Return `check` as the stream of `readings` uses it; at least one reading."""
        return self.check(check, readings.key, from_microseconds(int(readings.taken_at[-1])))
