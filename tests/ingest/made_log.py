"""A small catalogue, and logs written to a file the way a test asks."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from numpy.typing import NDArray

from spc.catalogue.acceptance import Acceptance
from spc.catalogue.check import EVENT_KINDS, Catalogue
from spc.ingest.csv_log import CheckLog, read_log
from spc.records import StreamKey
from spc.times import from_microseconds
from tests.made import made_check

ZONE = ZoneInfo("Europe/Vienna")
NO_LIMITS = Acceptance()
SHIM = Acceptance(rule="words", good=("shown",), bad=("partly", "not shown", "Smeared"))

_CHECKS = (
    made_check(),
    made_check(key="bath_contamination", unit="%", possible=(0.0, 100.0), acceptance=NO_LIMITS),
    made_check(key="bath_temperature", unit="degC", possible=(-273.15, None), acceptance=NO_LIMITS),
    made_check(key="uva_irradiance", unit="uW/cm2", possible=(0.0, None), acceptance=NO_LIMITS),
    made_check(key="ambient_light", unit="fc", possible=(0.0, None), acceptance=NO_LIMITS),
    made_check(key="residual_field", unit="G", possible=(0.0, None), acceptance=NO_LIMITS),
    made_check(
        key="ammeter",
        unit="A",
        charted="deviation",
        possible=(0.0, None),
        acceptance=Acceptance(rule="percent_or_amperes", percent=10.0, amperes=50.0),
    ),
    made_check(
        key="ring_holes",
        unit="holes",
        possible=(0.0, 12.0),
        acceptance=Acceptance(rule="minimum_at_reference", table=((1000.0, 5.0),)),
    ),
    made_check(key="notched_shim", kind="judged", unit="", possible=(None, None), acceptance=SHIM),
)

CATALOGUE = Catalogue({check.key: check for check in _CHECKS}, EVENT_KINDS, "the tests' catalogue")

HEADER = "taken_at,line,check,position,value,reference,unit,instrument,technician,shift,note"
CONTRACT = """\
taken_at,line,check,position,value,reference,unit,instrument,technician,shift,note
2025-03-04T06:10,Line A,bath_concentration,tank,0.21,,mL/100mL,tube-03,ktl,A,
2025-03-04T06:15,Line A,uva_irradiance,lamp 1,2450,,uW/cm2,rad-2,ktl,A,after cleaning
2025-03-04T06:20,Line A,ammeter,head,1010,1000,A,shunt-1,ktl,A,
2025-03-04T06:25,Line A,notched_shim,bracket,shown,,,,ktl,A,
"""

BATH = StreamKey("Line A", "bath_concentration", "tank")


def read_text(folder: Path, text: str | bytes, *, zone: ZoneInfo = ZONE, dates: str | None = None) -> CheckLog:
    """Write `text` to a file (UTF-8) and read it as a log."""
    path = folder / "log.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read_log(path, CATALOGUE, zone=zone, dates=dates)


def read_rows(folder: Path, *rows: str, header: str = HEADER, dates: str | None = None) -> CheckLog:
    """Read a log of `rows` below `header`."""
    return read_text(folder, "\n".join((header, *rows)) + "\n", dates=dates)


def reading(value: str, *, check: str = "bath_concentration", unit: str = "", reference: str = "") -> str:
    """Return a row with the usual time, line and position."""
    return f"2025-03-04T06:10,Line A,{check},tank,{value},{reference},{unit},,,,"


def values(log: CheckLog, key: StreamKey = BATH) -> list[float]:
    """Return the numbers of one stream."""
    return [float(value) for value in log.streams[key].value]


def times(log: CheckLog, key: StreamKey = BATH) -> list[datetime]:
    """Return the times of one stream, in UTC."""
    return [from_microseconds(at) for at in log.streams[key].taken_at]


def reasons(log: CheckLog) -> Sequence[tuple[int, str, str]]:
    """Return (row, column, text) of what was quarantined."""
    return [(row.row, row.column, row.text) for row in log.quarantine]


def contents(log: CheckLog) -> dict[StreamKey, list[tuple[object, ...]]]:
    """Return every stream as plain rows, NaN as None, so that two logs can be compared."""
    plain = {}
    for key, stream in log.streams.items():
        columns: list[NDArray[Any]] = [
            stream.taken_at,
            stream.offset,
            stream.row,
            stream.value,
            stream.bound,
            stream.word,
        ]
        columns += [stream.reference, stream.instrument, stream.technician, stream.shift, stream.note]
        columns += [stream.other[name] for name in sorted(stream.other)]
        rows = zip(*(column.tolist() for column in columns), strict=True)
        plain[key] = [tuple(None if cell != cell else cell for cell in row) for row in rows]
    return plain
