"""A baseline that a person has signed off: which readings it sets the control limits for.

- It holds from the moment it is valid from, and never for a reading up to the last one that set it: no limit looks
  ahead.
- It holds until a newer version does, until it is withdrawn, or until something done to the line (a bath change, a lamp
  replaced) starts a new segment. Readings after that have limits of their own segment again, until a version drawn from
  that segment is signed off: what was signed was signed for the bath that was in the tank.
- Until the segment's own baseline is complete, nothing is judged by run rules, signed off or not.
- It sets the limits of the run rules and the moving range. The early warning learns from the readings as ever.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from spc.times import to_microseconds

BEFORE_ALL = -(2**63)
"""A moment before every reading, in microseconds."""

AFTER_ALL = 2**63 - 1
"""A moment after every reading."""


@dataclass(frozen=True, slots=True)
class SignedBaseline:
    """One version of a stream's baseline, signed off; levels in the chart unit."""

    version: int
    first: datetime  # of the readings that set it
    last: datetime
    n: int
    centre_line: float
    sigma: float
    lower: float
    upper: float
    valid_from: datetime
    signed_by: str
    signed_at: datetime
    valid_until: datetime | None = None  # when it was withdrawn; None: it was not
    unit: str = ""  # of the chart it was drawn from; "" where that was not kept
    words: str = ""  # what the person wrote when signing
    left_out: tuple[datetime, ...] = ()  # readings between first and last that it leaves out

    @property
    def named(self) -> str:
        """What people call it: "version 2, signed off by anna"."""
        return f"version {self.version}, signed off by {self.signed_by}"


def in_force(
    signed: Iterable[SignedBaseline], at: int, *, since: int = BEFORE_ALL, unit: str = ""
) -> SignedBaseline | None:
    """Return the baseline that sets the limits of a reading: the newest version that holds; None where none does.

    Args:
        signed: versions of the stream, in any order.
        at: when the reading was taken, in microseconds since 1970-01-01 UTC.
        since: likewise, the latest event up to then that started a new segment.
        unit: of the chart.
    """
    holding = (each for each in signed if _holds(each, at, since) and each.unit in ("", unit))
    return max(holding, key=lambda each: each.version, default=None)


def _holds(baseline: SignedBaseline, at: int, since: int) -> bool:
    begun = to_microseconds(baseline.valid_from) <= at and to_microseconds(baseline.last) < at
    ended = baseline.valid_until is not None and to_microseconds(baseline.valid_until) <= at
    return begun and not ended and since <= to_microseconds(baseline.first)


def moments(signed: Iterable[SignedBaseline]) -> tuple[int, ...]:
    """Return the moments from which on another baseline may hold, in microseconds, in order."""
    found: set[int] = set()
    for each in signed:
        found |= {to_microseconds(each.valid_from), to_microseconds(each.last) + 1}
        if each.valid_until is not None:
            found.add(to_microseconds(each.valid_until))
    return tuple(sorted(found))
