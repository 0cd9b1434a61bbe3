"""One check of the catalogue."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Literal

from spc.catalogue.acceptance import Acceptance, Mark
from spc.rules import RuleSetting


@dataclass(frozen=True, slots=True)
class Interval:
    """How often a check is due, and who says so."""

    every: timedelta | None  # None: before use, or on condition; `words` says it
    words: str  # "every shift, at most 8 h"
    document: str = ""
    mark: Mark = "none"
    conflict: str = ""


@dataclass(frozen=True, slots=True)
class Check:
    """What the catalogue knows of one check."""

    key: str
    title: str  # "Bath concentration"
    kind: Literal["measured", "judged"]
    unit: str  # as written in logs: "uW/cm2"; "" for a judged check
    unit_label: str  # as shown to people: "µW/cm²"
    chart_unit: str  # unit of what is charted: unit_label, or "%" for deviation from a reference
    charted: Literal["value", "deviation", "none"]  # deviation: 100 (value - reference) / reference
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


@dataclass(frozen=True, slots=True)
class Catalogue:
    """All checks, starter and site together."""

    checks: Mapping[str, Check]
    event_kinds: frozenset[str]
    source: str  # what to tell people it came from: "starter catalogue", or the site's file
