"""The layout of a wide sheet (TOML): which column holds what, and how what is written in it is meant.

header = [3, 4]                     # rows of the header; what stands above is a title
first_row = 5                       # where the data start (the row after the header, if left out) ...
last_row = 96                       # ... and end (the last row)
sheets = ["March", "April"]         # tabs of a workbook that holds several
line = "Line A"                     # or: line_column = "B"
date = "A"                          # columns are named by their letters
time = "C"
shift = "B"
technician = "K"
remarks = ["L"]                     # free text: kept with the readings, searched by `spc remarks`
ignore = ["M"]                      # every other column that holds anything has to be named here
dates = "dmy"                       # or mdy, serial_1900, serial_1904, or a strptime pattern such as "%a %d %b"
year = 2025                         # for a pattern without a year
times = "%H%M"                      # a strptime pattern for times that are not written 6:10
repeat_dates = true                 # a date stands for the rows below it, too
time_of_day = "07:00"               # of rows without time and shift
night = "start"                     # the date of a shift over midnight is that of its start, its end or the clock
decimal = "comma"                   # decimal sign of texts; the other sign then sets thousands apart
after_number = ["ok"]               # words behind a number that add nothing

[shifts]                            # each way to write a shift, with its hours
D = { start = "06:00", end = "14:00" }

[headers]                           # what the header says; a sheet that says otherwise is refused
D = "Particle conc 0.1-0.4"

[words]                             # what a text in a cell stands for
"P" = "pass"
"down" = "not run"
"n/a" = "blank"                     # as if nothing were written
"over range" = ">5000"

[units]                             # short units behind numbers
"uW" = "uW/cm2"

[[column]]
at = "D"
check = "bath_concentration"
position = "tank"
unit = "mL/100mL"                   # has to be given for a number
reference_column = "E"              # or a number: reference = 1000
instrument = "tube-3"               # or: instrument_column = "F"
read = "number"                     # "fraction": 1/5 is 0.2; "seen_of": 6/5, 6 of 5 are 6
whole_numbers = "hundredths"        # 20 is 0.20; or "as_written"
words = { "trace" = "<1" }          # beside and before those of all columns
"""

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from datetime import time as TimeOfDay
from itertools import pairwise
from pathlib import Path
from typing import Literal, cast, get_args

from spc.catalogue.acceptance import plain_word
from spc.catalogue.check import Catalogue, Check
from spc.catalogue.table import Table, nearest, shown
from spc.catalogue.toml_file import toml_table, toml_text
from spc.errors import CatalogueError, LayoutError
from spc.ingest.sheet import letters, place_of
from spc.units import convertible, quantity, same_unit, units_like

Night = Literal["", "start", "end", "clock"]
Read = Literal["number", "fraction", "seen_of"]
WholeNumbers = Literal["", "hundredths", "as_written"]
Decimal = Literal["", "point", "comma"]

BLANK_WORD = "blank"
"""Stands in a words table for what is to be read as if nothing were written."""

