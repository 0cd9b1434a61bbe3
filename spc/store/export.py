"""Everything the store holds as open files.

    readings.csv      every reading as first written: the columns of a check log, then where it was written
    standing.csv      every reading as it stands, corrections applied: the columns of a check log
    events.csv        every event as first written: the columns of an event file
    records.csv       every record: when, by whom, of which kind, about what, and itself as JSON; events among them
    quarantined.csv   every row that could not be read, with the reason
    trail.csv         the whole trail with its digests, for whoever wants to reckon it

`readings.csv`, `standing.csv` and `events.csv` are read by every command that reads such a file. Times carry their
offset; `source_offset` is "none" where the log had none. With Parquet each file stands there a second time, all columns
as text. Cells are as they are: a spreadsheet may take one that starts with = for a formula.
"""

import csv
import json
import os
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TextIO

from sqlalchemy import Connection, select

from spc.errors import SetupError, StoreError
from spc.records import NO_OFFSET, Bound, Readings
from spc.store.engine import reading
from spc.store.entries import KINDS, record_from
from spc.store.readback import KeptStream, kept_streams
from spc.store.store import Store, standing
from spc.store.tables import readings, trail
from spc.times import fixed_offset, from_microseconds

LOG = (
    "taken_at",
    "line",
    "check",
    "position",
    "value",
    "reference",
    "unit",
    "instrument",
    "technician",
    "shift",
    "note",
)
SOURCE = ("source_file", "source_digest", "source_row", "source_offset")
EVENTS = ("at", "line", "kind", "check", "position", "amount", "unit", "note")
RECORDS = ("at", "who", "kind", "subject", "body")
QUARANTINED = ("file", "digest", "row", "column", "text", "reason")
TRAIL = ("sequence", "at", "who", "kind", "subject", "body", "digest")
SIGNS = {Bound.BELOW: "<", Bound.EXACT: "", Bound.ABOVE: ">"}
NONE = "none"
AT_ONCE = 10_000

Rows = Iterable[Sequence[str]]


def export(store: Store, folder: Path, *, parquet: bool = False) -> Mapping[str, int]:
    """Write the store as it stands at one moment; return the rows in each file.

    Args:
        store: what to write.
        folder: a folder that is not there yet, or is empty; it is filled as a whole, or not at all.
        parquet: whether each file also stands there as Parquet.

    Raises:
        StoreError: the folder holds something, or cannot be written.
        SetupError: Parquet is wanted and its library is not installed.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise StoreError(f"{folder}: holds something already; an export overwrites nothing, name another folder")
    part = folder.with_name(f"{folder.name}.part")
    try:
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir(parents=True)
        with reading(store.engine) as connection:
            tables = {name: (header, rows) for name, header, rows in _tables(connection)}
            counts = {name: _write_csv(part / f"{name}.csv", *table) for name, table in tables.items()}
        if parquet:
            for name in counts:
                _write_parquet(part / f"{name}.csv")
        if folder.exists():
            folder.rmdir()
        part.rename(folder)
    except OSError as error:
        raise StoreError(f"{folder}: cannot be written ({error.strerror}); name another folder") from None
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return counts


def _tables(connection: Connection) -> Iterator[tuple[str, Sequence[str], Rows]]:
    streams = {stream.number: stream for stream in kept_streams(connection)}
    other = _other_names(connection)
    yield "readings", (*LOG, *source_names(other), *other), _first_written(connection, streams, other)
    yield "standing", (*LOG, *other), _standing(connection, other)
    yield "events", EVENTS, _events(connection)
    yield "records", RECORDS, _records(connection)
    yield "quarantined", QUARANTINED, _quarantined(connection)
    yield "trail", TRAIL, _trail(connection)


def source_names(other: Sequence[str]) -> tuple[str, ...]:
    """Return the names of the columns that say where a reading was written, none of them taken by a log's own."""
    taken = {_bare(name) for name in other}
    number = 1
    while any(_bare(f"{name}{number}") in taken for name in SOURCE):
        number += 1
    return tuple(f"{name}{number}" for name in SOURCE)


def _bare(name: str) -> str:
    return "".join(letter for letter in name.casefold() if letter.isalnum())


def _other_names(connection: Connection) -> tuple[str, ...]:
    texts = connection.execute(select(readings.c.other).where(readings.c.other != "").distinct()).scalars()
    return tuple(sorted({name for text in texts for name in json.loads(text)}))


