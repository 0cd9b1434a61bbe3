"""A review as JSON: the same numbers as on paper."""

from typing import Any

from spc.review import Review, StreamReview


def review_json(found: Review) -> dict[str, Any]:
    """Return a review as JSON can hold it; absent numbers are null."""
    return {
        "period": {"from": found.period.first.isoformat(), "to": found.period.last.isoformat()},
        "before": {"from": found.before.first.isoformat(), "to": found.before.last.isoformat()},
        "mark": found.mark,
        "confidence": found.confidence,
        "first": [
            {"kind": each.kind, "words": each.words, "look_first": list(each.look_first)} for each in found.findings
        ],
        "changes": list(found.changes),
        "streams": [_stream(stream) for stream in found.streams],
        "notes": list(found.notes),
    }  # fmt: skip


def _stream(stream: StreamReview) -> dict[str, Any]:
    key, check, schedule = stream.key, stream.result.check, stream.schedule
    return {
        "line": key.line,
        "check": key.check,
        "position": key.position,
        "unit": check.chart_unit,
        "n": stream.read,
        "movement": stream.movement,
        "mean": stream.mean,
        "capability": _capability(stream),
        "outside": None if stream.outside is None else {
            "share": stream.outside.outside, "lower": stream.outside.lower, "upper": stream.outside.upper,
            "n": stream.outside.n, "method": stream.outside.method,
        },
        "failed": len(stream.failures),
        "failing": stream.failing is not None,
        "checks": {
            "done": schedule.done, "late": schedule.late, "missed": schedule.missed,
            "not_in_operation": schedule.not_in_operation, "overdue": schedule.overdue,
        },
        "limits": [
            {"asked": each.words, "document": each.acceptance.document, "revision": each.acceptance.revision,
             "confirmed": each.acceptance.confirmed, "readings": each.n}
            for each in stream.limits
        ],
        "interval": _interval(stream),
    }  # fmt: skip


def _capability(stream: StreamReview) -> dict[str, Any] | None:
    found = stream.indices
    if found is None:
        return None
    return {
        "word": found.word,
        "words": found.words,
        "n": found.n,
        "method": found.method or None,
        "refused": [each.kind for each in found.refusals],
        "indices": [
            {"name": each.name, "value": each.value, "lower": each.lower, "upper": each.upper, "method": each.method}
            for each in found.indices
        ],
    }


def _interval(stream: StreamReview) -> dict[str, Any] | None:
    found = stream.evidence
    if found is None:
        return None
    rate = found.per_1000_hours
    return {
        "asked": found.interval,
        "checks": found.checks,
        "failed": found.failed,
        "share_upper": found.per_check.upper,
        "per_1000_hours_upper": None if rate is None else rate.upper,
        "margin_in_drifts": found.margin_in_drifts,
        "exposed_hours": found.exposed.total_seconds() / 3600,
        "longer": [
            {"times": each.times, "seen": each.seen, "unseen": each.unseen,
             "exposed_hours": each.exposed.total_seconds() / 3600}
            for each in found.longer
        ],
    }  # fmt: skip
