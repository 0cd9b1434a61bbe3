"""A tidy check log of many megabytes: read in pieces, columns at a time; what it says is what `csv_log.read_log` says.

Lines that are nothing but cells are split by pyarrow, which gives the distinct texts of each column; every other line
(a quote that is not closed, a row too short) is split as in any log. From the cells on, both readers are the same code.
Times of one length are read from their letters, without a text for each. Of a file only a piece is in memory at once.
"""

import csv
import re
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import replace
from datetime import tzinfo
from importlib.util import find_spec
from pathlib import Path
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from spc.arrays import IntArray, shared
from spc.catalogue.check import Catalogue
from spc.ingest.csv_log import OTHERWISE, CheckLog, LogReader, refuse_no_file, unreadable
from spc.ingest.dates import Times
from spc.ingest.decisions import notes
from spc.ingest.streams import join_streams
from spc.ingest.table import Header, Rows, TableReader
from spc.ingest.tidy import COLUMNS, REQUIRED, Cleaned
from spc.records import Readings, RowCount, StreamKey

LARGE = 32_000_000
"""Bytes from which on a log is read here: below, loading pyarrow costs more than it saves."""

PIECE = 16_000_000
"""Bytes that are read at once."""

QUOTED_LINE = re.compile('[^\n]*"[^\n]*')


def is_large(path: Path | str) -> bool:
    """Return whether a file is better read here, and can be."""
    try:
        return refuse_no_file(path) >= LARGE and find_spec("pyarrow") is not None
    except (OSError, ValueError):
        return False


def read_large_log(
    path: Path | str, catalogue: Catalogue, *, zone: tzinfo | None = None, dates: str | None = None, piece: int = PIECE
) -> CheckLog:
    """Read a whole check log in pieces of `piece` bytes; arguments, result and refusals are those of `read_log`."""
    reader = LargeLogReader(path, catalogue, zone=zone, dates=dates)
    with ThreadPoolExecutor(1) as ahead:  # the next piece is split into cells while those of this one are read
        split: Future[Rows | None] | None = None
        for data in _pieces(path, piece):
            coming = ahead.submit(reader.split, data)
            if split is not None:
                reader.take(split.result())
            wait((coming,))  # one piece ahead, no more: memory stays bounded
            split = coming
        if split is not None:
            reader.take(split.result())
    return reader.feed(b"", final=True)


def _pieces(path: Path | str, size: int) -> Iterator[bytes]:
    try:
        with Path(path).open("rb") as file:
            while data := file.read(size):
                yield data
    except OSError as error:
        raise unreadable(path, error) from None


class LargeLogReader(LogReader):
    """Reads a log in pieces and joins its streams once, at the end."""

    def __init__(
        self, path: Path | str, catalogue: Catalogue, *, zone: tzinfo | None = None, dates: str | None = None
    ) -> None:
        super().__init__(path, catalogue, zone=zone, dates=dates)
        self._table = ColumnarTable(self._file, known=COLUMNS, required=REQUIRED, otherwise=OTHERWISE)
        self._parts: dict[StreamKey, list[Cleaned]] = {}

    def split(self, data: bytes) -> Rows | None:
        """Return the rows that `data` completes, split into cells."""
        return self._table.feed(self._decoder.feed(data, final=False), final=False)

    def take(self, rows: Rows | None) -> None:
        """Read the cells of `rows`."""
        if rows:
            self._take(rows)

    def feed(self, data: bytes, *, final: bool) -> CheckLog:
        """Read the rows that `data` completes; with `final` return all that was read, before that only the counts.

        Raises:
            LogError: the file is refused as a whole; this reader cannot go on.
        """
        log = super().feed(data, final=final)
        if not final:
            return log
        duplicate = self._join()
        rows = RowCount(log.rows.read, log.rows.accepted - duplicate, duplicate, log.rows.quarantined)
        said = notes(self._decoder, self._table.header, self._times.zone, self._decisions, COLUMNS)
        return replace(log, rows=rows, streams=self._streams, notes=said)

    def _read_times(self, rows: Rows) -> Times:
        assert isinstance(rows, ColumnarRows)
        read = []
        for part in rows.times.parts:
            times = self._times.read_alike(part) if isinstance(part, np.ndarray) else None
            read.append(self._times.read(_texts(part)) if times is None else times)
        return _one_after_the_other(read) if read else self._times.read([])

    def _keep(self, cleaned: Cleaned) -> None:
        self._accepted += len(cleaned.row)
        for key, part in _by_stream(cleaned):
            self._parts.setdefault(key, []).append(part)

    def _join(self) -> int:
        """Join the parts of every stream; return how many readings were written twice."""
        duplicates, twice = 0, set[int]()
        while self._parts:
            key, parts = self._parts.popitem()
            rows: list[int] = []
            joined, duplicate = join_streams({}, _whole(key, parts), twice=rows)
            self._streams[key] = _compact(joined[key])
            duplicates += duplicate
            twice.update(rows)
        self._decisions.repeated_twice += sorted(twice & set(self._decisions.repeated))
        self._streams = dict(sorted(self._streams.items()))
        return duplicates


