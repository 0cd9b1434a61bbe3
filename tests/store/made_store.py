"""Logs of a made-up line, and what is put into a store from them."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlalchemy import Connection, text

from spc.catalogue.load import starter
from spc.ingest.csv_log import CheckLog, read_log
from spc.records import Event, Readings, StreamKey
from spc.store.intake import SourceFile
from spc.store.store import Added, Store
from spc.store.tables import metadata

NOW = datetime(2025, 6, 1, 12, tzinfo=UTC)
BATH = StreamKey("Line A", "bath_concentration", "tank")
FILE = SourceFile("/logs/log.csv", "00ff")
HEADER = "taken_at,line,check,position,value,reference,unit,instrument,technician,shift,note,lot"
LOG = f"""\
{HEADER}
2025-03-04T06:10Z,Line A,bath_concentration,tank,0.21,,,tube-03,ktl,A,,7
2025-03-04T14:10+01:00,Line A,bath_concentration,tank,0.19,,,tube-03,ktl,B,"low, ""topped up"" later",
2025-03-05T06:10Z,Line A,bath_concentration,tank,<0.05,,,tube-03,ktl,A,,8
2025-03-05T06:20Z,Line A,ammeter,head,1010,1000,,shunt-1,ktl,A,,
2025-03-05T06:25Z,Line A,notched_shim,bracket,shown,,,,ktl,A,,
2025-03-05T06:25Z,Line A,notched_shim,bracket,shown,,,,ktl,A,,
2025-03-05T14:10Z,Line A,bath_concentration,tank,not run,,,,m,B,Ünïcode µ,
2025-03-06T06:10Z,Line A,bath_concentration,tank,1.2.3,,,tube-03,ktl,A,,
"""


def read_text(folder: Path, text: str) -> CheckLog:
    """Return `text` read as a log; times without an offset are UTC."""
    path = folder / "log.csv"
    path.write_text(text, encoding="utf-8")
    return read_log(path, starter(), zone=UTC)


def add(store: Store, log: CheckLog, file: SourceFile = FILE, who: str = "ktl") -> Added:
    """Add a log to a store."""
    return store.add_log(log, starter(), file, who=who, now=NOW)


def long_log(n: int, *, first: int = 0) -> str:
    """Return a log of `n` readings of three streams, numbers that tell the rows apart."""
    places = (("bath_concentration", "tank"), ("uva_irradiance", "lamp 1"), ("ambient_light", "booth"))
    start = datetime(2024, 1, 1, tzinfo=UTC)
    lines = [HEADER]
    for i in range(first, first + n):
        check, position = places[i % 3]
        at = start + timedelta(minutes=7 * i)
        lines.append(
            f"{at:%Y-%m-%dT%H:%MZ},Line A,{check},{position},{1 + i % 50 / 100:.2f},,,m-{i % 4},ktl,A,,{i % 5}"
        )
    return "\n".join(lines) + "\n"


def changed_bath(at: datetime, note: str = "") -> Event:
    """Return an event of the made-up line."""
    return Event(at, 0, 2, "Line A", "bath_changed", "bath_concentration", "tank", note=note)


def same(a: Readings, b: Readings) -> bool:
    """Return whether two streams say the same, rows and files aside."""
    return said(a) == said(b)


def said(readings: Readings) -> list[tuple[object, ...]]:
    """Return each reading as a tuple of what it says; NaN as None, empty columns left out."""
    names = ("taken_at", "offset", "bound", "word", "instrument", "technician", "shift", "note")
    rows = zip(*(getattr(readings, name).tolist() for name in names), strict=True)
    numbers = zip(readings.value.tolist(), readings.reference.tolist(), strict=True)
    whole = [tuple(None if x != x else x for x in pair) for pair in numbers]
    other = [tuple((name, c[i]) for name, c in sorted(readings.other.items()) if c[i]) for i in range(len(readings))]
    return [(readings.key, *row, *pair, more) for row, pair, more in zip(rows, whole, other, strict=True)]


def take_triggers_away(connection: Connection) -> None:
    """Let the database change what it guards against changes."""
    if connection.dialect.name == "sqlite":
        names = connection.execute(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")).scalars().all()
        for name in names:
            connection.execute(text(f"DROP TRIGGER {name}"))
    else:
        for table in metadata.sorted_tables:
            connection.execute(text(f"ALTER TABLE {table.name} DISABLE TRIGGER ALL"))
