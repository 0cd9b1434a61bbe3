"""What another store exported, into this one without loss: readings with where they were written, records, rows."""

import csv
import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import select

from spc.arrays import BoolArray, frozen
from spc.catalogue.check import Catalogue
from spc.errors import SpcError, StoreError
from spc.ingest.csv_log import CheckLog, read_log
from spc.records import NO_OFFSET, QuarantinedRow, Readings, StreamKey
from spc.store.entries import KINDS, Correction, record_from
from spc.store.export import LOG, NONE, QUARANTINED, RECORDS, SOURCE
from spc.store.intake import Progress, SourceFile, add_quarantined, add_readings
from spc.store.store import Added, Store, check_correction
from spc.store.tables import trail
from spc.store.trail import appending

csv.field_size_limit(1 << 30)  # a record may be long


def is_export(folder: Path) -> bool:
    """Return whether a folder holds what `spc export` writes."""
    return all((folder / f"{name}.csv").is_file() for name in ("readings", "records", "quarantined"))


def take_over(
    store: Store,
    folder: Path,
    catalogue: Catalogue,
    *,
    who: str,
    now: datetime,
    progress: Progress | None = None,
) -> Added:
    """Add what is new of an export; run again, it adds nothing.

    Records keep when and by whom they were first written; an entry before them says who took them over, and when.

    Raises:
        StoreError: the folder holds no export, or a record in it cannot be read.
        LogError: its readings are refused as a whole.
    """
    if not is_export(folder):
        raise StoreError(f"{folder}: a folder without an export in it; name one that spc export wrote, or a log")
    try:
        return _take_over(store, folder, catalogue, who=who, now=now, progress=progress)
    except SpcError:
        raise
    except (ValueError, KeyError, OverflowError, csv.Error) as error:
        why = " ".join(str(error).split())
        raise StoreError(f"{folder}: is not as spc export wrote it ({why}); export again") from None


def _take_over(
    store: Store, folder: Path, catalogue: Catalogue, *, who: str, now: datetime, progress: Progress | None
) -> Added:
    log = read_log(folder / "readings.csv", catalogue, zone=UTC)
    names = source_columns(folder / "readings.csv")
    units = {key: check.unit for key, check in catalogue.checks.items()}
    accepted = 0
    for file, logged in by_file(log, names):
        accepted += add_readings(store.engine, logged, units, file, who=who, now=now, progress=progress)
    for file, rows in _quarantined(folder / "quarantined.csv"):
        add_quarantined(store.engine, rows, file, who=who, now=now)
    here = SourceFile(str(folder.resolve() / "readings.csv"), "")
    new = add_quarantined(store.engine, log.quarantine, here, who=who, now=now)
    _add_records(store, folder / "records.csv", who=who, now=now)
    rows_read = log.rows
    present = rows_read.accepted - accepted
    return Added(rows_read.read, accepted, present, rows_read.duplicate, rows_read.quarantined, new)


def source_columns(path: Path) -> tuple[str, ...]:
    """Return the names of the columns that say where a reading was written: they follow those of a log."""
    with path.open(encoding="utf-8", newline="") as file:
        header = next(csv.reader(file), [])
    names = tuple(header[len(LOG) : len(LOG) + len(SOURCE)])
    if tuple(header[: len(LOG)]) != LOG or not all(a.startswith(b) for a, b in zip(names, SOURCE, strict=False)):
        raise StoreError(f"{path}: its columns are not those of an export; import it as a log instead")
    return names


def by_file(log: CheckLog, names: Sequence[str]) -> Iterator[tuple[SourceFile, Mapping[StreamKey, Readings]]]:
    """Yield the readings of each file that they were first written in, as they were read from it."""
    first: dict[tuple[str, str], int] = {}
    for readings in log.streams.values():
        for path, digest, row in zip(*_source(readings, names), readings.row.tolist(), strict=True):
            first[path, digest] = min(row, first.get((path, digest), row))
    for path, digest in sorted(first, key=lambda file: first[file]):
        yield SourceFile(path, digest), dict(_of_file(log.streams, names, path, digest))


def _source(readings: Readings, names: Sequence[str]) -> tuple[list[str], list[str]]:
    path, digest = (readings.other[name].tolist() for name in names[:2])
    return path, digest


def _of_file(
    streams: Mapping[StreamKey, Readings], names: Sequence[str], path: str, digest: str
) -> Iterator[tuple[StreamKey, Readings]]:
    for key, readings in streams.items():
        wanted = np.array([pair == (path, digest) for pair in zip(*_source(readings, names), strict=True)])
        if wanted.any():
            yield key, _as_written(readings, names, wanted)


def _as_written(readings: Readings, names: Sequence[str], wanted: BoolArray) -> Readings:
    columns: dict[str, Any] = {
        name: frozen(getattr(readings, name)[wanted])
        for name in Readings.__slots__
        if name not in ("key", "other", "row", "offset")
    }
    row, offset = (readings.other[name][wanted] for name in names[2:])
    return replace(
        readings,
        **columns,
        row=frozen(row.astype(np.int64)),
        offset=frozen(np.where(offset == NONE, NO_OFFSET, readings.offset[wanted]).astype(np.int16)),
        other={name: frozen(column[wanted]) for name, column in readings.other.items() if name not in names},
    )


def _rows_of(path: Path, header: Sequence[str]) -> Iterator[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        rows = csv.reader(file)
        if tuple(next(rows, [])) != tuple(header):
            raise StoreError(f"{path}: its columns are not {', '.join(header)}; export again")
        for row in rows:
            if len(row) != len(header):
                raise StoreError(f"{path}: line {rows.line_num} has {len(row)} cells, not {len(header)}; export again")
            yield row


def _quarantined(path: Path) -> Iterator[tuple[SourceFile, list[QuarantinedRow]]]:
    found: dict[SourceFile, list[QuarantinedRow]] = {}
    for file, digest, row, column, text, reason in _rows_of(path, QUARANTINED):
        found.setdefault(SourceFile(file, digest), []).append(QuarantinedRow(file, int(row), column, text, reason))
    yield from found.items()


def _add_records(store: Store, path: Path, *, who: str, now: datetime) -> None:
    """Add the records that this store does not hold yet, all or none."""
    rows = [tuple(row) for row in _rows_of(path, RECORDS)]
    with appending(store.engine) as end:
        query = select(trail.c.kind, trail.c.subject, trail.c.body).where(trail.c.kind.in_(KINDS))
        held = Counter(tuple(row) for row in end.connection.execute(query))
        new = []
        for row in rows:
            if held[row[2:]]:
                held[row[2:]] -= 1
            else:
                new.append(row)
        if new:
            end.append("taken over", str(path), {"records": len(new)}, who=who, at=now)
        for at, by, kind, subject, body in new:
            if kind not in KINDS:
                raise StoreError(f"{path}: {kind!r} is no kind of record that is kept; update this program")
            record = record_from(kind, body)
            if isinstance(record, Correction):
                check_correction(end.connection, record)
            end.append(kind, subject, json.loads(body), who=by, at=datetime.fromisoformat(at))
