"""Lines of a text table to columns of cells, whichever way they are parted.

The text may come whole or in pieces. What a line means never depends on the lines after it, so both ways agree, and a
file cut off gives what the whole file gave up to there.
"""

import csv
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spc.arrays import IntArray
from spc.errors import LogError

Codes = NDArray[np.int32]

DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs"}
BLOCK = 1 << 18  # characters split at once
APART = "\x1f"  # the unit separator of ASCII, which logs do not use
BLANK = " \t\xa0\ufeff"  # what a line without a row may hold
SHOWN = 300  # characters of a faulty row that are kept
MOST_COLUMNS = 1_000
"""Columns of the widest table that is read; a log of one reading a row has a dozen."""

DIGIT = re.compile("[0-9]")
SEP = re.compile(r'[\ufeff]?"?sep=[,;\t]?"?[ \r]*', re.IGNORECASE)
"""A first line that spreadsheets write to say what parts the cells."""

NEVER_CLOSED = 'a quote (") is opened and never closed; close it, or double it if it belongs to the text'
AFTER_QUOTE = (
    'a quoted cell goes on after its closing quote ("), or is too long; double a quote that belongs to the text'
)


@dataclass(frozen=True, slots=True)
class Header:
    """The column names of a table, our spelling where we know the column, and what parts them."""

    names: tuple[str, ...]
    delimiter: str
    line: int  # where it stands in the file
    after_sep: bool = False  # whether a line before it says what parts the cells


@dataclass(frozen=True, slots=True)
class Fault:
    """A row that is not as wide as the header, or whose quotes do not match."""

    row: int
    column: str
    text: str
    reason: str


class _Numbering(dict[str, int]):
    """Numbers texts in the order in which they first come."""

    def __missing__(self, text: str) -> int:
        self[text] = number = len(self)
        return number


class Column:
    """A column as its distinct texts and which of them stands in each row, filled part by part."""

    def __init__(self) -> None:
        self._numbers = _Numbering()
        self._parts: list[Codes] = []

    def extend(self, cells: Sequence[str]) -> None:
        """Append `cells`."""
        codes = np.fromiter(map(self._numbers.__getitem__, cells), dtype=np.int32, count=len(cells))
        self._parts.append(codes)

    def extend_coded(self, texts: Sequence[str], codes: Codes) -> None:
        """Append cells given as their distinct texts and which of them stands in each."""
        place = np.fromiter(map(self._numbers.__getitem__, texts), dtype=np.int32, count=len(texts))
        self._parts.append(place[codes])

    @property
    def texts(self) -> list[str]:
        """The distinct texts as written."""
        return list(self._numbers)

    @property
    def codes(self) -> Codes:
        """The place in `texts` of each row's text, shape (n,)."""
        if len(self._parts) != 1:
            self._parts = [np.concatenate((np.zeros(0, dtype=np.int32), *self._parts))]
        return self._parts[0]


class Rows:
    """Rows as wide as the header, with the line each starts on; and the faulty ones."""

    def __init__(self, header: Header, time_column: str) -> None:
        self.times: list[str] = []
        self.columns = {name: Column() for name in header.names if name != time_column}
        self.faults: list[Fault] = []
        self._fill = [self.columns[name].extend if name in self.columns else self.times.extend for name in header.names]
        self._number: list[IntArray] = []

    def __bool__(self) -> bool:
        return bool(self.times or self.faults)

    @property
    def number(self) -> IntArray:
        """The line that each row starts on, shape (n,)."""
        return np.concatenate((np.zeros(0, dtype=np.int64), *self._number))

    def extend(self, number: IntArray, columns: Iterable[Sequence[str]]) -> None:
        """Append rows given by column."""
        self._number.append(number)
        for fill, cells in zip(self._fill, columns, strict=True):
            fill(cells)


@dataclass(frozen=True, slots=True)
class _Row:
    """One row of the file, or why it is faulty."""

    cells: Sequence[str]
    reason: str
    lines: int  # lines it takes
    end: int  # where the next row starts
    runs_on: bool = False  # a quoted cell is open where the text ends


def plain_name(name: str) -> str:
    """Return a column name without case, spaces, hyphens and underscores."""
    return "".join(name.replace("-", "").replace("_", "").split()).casefold()


