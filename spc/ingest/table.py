"""A text table of any encoding and delimiter: bytes to lines, lines to columns of cells.

Both classes take a file whole or in pieces. What a line means never depends on the lines after it, so both ways agree,
and a file cut off gives what the whole file gave up to there.
"""

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from spc.errors import LogError

DELIMITERS = {",": "commas", ";": "semicolons", "\t": "tabs"}
HEAD = 1024  # bytes at the start of a file that must hold no NUL for it to be text
BLOCK = 1 << 18  # characters split at once
SHOWN = 300  # characters of a faulty row that are kept
WORKBOOK = b"PK\x03\x04"
DIGIT = re.compile("[0-9]")


@dataclass(frozen=True, slots=True)
class Header:
    """The column names of a table, our spelling where we know the column, and what parts them."""

    names: tuple[str, ...]
    delimiter: str
    line: int  # where it stands in the file


@dataclass(frozen=True, slots=True)
class Fault:
    """A row that is not as wide as the header, or whose quotes do not match."""

    row: int
    column: str
    text: str
    reason: str


@dataclass(slots=True)
class Rows:
    """Rows as wide as the header, by column, with the line each starts on; and the faulty ones."""

    number: list[int] = field(default_factory=list)
    columns: list[list[str]] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    def add(self, number: int, cells: Sequence[str]) -> None:
        """Append one row."""
        self.number.append(number)
        for column, cell in zip(self.columns, cells, strict=True):
            column.append(cell)


