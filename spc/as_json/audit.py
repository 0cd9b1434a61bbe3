"""Ledger, exposure windows and instruments as JSON: what scripts read."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any

from spc.audit import Instruments
from spc.containment import ExposureWindow
from spc.failures import FailureRecord
from spc.look_back import LookBack
from spc.printed.schedule import within
from spc.records import StreamKey
from spc.run_start import SetupSample
from spc.schedule.ledger import STATUSES, Entry, Ledger, StreamLedger
from spc.setup_look import GuidedLook

if TYPE_CHECKING:
    from spc.baseline_book import ReviewedReadings, Version
    from spc.results import StreamResult

Json = dict[str, Any]


def due_json(ledger: Ledger, streams: Sequence[StreamLedger]) -> Json:
    """Return what is due now and next."""
    return {
        "now": _time(ledger.now, ledger),
        "notes": list(ledger.notes),
        "streams": [
            {
                **_key(stream.key),
                "interval": stream.check.interval.words,
                "counted": stream.check.interval.counted,
                "last": _time(stream.last, ledger),
                "next": _entry(stream.next, ledger) if stream.next is not None else None,
            }
            for stream in streams
        ],
    }


def ledger_json(ledger: Ledger, streams: Sequence[StreamLedger], *, first: date, last: date) -> Json:
    """Return every entry of the ledger from `first` to `last`, and the counts."""
    found = []
    for stream in streams:
        inside = [entry for entry in stream.entries if within(entry, ledger.zone, first, last)]
        found.append(
            {
                **_key(stream.key),
                "interval": stream.check.interval.words,
                "document": stream.check.interval.document or None,
                "counts": {status: sum(entry.status == status for entry in inside) for status in STATUSES},
                "entries": [_entry(entry, ledger) for entry in inside],
            }
        )
    return {"from": first.isoformat(), "to": last.isoformat(), "notes": list(ledger.notes), "streams": found}


def _entry(entry: Entry, ledger: Ledger) -> Json:
    return {
        "status": entry.status,
        "due": _time(entry.due, ledger),
        "deadline": _time(entry.deadline, ledger),
        "before_use": entry.before_use,
        "previous": _time(entry.previous, ledger),
        "done": _time(entry.done_at, ledger),
        "row": entry.row,
        "gap_minutes": _minutes(entry.gap),
        "gap_in_operation_minutes": _minutes(entry.gap_in_operation),
        "over_minutes": _minutes(entry.over),
        "until": _time(entry.until, ledger),
        "why": entry.why or None,
    }


def exposed_json(windows: Iterable[ExposureWindow], ledger: Ledger) -> Json:
    """Return exposure windows."""
    return {"windows": [_window(window, ledger) for window in windows]}


def _window(window: ExposureWindow, ledger: Ledger) -> Json:
    acceptance = window.check.acceptance
    return {
        **_key(window.key),
        "failed": _time(window.failed_at, ledger),
        "failed_row": window.failed_row,
        "read": window.failed,
        "failures": window.failures,
        "limits": {
            "document": acceptance.document,
            "revision": acceptance.revision,
            "confirmed": acceptance.confirmed,
        },
        "last_good": _time(window.last_good, ledger),
        "last_good_row": window.last_good_row,
        "passed_again": _time(window.passed_at, ledger),
        "passed_row": window.passed_row,
        "in_operation_minutes": _minutes(window.in_operation),
        "in_operation_after_minutes": _minutes(window.in_operation_after),
        "nothing_processed": window.nothing_processed,
        "shifts": [{"day": shift.day.isoformat(), "shift": shift.name} for shift in window.shifts],
        "not_in_operation": [
            {"from": _time(rest.start, ledger), "to": _time(rest.stop, ledger), "why": rest.why, "note": rest.note}
            for rest in window.rests
        ],
        "lots_recorded": window.lots_recorded,
        "lots": list(window.lots),
        "parts": list(window.parts),
        "obliges": list(window.obliges),
    }


def instruments_json(found: Instruments, ledger: Ledger) -> Json:
    """Return how every instrument stands to its calibration."""
    return {
        "notes": list(found.notes),
        "instruments": [
            {
                "name": each.instrument.name,
                "title": each.instrument.title,
                "last_calibrated": _time(each.last.at, ledger) if each.last else None,
                "found_good": each.last.good if each.last else None,
                "due": each.due.isoformat() if each.due else None,
                "state": each.state,
                "readings": each.used,
                "readings_overdue": each.used_overdue,
                "last_used": _time(each.last_used, ledger),
            }
            for each in found.due
        ],
    }


def look_back_json(found: LookBack, ledger: Ledger) -> Json:
    """Return what an instrument's readings become once they are corrected."""
    return {
        "instrument": found.instrument,
        "relative_error": found.as_found.relative,
        "offset": found.as_found.offset,
        "since": _time(found.since, ledger),
        "found": _time(found.found_at, ledger),
        "streams": [
            {
                **_key(stream.key),
                "error": stream.model,
                "readings": stream.readings,
                "would_have_failed": stream.would_have_failed,
                "would_have_passed": stream.would_have_passed,
                "undecided": stream.undecided,
                "windows": [_window(window, ledger) for window in stream.windows],
            }
            for stream in found.streams
        ],
    }


