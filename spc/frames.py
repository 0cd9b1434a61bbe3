"""Logs and streams as pandas frames, and a frame read back by every rule of a log."""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from spc.arrays import IntArray, frozen
from spc.catalogue.check import Catalogue, Check
from spc.catalogue.load import load_catalogue
from spc.errors import InputError
from spc.ingest.csv_log import CheckLog, LogReader
from spc.ingest.event_log import EventLog, read_events
from spc.ingest.table import plain_name, told_apart
from spc.ingest.tidy import COLUMNS, TEXTS
from spc.records import NO_OFFSET, Bound, Readings
from spc.results import StreamResult
from spc.scan import Scan, monitor_streams
from spc.stream_csv import limits_by_place, rules_by_reading

if TYPE_CHECKING:
    import pandas as pd

OWN = ("bound", "word", "offset", "row")
"""Columns that a frame has beside those of a log, so that reading it back gives the same readings."""

CHARTED = ("charted", "acceptance_lower", "acceptance_upper", "control_lower", "centre_line", "control_upper")
SIGNS = {Bound.BELOW: "<", Bound.EXACT: "", Bound.ABOVE: ">"}
FARTHEST = 14 * 60  # minutes: no place on earth is farther from UTC
FRAME = "frame"  # what stands for the file's name
_ENDS = re.compile("\r\n?")


def log_frame(log: Scan | CheckLog, catalogue: Catalogue | None = None) -> "pd.DataFrame":
    """Return the accepted readings of a log as a frame, one a row, in the order of the file.

    Columns are those of a log, those that it names none of included, and four more: `bound` is "<" or ">" where the
    value was written with that sign, `word` the verdict where there is one (`value` is then NaN), `offset` the minutes
    east of UTC where the time was written with an offset, and `row` the line of the file. `taken_at` is in the zone of
    the log, `value` in the unit of the catalogue, which `unit` names.

    Args:
        log: a scan, or a log as read.
        catalogue: with which a log was read; a scan knows its own.

    Raises:
        InputError: a log without its catalogue.
    """
    import pandas as pd

    if isinstance(log, Scan):
        catalogue, log = log.catalogue, log.log
    if catalogue is None:
        raise InputError("a log does not know its units; give the catalogue that it was read with, or a scan")
    parts = [_readings_frame(each, catalogue.checks[each.key.check], log.zone) for each in log.streams.values()]
    if not parts:
        return pd.DataFrame(columns=[*COLUMNS, *OWN])
    frame = pd.concat(parts).sort_values("row", kind="stable", ignore_index=True)
    extra = frame.columns[len(COLUMNS) + len(OWN) :]
    return frame.fillna(dict.fromkeys(extra, ""))


def stream_frame(result: StreamResult, *, zone: tzinfo = UTC) -> "pd.DataFrame":
    """Return a monitored stream as a frame, one reading a row in order of time, with what its chart says.

    Beside the columns of `log_frame`: `charted` (the value, or the deviation from the reference in percent),
    `acceptance_lower` and `acceptance_upper`, `control_lower`, `centre_line` and `control_upper`, all in the chart
    unit and NaN where there is none; `failed`; `signals` and `rule_signals`, names of rules parted by spaces.

    Args:
        result: of a scan, or of `monitor_stream`.
        zone: of `taken_at`.
    """
    frame, charted = _readings_frame(result.readings, result.check, zone), result.charted
    limits = [(each.lower, each.centre_line, each.upper) if each else (np.nan,) * 3 for each in limits_by_place(result)]
    control = np.array(limits, dtype=np.float64).reshape(-1, 3)
    for name, values in zip(CHARTED, (charted.x, charted.lower, charted.upper, *control.T), strict=True):
        whole = np.full(len(frame), np.nan)
        whole[charted.index] = values
        frame[name] = whole
    frame["failed"] = np.isin(np.arange(len(frame)), [failure.index for failure in result.failures])
    for name, signals in (("signals", result.signals), ("rule_signals", result.rule_signals)):
        rules = rules_by_reading(result, signals)
        frame[name] = _typed([" ".join(rules.get(place, [])) for place in range(len(frame))])
    return frame


