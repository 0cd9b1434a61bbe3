"""Acceptance limits: what the governing document asks, and whether this site has confirmed it."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from spc.arrays import BoolArray, FloatArray, ObjectArray
from spc.records import NOT_RUN, Bound

Mark = Literal["site", "found", "memory", "none"]
"""Where a limit or an interval comes from.

site: named by the site's file. found: read in a text. memory: recalled, not confirmed. none: common practice without
a source, or no limit at all.
"""

LimitRule = Literal["none", "fixed", "percent_or_amperes", "percent_of_full_scale", "minimum_at_reference", "words"]

SLACK = 1e-9
"""Relative to the limit: a reading this close to it lies on it, however the arithmetic rounded."""


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


class Verdict(IntEnum):
    """How a reading lies to its acceptance limits."""

    OUTSIDE = -1
    UNDECIDED = 0  # no limit, no number, or a censored reading that may lie on either side
    INSIDE = 1


def limits_at(acceptance: Acceptance, reference: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return the lower and upper acceptance limit of each reading, in the chart unit; NaN where there is none.

    Args:
        acceptance: the limits of the check.
        reference: what each reading was compared with, shape (n,): true amperes for an ammeter, amperes through the
            conductor for a ring; NaN where none was written.

    Returns:
        Two arrays of shape (n,). Ammeter limits are in percent of the reference; where the reference is missing
        or 0 there are none, nor where the table of a ring has no row for the current.

    Source:
        The two ammeter rules: ASTM E1444 and E3024, clause 7.4.1; ASTM E709 and ASME BPVC V T-761 (all from memory).
    """
    current = np.array(reference, dtype=np.float64)
    none = np.full(current.shape, np.nan)
    match acceptance.rule:
        case "fixed":
            return _filled(none, acceptance.lower), _filled(none, acceptance.upper)
        case "percent_or_amperes":
            allowed = np.maximum(_given(acceptance.percent), _percent_of(_given(acceptance.amperes), current))
            return -allowed, allowed
        case "percent_of_full_scale":
            amperes = _given(acceptance.percent) / 100.0 * _given(acceptance.full_scale)
            allowed = _percent_of(amperes, current)
            return -allowed, allowed
        case "minimum_at_reference":
            return _minimum(acceptance.table, current), none
        case "words" | "none":
            return none, none.copy()


def _filled(like: FloatArray, limit: float | None) -> FloatArray:
    return np.full(like.shape, np.nan if limit is None else limit)


def _given(number: float | None) -> float:
    return np.nan if number is None else number


def _percent_of(amperes: float, reference: FloatArray) -> FloatArray:
    """Return `amperes` in percent of each reference; NaN where the reference is missing or 0."""
    size = np.where(reference == 0.0, np.nan, np.abs(reference))
    return np.asarray(100.0 * amperes / size, dtype=np.float64)


def _minimum(table: Sequence[tuple[float, float]], reference: FloatArray) -> FloatArray:
    minimum = np.full(reference.shape, np.nan)
    for at, least in table:
        minimum[np.abs(reference - at) <= SLACK * abs(at)] = least
    return minimum


def verdict(x: ArrayLike, bound: ArrayLike, lower: ArrayLike, upper: ArrayLike) -> NDArray[np.int8]:
    """Return how each reading lies to its acceptance limits, as values of `Verdict`, shape (n,).

    Args:
        x: readings as charted, shape (n,); NaN where there is no number.
        bound: values of `records.Bound`, shape (n,): the true value is below, at or above x.
        lower: limits in the unit of `x`, shape (n,); NaN where there is none.
        upper: likewise.

    A reading on a limit is inside. Of a censored reading only what is certain counts: "<0.05" is outside a lower
    limit of 0.10, "<0.5" is undecided, ">5000" is inside a lower limit of 1000.
    """
    value, low, high = (np.asarray(column, dtype=np.float64) for column in (x, lower, upper))
    known = np.asarray(bound, dtype=np.int8)
    low_end = np.where(known == Bound.BELOW, -np.inf, value)
    high_end = np.where(known == Bound.ABOVE, np.inf, value)
    # A censored reading excludes the number written: "<0.10" lies below 0.10, on the far side of a limit there.
    too_low = np.where(known == Bound.BELOW, _at_most(high_end, low), _below(high_end, low))
    too_high = np.where(known == Bound.ABOVE, _at_most(high, low_end), _below(high, low_end))
    low_holds = np.isnan(low) | ~_below(low_end, low)
    high_holds = np.isnan(high) | ~_below(high, high_end)
    judged = ~np.isnan(value) & ~(np.isnan(low) & np.isnan(high))
    result = np.full(value.shape, Verdict.UNDECIDED, dtype=np.int8)
    result[judged & low_holds & high_holds] = Verdict.INSIDE
    result[judged & (too_low | too_high)] = Verdict.OUTSIDE
    return result


def _slack(a: FloatArray, b: FloatArray) -> FloatArray:
    sizes = np.maximum(np.abs(a), np.abs(b))
    return np.asarray(SLACK * np.where(np.isfinite(sizes), sizes, 0.0), dtype=np.float64)


def _below(a: FloatArray, b: FloatArray) -> BoolArray:
    """Return where a lies below b by more than the slack; False where either is NaN."""
    return np.asarray(a < b - _slack(a, b), dtype=np.bool_)


def _at_most(a: FloatArray, b: FloatArray) -> BoolArray:
    """Return where a lies below b or on it, within the slack; False where either is NaN."""
    return np.asarray(a <= b + _slack(a, b), dtype=np.bool_)


def outside(x: ArrayLike, bound: ArrayLike, lower: ArrayLike, upper: ArrayLike) -> BoolArray:
    """Return which readings certainly lie outside their acceptance limits, shape (n,); arguments as in `verdict`."""
    return np.asarray(verdict(x, bound, lower, upper) == Verdict.OUTSIDE, dtype=np.bool_)


def judged_failed(words: ObjectArray, acceptance: Acceptance) -> BoolArray:
    """Return which words of a judged check did not pass, shape (n,).

    Whatever is not a word that passes has failed: a weak indication is no proof. No word at all and "not run" are
    no verdict; a check whose limits are not words has none either.
    """
    if acceptance.rule != "words":
        return np.zeros(len(words), dtype=np.bool_)
    passing = {plain_word(word) for word in acceptance.good} | {"", NOT_RUN}
    failed = {word: plain_word(word) not in passing for word in set(words)}
    return np.fromiter((failed[word] for word in words), dtype=np.bool_, count=len(words))


def plain_word(word: str) -> str:
    """Return `word` in small letters with single spaces, the form in which words are compared."""
    return " ".join(word.casefold().split())
