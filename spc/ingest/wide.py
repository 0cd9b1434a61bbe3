"""A wide sheet through its layout: every cell ends as a reading, a duplicate, in quarantine, blank, or is named."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import tzinfo
from pathlib import Path

import numpy as np

from spc.arrays import IntArray
from spc.catalogue.check import Catalogue
from spc.ingest.clean import Reason
from spc.ingest.csv_log import CheckLog, time_reader
from spc.ingest.dates import Times
from spc.ingest.decisions import Decisions, decided
from spc.ingest.entries import Entry, read_entry
from spc.ingest.fit import body_of, columns_with_a_use, label, refuse_other_headers, sheets_of
from spc.ingest.layouts import CheckColumn, Layout
from spc.ingest.moments import Moments, read_moments
from spc.ingest.sheet import Sheet
from spc.ingest.streams import join_streams
from spc.ingest.table import SHOWN, Header, Rows
from spc.ingest.tidy import COLUMNS, TIME, Cleaned, clean_rows
from spc.records import BlankCell, CellCount, QuarantinedRow, Readings, Remark, RowCount, StreamKey

BLANKS_NAMED = 6  # rows named of those where a column is blank


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a value stands: place of its row in the sheet, and its column."""

    row: int
    column: CheckColumn


@dataclass(slots=True)
class _Account:
    """What is found in one sheet, cell by cell."""

    blank: dict[int, list[int]] = field(default_factory=dict)  # column to places of rows
    faults: list[tuple[int, int, str, str]] = field(default_factory=list)  # row, column, text, reason
    ignored: int = 0
    context: int = 0
    remarks: list[Remark] = field(default_factory=list)
    said: Counter[str] = field(default_factory=Counter)


def read_wide(
    path: Path | str, catalogue: Catalogue, layout: Layout, *, zone: tzinfo | None = None, dates: str | None = None
) -> CheckLog:
    """Read a wide sheet; `rows` of the log counts readings, `cells` every cell of the sheet.

    Raises:
        LogError: the file cannot be read, or its dates are in a form that nothing names.
        LayoutError: the sheet is not as the layout says.
    """
    reader = time_reader(str(path), zone, None)
    streams: Mapping[StreamKey, Readings] = {}
    quarantine: list[QuarantinedRow] = []
    blanks: list[BlankCell] = []
    notes: list[str] = []
    remarks: list[Remark] = []
    total = CellCount()
    sheets = sheets_of(path, layout)
    for sheet in sheets:
        account, decisions = _Account(), Decisions()
        cleaned = _read_sheet(sheet, layout, catalogue, reader.zone, dates, account, decisions)
        streams, duplicate = join_streams(streams, cleaned)
        prefix = f"{sheet.tab}: " if len(sheets) > 1 else ""
        count = CellCount(
            read=sum(len(row) for row in sheet.rows),
            accepted=len(cleaned.row) - duplicate,
            duplicate=duplicate,
            quarantined=len(account.faults),
            blank=sum(map(len, account.blank.values())),
            ignored=account.ignored,
            context=account.context,
        )
        total = total + count
        quarantine += _quarantined(sheet, layout, account, prefix)
        blanks += _blanks(sheet, layout, account, prefix)
        notes += [prefix + note for note in (*sheet.notes, *_notes(sheet, layout, account, count))]
        notes += [prefix + note for note in decided(decisions, reader.zone)]
        remarks += sorted(account.remarks, key=lambda remark: remark.row)
    rows = RowCount(
        total.accepted + total.duplicate + total.quarantined, total.accepted, total.duplicate, total.quarantined
    )
    return CheckLog(
        rows,
        tuple(quarantine),
        streams,
        tuple(notes),
        reader.zone,
        str(path),
        cells=total,
        blanks=tuple(blanks),
        remarks=tuple(remarks),
    )


