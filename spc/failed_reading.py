"""A reading that failed: in words, on which side, and whether a later one passed."""

import numpy as np

from spc.catalogue.acceptance import Verdict, verdict
from spc.charted import was_running
from spc.results import Failure, Side, StreamResult
from spc.wording import (
    outside_text,
)


def failed_text(failure: Failure, result: StreamResult) -> str:
    """Return what failed as people read it: the word, or the number with places enough to see that it is outside."""
    if isinstance(failure.value, str):
        return failure.value
    charted = result.charted
    i = int(np.searchsorted(charted.index, failure.index))
    lower = float(np.nan_to_num(charted.lower[i], nan=-np.inf))
    upper = float(np.nan_to_num(charted.upper[i], nan=np.inf))
    return outside_text(failure.value, result.check, int(charted.bound[i]), lower, upper)


def standing_failure(result: StreamResult) -> Failure | None:
    """Return the last failed reading, unless a later one surely passed.

    A reading that cannot be judged (censored across the limit, or without the reference it needs) undoes no failure.
    """
    if not result.failures:
        return None
    failure = result.failures[-1]
    if isinstance(failure.value, str):
        passed = np.flatnonzero(was_running(result.readings))
    else:
        charted = result.charted
        later = slice(int(np.searchsorted(charted.index, failure.index, side="right")), None)  # the others do not count
        judged = verdict(charted.x[later], charted.bound[later], charted.lower[later], charted.upper[later])
        passed = charted.index[later][judged == Verdict.INSIDE]
    return None if len(passed) and passed[-1] > failure.index else failure


def failed_side(failure: Failure, result: StreamResult) -> Side | None:
    """Return the side on which a measured reading failed; None of a judged one."""
    if isinstance(failure.value, str):
        return None
    i = int(np.searchsorted(result.charted.index, failure.index))
    # what is not above the upper limit failed below the lower one: a censored reading may lie on the limit itself
    return "high" if result.charted.x[i] >= result.charted.upper[i] else "low"