class TimeCells(Sequence[str]):
    """Cells of the time column: texts, or letters where all cells of a part have one length."""

    def __init__(self) -> None:
        self.parts: list[list[str] | NDArray[np.uint8]] = []
        self._stops: list[int] = [0]

    def __len__(self) -> int:
        return self._stops[-1]

    @overload
    def __getitem__(self, at: int) -> str: ...
    @overload
    def __getitem__(self, at: slice) -> list[str]: ...
    def __getitem__(self, at: int | slice) -> str | list[str]:
        if isinstance(at, slice):
            return [self[place] for place in range(*at.indices(len(self)))]
        place = int(np.searchsorted(self._stops, at, side="right")) - 1
        return _texts(self.parts[place][at - self._stops[place] :][:1])[0]

    def extend(self, cells: list[str] | NDArray[np.uint8]) -> None:
        """Append texts, or letters of shape (n, width)."""
        self.parts.append(cells)
        self._stops.append(self._stops[-1] + len(cells))


def _texts(cells: list[str] | NDArray[np.uint8]) -> list[str]:
    return cells if isinstance(cells, list) else [bytes(cell).decode("utf-8") for cell in cells]


class ColumnarRows(Rows):
    """Rows whose cells come by column, as distinct texts and codes."""

    def __init__(self, header: Header, time_column: str) -> None:
        super().__init__(header, time_column)
        self.times: TimeCells = TimeCells()  # type: ignore[assignment]  # a sequence of texts like the other
        self._fill = [self.columns[name].extend if name in self.columns else self._plain_times for name in header.names]

    def _plain_times(self, cells: Sequence[str]) -> None:
        self.times.extend(list(cells))

    def extend_columns(self, number: IntArray, names: Sequence[str], table: Any) -> None:
        """Append the rows of a pyarrow table of one chunk."""
        self._number.append(number)
        for name, column in zip(names, table.columns, strict=True):
            cells = column.chunk(0)
            if name in self.columns:
                self.columns[name].extend_coded(cells.dictionary.to_pylist(), cells.indices.to_numpy())
            else:
                self.times.extend(_letters(cells))


def _letters(cells: Any) -> list[str] | NDArray[np.uint8]:
    """Return the cells of a pyarrow column of texts: letters, shape (n, width), where all have one length."""
    n = len(cells)
    _, places, data = cells.buffers()
    stops = np.frombuffer(places, dtype=np.int32, count=n + 1, offset=4 * cells.offset)
    width = int(stops[1] - stops[0])
    if width < 16 or np.any(np.diff(stops) != width):
        return list(cells.to_pylist())
    return np.frombuffer(data, dtype=np.uint8, count=n * width, offset=int(stops[0])).reshape(n, width)


class ColumnarTable(TableReader):
    """Splits what is nothing but cells by pyarrow, everything else as any table."""

    blocks = 8

    def _no_rows(self) -> Rows:
        assert self.header is not None
        return ColumnarRows(self.header, self._required[0])

    def _split_plain(self, block: str, rows: Rows) -> bool:
        assert self.header is not None
        assert isinstance(rows, ColumnarRows)
        names, n = self.header.names, block.count("\n")
        if (
            "\0" in block
            or block.startswith(("\n", "\N{ZERO WIDTH NO-BREAK SPACE}"))  # pyarrow leaves the mark out, and reads on
            or "\n\n" in block
            or ('"' in block and not self._quotes_match(block))
        ):
            return False
        table = _split(block, self.header)
        if table is None or table.num_rows != n:
            return False
        rows.extend_columns(np.arange(self._line, self._line + n), names, table)
        self._line += n
        return True

    def _quotes_match(self, block: str) -> bool:
        """Return whether every line with a quote is a whole row by itself."""
        assert self.header is not None
        try:
            cells = csv.reader(QUOTED_LINE.findall(block), delimiter=self.header.delimiter, strict=True)
            return all(len(row) == len(self.header.names) and "\n" not in "".join(row) for row in cells)
        except csv.Error:
            return False


