"""The readings of one stream as a CSV file: what was written, and what the chart says of it."""

import csv
import io
from collections.abc import Iterable, Iterator
from datetime import tzinfo

import numpy as np

from spc.records import Bound
from spc.results import Limits, Signal, StreamResult
from spc.times import as_written, from_microseconds

COLUMNS = (
    "taken_at", "line", "check", "position", "value", "reference", "unit", "instrument", "technician", "shift", "note",
    "row", "charted", "chart_unit", "acceptance_lower", "acceptance_upper", "control_lower", "centre_line",
    "control_upper", "failed", "signals", "rule_signals",
)  # fmt: skip
RISKY = ("=", "+", "-", "@", "\t", "\r", "\n", "\N{FULLWIDTH EQUALS SIGN}", "\N{FULLWIDTH PLUS SIGN}",
         "\N{FULLWIDTH HYPHEN-MINUS}", "\N{FULLWIDTH COMMERCIAL AT}")  # fmt: skip
"""A spreadsheet takes a cell of words that starts like this for a formula; the wide forms in some settings (memory)."""


def stream_csv(result: StreamResult, places: slice, zone: tzinfo) -> str:
    """Return the readings at `places` of the stream, the header first; times as they stood in the log.

    Cells of words that a spreadsheet would take for a formula are led by an apostrophe. Absent numbers are empty.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    writer.writerows(_rows(result, places, zone))
    return out.getvalue()


def _rows(result: StreamResult, places: slice, zone: tzinfo) -> Iterator[list[str]]:
    readings, check = result.readings, result.check
    failed = {failure.index for failure in result.failures}
    signals, rule_signals = rules_by_reading(result, result.signals), rules_by_reading(result, result.rule_signals)
    charted = {int(index): place for place, index in enumerate(result.charted.index)}
    limits = limits_by_place(result)
    for i in range(*places.indices(len(readings))):
        place = charted.get(i)
        words = (readings.instrument[i], readings.technician[i], readings.shift[i], readings.note[i])
        yield [
            as_written(from_microseconds(int(readings.taken_at[i])), int(readings.offset[i]), zone),
            *map(safe, (readings.key.line, readings.key.check, readings.key.position)),
            _value(result, i),
            _number(float(readings.reference[i])),
            check.unit,
            *(safe(str(word)) for word in words),
            str(readings.row[i]),
            *(_charted(result, place, limits) if place is not None else [""] * 7),
            "yes" if i in failed else "no",
            " ".join(signals.get(i, [])),
            " ".join(rule_signals.get(i, [])),
        ]


def _charted(result: StreamResult, place: int, limits: list[Limits | None]) -> list[str]:
    charted, control = result.charted, limits[place]
    numbers = [float(charted.lower[place]), float(charted.upper[place])]
    numbers += [control.lower, control.centre_line, control.upper] if control else [np.nan] * 3
    return [_number(float(charted.x[place])), result.check.chart_unit, *map(_number, numbers)]


def limits_by_place(result: StreamResult) -> list[Limits | None]:
    """Return the control limits of each charted reading of the stream."""
    return [segment.limits for segment in result.segments for _ in range(segment.first, segment.stop)]


def _value(result: StreamResult, i: int) -> str:
    word = str(result.readings.word[i])
    sign = {Bound.BELOW: "<", Bound.ABOVE: ">"}.get(Bound(int(result.readings.bound[i])), "")
    return safe(word) or sign + _number(float(result.readings.value[i]))


def _number(x: float) -> str:
    return "" if np.isnan(x) else f"{x:.12g}"


def safe(text: str) -> str:
    """Return words for a cell; those that a spreadsheet would take for a formula are led by an apostrophe."""
    return f"'{text}" if text.lstrip(" ").startswith(RISKY) else text


def rules_by_reading(result: StreamResult, signals: Iterable[Signal]) -> dict[int, list[str]]:
    """Return the rules of `signals`, by the place of their reading in the stream's readings."""
    rules: dict[int, list[str]] = {}
    for signal in signals:
        rules.setdefault(int(result.charted.index[signal.position]), []).append(signal.rule)
    return rules
