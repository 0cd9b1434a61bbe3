"""Acceptance limits: what the governing document asks, and whether this site has confirmed it."""

from dataclasses import dataclass
from typing import Literal

Mark = Literal["site", "found", "memory", "none"]
"""Where a limit comes from: named by the site's file; read in a text; recalled, not confirmed; no limit at all."""

LimitRule = Literal["none", "fixed", "percent_or_amperes", "percent_of_full_scale", "minimum_at_reference", "words"]


@dataclass(frozen=True, slots=True)
class Acceptance:
    """The acceptance limits of one check. Only the fields of its `rule` are set.

    fixed                  lower and/or upper, in the check's unit.
    percent_or_amperes     |value - reference| <= max(percent % of the reference, amperes); charted in %.
    percent_of_full_scale  |value - reference| <= percent % of full_scale amperes; charted in %.
    minimum_at_reference   value >= the minimum `table` gives for exactly this reference (ring holes at a current).
    words                  one of `good` passes, one of `bad` fails (judged checks).
    """

    rule: LimitRule = "none"
    lower: float | None = None
    upper: float | None = None
    percent: float | None = None
    amperes: float | None = None
    full_scale: float | None = None
    table: tuple[tuple[float, float], ...] = ()
    good: tuple[str, ...] = ()
    bad: tuple[str, ...] = ()
    document: str | None = None
    revision: str | None = None
    mark: Mark = "none"
    conflict: str = ""  # where published documents disagree, in a sentence

    @property
    def confirmed(self) -> bool:
        """Whether this site's own file names the document and its revision."""
        return self.mark == "site"
