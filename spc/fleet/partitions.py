"""Readings of many sites on disk: `FOLDER/site=…/line=…/check=…/*.parquet`, names written as in a URL.

Columns of a file: `taken_at` (timestamp in UTC) and `value` (number); `position`, `bound` (-1, 0, 1), `word`,
`reference`, `offset` (minutes east of UTC as written) and `row` may be left out. Units are those of the catalogue. A
folder `site=…` may hold the site's `events.csv`.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote
from uuid import uuid4

import numpy as np
from numpy.typing import NDArray

from spc.arrays import ObjectArray, frozen, shared
from spc.errors import InputError, LogError
from spc.ingest.tidy import LARGEST
from spc.records import NO_OFFSET, Readings, StreamKey

EVENTS = "events.csv"
LEVELS = ("site", "line", "check")


@dataclass(frozen=True, slots=True, order=True)
class Partition:
    """The readings of one check of one line of one site."""

    site: str
    line: str
    check: str
    folder: Path

    @property
    def events(self) -> Path:
        """The event file of the site, whether or not there is one."""
        return self.folder.parent.parent / EVENTS

    def __str__(self) -> str:
        return " · ".join((self.site, self.line, self.check))


def partitions_in(folder: Path | str) -> tuple[Partition, ...]:
    """Return the partitions below `folder`, in order of their names.

    Raises:
        InputError: there is no such folder, or no partition in it.
    """
    root = Path(folder)
    if not root.is_dir():
        raise InputError(f"{folder}: there is no such folder; name the one that holds site=…/line=…/check=…")
    found = []
    for path in root.glob("site=*/line=*/check=*"):
        if path.is_dir():
            site, line, check = (unquote(part.partition("=")[2]) for part in path.relative_to(root).parts)
            found.append(Partition(site, line, check, path.absolute()))
    if not found:
        raise InputError(
            f"{folder}: holds no folder site=…/line=…/check=…; `--add LOG --site NAME` makes them of a log"
        )
    return tuple(sorted(found))


def add_streams(folder: Path | str, site: str, streams: Mapping[StreamKey, Readings]) -> tuple[Path, ...]:
    """Write streams as new files of their partitions; return these. What stands there already stays.

    Raises:
        InputError: a site without a name.
    """
    import pyarrow.parquet as parquet

    if not site.strip():
        raise InputError("the site has no name; give one with --site")
    written = []
    places = {(key.line, key.check): None for key in sorted(streams)}
    for line, check in places:
        below = [f"{level}={quote(name, safe=' ')}" for level, name in zip(LEVELS, (site, line, check), strict=True)]
        path = Path(folder).joinpath(*below, f"{uuid4().hex}.parquet")
        path.parent.mkdir(parents=True, exist_ok=True)
        table = _table([streams[key] for key in sorted(streams) if (key.line, key.check) == (line, check)])
        unfinished = path.with_suffix(".unfinished")
        parquet.write_table(table, unfinished)
        unfinished.replace(path)  # nobody reads half a file
        written.append(path)
    return tuple(written)


def _table(streams: list[Readings]) -> Any:
    import pyarrow as pa

    def column(name: str) -> NDArray[Any]:
        return np.concatenate([getattr(readings, name) for readings in streams])

    positions = np.repeat([readings.key.position for readings in streams], [len(readings) for readings in streams])
    return pa.table(
        {
            "taken_at": pa.array(column("taken_at"), pa.int64()).cast(pa.timestamp("us", tz="UTC")),
            "position": pa.array(positions.tolist(), pa.string()).dictionary_encode(),
            "value": column("value"),
            "bound": column("bound"),
            "word": pa.array(column("word").tolist(), pa.string()).dictionary_encode(),
            "reference": column("reference"),
            "offset": column("offset"),
            "row": column("row"),
        }
    )


def read_partition(partition: Partition) -> Iterator[Readings]:
    """Yield the streams of a partition, in order of position; readings written twice come once.

    Raises:
        LogError: a file is damaged, lacks a column, or holds what no reading can be.
    """
    import pyarrow as pa
    import pyarrow.parquet as parquet

    files = sorted(partition.folder.glob("*.parquet"))
    if not files:
        raise LogError(f"{partition.folder}: holds no Parquet file; remove the folder or write its readings")
    tables = []
    for file in files:
        try:
            tables.append(parquet.ParquetFile(file).read())
        except (pa.ArrowException, OSError) as error:
            raise LogError(f"{file}: cannot be read as Parquet ({_first_line(error)}); write the file anew") from None
    columns = [_columns(table, file) for table, file in zip(tables, files, strict=True)]
    whole = {name: np.concatenate([each[name] for each in columns]) for name in columns[0]}
    order = np.lexsort((whole["row"], whole["taken_at"], whole["position"]))
    whole = {name: column[order] for name, column in whole.items()}
    position = whole.pop("position")
    starts = [0, *(np.flatnonzero(position[1:] != position[:-1]) + 1).tolist(), len(position)]
    for first, stop in pairwise(starts):
        if first < stop:
            key = StreamKey(partition.line, partition.check, str(position[first]))
            yield _readings(key, {name: column[first:stop] for name, column in whole.items()})


def _first_line(error: Exception) -> str:
    return str(error).partition("\n")[0].rstrip(". ")


def _columns(table: Any, file: Path) -> dict[str, NDArray[Any]]:
    """Return the columns of one file as arrays, those that it lacks filled up."""
    import pyarrow as pa
    import pyarrow.compute as compute

    n = table.num_rows
    lacking = [name for name in ("taken_at", "value") if name not in table.column_names]
    if lacking:
        raise LogError(f"{file}: lacks the column {', '.join(lacking)}; write taken_at and value at least")

    def numbers(name: str, otherwise: float, kind: Any, dtype: Any) -> NDArray[Any]:
        if name not in table.column_names:
            return np.full(n, otherwise, dtype=dtype)
        filled = compute.fill_null(table.column(name).cast(kind), pa.scalar(otherwise, kind))
        return np.asarray(filled.combine_chunks().to_numpy(zero_copy_only=False), dtype=dtype)

    def texts(name: str) -> NDArray[Any]:
        if name not in table.column_names:
            return np.full(n, "", dtype=np.object_)
        filled = compute.fill_null(table.column(name).cast(pa.string()), "")
        return np.array(filled.to_pylist(), dtype=np.object_)

    try:
        moments = table.column("taken_at").cast(pa.timestamp("us", tz="UTC")).cast(pa.int64())
        found = {
            "taken_at": np.asarray(moments.combine_chunks().to_numpy(zero_copy_only=False)),
            "value": numbers("value", np.nan, pa.float64(), np.float64),
            "reference": numbers("reference", np.nan, pa.float64(), np.float64),
            "bound": numbers("bound", 0, pa.int8(), np.int8),
            "offset": numbers("offset", NO_OFFSET, pa.int16(), np.int16),
            "row": numbers("row", 0, pa.int64(), np.int64),
            "word": texts("word"),
            "position": texts("position"),
        }
    except pa.ArrowException as error:
        raise LogError(f"{file}: a column is not of its kind ({_first_line(error)}); see the README") from None
    if found["taken_at"].dtype != np.int64:
        raise LogError(f"{file}: a row lacks its time; write every taken_at")
    nothing = np.isnan(found["value"]) & (found["word"] == "")
    wild = np.isinf(found["value"]) | (np.abs(found["value"]) > LARGEST) | (np.abs(found["bound"]) > 1)
    if (wrong := np.flatnonzero(nothing | wild)).size:
        raise LogError(f"{file}: row {wrong[0]} has no finite value, no word, or no bound of -1, 0 or 1; correct it")
    if "row" not in table.column_names:
        found["row"] = np.arange(1, n + 1)
    return found


def _readings(key: StreamKey, columns: Mapping[str, NDArray[Any]]) -> Readings:
    """Return the readings of one stream from its columns, sorted by time: those that say the same at a time once."""
    same = np.ones(len(columns["row"]), dtype=np.bool_)
    for name in ("taken_at", "value", "bound", "word"):
        column = columns[name]
        equal = column[1:] == column[:-1]
        if name == "value":
            equal |= np.isnan(column[1:]) & np.isnan(column[:-1])
        same[1:] &= equal
    same[:1] = False
    kept = {name: frozen(shared(column[~same])) for name, column in columns.items()}
    blank: ObjectArray = np.broadcast_to(np.array([""], dtype=np.object_), kept["row"].shape)
    return Readings(
        key=key,
        taken_at=kept["taken_at"],
        offset=kept["offset"],
        row=kept["row"],
        value=kept["value"],
        bound=kept["bound"],
        word=kept["word"],
        reference=kept["reference"],
        instrument=blank,
        technician=blank,
        shift=blank,
        note=blank,
    )
