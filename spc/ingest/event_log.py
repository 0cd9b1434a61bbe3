"""An event file: what was done to a line, one event a row."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path

from spc.catalogue.check import Catalogue
from spc.ingest.clean import Number, Reason, parse_number
from spc.ingest.csv_log import dates_needed, empty_file, file_bytes, quarantined, time_reader
from spc.ingest.dates import Times
from spc.ingest.decisions import Decisions, notes
from spc.ingest.decoder import Decoder
from spc.ingest.table import Fault, TableReader
from spc.ingest.tidy import trimmed
from spc.records import NO_OFFSET, Bound, Event, QuarantinedRow, RowCount
from spc.times import from_microseconds
from spc.told import Told

REQUIRED = ("at", "line", "kind")
COLUMNS = (*REQUIRED, "check", "position", "amount", "unit", "note")


@dataclass(frozen=True, slots=True)
class EventLog(Told):
    """An event file as read."""

    rows: RowCount
    quarantine: tuple[QuarantinedRow, ...]  # in file order
    events: tuple[Event, ...]  # in time order; at equal times in file order
    notes: tuple[str, ...]  # everything that was converted or decided, a sentence each
    zone: tzinfo  # of times written without an offset
    file: str


def read_events(
    path: Path | str,
    catalogue: Catalogue,
    *,
    zone: tzinfo | None = None,
    dates: str | None = None,
    final: bool = True,
) -> EventLog:
    """Read a whole event file; arguments and refusals as `csv_log.read_log`.

    A duplicate says the same as an earlier row in every column but the note. Where the file may still be written
    (`final` is false), a last line without its end is left for later.
    """
    file = str(path)
    reader = time_reader(file, zone, dates)
    decoder = Decoder(file)
    table = TableReader(file, known=COLUMNS, required=REQUIRED)
    rows = table.feed(decoder.feed(file_bytes(path), final=final), final=final)
    if rows is None or table.header is None:
        raise empty_file(file)
    number = rows.number.tolist()
    times = reader.read(rows.times)
    if times.needs_dates is not None:
        raise dates_needed(file, number[times.needs_dates], "at", rows.times[times.needs_dates])
    columns = {name: trimmed(rows.columns.get(name), len(number)).column() for name in COLUMNS[1:]}
    decisions = Decisions()
    events: dict[tuple[object, ...], Event] = {}
    faults = list(rows.faults)
    duplicate = 0
    for place, row in enumerate(number):
        cells = {"at": rows.times[place], **{name: column[place] for name, column in columns.items()}}
        read = _event(cells, place, row, times, catalogue, table.header.delimiter)
        if isinstance(read, Fault):
            faults.append(read)
            continue
        _count(read, place, times, decisions)
        same = (read.at, *(cells[name] for name in COLUMNS[1:-2]), read.unit)
        duplicate += same in events
        events.setdefault(same, read)
    count = RowCount(len(number) + len(rows.faults), len(events), duplicate, len(faults))
    said = notes(decoder, table.header, reader.zone, decisions, COLUMNS)
    ordered = tuple(sorted(events.values(), key=lambda event: event.at))
    return EventLog(count, tuple(quarantined(file, tuple(faults))), ordered, said, reader.zone, file)


def _event(
    cells: Mapping[str, str], place: int, row: int, times: Times, catalogue: Catalogue, delimiter: str
) -> Event | Fault:
    """Return the event of one row, or its first fault in column order."""
    amount = parse_number(cells["amount"], delimiter=delimiter) if cells["amount"] else None
    if place in times.faults:
        return Fault(row, "at", cells["at"], times.faults[place])
    if not cells["line"]:
        return Fault(row, "line", "", "the line is missing; write which line it was done to")
    if cells["kind"] not in catalogue.event_kinds:
        return Fault(row, "kind", cells["kind"], f"no kind of event; write one of {_names(catalogue.event_kinds)}")
    if cells["check"] and cells["check"] not in catalogue.checks:
        reason = f"no check of the catalogue; write one of {', '.join(catalogue.checks)}, or leave it empty for all"
        return Fault(row, "check", cells["check"], reason)
    if isinstance(amount, Reason):
        return Fault(row, "amount", cells["amount"], amount.text)
    if cells["amount"] and (amount is None or amount.bound is not Bound.EXACT):
        return Fault(row, "amount", cells["amount"], "an amount is one number; write its unit in the unit column")
    return Event(
        at=from_microseconds(int(times.microseconds[place])),
        offset=int(times.offset[place]),
        row=row,
        line=cells["line"],
        kind=cells["kind"],
        check=cells["check"],
        position=cells["position"],
        amount=amount.value if isinstance(amount, Number) else float("nan"),
        unit=cells["unit"],
        note=cells["note"],
    )


def _count(event: Event, place: int, times: Times, decisions: Decisions) -> None:
    decisions.counts["bare_time",] += event.offset == NO_OFFSET
    decisions.counts["short_year",] += bool(times.short_year[place])
    if times.repeated[place]:
        decisions.repeated.append(event.row)


def _names(kinds: Sequence[str] | frozenset[str]) -> str:
    return ", ".join(sorted(kinds))
