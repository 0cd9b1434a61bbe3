"""One check of the catalogue, and the events that touch it."""

from calendar import monthrange
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal

from spc.catalogue.acceptance import Acceptance, Mark
from spc.catalogue.table import CountedIn, nearest
from spc.errors import InputError
from spc.formats import AS_IT_CAME, Formats
from spc.records import StreamKey
from spc.rules import RuleSetting
from spc.signed_baseline import SignedBaseline
from spc.told import Told

RESETTING_EVENTS = frozenset(
    {
        "bath_changed",
        "lamp_replaced",
        "lamp_cleaned",
        "meter_calibrated",
        "unit_repaired",
        "booth_repaired",
        "instrument_changed",
    }
)
"""Kinds after which the old control limits no longer apply: they start a new segment."""

EXPLAINING_EVENTS = frozenset({"bath_topped_up", "carrier_added"})
"""Kinds that explain a reading without starting a new segment."""

LINE_EVENTS = frozenset({"line_idle", "line_running"})
"""Kinds that say whether the line was in operation; they belong to the line, not to a check."""

EVENT_KINDS = RESETTING_EVENTS | EXPLAINING_EVENTS | LINE_EVENTS


@dataclass(frozen=True, slots=True)
class Interval:
    """How often a check is due, and who says so."""

    every: timedelta | None  # None: before use, or on condition; `words` says it
    words: str  # "every shift, at most 8 h"
    document: str = ""
    mark: Mark = "none"
    conflict: str = ""
    months: int = 0  # calendar months, where the document counts in them; `every` is then their mean length
    counted: CountedIn = "hours"  # what `spc.schedule` counts it in
    shifts: int = 0  # shifts in operation, where it counts in them; `every` is then what they usually last

    def due(self, last: datetime) -> datetime | None:
        """Return when the check is due again after `last` (aware, in the site's zone); None where no clock sets it.

        Hours, days and weeks are counted as elapsed time, months on the calendar: six months after 31 August is the
        last day of February. Hours and shifts in operation take the site's calendar: `spc.schedule` counts them.
        """
        if self.every is None or self.counted in ("operating hours", "shifts"):
            return None
        if not self.months:
            return (last.astimezone(UTC) + self.every).astimezone(last.tzinfo)
        years, month = divmod(last.month - 1 + self.months, 12)
        year, month = last.year + years, month + 1
        return last.replace(year=year, month=month, day=min(last.day, monthrange(year, month)[1]))


@dataclass(frozen=True, slots=True)
class AcceptanceAt:
    """Acceptance limits of one line, or of one position of it, in place of the check's own."""

    line: str
    position: str  # "": every position of the line
    acceptance: Acceptance


@dataclass(frozen=True, slots=True)
class Check(Told):
    """What the catalogue knows of one check."""

    key: str
    title: str  # "Bath concentration"
    kind: Literal["measured", "judged"]
    unit: str  # as written in logs: "uW/cm2"; "" for a judged check
    unit_label: str  # as shown to people: "µW/cm²"
    chart_unit: str  # unit of what is charted: unit_label, or "%" for deviation from a reference
    charted: Literal["value", "magnitude", "deviation", "none"]
    """magnitude: the value without its sign. deviation: 100 (value - reference) / reference."""
    decimals: int  # places shown to people, of what is charted
    resolution: float | None  # smallest step a reading can be written in, in `unit`
    possible: tuple[float | None, float | None]  # what the quantity can be at all, in `unit`
    acceptance: Acceptance
    interval: Interval
    baseline: int  # readings of a segment that set its limits
    rules: tuple[RuleSetting, ...]  # run rules of the individuals chart, in table order
    moving_range: bool  # whether the moving-range limit signals
    new_segment_on: tuple[str, ...]  # event kinds
    explained_by: tuple[str, ...]  # event kinds
    look_first: Mapping[str, tuple[str, ...]]  # "low", "high", "any" -> what to look at, in order
    obliges: tuple[str, ...]  # what a failed check obliges, in order
    cautions: tuple[str, ...]  # where the work can hurt someone
    acceptance_at: tuple[AcceptanceAt, ...] = ()
    acceptance_since: tuple[tuple[datetime, Acceptance], ...] = ()
    """Limits of one stream that were decided over time, each with the moment it is valid from, in order of time; the
    first holds before its moment too. Without any, `acceptance` holds always; with some, it is the one that stands."""
    signed_baselines: tuple[SignedBaseline, ...] = ()  # of one stream, as a store keeps them
    early_warning: bool = True  # whether the model of the stream warns
    rules_signal: bool = False  # whether the run rules and the moving range warn too, or are only drawn
    kept_in: str = ""  # of a check shown in another unit: the one that readings and limits are written in

    def acceptance_for(self, key: StreamKey) -> Acceptance:
        """Return the acceptance limits of one stream: of its position, else of its line, else of the check."""
        found = {other.position: other.acceptance for other in self.acceptance_at if other.line == key.line}
        return found.get(key.position) or found.get("") or self.acceptance


@dataclass(frozen=True, slots=True)
class Catalogue(Told):
    """All checks, starter and site together."""

    checks: Mapping[str, Check]
    event_kinds: frozenset[str]
    source: str  # what to tell people it came from: "starter catalogue", or the site's file
    formats: Formats = AS_IT_CAME  # how the site writes numbers and times, and the units it wants shown

    def named(self, key: str) -> Check:
        """Return the check with this key.

        Raises:
            InputError: there is none.
        """
        if key not in self.checks:
            raise InputError(f"there is no check {key!r}; {nearest(key, self.checks)}")
        return self.checks[key]

    def events_for(self, check: str) -> frozenset[str]:
        """Return the event kinds that touch `check` when an event names no check."""
        return frozenset((*self.checks[check].new_segment_on, *self.checks[check].explained_by))

    def places_without_stream(self, streams: Collection[StreamKey]) -> tuple[str, ...]:
        """Return a sentence for every line or position with limits of its own that none of `streams` belongs to.

        A misspelt line would otherwise be judged by the wrong limits without a word.
        """
        return tuple(
            f"{self.source}: check.{check.key}.acceptance_at names {StreamKey(at.line, check.key, at.position)}, "
            "and no such stream was read; its limits were not used"
            for check in self.checks.values()
            for at in check.acceptance_at
            if not any(
                (key.check, key.line) == (check.key, at.line) and at.position in ("", key.position) for key in streams
            )
        )
