"""A scan as JSON: what scripts read. Absent numbers are null; times stand as they do in the log."""

import math
from dataclasses import asdict
from datetime import datetime, tzinfo
from typing import Any

import numpy as np

from spc.ingest.csv_log import CheckLog
from spc.ingest.event_log import EventLog
from spc.records import NO_OFFSET, NOT_RUN, Bound, Readings
from spc.results import Limits, Segment, Signal, StreamResult
from spc.scan import Scan
from spc.screening import Question, screen
from spc.signed_baseline import SignedBaseline
from spc.times import as_written, from_microseconds

Json = dict[str, Any]
_SIGN = {Bound.BELOW: "<", Bound.EXACT: "", Bound.ABOVE: ">"}


def scan_json(scan: Scan) -> Json:
    """Return the result of a scan as JSON-ready values."""
    return {
        **_file(scan.log),
        "events": _file(scan.events) if scan.events else None,
        "notes": [*scan.log.notes, *scan.notes_of_names, *scan.notes_of_catalogue, *scan.notes_of_events],
        "questions": [_question(question, scan.zone) for question in screen(scan.streams, zone=scan.zone)],
        "streams": [_stream(result, scan.zone) for result in scan.streams],
    }


def forecasts_json(scan: Scan) -> list[Json]:
    """Return what comes next on every stream, as JSON-ready values."""
    return [
        {
            "line": result.key.line,
            "check": result.key.check,
            "position": result.key.position,
            "unit": result.check.chart_unit,
            "forecast": _forecast(result, scan.zone),
        }
        for result in scan.streams
    ]


def _file(log: CheckLog | EventLog) -> Json:
    rows = log.rows
    return {
        "rows": {
            "read": rows.read,
            "accepted": rows.accepted,
            "duplicate": rows.duplicate,
            "quarantined": rows.quarantined,
        },
        "quarantine": [
            {"row": bad.row, "column": bad.column, "text": bad.text, "reason": bad.reason} for bad in log.quarantine
        ],
        "notes": list(log.notes),
        **(_cells(log) if isinstance(log, CheckLog) and log.cells else {}),
    }


def _cells(log: CheckLog) -> Json:
    """Return where every cell of a sheet ended, and which of those for readings are blank."""
    return {
        "cells": asdict(log.cells) if log.cells else {},
        "blank": [{"row": cell.row, "column": cell.column} for cell in log.blanks],
    }


def _question(question: Question, zone: tzinfo) -> Json:
    return {
        "kind": question.kind,
        "streams": [{"line": key.line, "check": key.check, "position": key.position} for key in question.keys],
        "rows": list(question.rows),
        "from": as_written(question.first, NO_OFFSET, zone),
        "to": as_written(question.last, NO_OFFSET, zone),
        "chance": _number(question.chance),
        "sentence": question.sentence,
    }


def _stream(result: StreamResult, zone: tzinfo) -> Json:
    readings = result.readings
    idle = int(np.count_nonzero(readings.word == NOT_RUN))
    return {
        "line": result.key.line,
        "check": result.key.check,
        "position": result.key.position,
        "unit": result.check.chart_unit,
        "n": len(readings) - idle,
        "not_run": idle,
        "acceptance": _acceptance(result),
        "segments": [_segment(segment, result, zone) for segment in result.segments],
        "failures": [
            {
                "at": _at(readings, failure.index, zone),
                "row": failure.row,
                "value": failure.value,
                "bound": _SIGN[Bound(int(readings.bound[failure.index]))],
            }
            for failure in result.failures
        ],
        "signals": [_signal(signal, result, zone) for signal in result.signals],
        "rule_signals": [_signal(signal, result, zone) for signal in result.rule_signals],
        "forecast": _forecast(result, zone),
    }


def _signal(signal: Signal, result: StreamResult, zone: tzinfo) -> Json:
    return {
        "at": _at(result.readings, int(result.charted.index[signal.position]), zone),
        "row": signal.row,
        "value": signal.value,
        "chart": signal.chart,
        "rule": signal.rule,
        "side": signal.side,
    }


def _at(readings: Readings, index: int, zone: tzinfo) -> str:
    return as_written(from_microseconds(int(readings.taken_at[index])), int(readings.offset[index]), zone)


def _acceptance(result: StreamResult) -> Json:
    acceptance = result.check.acceptance
    charted = result.charted
    lower, upper = (charted.lower[-1], charted.upper[-1]) if len(charted.x) else (acceptance.lower, acceptance.upper)
    return {
        "lower": _number(lower),
        "upper": _number(upper),
        "rule": acceptance.rule,
        "document": acceptance.document,
        "revision": acceptance.revision,
        "confirmed": acceptance.confirmed,
    }


def _segment(segment: Segment, result: StreamResult, zone: tzinfo) -> Json:
    index = result.charted.index
    return {
        "from": _at(result.readings, int(index[segment.first]), zone),
        "to": _at(result.readings, int(index[segment.stop - 1]), zone),
        "n": segment.stop - segment.first,
        "because": segment.because,
        **(_limits(segment.limits) if segment.limits else NO_LIMITS),
        **(_signed(segment.signed) if segment.signed else {}),
    }


def _signed(signed: SignedBaseline) -> Json:
    """Return which baseline that a person signed off set the limits."""
    return {
        "signed_baseline": {
            "version": signed.version,
            "signed_by": signed.signed_by,
            "signed_at": signed.signed_at.isoformat(),
            "valid_from": signed.valid_from.isoformat(),
        }
    }


def _limits(limits: Limits) -> Json:
    centre = _number(limits.centre_line)
    return {
        "baseline": {
            "n": limits.n_baseline,
            "centre": centre,
            "sigma": _number(limits.sigma),
            "complete": limits.complete,
        },
        "individuals": {"lower": _number(limits.lower), "centre": centre, "upper": _number(limits.upper)},
        "moving_range": {
            "centre": _number(limits.moving_range_centre),
            "upper": _number(limits.moving_range_upper),
        },
    }


NO_LIMITS: Json = {
    "baseline": {"n": 0, "centre": None, "sigma": None, "complete": False},
    "individuals": {"lower": None, "centre": None, "upper": None},
    "moving_range": {"centre": None, "upper": None},
}


def _forecast(result: StreamResult, zone: tzinfo) -> Json:
    forecast = result.forecast
    return {
        "method": forecast.method,
        "risk_next": _number(forecast.risk_next),
        "risk_next_5": _number(forecast.risk_next_5),
        "readings_to_limit": {
            "p10": _number(forecast.readings_p10),
            "p50": _number(forecast.readings_p50),
            "p90": _number(forecast.readings_p90),
        },
        "date_of_limit": _time(forecast.date_of_limit, result, zone),
    }


def _time(at: datetime | None, result: StreamResult, zone: tzinfo) -> str | None:
    if at is None:
        return None
    offset = int(result.readings.offset[-1]) if len(result.readings) else NO_OFFSET
    return as_written(at.replace(second=0, microsecond=0), offset, zone)


def _number(x: float | None) -> float | None:
    return None if x is None or not math.isfinite(x) else float(x)
