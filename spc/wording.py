"""Numbers, limits and times as people read them."""

import math
from datetime import datetime, timedelta, tzinfo

from spc.catalogue.acceptance import Acceptance
from spc.catalogue.check import Check
from spc.formats import formats_now
from spc.records import Bound

NOT_CONFIRMED = "not confirmed for this site"
_BOUND_SIGN = {Bound.BELOW: "<", Bound.EXACT: "", Bound.ABOVE: ">"}


def number(x: float, decimals: int) -> str:
    """Return `x` with `decimals` places and a true minus sign."""
    text = f"{x:.{decimals}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return formats_now().written(text.replace("-", "\N{MINUS SIGN}"))


SMALLEST, LARGEST = 1e-6, 1e12
"""Numbers between are written without an exponent."""


def plain(x: float) -> str:
    """Return a limit as the document writes it, with a true minus sign: "0.1", "\N{MINUS SIGN}10"."""
    return formats_now().written(f"{x:g}".replace("-", "\N{MINUS SIGN}"))


def in_figures(x: float, digits: int = 3) -> str:
    """Return `x` with that many figures: "0.00135", "12.4", "1,090", "2.4e-12"; "none" for NaN."""
    return formats_now().written(_in_figures(x, digits))


def _in_figures(x: float, digits: int) -> str:
    if math.isnan(x):
        return "none"
    if math.isinf(x):
        return "no end" if x > 0 else "\N{MINUS SIGN}no end"
    text = f"{x:.{digits - 1}e}"
    if x == 0 or SMALLEST <= abs(x) < LARGEST:
        places = digits - 1 - int(text.partition("e")[2]) if x else 0
        text = f"{round(x, places):,.{max(places, 0)}f}"
    return text.replace("-", "\N{MINUS SIGN}")


def short(x: float, digits: int = 4) -> str:
    """Return `x` with that many figures at most: "0.012", "1,096", "2"."""
    text = _in_figures(x, digits)
    return formats_now().written(text.rstrip("0").rstrip(".") if "." in text and "e" not in text else text)


def reading_text(x: float, check: Check, bound: int = Bound.EXACT, *, more_places: int = 0) -> str:
    """Return a charted reading with its unit: "0.21 mL/100 mL", "<0.05 mL/100 mL"."""
    more_places += _places_to_agree(x, check, bound)
    return with_unit(f"{_BOUND_SIGN[Bound(bound)]}{number(x, check.decimals + more_places)}", check.chart_unit)


def _places_to_agree(x: float, check: Check, bound: int) -> int:
    """Return how many places more it takes that a converted reading lies to its limits as what was written does."""
    acceptance = check.acceptance
    if not check.kept_in or acceptance.rule != "fixed" or bound != Bound.EXACT:
        return 0

    def lies(value: float) -> tuple[bool, bool]:
        """Return whether a number as it is read lies beyond the limits as they are read."""
        low, high = acceptance.lower, acceptance.upper
        return low is not None and value < float(f"{low:g}"), high is not None and value > float(f"{high:g}")

    slack = 1e-9 * max(abs(x), *(abs(each) for each in (acceptance.lower, acceptance.upper) if each is not None), 0.0)
    true = (
        acceptance.lower is not None and x < acceptance.lower - slack,
        acceptance.upper is not None and x > acceptance.upper + slack,
    )
    return next((more for more in range(8) if lies(round(x, check.decimals + more)) == true), 0)


def outside_text(x: float, check: Check, bound: int, lower: float, upper: float) -> str:
    """Return a reading outside its acceptance limits, with as many places as it takes to see that it is outside."""
    places = next(
        (more for more in range(6) if not lower <= round(x, check.decimals + more) <= upper or bound != Bound.EXACT), 0
    )
    return reading_text(x, check, bound, more_places=places)


def level_text(x: float, check: Check) -> str:
    """Return a mean or a limit with its unit: one place more than a reading has, where that says anything."""
    coarse = check.charted != "deviation" and (check.resolution or 0.0) >= 10.0 ** (1 - check.decimals)
    more = 0 if coarse or check.decimals >= 3 else 1
    return with_unit(number(x, check.decimals + more), check.chart_unit)


def chart_name(check: Check) -> str:
    """Return what is on the chart of a check: "Ammeter deviation" where it is the deviation from a reference."""
    return f"{check.title} deviation" if check.charted == "deviation" else check.title


def with_unit(text: str, unit: str) -> str:
    """Return `text` followed by `unit`, if there is one; one of a unit that is counted is told as one."""
    unit = ONE_OF.get(unit, unit) if text.lstrip("<>\N{MINUS SIGN}") == "1" else unit
    return f"{text} {unit}" if unit else text


ONE_OF = {"holes": "hole"}
"""Units that are counted in words, and one of them."""


def time_text(at: datetime, zone: tzinfo) -> str:
    """Return the local time of `zone`: "Tue 4 Mar 2025 06:10"."""
    local, formats = at.astimezone(zone), formats_now()
    return f"{formats.date(local)} {formats.time(local)}"


def date_text(at: datetime, zone: tzinfo) -> str:
    """Return the local date of `zone`: "Tue 4 Mar 2025"."""
    return formats_now().date(at.astimezone(zone))


CLOCKS_DIFFER = timedelta(minutes=5)
"""A time this little ahead of the clock is that of another clock, not a wrong one."""


def age_text(at: datetime, now: datetime) -> str:
    """Return how long ago `at` was: "2 h ago"; a time that has not come yet is told so, never as current."""
    age = now - at
    if age < -CLOCKS_DIFFER:
        ahead = -age
        far = f"{ahead.days} days" if ahead >= timedelta(days=2) else f"{-(-ahead // timedelta(hours=1))} h"
        return f"dated {far} ahead of the clock"
    if age < timedelta(minutes=1):
        return "just now"
    if age < timedelta(hours=1):
        return f"{age // timedelta(minutes=1)} min ago"
    if age < timedelta(days=2):
        return f"{age // timedelta(hours=1)} h ago"
    return f"{age.days} days ago"


def bounds_text(acceptance: Acceptance, check: Check) -> str:
    """Return what the acceptance limits ask, in words, without their source."""
    match acceptance.rule:
        case "fixed":
            asks = [
                f"{words} {plain(limit)}"
                for words, limit in (("at least", acceptance.lower), ("at most", acceptance.upper))
                if limit is not None
            ]
            return with_unit(" and ".join(asks), check.unit_label)
        case "percent_or_amperes":
            percent, amperes = (plain(each) for each in (acceptance.percent or 0.0, acceptance.amperes or 0.0))
            return f"within {percent} % of the reference or {amperes} A, whichever is greater"
        case "percent_of_full_scale":
            percent, scale = (plain(each) for each in (acceptance.percent or 0.0, acceptance.full_scale or 0.0))
            return f"within {percent} % of the full scale of {scale} A"
        case "minimum_at_reference":
            steps = ", ".join(f"{minimum:g} at {reference:g} A" for reference, minimum in acceptance.table)
            return f"at least {steps}"
        case "words":
            return "must be " + " or ".join(f"“{word}”" for word in acceptance.good)
        case "none":
            return "no acceptance limit"


def source_text(acceptance: Acceptance) -> str:
    """Return where the limits come from, or that this site has not confirmed them."""
    if acceptance.rule == "none":
        return ""
    if acceptance.confirmed:
        return f"{acceptance.document}, revision {acceptance.revision}"
    return f"starter value after {acceptance.document}, {NOT_CONFIRMED}"