def _first_written(connection: Connection, streams: Mapping[int, KeptStream], other: Sequence[str]) -> Rows:
    files = _files(connection)
    query = select(readings).order_by(readings.c.id)
    with connection.execution_options(yield_per=AT_ONCE).execute(query) as rows:
        for row in rows:
            stream = streams[row.stream]
            value = row.word or SIGNS[Bound(row.bound)] + number_text(row.value)
            cells = json.loads(row.other) if row.other else {}
            path, digest = files[row.file]
            yield (
                time_text(row.taken_at, row.offset), stream.key.line, stream.key.check, stream.key.position, value,
                number_text(row.reference), stream.unit, row.instrument, row.technician, row.shift, row.note,
                path, digest, str(row.row), NONE if row.offset == NO_OFFSET else "", *(cells.get(n, "") for n in other),
            )  # fmt: skip


def _files(connection: Connection) -> Mapping[int, tuple[str, str]]:
    bodies = connection.execute(select(trail.c.sequence, trail.c.body).where(trail.c.kind == "file"))
    told = {sequence: json.loads(body) for sequence, body in bodies}
    return {sequence: (body["path"], body["digest"]) for sequence, body in told.items()}


def _standing(connection: Connection, other: Sequence[str]) -> Rows:
    for stream, stands in standing(connection):
        yield from _stream_rows(stream, stands, other)


def _stream_rows(stream: KeptStream, stands: Readings, other: Sequence[str]) -> Rows:
    key = stream.key
    for i in range(len(stands)):
        value = str(stands.word[i]) or SIGNS[Bound(int(stands.bound[i]))] + number_text(float(stands.value[i]))
        yield (
            time_text(int(stands.taken_at[i]), int(stands.offset[i])), key.line, key.check, key.position, value,
            number_text(float(stands.reference[i])), stream.unit, stands.instrument[i], stands.technician[i],
            stands.shift[i], stands.note[i], *(stands.other[n][i] if n in stands.other else "" for n in other),
        )  # fmt: skip


def _records(connection: Connection) -> Rows:
    query = select(trail).where(trail.c.kind.in_(KINDS)).order_by(trail.c.sequence)
    for row in connection.execute(query):
        yield from_microseconds(row.at).isoformat(), row.who, row.kind, row.subject, row.body


def _events(connection: Connection) -> Rows:
    bodies = connection.execute(select(trail.c.body).where(trail.c.kind == "event").order_by(trail.c.sequence))
    for body in bodies.scalars():
        event = record_from("event", body)
        at = event.at.astimezone(fixed_offset(0 if event.offset == NO_OFFSET else event.offset)).isoformat()
        yield (
            at, event.line, event.kind, event.check, event.position, number_text(event.amount), event.unit, event.note
        )  # fmt: skip


def _quarantined(connection: Connection) -> Rows:
    files = _files(connection)
    query = select(trail.c.body).where(trail.c.kind == "quarantined").order_by(trail.c.sequence)
    for text in connection.execute(query).scalars():
        body = json.loads(text)
        for row, column, cell, reason in body["rows"]:
            yield *files[body["file"]], str(row), column, cell, reason


def _trail(connection: Connection) -> Rows:
    with connection.execution_options(yield_per=AT_ONCE).execute(select(trail).order_by(trail.c.sequence)) as rows:
        for row in rows:
            at = from_microseconds(row.at).isoformat()
            yield str(row.sequence), at, row.who, row.kind, row.subject, row.body, bytes(row.digest).hex()


def time_text(taken_at: int, offset: int) -> str:
    """Return a time with its offset; in UTC where the log had none."""
    return from_microseconds(taken_at).astimezone(fixed_offset(0 if offset == NO_OFFSET else offset)).isoformat()


def number_text(number: float | None) -> str:
    """Return a number in its shortest exact form; nothing for none."""
    return "" if number is None or number != number else repr(float(number))


def _write_csv(path: Path, header: Sequence[str], rows: Rows) -> int:
    count = 0
    with _new_file(path) as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        for row in rows:
            writer.writerow(row)
            count += 1
    return count


@contextmanager
def _new_file(path: Path) -> Iterator[TextIO]:
    """Give a text file that is on the disk before it is done with."""
    with path.open("x", encoding="utf-8", newline="") as file:
        yield file
        file.flush()
        os.fsync(file.fileno())


def _write_parquet(path: Path) -> None:
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise SetupError("Parquet needs its library; install it: pip install 'mt-process-control[parquet]'") from None
    with path.open(encoding="utf-8", newline="") as file:
        rows = csv.reader(file)
        schema = pa.schema([(name, pa.string()) for name in next(rows)])
        with pq.ParquetWriter(path.with_suffix(".parquet"), schema) as writer:
            for some in _in_parts(rows):
                columns = zip(*some, strict=True)
                writer.write_table(pa.table([pa.array(list(c), pa.string()) for c in columns], schema=schema))


def _in_parts(rows: Iterator[Any]) -> Iterator[list[Any]]:
    import itertools

    while some := list(itertools.islice(rows, AT_ONCE)):
        yield some
