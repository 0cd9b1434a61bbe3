"""The demo line's two years as files, and the readings that follow them."""

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from importlib import resources
from pathlib import Path
from typing import Literal

from spc.demo.calendar import calendar_toml
from spc.demo.line import DemoLine
from spc.demo.rows import EVENTS_HEADER, LOG_HEADER, EventRow, LogRow, as_csv
from spc.demo.script import script
from spc.demo.slips import PlantedRow, with_slips
from spc.errors import InputError

SEED = 20241104
FIRST_DAY, LAST_DAY = date(2024, 11, 4), date(2026, 11, 20)
LOG_NAME, EVENTS_NAME, CATALOGUE_NAME = "demo-log.csv", "demo-events.csv", "demo-catalogue.toml"
CALENDAR_NAME = "demo-calendar.toml"


@dataclass(frozen=True, slots=True)
class History:
    """Two years of the demo line."""

    log: tuple[str, ...]  # lines of CSV, without the header
    events: tuple[str, ...]
    planted: tuple[PlantedRow, ...]  # rows that were written wrongly on purpose


@dataclass(frozen=True, slots=True)
class DemoFiles:
    """Where the demo line's files were laid."""

    log: Path
    events: Path
    catalogue: Path
    calendar: Path


@dataclass(frozen=True, slots=True)
class LiveRow:
    """One line to append to a file of the demo line."""

    at: datetime  # the site's local time on the row, naive
    file: Literal["log", "events"]
    text: str  # a line of CSV, without its end


def history(seed: int = SEED) -> History:
    """Return the two years of the demo line; with the seed given, those that `datasets/` holds."""
    return _history(DemoLine(script(), seed))


def live_rows(seed: int = SEED, *, after: datetime | None = None) -> Iterator[LiveRow]:
    """Yield the line's rows after its two years, in time order and without end.

    The line goes on in its own time: a working day is some 25 rows, however fast they are taken. From the first
    shift on, the bath of Line A loses powder: signalled after a few readings, failed within ten.

    Args:
        seed: of the two years that go before.
        after: leave out rows up to this local time (naive): for going on with a log that already has them.
    """
    line = DemoLine(script(), seed)
    _history(line)
    day = LAST_DAY
    while True:
        day += timedelta(days=1)
        for at, row in line.day(day):
            if after is None or at > after:
                yield LiveRow(at, "log" if isinstance(row, LogRow) else "events", row.text())


def lay_out(folder: Path | None = None, seed: int = SEED) -> DemoFiles:
    """Write the two years and the site's catalogue and calendar into `folder` (None: a new temporary one).

    Raises:
        InputError: the folder holds a file of one of these names that no demo wrote.
    """
    folder = Path(tempfile.mkdtemp(prefix="spc-demo-")) if folder is None else folder
    made = history(seed)
    files = DemoFiles(folder / LOG_NAME, folder / EVENTS_NAME, folder / CATALOGUE_NAME, folder / CALENDAR_NAME)
    texts = {
        files.log: as_csv(LOG_HEADER, made.log),
        files.events: as_csv(EVENTS_HEADER, made.events),
        files.catalogue: resources.files("spc.demo").joinpath("catalogue.toml").read_bytes(),
        files.calendar: calendar_toml().encode(),
    }
    for path, text in texts.items():
        if path.exists() and not path.read_bytes().startswith(text):  # an earlier demo's log has grown since
            raise InputError(f"{path} is there already and is not the demo's; name another folder")
    folder.mkdir(parents=True, exist_ok=True)
    for path, text in texts.items():
        path.write_bytes(text)
    return files


def append(row: LiveRow, files: DemoFiles) -> None:
    """Write one live row at the end of its file."""
    with (files.log if row.file == "log" else files.events).open("ab") as file:
        file.write(f"{row.text}\n".encode())


def _history(line: DemoLine) -> History:
    rows: list[LogRow] = []
    events: list[EventRow] = []
    day = FIRST_DAY
    while day <= LAST_DAY:
        for _, row in line.day(day):
            if isinstance(row, LogRow):
                rows.append(row)
            else:
                events.append(row)
        day += timedelta(days=1)
    log, planted = with_slips(rows)
    return History(tuple(log), tuple(event.text() for event in events), planted)
