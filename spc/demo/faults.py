"""What is wrong on the demo line on purpose, and what was done to it: the kinds of entry in line.toml."""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from spc.records import StreamKey

Effect = Literal[
    "factor",  # every reading times `size`
    "factor_per_day",  # every reading times (1 + size) once more each day
    "add",  # every reading plus `size`
    "add_per_day",  # every reading plus `size` for each day since
    "loss_per_shift",  # the bath loses this share of its powder more each shift, and nobody feeds it
    "share_per_week",  # contaminant share grows by this many points a week more
    "step",  # readings are rounded to multiples of `size`
    "copied",  # the first reading is written again and again
    "missing",  # nothing was written although the line ran
    "spent",  # the judged check fails with probability `size`
]
Ending = Literal["failed check", "caught in time", "found later", "did no harm", "open at the end of the log"]


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong, where, from when to when, and how much."""

    id: str
    line: str
    first: datetime  # the site's local time, as all times here
    last: datetime | None  # exclusive; None: for good
    effect: Effect
    ends: Ending
    see: str  # what a person would see
    caught_by: str  # what should catch it
    size: float = 0.0
    check: str = ""  # "" every check of the line
    positions: tuple[str, ...] = ()  # () every position of the check
    of_writing: bool = False  # the instrument or the writing is wrong, not the line
    shift: str = ""  # on this shift alone
    technician: str = ""  # in this person's readings alone

    def touches(self, key: StreamKey) -> bool:
        """Return whether the fault is on the stream `key`."""
        return (
            key.line == self.line
            and self.check in ("", key.check)
            and (not self.positions or key.position in self.positions)
        )

    def active(self, at: datetime) -> bool:
        """Return whether the fault lasts at the site's local time `at`."""
        return self.first <= at and (self.last is None or at < self.last)

    def days(self, at: datetime) -> float:
        """Return days since the fault began."""
        return (at - self.first).total_seconds() / 86400

    def changed(self, x: float, at: datetime) -> float:
        """Return what the fault makes of the value `x` at `at`; `x` itself where its effect is not on values."""
        if self.effect == "factor":
            return x * self.size
        if self.effect == "factor_per_day":
            return float(x * (1 + self.size) ** self.days(at))
        if self.effect == "add":
            return x + self.size
        if self.effect == "add_per_day":
            return x + self.size * self.days(at)
        return x


@dataclass(frozen=True, slots=True)
class Work:
    """Something done to the line at a known time."""

    at: datetime
    line: str
    kind: str
    check: str = ""
    position: str = ""
    level: float | None = None  # what a replaced lamp gives, uW/cm2
    note: str = ""

    def touches(self, key: StreamKey) -> bool:
        """Return whether the work names the stream `key`; work on no check by name is on the bath."""
        return (
            key.line == self.line
            and key.check == (self.check or "bath_concentration")
            and self.position in ("", key.position)
        )


@dataclass(frozen=True, slots=True)
class Stop:
    """When one line stood still."""

    line: str
    first: datetime
    last: datetime  # exclusive
    note: str

    def holds(self, line: str, at: datetime) -> bool:
        """Return whether `line` stands still at `at`."""
        return line == self.line and self.first <= at < self.last