def log_of(
    frame: "pd.DataFrame", catalogue: Catalogue, *, zone: tzinfo | None = None, dates: str | None = None
) -> CheckLog:
    """Return a frame as a log, each row read as a row of a file is: accepted, duplicate, or quarantined with a reason.

    A frame of `log_frame` gives the same readings again. In a frame of your own, `taken_at` may hold times or text and
    `value` numbers, or text such as "<0.05" and "pass"; without a column `row`, the rows count from 2, as in a file
    whose first line is the header.

    Args:
        frame: with the columns taken_at, line, check and value at least, or taken_at as its index.
        catalogue: the checks that may occur in it.
        zone: of times without one; None for the machine's.
        dates: form of dates in text that are not ISO 8601.

    Raises:
        LogError: the frame lacks a column, or its dates need `dates`.
        InputError: `row` or `offset` hold something else than `log_frame` writes.
    """
    if plain_name(str(frame.index.name)) in map(plain_name, COLUMNS):
        frame = frame.reset_index()
    if frame.columns.nlevels > 1 or frame.columns.has_duplicates:
        raise InputError(f"{FRAME}: a column's name stands twice, or has several levels; give each a name of its own")
    own = {name: frame[name] for name in OWN if name in frame.columns}
    rows = np.arange(2, len(frame) + 2)
    if "row" in own:
        rows = _whole(own["row"], 1, 2**53, "line of a file")
    offset = None
    if "offset" in own:
        offset = _whole(own["offset"], -FARTHEST, FARTHEST, "offset in minutes", empty=NO_OFFSET)
    names = [name for name in frame.columns if name not in own]
    cells = [_cells(frame[name]) for name in names]
    for at, name in enumerate(names):
        if plain_name(str(name)) == "value":
            signs, words = (_cells(own[part]) if part in own else [""] * len(frame) for part in ("bound", "word"))
            cells[at] = list(map(_value, cells[at], signs, words))
    text, lines = _as_text(names, cells, len(frame))
    log = LogReader(FRAME, catalogue, zone=zone, dates=dates).feed(text, final=True)
    streams = {key: _placed(each, lines, rows, offset) for key, each in log.streams.items()}
    moved = rows[np.searchsorted(lines, [bad.row for bad in log.quarantine])].tolist()
    quarantine = tuple(replace(bad, row=row) for bad, row in zip(log.quarantine, moved, strict=True))
    return replace(log, streams=streams, quarantine=quarantine, notes=log.notes[1:])


def scan_frame(
    frame: "pd.DataFrame",
    *,
    events: Path | str | None = None,
    catalogue: Path | str | None = None,
    zone: tzinfo | None = None,
    dates: str | None = None,
) -> Scan:
    """Return what a scan says of the log that stands in a frame; see `log_of` and `scan_log`.

    Args:
        frame: a log, one reading a row.
        events: an event file (CSV), if any.
        catalogue: the site's catalogue (TOML); None for the starter catalogue alone.
        zone: zone of times without one; None for the machine's.
        dates: form of dates in text that are not ISO 8601.

    Raises:
        LogError: the frame or the event file is refused as a whole.
        CatalogueError: the catalogue has a mistake.
        InputError: `row` or `offset` of the frame hold something else than `log_frame` writes.
    """
    checks = load_catalogue(catalogue)
    log = log_of(frame, checks, zone=zone, dates=dates)
    happened: EventLog | None = None
    if events is not None:
        happened = read_events(events, checks, zone=zone, dates=dates)
    return Scan(log, happened, checks, monitor_streams(log.streams, happened, checks), log.zone)