def _read_sheet(
    sheet: Sheet,
    layout: Layout,
    catalogue: Catalogue,
    zone: tzinfo,
    dates: str | None,
    account: _Account,
    decisions: Decisions,
) -> Cleaned:
    body = body_of(sheet, layout)
    refuse_other_headers(sheet, layout)
    width = columns_with_a_use(sheet, layout)
    delimiter = {"comma": ";", "point": ","}.get(layout.decimal, ";" if sheet.delimiter == ";" else ",")
    places, entries = _entries(sheet, layout, body, width, delimiter, account)
    with_remark = [row for row in body if any(sheet.cell(row, at).text for at in layout.remarks)]
    rows = list(dict.fromkeys((*(place.row for place in places), *with_remark)))
    moments = read_moments(sheet, rows, layout, zone, dates)
    if moments.from_shift:
        account.said[f"{_rows(moments.from_shift)} without a time, taken at the start of the shift"] = 0
    if moments.from_layout:
        account.said[f"{_rows(moments.from_layout)} without a time, taken at the layout's time of day"] = 0
    at_row = {row: at for at, row in enumerate(rows)}
    account.remarks += [_remark(sheet, layout, row, moments, at_row[row]) for row in with_remark]
    good = [n for n, place in enumerate(places) if at_row[place.row] not in moments.blames]
    for place in places:
        blame = moments.blames.get(at_row[place.row])
        if blame is not None:
            cell = sheet.cell(place.row, place.column.at).text
            reason = f"{label(sheet, layout, blame.column)}: {blame.reason}"
            account.faults.append((place.row, place.column.at, cell, f"{reason} (the date: “{blame.text}”)"))
    table = _tidy(sheet, layout, [places[n] for n in good], [entries[n] for n in good], moments, at_row, delimiter)
    order = np.array([at_row[places[n].row] for n in good], dtype=np.int64)
    times = _for_rows(moments, order)
    cleaned = clean_rows(table, times, catalogue, delimiter=delimiter, decisions=decisions)
    for fault in cleaned.faults:
        place = places[good[fault.row]]
        account.faults.append(_fault(sheet, layout, place, fault.column, fault.reason))
    numbers = np.array([sheet.numbers[places[n].row] for n in good], dtype=np.int64)
    decisions.repeated[:] = sorted({int(numbers[n]) for n in decisions.repeated})
    return replace(cleaned, row=numbers[cleaned.row])


def _entries(
    sheet: Sheet, layout: Layout, body: range, width: int, delimiter: str, account: _Account
) -> tuple[list[_Place], list[Entry]]:
    """Return the values of a sheet in order; every other cell is put down in `account`."""
    headers = {at for at, number in enumerate(sheet.numbers) if number in layout.header}
    titles = [tuple(cell.text for cell in sheet.rows[at]) for at in sorted(headers)]
    columns, roles = {column.at: column for column in layout.columns}, layout.roles()
    places: list[_Place] = []
    entries: list[Entry] = []
    repeated = 0
    for row, cells in enumerate(sheet.rows):
        if row in headers:
            account.context += len(cells)
            continue
        again = row in body and tuple(cell.text for cell in cells) in titles and not sheet.is_blank(row)
        if row not in body or again:
            account.ignored += len(cells)
            repeated += again
            continue
        if sheet.is_blank(row):
            account.context += len(cells)
            continue
        why_not = _why_not_a_row(sheet, row, width)
        faults_before, read_before = len(account.faults), len(places)
        for at, cell in enumerate(cells):
            if at in columns and cell.text and why_not:
                account.faults.append((row, at, cell.text, why_not))
            elif at in columns:
                found = read_entry(cell, columns[at], layout, delimiter)
                if found is None:
                    account.blank.setdefault(at, []).append(row)
                elif isinstance(found, Reason):
                    account.faults.append((row, at, cell.text, found.text))
                else:
                    places.append(_Place(row, columns[at]))
                    entries.append(found)
            elif at in layout.ignore:
                account.ignored += 1
            elif at in roles or not cell.text:
                account.context += 1
            else:
                reason = why_not or "no header stands above this cell; write one, or move the cell under its header"
                account.faults.append((row, at, cell.text, reason))
        if len(account.faults) == faults_before and len(places) == read_before:
            _row_without_readings(sheet, layout, row, account, why_not)
    for entry in entries:
        account.said.update(entry.by)
    if repeated:
        account.said[f"the header again in {_rows(repeated)}, not read"] = 0
    return places, entries


def _why_not_a_row(sheet: Sheet, row: int, width: int) -> str:
    """Return why the cells of a row cannot be told apart, if they cannot; only a text file has rows of any width."""
    if row in sheet.faults:
        return sheet.faults[row]
    if not sheet.delimiter or sheet.is_blank(row):
        return ""
    cells = sheet.rows[row]
    counts = f"{len(cells)} cells where the header has {width}"
    if len(cells) < width:
        return f"the row is too short: {counts}; write every cell, empty ones too"
    if any(cell.text for cell in cells[width:]):
        return f"the row is too long: {counts}; write a cell that holds the sign between cells in quotes"
    return ""


def _row_without_readings(sheet: Sheet, layout: Layout, row: int, account: _Account, why_not: str) -> None:
    """Put a row in quarantine that holds no reading but is broken, or has text where its date should be."""
    at = next((at for at, cell in enumerate(sheet.rows[row]) if cell.text and at not in layout.ignore), None)
    if at is None:
        return
    cell = sheet.cell(row, at)
    is_note = at == layout.date and cell.kind == "text" and not any(letter.isdigit() for letter in cell.text[:12])
    if why_not or is_note:
        note = "no date and no reading in the row; notes below the data are left out with last_row in the layout"
        account.context -= 1
        if is_note:
            account.remarks.append(Remark(sheet.numbers[row], layout.line, cell.text))
        account.faults.append((row, at, cell.text, why_not or note))