def failures_json(records: Iterable[FailureRecord], unwritten: Iterable[ExposureWindow], ledger: Ledger) -> Json:
    """Return the records of failed checks, and the failed checks that have none."""
    return {
        "records": [
            {
                **_key(record.key),
                "failed": _time(record.failed_at, ledger),
                "read": record.failed,
                "asked": record.asked,
                "state": record.state,
                "lacks": list(record.lacks),
                "last_good": _time(record.last_good, ledger),
                "passed_again": _time(record.passed_at, ledger),
                "lots": list(record.lots),
                "parts": list(record.parts),
                "opened": _time(record.opened_at, ledger),
                "opened_by": record.opened_by,
                "steps": [
                    {"step": step.kind, "at": _time(step.at, ledger), "by": step.by, "words": step.words}
                    for step in record.steps
                ],
            }
            for record in records
        ],
        "without_record": [_window(window, ledger) for window in unwritten],
    }


def setup_json(sample: SetupSample, look: GuidedLook | None, ledger: Ledger) -> Json:
    """Return a set-up sample, and the look at its factors where it shows too little."""
    return {
        "line": sample.line,
        "at": _time(sample.at, ledger),
        "part": sample.part_shape,
        "technique": sample.technique.kind,
        "circuits": {circuit.name: circuit.amperes for circuit in sample.technique.circuits},
        "continuous": sample.technique.continuous,
        "reference": sample.reference.words(),
        "result": sample.result,
        "by": sample.by,
        "photo": sample.photo or None,
        "look_first": look.first.factor.key if look is not None and look.first.suspicious else None,
        "factors": [
            {
                "factor": each.factor.key,
                "word": each.word,
                "ask": list(each.factor.ask),
                "cautions": list(each.factor.cautions),
                "checks": [
                    {**_key(found.result.key), "state": found.state.word, "not_current": found.stale}
                    for found in each.evidence
                ],
            }
            for each in (look.factors if look is not None else ())
        ],
    }


def _key(key: StreamKey) -> Json:
    return {"line": key.line, "check": key.check, "position": key.position}


def _time(at: datetime | None, ledger: Ledger) -> str | None:
    """Return a time as the log has it: local, without an offset, to the minute or finer."""
    if at is None or at.year >= 9999:
        return None
    local = at.astimezone(ledger.zone).replace(tzinfo=None)
    return local.isoformat() if local.second or local.microsecond else local.isoformat(timespec="minutes")


def _minutes(length: timedelta | None) -> float | None:
    return None if length is None else length / timedelta(minutes=1)


def baselines_json(
    found: Mapping[StreamKey, Sequence["Version"]], reviewed: "tuple[StreamResult, ReviewedReadings] | None"
) -> Json:
    """Return the versions of each stream's baseline, and what speaks against the readings of a new one."""
    return {
        "baselines": [
            {
                "line": key.line,
                "check": key.check,
                "position": key.position,
                "version": version.stands.version,
                "unit": version.stands.unit,
                "n": version.stands.n,
                "centre": version.stands.centre_line,
                "sigma": version.stands.sigma,
                "lower": version.stands.lower,
                "upper": version.stands.upper,
                "left_out": [at.isoformat() for at in version.stands.left_out],
                "valid_from": version.signed.valid_from.isoformat() if version.signed else None,
                "valid_until": _moment(version.signed.valid_until) if version.signed else None,
                "steps": [
                    {
                        "step": entry.record.step,
                        "by": entry.record.by,
                        "at": entry.at.isoformat(),
                        "words": entry.record.words,
                    }
                    for entry in version.steps
                ],
            }
            for key, versions in found.items()
            for version in versions
        ],
        "review": None if reviewed is None else _review(reviewed[1]),
    }


def _moment(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat()


def _review(reviewed: "ReviewedReadings") -> Json:
    review = reviewed.review
    followed = review.limits_if_followed
    return {
        "from": reviewed.first.isoformat(),
        "to": reviewed.last.isoformat(),
        "n": review.n,
        "lower": review.limits.lower,
        "upper": review.limits.upper,
        "in_question": [
            {"at": [at.isoformat() for at in times], "reason": each.reason, "sentence": each.sentence}
            for each, times in zip(review.proposals, reviewed.times, strict=True)
        ],
        "concerns": list(review.concerns),
        "without": None if followed is None else {"lower": followed.lower, "upper": followed.upper},
    }
