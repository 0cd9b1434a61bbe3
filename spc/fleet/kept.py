"""A run's results in a folder: four Parquet files and, written last, a small file that says the run is whole."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from spc.errors import InputError
from spc.fleet.outcome import Fleet, FleetFault, FleetSignals, FleetStream, LeagueRow, league

VERSION = 1
WHOLE = "fleet.json"
"""There while the four files beside it belong to one run that ended; it holds their sizes."""

STREAMS, SIGNALS, LEAGUE, FAULTS = (f"{name}.parquet" for name in ("streams", "signals", "league", "faults"))
NEWEST_FIRST = 100_000
"""Signals that are sorted by time; more than that come in the order of the file."""

Row = TypeVar("Row", FleetStream, LeagueRow, FleetFault)


@dataclass(frozen=True, slots=True)
class KeptFleet:
    """What a folder of results says, all but its signals; times in microseconds since 1970-01-01 UTC."""

    streams: tuple[FleetStream, ...]
    league: tuple[LeagueRow, ...]
    faults: tuple[FleetFault, ...]
    signals: int


@dataclass(frozen=True, slots=True)
class KeptSignals:
    """Some of the signals of a folder of results."""

    found: int  # as many as were asked about
    newest_first: bool
    shown: FleetSignals


def write_fleet(fleet: Fleet, folder: Path | str) -> tuple[Path, ...]:
    """Write streams, signals, league table and faults as Parquet files into `folder`; return these.

    Who reads the folder meanwhile is told that it is not whole.
    """
    import pyarrow as pa
    import pyarrow.parquet as parquet

    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / WHOLE).unlink(missing_ok=True)
    moment = pa.timestamp("us", tz="UTC")

    def table(rows: Sequence[Any], kind: type) -> Any:
        columns = {each.name: [getattr(row, each.name) for row in rows] for each in fields(kind)}
        return pa.table({name: pa.array(column, _arrow_type(kind, name, moment)) for name, column in columns.items()})

    signals = {each.name: getattr(fleet.signals, each.name) for each in fields(FleetSignals)}
    signals["taken_at"] = pa.array(signals["taken_at"], pa.int64()).cast(moment)
    texts = {name: pa.array(column.tolist(), pa.string()) for name, column in signals.items() if _is_text(column)}
    tables = {
        STREAMS: table(fleet.streams, FleetStream),
        SIGNALS: pa.table(signals | texts),
        LEAGUE: table(league(fleet), LeagueRow),
        FAULTS: table(fleet.faults, FleetFault),
    }
    paths = []
    for name, each in tables.items():
        path = folder / name
        unfinished = path.with_suffix(".unfinished")
        parquet.write_table(each, unfinished)
        unfinished.replace(path)
        paths.append(path)
    said = {"version": VERSION, "bytes": {path.name: path.stat().st_size for path in paths}}
    unfinished = (folder / WHOLE).with_suffix(".unfinished")
    unfinished.write_text(json.dumps(said), encoding="utf-8")
    unfinished.replace(folder / WHOLE)
    return tuple(paths)


def _is_text(column: Any) -> bool:
    return isinstance(column, np.ndarray) and column.dtype == np.object_


def _arrow_type(kind: type, name: str, moment: Any) -> Any:
    """Return the Arrow type of a field, so that a table without rows has its columns all the same."""
    import pyarrow as pa

    if name.endswith("_at"):
        return moment
    annotation = str(kind.__annotations__[name])
    return pa.string() if "str" in annotation else pa.float64() if "float" in annotation else pa.int64()


def whole(folder: Path | str) -> tuple[object, ...]:
    """Return what changes when another run is written into `folder`.

    Raises:
        InputError: there is no such folder, its run is not whole, or another version of this program wrote it.
    """
    place = Path(folder)
    again = f"run `spc fleet READINGS --out {folder}` again"
    if not place.is_dir():
        raise InputError(f"{folder}: there is no such folder; `spc fleet READINGS --out {folder}` makes it")
    try:
        said = json.loads((place / WHOLE).read_text(encoding="utf-8"))
        stamp = (place / WHOLE).stat()
        version, sizes = said["version"], said["bytes"]
    except FileNotFoundError:
        raise InputError(
            f"{folder}: holds no run that ended; wait if one is being written into it, or else {again}"
        ) from None
    except (OSError, ValueError, TypeError, KeyError):
        raise InputError(f"{place / WHOLE}: cannot be read; {again}") from None
    if version != VERSION:
        raise InputError(f"{folder}: another version of this program wrote it ({version}, not {VERSION}); {again}")
    for name in (STREAMS, SIGNALS, LEAGUE, FAULTS):
        path = place / name
        size = path.stat().st_size if path.is_file() else None
        if not isinstance(sizes, dict) or size is None or size != sizes.get(name):
            raise InputError(f"{path}: is missing or is not as the run left it; {again}")
    return str(place), stamp.st_mtime_ns, stamp.st_ino, *sorted(sizes.items())


def read_fleet(folder: Path | str) -> KeptFleet:
    """Return what a folder of results says.

    Raises:
        InputError: as `whole`, or a file is damaged.
    """
    import pyarrow as pa
    import pyarrow.parquet as parquet

    stamp, place = whole(folder), Path(folder)
    try:
        kept = KeptFleet(
            _rows(place / STREAMS, FleetStream),
            _rows(place / LEAGUE, LeagueRow),
            _rows(place / FAULTS, FleetFault),
            parquet.read_metadata(place / SIGNALS).num_rows,
        )
    except (pa.ArrowException, OSError, KeyError) as error:
        said = str(error).partition("\n")[0]
        raise InputError(f"{folder}: cannot be read ({said}); run `spc fleet --out` again") from None
    if whole(folder) != stamp:
        raise InputError(f"{folder}: another run was written while it was read; ask again")
    return kept


def _rows(path: Path, kind: type[Row]) -> tuple[Row, ...]:
    import pyarrow as pa
    import pyarrow.parquet as parquet

    table, columns = parquet.ParquetFile(path).read(), []
    for each in fields(kind):
        column = table.column(each.name)
        columns.append((column.cast(pa.int64()) if each.name.endswith("_at") else column).to_pylist())
    return tuple(kind(*values) for values in zip(*columns, strict=True))


def kept_signals(folder: Path | str, where: Mapping[str, str], *, first: int, most: int) -> KeptSignals:
    """Return signals of a folder of results whose columns say what `where` asks, `most` of them from `first` on.

    Raises:
        InputError: as `whole`, or the file is damaged.
    """
    import pyarrow as pa
    import pyarrow.compute as compute
    import pyarrow.dataset as datasets

    whole(folder)
    wanted: Any = None
    for name, text in where.items():
        one = datasets.field(name) == text
        wanted = one if wanted is None else wanted & one
    try:
        held = datasets.dataset(Path(folder) / SIGNALS, format="parquet")
        found = held.count_rows(filter=wanted)
        if found <= NEWEST_FIRST:
            table = held.to_table(filter=wanted)
            order = compute.sort_indices(table, [("taken_at", "descending"), ("row", "descending")])
            table = table.take(order.slice(first, most))
        else:
            table = _slice(held.scanner(filter=wanted, use_threads=False).to_batches(), held.schema, first, most)
    except (pa.ArrowException, OSError) as error:
        said = str(error).partition("\n")[0]
        raise InputError(f"{Path(folder) / SIGNALS}: cannot be read ({said}); run `spc fleet --out` again") from None
    return KeptSignals(found, found <= NEWEST_FIRST, _signals(table))


def _slice(batches: Any, schema: Any, first: int, most: int) -> Any:
    """Return rows from `first` on, reading no further than they stand."""
    import pyarrow as pa

    taken, seen = [], 0
    for batch in batches:
        if seen + len(batch) > first:
            taken.append(batch.slice(max(0, first - seen)))
        seen += len(batch)
        if seen >= first + most:
            break
    return pa.Table.from_batches(taken, schema).slice(0, most)


def _signals(table: Any) -> FleetSignals:
    import pyarrow as pa

    columns: dict[str, Any] = {}
    for each in fields(FleetSignals):
        column = table.column(each.name)
        if each.name in ("taken_at", "row", "value"):
            column = column.cast(pa.int64()) if each.name == "taken_at" else column
            columns[each.name] = np.array(column.to_pylist(), dtype=np.float64 if each.name == "value" else np.int64)
        else:
            columns[each.name] = np.array(column.to_pylist(), dtype=np.object_)
    return FleetSignals.of([FleetSignals(**columns)])