def _tidy(
    sheet: Sheet,
    layout: Layout,
    places: Sequence[_Place],
    entries: Sequence[Entry],
    moments: Moments,
    at_row: Mapping[int, int],
    delimiter: str,
) -> Rows:
    """Return the values as rows of a tidy log, numbered from 0."""

    def text(place: _Place, column: int | None) -> str:
        return "" if column is None else sheet.spread(place.row, column).text

    def reference(place: _Place) -> str:
        column = place.column
        return f"{column.reference:.12g}" if column.reference is not None else text(place, column.reference_column)

    cells: dict[str, Iterable[str]] = {
        TIME: [moments.texts[at_row[place.row]] for place in places],
        "line": [layout.line or text(place, layout.line_column) for place in places],
        "check": [place.column.check.key for place in places],
        "position": [place.column.position for place in places],
        "value": [entry.value for entry in entries],
        "reference": [reference(place) for place in places],
        "unit": [entry.unit for entry in entries],
        "instrument": [place.column.instrument or text(place, place.column.instrument_column) for place in places],
        "technician": [text(place, layout.technician) for place in places],
        "shift": [text(place, layout.shift) for place in places],
        "note": ["; ".join(filter(None, (text(place, at) for at in layout.remarks))) for place in places],
    }
    rows = Rows(Header(COLUMNS, delimiter, layout.header[-1]), TIME)
    rows.extend(np.arange(len(places)), (list(cells[name]) for name in COLUMNS))
    return rows


def _for_rows(moments: Moments, order: IntArray) -> Times:
    times = moments.times
    return replace(
        times,
        microseconds=times.microseconds[order],
        offset=times.offset[order],
        repeated=times.repeated[order],
        short_year=times.short_year[order],
    )


def _remark(sheet: Sheet, layout: Layout, row: int, moments: Moments, at: int) -> Remark:
    line = layout.line or sheet.spread(row, layout.line_column or 0).text
    text = "; ".join(filter(None, (sheet.cell(row, column).text for column in layout.remarks)))
    if at in moments.blames:
        return Remark(sheet.numbers[row], line, text)
    times = moments.times
    return Remark(sheet.numbers[row], line, text, int(times.microseconds[at]), int(times.offset[at]))


def _fault(sheet: Sheet, layout: Layout, place: _Place, column: str, reason: str) -> tuple[int, int, str, str]:
    """Return a fault of a tidy row as one of the cell that it comes from."""
    value = sheet.cell(place.row, place.column.at).text
    where = {"line": layout.line_column, "reference": place.column.reference_column}.get(column)
    if where is not None:
        reason = f"{label(sheet, layout, where)} “{sheet.spread(place.row, where).text}”: {reason}"
    return place.row, place.column.at, value, reason


def _quarantined(sheet: Sheet, layout: Layout, account: _Account, prefix: str) -> list[QuarantinedRow]:
    return [
        QuarantinedRow(
            file=sheet.file,
            row=sheet.numbers[row],
            column=prefix + label(sheet, layout, column),
            text=text[:SHOWN],
            reason=reason,
        )
        for row, column, text, reason in sorted(account.faults)
    ]


def _blanks(sheet: Sheet, layout: Layout, account: _Account, prefix: str) -> list[BlankCell]:
    return [
        BlankCell(sheet.numbers[row], prefix + label(sheet, layout, column))
        for column, rows in sorted(account.blank.items())
        for row in rows
    ]


def _notes(sheet: Sheet, layout: Layout, account: _Account, count: CellCount) -> list[str]:
    said = [
        f"{count.read} cells = {count.accepted} readings accepted + {count.duplicate} duplicate + "
        f"{count.quarantined} quarantined + {count.blank} blank + {count.ignored} left out by the layout + "
        f"{count.context} header, date, shift and the like"
    ]
    said += [f"{text}: {times} time{'s' * (times > 1)}" if times else text for text, times in account.said.items()]
    for column, rows in sorted(account.blank.items()):
        named = ", ".join(str(sheet.numbers[row]) for row in rows[:BLANKS_NAMED])
        more = f" and {len(rows) - BLANKS_NAMED} more" if len(rows) > BLANKS_NAMED else ""
        said.append(f"blank in {label(sheet, layout, column)}: row{'s' * (len(rows) > 1)} {named}{more}")
    return said


def _rows(count: int) -> str:
    return "1 row" if count == 1 else f"{count} rows"
