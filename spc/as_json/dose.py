"""A suggestion for a bath as JSON: what scripts read. Absent numbers are null."""

import math
from datetime import tzinfo
from typing import Any

from spc.bath import Estimate
from spc.bath_accounts import PLANNING_SPREAD, PLANNING_YIELD
from spc.dose import Dose
from spc.dose_words import dose_headline, dose_sentences
from spc.records import Bound

Json = dict[str, Any]
_SIGN = {Bound.BELOW: "<", Bound.EXACT: "", Bound.ABOVE: ">"}


def dose_json(dose: Dose, zone: tzinfo, *, unread: tuple[int, int] = (0, 0)) -> Json:
    """Return a suggestion as JSON-ready values; amounts in g and L, the yield in mL/100 mL for each g/L.

    Args:
        dose: a suggestion.
        zone: of the times.
        unread: rows of the log and of the event file that could not be read.
    """
    known, written = dose.knowledge, dose.written
    return {
        "line": dose.key.line,
        "check": dose.key.check,
        "position": dose.key.position,
        "unit": dose.check.chart_unit,
        "volume_l": dose.volume_l,
        "target": dose.target,
        "target_given": dose.target_given,
        "acceptance": {
            "lower": dose.lower,
            "upper": dose.upper,
            "document": dose.check.acceptance.document,
            "revision": dose.check.acceptance.revision,
            "confirmed": dose.check.acceptance.confirmed,
        },
        "suggestion": dose.suggestion,
        "powder": None
        if dose.powder is None
        else {
            "now_g": dose.powder.now,
            "to_target_g": _range(dose.powder.to_target),
            "too_rich_above_g": None if dose.powder.too_rich_above is None else _number(dose.powder.too_rich_above),
            "chance_too_rich": dose.powder.chance_too_rich,
            "level_after": _range(dose.powder.level_after),
        },
        "carrier": None
        if dose.carrier is None
        else {
            "exchange_l": _range(dose.carrier.exchange),
            "add_l": dose.carrier.add,
            "chance_too_poor": dose.carrier.chance_too_poor,
        },
        "last_reading": {
            "at": dose.last_at.astimezone(zone).isoformat(timespec="minutes"),
            "value": dose.last_reading,
            "bound": _SIGN[Bound(dose.last_bound)],
            "failed": dose.failed,
            "unlike_those_before": dose.unlike,
            "old": dose.old is not None,
        },
        "level": _range(known.level),
        "loss_per_reading": _range(known.loss),
        "yield": {
            **_range(known.powder_yield),
            "learned": dose.learned,
            "n_doses": known.n_doses,
            "planning": {"middle": PLANNING_YIELD, "low": PLANNING_SPREAD[0], "high": PLANNING_SPREAD[1]},
        },
        "n_readings": known.n_readings,
        "top_ups": {"weighed": written.weighed, "unweighed": written.unweighed, "unwritten": known.unwritten_feeds},
        "since_last_reading": [event.kind for event in written.since],
        "quarantined": {"log": unread[0], "events": unread[1]},
        "headline": dose_headline(dose),
        "sentences": list(dose_sentences(dose, zone)),
    }


def _range(estimate: Estimate) -> Json:
    return {
        "middle": _number(estimate.middle),
        "p10": _number(estimate.low),
        "p90": _number(estimate.high),
    }


def _number(x: float) -> float | None:
    return x if math.isfinite(x) else None