class TableReader:
    """Text of whole lines to columns of cells; the first line that is not blank is the header.

    A quoted cell may hold delimiters and line ends. A quote that is never closed costs its own row alone: the row is
    faulty and reading goes on with the next line. That it is never closed shows where a line is a whole row by itself
    (and does not end a cell that began before the time), or where the file ends.
    """

    blocks = 1
    """How many times BLOCK characters are split at once."""

    def __init__(self, file: str, *, known: Sequence[str], required: Sequence[str], otherwise: str = "") -> None:
        self.header: Header | None = None
        self._file = file
        self._known = {plain_name(name): name for name in known}
        self._required = required
        self._otherwise = otherwise  # what to do with a file that is of another kind
        self._line = 1  # number of the next line
        self._held = ""
        self._time_column = 0
        self._after_sep = False

    @property
    def holds(self) -> bool:
        """Whether a row is waiting for the end of a quoted cell."""
        return bool(self._held)

    def feed(self, text: str, *, final: bool) -> Rows | None:
        """Return the rows that `text` completes, with `final` all; None while there is no header.

        Raises:
            LogError: a header that lacks a required column, or names one twice.
        """
        text = self._held + text
        if final and text and not text.endswith("\n"):
            text += "\n"
        self._held = ""
        at = self._read_header(text) if self.header is None else 0
        if self.header is None:
            return None
        rows = self._no_rows()
        while at < len(text):
            stop = text.rfind("\n", at, at + self.blocks * BLOCK) + 1 or text.find("\n", at) + 1
            plain = self._split_plain(text[at:stop], rows)
            at = stop if plain else self._split_lines(text, at, stop, rows, final=final)
        return rows

    def _no_rows(self) -> Rows:
        """Return rows to be filled."""
        assert self.header is not None
        return Rows(self.header, self._required[0])

    def _split_plain(self, block: str, rows: Rows) -> bool:
        """Split `block` in one go if it holds nothing but whole rows of one line each; return whether it did."""
        assert self.header is not None
        if "\0" in block:
            return False
        n, width, delimiter = block.count("\n"), len(self.header.names), self.header.delimiter
        if '"' in block:
            block, delimiter = _without_quotes(block, delimiter, width), APART
        cells = block.replace("\n", f"{delimiter}\n{delimiter}").split(delimiter)
        if len(cells) != n * (width + 1) + 1 or cells[width :: width + 1].count("\n") != n:
            return False
        columns = (cells[place : -1 : width + 1] for place in range(width))
        rows.extend(np.arange(self._line, self._line + n), columns)
        self._line += n
        return True

    def _split_lines(self, text: str, at: int, stop: int, rows: Rows, *, final: bool) -> int:
        """Split line by line from `at` up to `stop` or the end of the row there; return where the next row starts."""
        assert self.header is not None
        blank = BLANK.replace(self.header.delimiter, "")
        whole: list[Sequence[str]] = []
        number: list[int] = []
        while at < stop:
            end = text.find("\n", at)
            line = text[at:end]
            row = _Row(line.split(self.header.delimiter), "", 1, end + 1)
            if not line.strip(blank):
                self._line, at = self._line + 1, end + 1
                continue
            if '"' in line:
                row = self._quoted_row(text, at)
                if row.runs_on and not final:
                    self._held, at = text[at:], len(text)
                    break
            if "\0" in text[at : row.end]:
                row = replace(row, reason="the row holds NUL characters: the file is damaged here; write the row again")
            elif not row.reason and len(row.cells) != len(self.header.names):
                row = replace(row, reason=self._wrong_width(len(row.cells)))
            if row.reason:
                rows.faults.append(Fault(self._line, "", line[:SHOWN], row.reason))
            else:
                whole.append(row.cells)
                number.append(self._line)
            self._line, at = self._line + row.lines, row.end
        if whole:
            rows.extend(np.array(number, dtype=np.int64), zip(*whole, strict=True))
        return at

    def _wrong_width(self, width: int) -> str:
        assert self.header is not None
        wanted = len(self.header.names)
        counts = f"{width} cells where the header has {wanted}"
        if width < wanted:
            return f"the row is too short: {counts}; write every cell, empty ones too"
        point = ", and decimals with a point" if self.header.delimiter == "," else ""
        name = DELIMITERS[self.header.delimiter]
        return f"the row is too long: {counts}; write a cell that holds {name} in quotes{point}"

    def _quoted_row(self, text: str, at: int) -> _Row:
        """Return the row that starts at `at`, over as many lines as its quoted cells take."""
        assert self.header is not None
        first_end = text.find("\n", at)
        first = text[at:first_end]
        place, ended = at, ""

        def lines() -> Iterator[str]:
            nonlocal place, ended
            while place < len(text):
                end = text.find("\n", place)
                line = text[place:end]
                if place > at and ('"' not in line or self._starts_row(first)) and self._is_row(line):
                    ended = "row"
                    return
                place = end + 1
                yield line + "\n"
            ended = "text"

        reader = csv.reader(lines(), delimiter=self.header.delimiter, strict=True)
        try:
            return _Row(next(reader), "", reader.line_num, place)
        except csv.Error:
            return _Row([], NEVER_CLOSED if ended else AFTER_QUOTE, 1, first_end + 1, runs_on=ended == "text")

    def _starts_row(self, line: str) -> bool:
        """Return whether a time stands where the time column is, so that a row starts with this line."""
        assert self.header is not None
        cells = line.split(self.header.delimiter)
        return len(cells) > self._time_column and _looks_like_time(cells[self._time_column])

    def _is_row(self, line: str) -> bool:
        """Return whether `line` is a whole row by itself."""
        assert self.header is not None
        try:
            cells = next(csv.reader([line], delimiter=self.header.delimiter, strict=True), [])
        except csv.Error:
            return False
        return len(cells) == len(self.header.names) and _looks_like_time(cells[self._time_column])

    def _read_header(self, text: str) -> int:
        """Set `header` from the first line that is not blank; return where the rows start."""
        at = 0
        while at < len(text):
            end = text.find("\n", at)
            says_delimiter = not self._after_sep and SEP.fullmatch(text[at:end]) is not None
            if text[at:end].strip(BLANK) and not says_delimiter:
                return self._set_header(text, at)
            self._after_sep |= says_delimiter
            self._line, at = self._line + 1, end + 1
        return at

    def _set_header(self, text: str, at: int) -> int:
        line = text[at : text.find("\n", at)]
        names, delimiter = self._best_names(line)
        lacking = [name for name in self._required if name not in names]
        where = f"{self._file}: line {self._line}"
        if len(names) > MOST_COLUMNS:
            raise LogError(
                f"{where} names {len(names):,} columns, and no more than {MOST_COLUMNS:,} are read; "
                "see whether this is a log, and remove the columns that nobody needs"
            )
        if lacking:
            found = ", ".join(repr(name[:40]) for name in names[:20])
            raise LogError(
                f"{where} lacks the column{'s' * (len(lacking) > 1)} {', '.join(lacking)}; found {found}; "
                f"the first line must name the columns, {', '.join(self._required)} among them{self._otherwise}"
            )
        known = set(self._known.values())
        twice = sorted({name for name in names if name in known and names.count(name) > 1})
        if twice:
            raise LogError(f"{where} names the column {twice[0]!r} more than once; rename or remove one of them")
        self.header = Header(told_apart(names), delimiter, self._line, self._after_sep)
        self._time_column = names.index(self._required[0])
        self._line += 1
        return at + len(line) + 1

    def _best_names(self, line: str) -> tuple[list[str], str]:
        """Return the column names with the delimiter that yields most of the required ones, then most columns."""
        options = [(self._names(line, delimiter), delimiter) for delimiter in DELIMITERS]
        return max(options, key=lambda option: (len(set(self._required) & set(option[0])), len(option[0])))

    def _names(self, line: str, delimiter: str) -> list[str]:
        try:
            cells = next(csv.reader([line], delimiter=delimiter, strict=True), [])
        except csv.Error:
            cells = line.split(delimiter)
        names = [" ".join(cell.strip("\ufeff").split()) for cell in cells]
        return [self._known.get(plain_name(name), name) or f"column {place}" for place, name in enumerate(names, 1)]


