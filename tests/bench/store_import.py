"""How long a million readings take into a new SQLite store, trail included, against a bare bulk insert of them.

The bare insert writes the same readings into one table of SQLite without index, trail or digest. Reading the log is
measured apart. Argument: rows, 1,000,000 if not given.
"""

import sqlite3
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from spc.catalogue.load import starter
from spc.ingest.csv_log import CheckLog, read_log
from spc.records import Readings
from spc.store.files import source_file
from spc.store.store import Store

HEADER = "taken_at,line,check,position,value,reference,unit,instrument,technician,shift,note\n"
STREAMS = tuple((f"Line {line}", f"lamp {lamp}") for line in range(10) for lamp in range(10))
COLUMNS = (
    "taken_at",
    "offset",
    "row",
    "value",
    "bound",
    "word",
    "reference",
    "instrument",
    "technician",
    "shift",
    "note",
)


def made_log(path: Path, rows: int) -> None:
    """Write a log of `rows` readings of a hundred streams."""
    start = datetime(2020, 1, 1, tzinfo=UTC)
    with path.open("w", encoding="utf-8") as file:
        file.write(HEADER)
        for i in range(rows):
            line, lamp = STREAMS[i % 100]
            at = start + timedelta(minutes=8 * (i // 100), seconds=i % 100 // 2)
            file.write(f"{at:%Y-%m-%dT%H:%M:%SZ},{line},uva_irradiance,{lamp},{2400 + i % 211},,,rad-{i % 9},ktl,A,\n")


def bare_insert(path: Path, log: CheckLog) -> float:
    """Return the seconds of a bare bulk insert."""
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute(f"CREATE TABLE readings (stream INTEGER, {', '.join(COLUMNS)})")
    started = time.perf_counter()
    with connection:
        marks = ", ".join("?" * (1 + len(COLUMNS)))
        connection.executemany(f"INSERT INTO readings VALUES ({marks})", rows_of(log))
    took = time.perf_counter() - started
    connection.close()
    return took


def rows_of(log: CheckLog) -> Iterator[tuple[Any, ...]]:
    """Yield the readings as rows."""
    for number, readings in enumerate(log.streams.values()):
        yield from zip([number] * len(readings), *columns_of(readings), strict=True)


def columns_of(readings: Readings) -> list[list[Any]]:
    """Return the columns as lists."""
    return [getattr(readings, name).tolist() for name in COLUMNS]


def main() -> None:
    """Print the times and the ratio."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        made_log(path, rows)
        started = time.perf_counter()
        log = read_log(path, starter(), zone=UTC)
        reading = time.perf_counter() - started
        file = source_file(path)
        bare = bare_insert(Path(folder) / "bare.db", log)
        with Store.open(Path(folder) / "store.db") as store:
            started = time.perf_counter()
            added = store.add_log(log, starter(), file, who="bench", now=datetime.now(UTC))
            took = time.perf_counter() - started
            started = time.perf_counter()
            last = store.last(next(iter(log.streams)), 500)
            newest = time.perf_counter() - started
        assert added.accepted == rows
        assert last is not None
        assert len(last) == min(500, rows // 100)
    sys.stdout.write(
        f"store import of {rows} readings: {took:.1f} s ({took / bare:.1f} times a bare bulk insert of {bare:.1f} s); "
        f"reading the log {reading:.1f} s; the last 500 of one stream {1000 * newest:.1f} ms\n"
    )


if __name__ == "__main__":
    main()
