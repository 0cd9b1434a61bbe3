"""Rows of the demo log and its events, as text."""

import csv
import io
from collections.abc import Iterable
from dataclasses import astuple, dataclass
from datetime import datetime

LOG_HEADER = "taken_at,line,check,position,value,reference,unit,instrument,technician,shift,note"
EVENTS_HEADER = "at,line,kind,check,position,amount,unit,note"


@dataclass(frozen=True, slots=True)
class LogRow:
    """One row of the check log, every cell as written."""

    taken_at: str
    line: str
    check: str
    position: str
    value: str
    reference: str = ""
    unit: str = ""
    instrument: str = ""
    technician: str = ""
    shift: str = ""
    note: str = ""

    def text(self) -> str:
        """Return the row as a line of CSV, without its end."""
        return _joined(astuple(self))


@dataclass(frozen=True, slots=True)
class EventRow:
    """One row of the event file, every cell as written."""

    at: str
    line: str
    kind: str
    check: str = ""
    position: str = ""
    amount: str = ""
    unit: str = ""
    note: str = ""

    def text(self) -> str:
        """Return the row as a line of CSV, without its end."""
        return _joined(astuple(self))


def _joined(cells: Iterable[str]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="").writerow(cells)
    return text.getvalue()


def minute(at: datetime) -> str:
    """Return the site's local time as the log writes it."""
    return at.isoformat(timespec="minutes")


def as_csv(header: str, lines: Iterable[str]) -> bytes:
    r"""Return a CSV file: UTF-8, every line ended by \n."""
    return "".join(f"{line}\n" for line in (header, *lines)).encode()