def _split(block: str, header: Header) -> Any:
    """Return `block` as a pyarrow table of texts, coded but for the time; None where a line is no row."""
    import pyarrow as pa
    import pyarrow.csv as arrow_csv

    data = block.encode("utf-8")
    names = [str(place) for place in range(len(header.names))]
    coded = pa.dictionary(pa.int32(), pa.string())
    types = {str(i): pa.string() if name == REQUIRED[0] else coded for i, name in enumerate(header.names)}
    try:
        return arrow_csv.read_csv(
            pa.BufferReader(data),
            read_options=arrow_csv.ReadOptions(use_threads=False, block_size=len(data) + 1, column_names=names),
            parse_options=arrow_csv.ParseOptions(
                delimiter=header.delimiter, newlines_in_values=False, ignore_empty_lines=False
            ),
            convert_options=arrow_csv.ConvertOptions(column_types=types, null_values=[], strings_can_be_null=False),
        )
    except pa.ArrowInvalid:
        return None


def _one_after_the_other(read: Sequence[Times]) -> Times:
    """Return the times of several parts of a column as one."""
    if len(read) == 1:
        return read[0]
    faults: dict[int, str] = {}
    need: list[int] = []
    first = 0
    for times in read:
        faults |= {first + place: reason for place, reason in times.faults.items()}
        need += [first + place for place in times.need_dates]
        first += len(times.microseconds)
    return Times(
        np.concatenate([times.microseconds for times in read]),
        np.concatenate([times.offset for times in read]),
        np.concatenate([times.repeated for times in read]),
        np.concatenate([times.short_year for times in read]),
        faults,
        min(need, default=None),
        tuple(need),
    )


_COLUMNS = ("taken_at", "offset", "row", "value", "bound", "word", "reference")


def _by_stream(cleaned: Cleaned) -> Iterator[tuple[StreamKey, Cleaned]]:
    """Yield the rows of each stream, in file order."""
    narrow = np.int16 if len(cleaned.keys) < np.iinfo(np.int16).max else np.int64
    order = np.argsort(cleaned.stream.astype(narrow), kind="stable")
    stops = np.cumsum(np.bincount(cleaned.stream, minlength=len(cleaned.keys)))
    sorted_columns = {name: getattr(cleaned, name)[order] for name in _COLUMNS}
    texts = {name: column[order] for name, column in cleaned.text.items()}
    first = 0
    for key, stop in zip(cleaned.keys, stops.tolist(), strict=True):
        part = slice(first, stop)
        first = stop
        yield (
            key,
            Cleaned(
                keys=(key,),
                stream=np.zeros(0, dtype=np.int64),
                **{name: _own(column[part]) for name, column in sorted_columns.items()},
                text={name: _own(column[part]) for name, column in texts.items()},
                faults=(),
            ),
        )


def _own(column: NDArray[Any]) -> NDArray[Any]:
    """Return a part of a column that keeps no more than itself in memory; next to nothing where it says one thing."""
    kept = shared(column)
    return column.copy() if kept is column else kept


def _whole(key: StreamKey, parts: Sequence[Cleaned]) -> Cleaned:
    """Return the parts of one stream as one."""
    columns = {name: np.concatenate([getattr(part, name) for part in parts]) for name in _COLUMNS}
    names = parts[0].text
    return Cleaned(
        keys=(key,),
        stream=np.zeros(len(columns["row"]), dtype=np.int64),
        **columns,
        text={name: np.concatenate([part.text[name] for part in parts]) for name in names},
        faults=(),
    )


def _compact(readings: Readings) -> Readings:
    """Return `readings` with every column that says one thing throughout kept once."""
    return replace(
        readings,
        offset=shared(readings.offset),
        bound=shared(readings.bound),
        reference=shared(readings.reference),
        word=shared(readings.word),
        instrument=shared(readings.instrument),
        technician=shared(readings.technician),
        shift=shared(readings.shift),
        note=shared(readings.note),
        other={name: shared(column) for name, column in readings.other.items()},
    )