KEYS = (
    "header", "first_row", "last_row", "sheets", "line", "line_column", "date", "time", "shift", "technician",
    "remarks", "ignore", "dates", "year", "times", "repeat_dates", "time_of_day", "night", "decimal", "after_number",
    "shifts", "headers", "words", "units", "column",
)  # fmt: skip
COLUMN_KEYS = (
    "at", "check", "position", "unit", "reference_column", "reference", "instrument", "instrument_column", "read",
    "whole_numbers", "words",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class CheckColumn:
    """A column that holds the readings of one stream."""

    at: int  # place, counted from 0
    check: Check
    position: str
    unit: str
    reference_column: int | None = None
    reference: float | None = None
    instrument: str = ""
    instrument_column: int | None = None
    read: Read = "number"
    whole_numbers: WholeNumbers = ""
    words: Mapping[str, str] = field(default_factory=dict)  # plain word to what it stands for


@dataclass(frozen=True, slots=True)
class Shift:
    """The hours of a shift."""

    start: TimeOfDay
    end: TimeOfDay

    @property
    def over_midnight(self) -> bool:
        """Whether it ends on the day after its start."""
        return self.end <= self.start


@dataclass(frozen=True, slots=True)
class Layout:
    """How a wide sheet is laid out. Rows as people number them, columns as places counted from 0."""

    file: str
    header: tuple[int, ...]
    first_row: int
    last_row: int | None
    sheets: tuple[str, ...]
    line: str
    line_column: int | None
    date: int
    time: int | None
    shift: int | None
    technician: int | None
    remarks: tuple[int, ...]
    ignore: tuple[int, ...]
    dates: str
    year: int | None
    times: str
    repeat_dates: bool
    time_of_day: TimeOfDay | None
    night: Night
    decimal: Decimal
    after_number: tuple[str, ...]
    shifts: Mapping[str, Shift]  # by plain word
    headers: Mapping[int, str]
    words: Mapping[str, str]  # plain word to what it stands for
    units: Mapping[str, str]  # plain word to a unit
    columns: tuple[CheckColumn, ...]

    def roles(self) -> dict[int, str]:
        """Return what each column that holds no readings is for."""
        single = {"line": self.line_column, "date": self.date, "time": self.time, "shift": self.shift,
                  "technician": self.technician}  # fmt: skip
        found = {place: role for role, place in single.items() if place is not None}
        found |= dict.fromkeys(self.remarks, "remark")
        for column in self.columns:
            for place, role in ((column.reference_column, "reference"), (column.instrument_column, "instrument")):
                if place is not None:
                    found[place] = role
        return found


def load_layout(path: Path | str, catalogue: Catalogue) -> Layout:
    """Return the layout in a TOML file.

    Raises:
        LayoutError: the file cannot be read, or has a mistake: file, key, value and remedy in one line.
    """
    with _refused_as_a_layout():
        text = toml_text(path, "a layout file; `spc layout` proposes one")
    return layout_from(text, str(path), catalogue)


def layout_from(text: str, file: str, catalogue: Catalogue) -> Layout:
    """Return the layout that the TOML `text` describes, `file` naming it in refusals; as `load_layout`."""
    with _refused_as_a_layout():
        return _layout(Table(file, "", toml_table(text, file)), catalogue)


@contextmanager
def _refused_as_a_layout() -> Iterator[None]:
    """Refuse a layout in the words that any file of TOML is refused in."""
    try:
        yield
    except CatalogueError as error:
        raise LayoutError(str(error)) from None


def _layout(table: Table, catalogue: Catalogue) -> Layout:
    table.only(KEYS)
    header = _header(table)
    shifts = _shifts(table.named("shifts"))
    layout = Layout(
        file=table.file,
        header=header,
        first_row=_row(table, "first_row", least=header[-1] + 1) or header[-1] + 1,
        last_row=_row(table, "last_row", least=header[-1] + 1),
        sheets=table.texts("sheets"),
        line=table.text("line", default=""),
        line_column=_column(table, "line_column"),
        date=_needed(table, "date"),
        time=_column(table, "time"),
        shift=_column(table, "shift"),
        technician=_column(table, "technician"),
        remarks=_columns(table, "remarks"),
        ignore=_columns(table, "ignore"),
        dates=table.text("dates", default=""),
        year=table.whole("year", least=1900, most=2199) if "year" in table.values else None,
        times=_times(table),
        repeat_dates=table.flag("repeat_dates") if "repeat_dates" in table.values else False,
        time_of_day=_time(table, "time_of_day") if "time_of_day" in table.values else None,
        night=cast(Night, _choice(table, "night", ("start", "end", "clock"))),
        decimal=cast(Decimal, _choice(table, "decimal", ("point", "comma"))),
        after_number=tuple(plain_word(word) for word in table.texts("after_number")),
        shifts=shifts,
        headers=_headers(table.named("headers")),
        words=_words(table.named("words")),
        units=_units(table.named("units")),
        columns=tuple(_check_column(each, catalogue) for each in table.tables("column")),
    )
    _refuse_contradictions(layout, table)
    return layout


def _header(table: Table) -> tuple[int, ...]:
    value = table.values.get("header")
    rows = value if isinstance(value, list) else [value]
    if not rows or not all(isinstance(row, int) and not isinstance(row, bool) and row > 0 for row in rows):
        problem = "header is missing" if value is None else f"{shown(value)} is no row"
        raise table.refused("header", f"{problem}; write the row of the header, header = 3, or its rows, [3, 4]")
    if any(after != before + 1 for before, after in pairwise(rows)):
        raise table.refused("header", f"{shown(value)} are not rows that follow one another; write them as [3, 4]")
    return tuple(rows)


def _row(table: Table, key: str, *, least: int) -> int | None:
    return table.whole(key, least=least, most=2_000_000) if key in table.values else None


def _choice(table: Table, key: str, allowed: tuple[str, ...]) -> str:
    return table.one_of(key, allowed) if key in table.values else ""


def _column(table: Table, key: str) -> int | None:
    return _place(table, key, table.values[key]) if key in table.values else None


def _needed(table: Table, key: str) -> int:
    place = _column(table, key)
    if place is None:
        raise table.refused("", f'{key} is missing; name its column, such as {key} = "A"')
    return place


def _columns(table: Table, key: str) -> tuple[int, ...]:
    return tuple(_place(table, key, name) for name in table.texts(key))


def _place(table: Table, key: str, name: object) -> int:
    place = place_of(name) if isinstance(name, str) else None
    if place is None:
        raise table.refused(key, f'{shown(name)} is no column; write its letters, such as "C" or "AA"')
    return place


def _time(table: Table, key: str) -> TimeOfDay:
    value = table.values.get(key)
    found = re.fullmatch("([01]?[0-9]|2[0-3]):([0-5][0-9])", value) if isinstance(value, str) else None
    if not found:
        problem = "it is missing" if value is None else f"{shown(value)} is no time of day"
        raise table.refused(key, f'{problem}; write it as "06:00"')
    return TimeOfDay(int(found[1]), int(found[2]))


def _times(table: Table) -> str:
    """Return the pattern of times of day, "" where they are written 6:10."""
    pattern = table.text("times", default="")
    if pattern:
        try:
            back = datetime.strptime(datetime(1900, 1, 1, 16, 30).strftime(pattern), pattern)  # noqa: DTZ001, DTZ007
        except (ValueError, re.error):
            back = None
        if back != datetime(1900, 1, 1, 16, 30):  # noqa: DTZ001 - a time of day has no zone
            raise table.refused("times", f'{shown(pattern)} is no pattern of a time of day; write one such as "%H%M"')
    return pattern


def _shifts(table: Table) -> dict[str, Shift]:
    shifts = {}
    for key in table.values:
        hours = table.named(key)
        hours.only(("start", "end"))
        shifts[plain_word(key)] = Shift(_time(hours, "start"), _time(hours, "end"))
    return shifts


def _headers(table: Table) -> dict[int, str]:
    return {_place(table, key, key): table.text(key) for key in table.values}


def _words(table: Table) -> dict[str, str]:
    return {plain_word(key): table.text(key) for key in table.values}


def _units(table: Table) -> dict[str, str]:
    for key in table.values:
        if quantity(table.text(key)) is None:
            raise table.refused(key, f"{shown(table.values[key])} is no unit that is known; write one in full: uW/cm2")
    return {"".join(key.split()).casefold(): table.text(key) for key in table.values}


def _check_column(table: Table, catalogue: Catalogue) -> CheckColumn:
    table.only(COLUMN_KEYS)
    key = table.text("check")
    if key not in catalogue.checks:
        raise table.refused("check", f"there is no check {shown(key)}; {nearest(key, catalogue.checks)}")
    check = catalogue.checks[key]
    if "reference" in table.values and "reference_column" in table.values:
        raise table.refused("reference", "reference_column is given too; keep one of them")
    if "instrument" in table.values and "instrument_column" in table.values:
        raise table.refused("instrument", "instrument_column is given too; keep one of them")
    read, whole = _choice(table, "read", get_args(Read)), _choice(table, "whole_numbers", get_args(WholeNumbers)[1:])
    if check.kind == "judged" and (read or whole):
        raise table.refused("read" if read else "whole_numbers", f"{key} is judged and holds no numbers; take it out")
    return CheckColumn(
        at=_needed(table, "at"),
        check=check,
        position=table.text("position", default=""),
        unit=_unit(table, check),
        reference_column=_column(table, "reference_column"),
        reference=table.above_zero("reference"),
        instrument=table.text("instrument", default=""),
        instrument_column=_column(table, "instrument_column"),
        read=cast(Read, read or "number"),
        whole_numbers=cast(WholeNumbers, whole),
        words=_words(table.named("words")),
    )


def _unit(table: Table, check: Check) -> str:
    """Return the unit of a column; a sheet's unit is in nobody's catalogue, so it has to be given."""
    if check.kind == "judged":
        if "unit" in table.values:
            raise table.refused("unit", f"{check.key} is judged and has no unit; take it out")
        return ""
    like = " or ".join((*units_like(check.unit), *(("%",) if check.charted == "deviation" else ())))
    unit = table.values.get("unit", "")
    if unit == "":
        raise table.refused("unit", f"the unit is not given; write the one that the column is written in: {like}")
    unit = table.text("unit")
    deviates = check.charted == "deviation" and same_unit(unit, "%")
    if not (deviates or same_unit(unit, check.unit) or convertible(unit, check.unit)):
        raise table.refused("unit", f"{shown(unit)} is no unit of {check.key}; write {like}")
    return unit


def _refuse_contradictions(layout: Layout, table: Table) -> None:
    if not layout.columns:
        raise table.refused("", "no column holds readings; write a [[column]] for each check")
    if bool(layout.line) == (layout.line_column is not None):
        raise table.refused("line", 'give one of line = "the line\'s name" and line_column = "its column"')
    if layout.shift is not None and layout.time is None and not layout.shifts:
        raise table.refused("shifts", 'no hours are given; write D = { start = "06:00", end = "14:00" } and so on')
    night = [word for word, shift in layout.shifts.items() if shift.over_midnight]
    if night and not layout.night:
        raise table.refused(
            "night",
            f"shift '{night[0]}' goes over midnight and nothing says whose date its rows bear; "
            'write "start", "end", or "clock" where rows after midnight bear the new date',
        )
    if layout.year is not None and ("%" not in layout.dates or "%y" in layout.dates.casefold()):
        raise table.refused("year", "it belongs to a pattern of dates without a year; take it out")
    _refuse_columns_named_twice(layout, table)


def _refuse_columns_named_twice(layout: Layout, table: Table) -> None:
    roles = layout.roles()
    seen: set[int] = set()
    streams: set[tuple[str, str, float | int | None]] = set()
    for number, column in enumerate(layout.columns, start=1):
        where = f"column[{number}]."
        if column.at in seen or column.at in roles or column.at in layout.ignore:
            raise table.refused(where + "at", f"'{letters(column.at)}' is named twice; keep one use of the column")
        stream = (column.check.key, column.position, column.reference or column.reference_column)
        if stream in streams:
            raise table.refused(
                where + "position",
                f"'{column.position}' of {column.check.key} has a column already; give each its own position",
            )
        seen.add(column.at)
        streams.add(stream)
    for place in layout.ignore:
        if place in roles:
            raise table.refused("ignore", f"'{letters(place)}' is the column of the {roles[place]}; take it out")