def _readings_frame(readings: Readings, check: Check, zone: tzinfo) -> "pd.DataFrame":
    import pandas as pd

    n, key = len(readings), readings.key
    offset = pd.array(readings.offset, dtype="Int16")
    offset[readings.offset == NO_OFFSET] = pd.NA
    columns: dict[str, Any] = {
        "taken_at": pd.DatetimeIndex(readings.taken_at.astype("datetime64[us]"), tz="UTC").tz_convert(zone),
        "line": [key.line] * n,
        "check": [key.check] * n,
        "position": [key.position] * n,
        "value": readings.value,
        "reference": readings.reference,
        "unit": [check.unit if check.kind == "measured" else ""] * n,
        **{name: getattr(readings, name) for name in TEXTS},
        "bound": [SIGNS[Bound(int(sign))] for sign in readings.bound],
        "word": readings.word,
        "offset": offset,
        "row": readings.row,
    }
    names = told_apart([*columns, *readings.other])[len(columns) :]
    columns |= dict(zip(names, readings.other.values(), strict=True))
    return pd.DataFrame({name: _typed(cells) for name, cells in columns.items()})


def _typed(cells: Any) -> Any:
    """Return words as a column of text, also where there are none."""
    import pandas as pd

    words = isinstance(cells, list) or getattr(cells, "dtype", None) == np.object_
    return pd.array(cells, dtype="str") if words else cells


def _cells(column: "pd.Series[Any]") -> list[str]:
    """Return a column of a frame as the texts that a log would hold."""
    missing = column.isna().tolist()
    return ["" if gone else _cell(value) for gone, value in zip(missing, column.tolist(), strict=True)]


def _cell(value: object) -> str:
    match value:
        case float() | np.floating():  # every digit, no exponent
            return np.format_float_positional(value, trim="-") if np.isfinite(value) else str(value)
        case datetime():
            return value.isoformat()
        case _:
            return str(value)


def _value(value: str, bound: str, word: str) -> str:
    """Return one value as a log writes it; what contradicts itself stands together, so that it is quarantined."""
    return " ".join(filter(None, (bound + value if value or bound else "", word)))


def _as_text(names: Sequence[object], cells: Sequence[list[str]], n: int) -> tuple[bytes, IntArray]:
    """Return a log's text, and the line that each of its n rows starts on."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([" ".join(str(name).split()) for name in names])
    taken = np.ones(n + 1, dtype=np.int64)
    for at, row in enumerate(zip(*cells, strict=True), start=1):
        texts = [_ENDS.sub("\n", cell) for cell in row]
        taken[at] = 1 + sum(cell.count("\n") for cell in texts)
        writer.writerow(texts)
    return out.getvalue().encode("utf-8", "surrogatepass"), 1 + np.cumsum(taken)[:-1]


def _whole(column: "pd.Series[Any]", low: int, high: int, what: str, *, empty: int | None = None) -> IntArray:
    """Return a column of whole numbers from `low` to `high`; `empty` where a cell is, None: no cell may be."""
    import pandas as pd

    numbers = pd.to_numeric(column, errors="coerce").astype("Float64").to_numpy(dtype=np.float64, na_value=np.nan)
    allowed = column.isna().to_numpy() & (empty is not None)
    wrong = ~allowed & ~((numbers >= low) & (numbers <= high) & (numbers == np.rint(numbers)))
    if wrong.any():
        raise InputError(
            f"{FRAME}: {column.name!r} holds '{column.to_numpy()[wrong][0]}', which is no {what}; leave that column "
            "out, or keep what log_frame wrote"
        )
    return np.where(allowed, empty or 0, np.nan_to_num(numbers)).astype(np.int64)


def _placed(readings: Readings, lines: IntArray, rows: IntArray, offset: IntArray | None) -> Readings:
    """Return readings of the lines of a text with the rows and offsets that the frame gives them."""
    place = np.searchsorted(lines, readings.row)
    placed = replace(readings, row=frozen(rows[place]))
    return placed if offset is None else replace(placed, offset=frozen(offset[place].astype(np.int16)))