def told_apart(names: Sequence[str]) -> tuple[str, ...]:
    """Return column names, one that says the same as an earlier one with its number: "lot", "lot (2)"."""
    taken = {plain_name(name) for name in names}
    seen: set[str] = set()
    found = []
    for name in names:
        apart, number = name, 1
        while plain_name(apart) in seen or (number > 1 and plain_name(apart) in taken):
            number += 1
            apart = f"{name} ({number})"
        seen.add(plain_name(apart))
        found.append(apart)
    return tuple(found)


def _without_quotes(block: str, delimiter: str, width: int) -> str:
    """Return `block` with cells parted by APART, quotes resolved; "" if a row is not one line of `width` cells."""
    lines = block.split("\n")
    quoted = [place for place, line in enumerate(lines) if '"' in line]
    try:
        rows = list(csv.reader([lines[place] for place in quoted], delimiter=delimiter, strict=True))
    except csv.Error:
        return ""
    if APART in block or len(rows) != len(quoted) or any(len(row) != width for row in rows):
        return ""
    apart = [line.replace(delimiter, APART) for line in lines]
    for place, row in zip(quoted, rows, strict=True):
        apart[place] = APART.join(row)
    return "\n".join(apart)


def _looks_like_time(cell: str) -> bool:
    return len(cell) < 40 and len(DIGIT.findall(cell)) >= 4