class Decoder:
    """Bytes of a growing file to text of whole lines; every line end becomes a line feed.

    UTF-8 and UTF-16, each with or without its mark. A line that is no UTF-8 is Windows-1252: each line for itself, so a
    file put together from both is read as meant.
    """

    def __init__(self, file: str) -> None:
        self.encoding = ""
        self.windows_lines = 0  # lines read as Windows-1252
        self.damaged_lines = 0  # lines with bytes that no encoding explains
        self._file = file
        self._held = b""
        self._taken = 0  # bytes given out as text

    @property
    def holds(self) -> bool:
        """Whether an unfinished line is waiting for its end."""
        return bool(self._held)

    def feed(self, data: bytes, *, final: bool) -> str:
        """Return the text of the lines that `data` completes; with `final`, of everything.

        Raises:
            LogError: the file is not text.
        """
        self._held += data
        if not self.encoding and not self._recognise(final=final):
            return ""
        wide = self.encoding.startswith("utf-16")
        if not wide and b"\0" in self._held[: max(0, HEAD - self._taken)]:
            raise LogError(f"{self._file}: not text (it holds NUL bytes); save the log as CSV and give that file")
        text = self._wide_lines(final=final) if wide else self._lines(final=final)
        return text.replace("\r\n", "\n").replace("\r", "\n")

    def _recognise(self, *, final: bool) -> bool:
        head = self._held[:4]
        if len(head) < 4 and not final:
            return False
        if head == WORKBOOK:
            raise LogError(
                f"{self._file}: a workbook or an archive, not text; save its sheet as CSV and give that file"
            )
        for mark, encoding in ((b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"), (b"\xef\xbb\xbf", "utf-8")):
            if head.startswith(mark):
                self.encoding = encoding
                self._held = self._held[len(mark) :]
                self._taken = len(mark)
                return True
        nul = tuple(byte == 0 for byte in head)
        self.encoding = {(False, True) * 2: "utf-16-le", (True, False) * 2: "utf-16-be"}.get(nul, "utf-8")
        return True

    def _lines(self, *, final: bool) -> str:
        held = self._held
        # A carriage return at the very end may be the first half of a line end.
        cut = len(held) if final else max(held.rfind(b"\n"), held.rfind(b"\r", 0, len(held) - 1)) + 1
        whole, self._held = held[:cut], held[cut:]
        self._taken += cut
        try:
            return whole.decode("utf-8")
        except UnicodeDecodeError:
            return "".join(map(self._line, whole.splitlines(keepends=True)))

    def _line(self, line: bytes) -> str:
        try:
            return line.decode("utf-8")
        except UnicodeDecodeError:
            text = line.decode("cp1252", errors="replace")
            self.windows_lines += 1
            self.damaged_lines += "\ufffd" in text
            return text

    def _wide_lines(self, *, final: bool) -> str:
        held = self._held
        text = held[: len(held) if final else len(held) // 2 * 2].decode(self.encoding, errors="replace")
        cut = len(text) if final else max(text.rfind("\n"), text.rfind("\r", 0, len(text) - 1)) + 1
        whole = text[:cut]
        used = len(held) if final else len(whole.encode(self.encoding))
        self._held = held[used:]
        self._taken += used
        if "\ufffd" in whole:
            self.damaged_lines += sum("\ufffd" in line for line in whole.splitlines())
        return whole


def plain_name(name: str) -> str:
    """Return a column name without case, spaces, hyphens and underscores."""
    return "".join(name.replace("-", "").replace("_", "").split()).casefold()


class TableReader:
    """Text of whole lines to columns of cells; the first line that is not blank is the header.

    A quoted cell may hold delimiters and line ends. A quote that is never closed costs its own row alone: the row is faulty and
    reading goes on with the next line, found where the file ends or where a line is a whole row by itself.
    """

    def __init__(self, file: str, *, known: Sequence[str], required: Sequence[str]) -> None:
        self.header: Header | None = None
        self._file = file
        self._known = {plain_name(name): name for name in known}
        self._required = required
        self._line = 1  # number of the next line
        self._held = ""
        self._time_column = 0

    @property
    def holds(self) -> bool:
        """Whether a row is waiting for the end of a quoted cell."""
        return bool(self._held)

    def feed(self, text: str, *, final: bool) -> Rows:
        """Return the rows that `text` completes; with `final`, all.

        Raises:
            LogError: no header, or one that lacks a required column or names one twice.
        """
        text = self._held + text
        if final and text and not text.endswith("\n"):
            text += "\n"
        self._held = ""
        at = 0
        if self.header is None:
            at = self._read_header(text, final=final)
        if self.header is None:
            return Rows()
        rows = Rows(columns=[[] for _ in self.header.names])
        while at < len(text):
            stop = text.rfind("\n", at, at + BLOCK) + 1 or text.find("\n", at) + 1
            block = text[at:stop]
            if self._split_plain(block, rows):
                at = stop
            else:
                at = self._split_lines(text, at, stop, rows, final=final)
        return rows

    def _split_plain(self, block: str, rows: Rows) -> bool:
        """Split `block` in one go if it holds nothing but whole rows without quotes; return whether it did."""
        assert self.header is not None
        if '"' in block or "\0" in block:
            return False
        delimiter, width = self.header.delimiter, len(self.header.names)
        n = block.count("\n")
        cells = block.replace("\n", f"{delimiter}\n{delimiter}").split(delimiter)
        if len(cells) != n * (width + 1) + 1 or cells[width :: width + 1].count("\n") != n:
            return False
        for place, column in enumerate(rows.columns):
            column += cells[place : -1 : width + 1]
        rows.number += range(self._line, self._line + n)
        self._line += n
        return True

    def _split_lines(self, text: str, at: int, stop: int, rows: Rows, *, final: bool) -> int:
        """Split line by line from `at` up to `stop` or the end of the row there; return where the next row starts."""
        assert self.header is not None
        width = len(self.header.names)
        while at < stop:
            end = text.find("\n", at)
            line, start = text[at:end], self._line
            if not line.strip(" \xa0\ufeff"):
                self._line, at = start + 1, end + 1
                continue
            cells: Sequence[str] | None = line.split(self.header.delimiter)
            reason, lines, after = "", 1, end + 1
            if '"' in line:
                quoted = self._quoted_row(text, at, final=final)
                if quoted is None:
                    self._held = text[at:]
                    return len(text)
                cells, reason, lines, after = quoted
            if "\0" in text[at:after]:
                cells, reason = None, "the row holds NUL characters: the file is damaged here; write the row again"
            if cells is not None and len(cells) != width:
                cells, reason = None, self._wrong_width(len(cells))
            if cells is None:
                rows.faults.append(Fault(start, "", line[:SHOWN], reason))
            else:
                rows.add(start, cells)
            self._line, at = start + lines, after
        return at

    def _wrong_width(self, width: int) -> str:
        assert self.header is not None
        delimiter, wanted = self.header.delimiter, len(self.header.names)
        if width < wanted:
            return (
                f"the row is too short: {width} cells where the header has {wanted}; write every cell, empty ones too"
            )
        reason = f"the row is too long: {width} cells where the header has {wanted}; put a cell that holds a delimiter in quotes"
        return f"{reason}, and write decimals with a point" if delimiter == "," else reason

    def _quoted_row(self, text: str, at: int, *, final: bool) -> tuple[Sequence[str] | None, str, int, int] | None:
        """Return cells (None: faulty), reason, lines used and where the next row starts; None: the row is not complete yet."""
        delimiter = self.header.delimiter if self.header else ","
        first_end = text.find("\n", at)
        first = text[at:first_end]
        place, ended = at, ""

        def lines() -> Iterator[str]:
            nonlocal place, ended
            while place < len(text):
                end = text.find("\n", place)
                line = text[place:end]
                if place > at and self._starts_row(first) and self._is_row(line):
                    ended = "row"
                    return
                place = end + 1
                yield line + "\n"
            ended = "text"

        reader = csv.reader(lines(), delimiter=delimiter, strict=True)
        try:
            return next(reader), "", reader.line_num, place
        except csv.Error:
            if ended == "text" and not final:
                return None
            if ended:
                reason = 'a quote (") is opened and never closed; close it, or double it if it belongs to the text'
            else:
                reason = 'a quoted cell goes on after its closing quote ("), or is too long; double a quote that belongs to the text'
            return None, reason, 1, first_end + 1

    def _starts_row(self, line: str) -> bool:
        """Return whether the first line of a quoted cell has a time where the time column is, so that a row starts there."""
        if self.header is None:
            return False
        cells = line.split(self.header.delimiter)
        return len(cells) > self._time_column and _looks_like_time(cells[self._time_column])

    def _is_row(self, line: str) -> bool:
        """Return whether `line` is a whole row by itself."""
        if self.header is None:
            return False
        try:
            cells = next(csv.reader([line], delimiter=self.header.delimiter, strict=True), [])
        except csv.Error:
            return False
        return len(cells) == len(self.header.names) and _looks_like_time(cells[self._time_column])

    def _read_header(self, text: str, *, final: bool) -> int:
        """Set `header` from the first line that is not blank; return where the rows start."""
        at = 0
        while at < len(text):
            end = text.find("\n", at)
            if text[at:end].strip(" \t\xa0\ufeff"):
                return self._set_header(text, at, final=final)
            self._line, at = self._line + 1, end + 1
        return at

    def _set_header(self, text: str, at: int, *, final: bool) -> int:
        line = text[at : text.find("\n", at)]
        names, delimiter = self._best_names(line)
        lacking = [name for name in self._required if name not in names]
        where = f"{self._file}: line {self._line}"
        if lacking:
            found = ", ".join(repr(name[:40]) for name in names[:20])
            raise LogError(
                f"{where} lacks the column{'s' * (len(lacking) > 1)} {', '.join(lacking)}; found {found}; "
                f"the first line must name the columns, {', '.join(self._required)} among them"
            )
        plain = [plain_name(name) for name in names]
        twice = sorted({name for name, key in zip(names, plain, strict=True) if plain.count(key) > 1})
        if twice:
            raise LogError(f"{where} names the column {twice[0]!r} more than once; rename or remove one of them")
        self.header = Header(tuple(names), delimiter, self._line)
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


def _looks_like_time(cell: str) -> bool:
    return len(cell) < 40 and len(DIGIT.findall(cell)) >= 4
