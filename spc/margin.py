"""The last reading of a stream, and how far it is inside its acceptance limits."""

import numpy as np

from spc.catalogue.acceptance import Verdict, verdict
from spc.charted import was_running
from spc.records import Bound
from spc.results import StreamResult
from spc.wording import number, plain, reading_text, with_unit


def last_read(result: StreamResult) -> int | None:
    """Return the index of the last reading taken with the line in operation."""
    running = was_running(result.readings)[::-1]
    back = int(np.argmax(running)) if len(running) else 0
    return len(running) - 1 - back if len(running) and running[back] else None


def last_text(result: StreamResult) -> str:
    """Return the last reading as people read it, "" when there is none."""
    last = last_read(result)
    if last is None:
        return ""
    if len(result.charted.x) and result.charted.index[-1] == last:
        return reading_text(float(result.charted.x[-1]), result.check, int(result.charted.bound[-1]))
    return str(result.readings.word[last]) or with_unit(
        number(float(result.readings.value[last]), result.check.decimals), result.check.unit_label
    )


def margin(result: StreamResult) -> tuple[str, float | None]:
    """Return how far the last reading is inside its acceptance limits: in words, and as a fraction.

    Of a reading that cannot be judged the words say why; there is no fraction then. The fraction is 0 on the limit or
    outside. With two limits it is 1 in the middle between them; with one limit it is 1 where the reading is as far
    inside as the centre line of its segment, or farther.
    """
    charted, check = result.charted, result.check
    if not len(charted.x):
        return "", None
    if charted.index[-1] != last_read(result):
        return "not judged: no reference beside it", None
    judged = _last_verdict(result)
    if judged is Verdict.UNDECIDED and charted.bound[-1] != Bound.EXACT and _has_limits(result):
        return f"not judged: {last_text(result)} may lie on either side of the limit", None
    x, lower, upper = float(charted.x[-1]), float(charted.lower[-1]), float(charted.upper[-1])
    distances = [(x - lower, "above the lower", lower), (upper - x, "below the upper", upper)]
    distance, way, limit = min((d for d in distances if not np.isnan(d[0])), default=(np.nan, "", np.nan))
    if np.isnan(distance):
        return _why_no_limit(result), None
    shown = with_unit(plain(limit), check.chart_unit)
    if distance >= 0 and judged is Verdict.OUTSIDE:  # ">2" where at most 2 is asked
        return f"beyond the limit {shown}", 0.0
    if distance < 0 and judged is not Verdict.OUTSIDE:  # on the limit, however the arithmetic rounded
        return f"on the limit {shown}", 0.0
    if distance < 0:
        way = "below the lower" if way.startswith("above") else "above the upper"
    text = f"{number(abs(distance), check.decimals)} {way} limit {shown}"
    if distance <= 0:
        return (text if distance else f"on the limit {shown}"), 0.0
    limits = result.segments[-1].limits if result.segments else None
    if not np.isnan(lower) and not np.isnan(upper):
        usual = (upper - lower) / 2
    else:
        usual = abs((limits.centre_line if limits else x) - limit)
    return text, min(1.0, distance / usual) if usual > 0 else 1.0


def _last_verdict(result: StreamResult) -> Verdict:
    """Return how the last charted reading lies to its acceptance limits."""
    last = result.charted
    return Verdict(int(verdict(last.x[-1:], last.bound[-1:], last.lower[-1:], last.upper[-1:])[0]))


def _has_limits(result: StreamResult) -> bool:
    """Return whether the last charted reading has an acceptance limit."""
    return not (np.isnan(result.charted.lower[-1]) and np.isnan(result.charted.upper[-1]))


def _why_no_limit(result: StreamResult) -> str:
    """Return why the last charted reading has no acceptance limit."""
    if result.check.acceptance.rule in ("none", "fixed"):
        return "no acceptance limit"
    if np.isnan(result.readings.reference[result.charted.index[-1]]):
        return "not judged: no reference beside it"
    reference = float(result.readings.reference[result.charted.index[-1]])
    return f"not judged: the document names no limit at {plain(reference)} A"
