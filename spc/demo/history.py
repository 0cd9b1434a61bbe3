"""The demo line's two years as files, and the readings that follow them."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any, Literal

from spc.demo.faults import FAULTS, LIVE_FAULTS
from spc.demo.line import DemoLine
from spc.demo.plan import ZONE
from spc.demo.rows import EVENTS_HEADER, LOG_HEADER, EventRow, LogRow, as_csv
from spc.demo.slips import SLIPS, Slip

SEED = 20241104
FIRST_DAY, LAST_DAY = date(2024, 11, 4), date(2026, 11, 20)
FILES = ("demo-log.csv", "demo-events.csv", "faults.json")


@dataclass(frozen=True, slots=True)
class PlantedRow:
    """A row that was written wrongly on purpose."""

    slip: Slip
    row: int  # line number in the log, the header being 1


@dataclass(frozen=True, slots=True)
class History:
    """Two years of the demo line."""

    log: tuple[str, ...]  # lines of CSV, without the header
    events: tuple[str, ...]
    planted: tuple[PlantedRow, ...]


@dataclass(frozen=True, slots=True)
class LiveRow:
    """One line to append to a file of the demo line."""

    at: datetime  # the site's local time on the row, naive
    file: Literal["log", "events"]
    text: str  # a line of CSV, without its end


def history() -> History:
    """Return the two years that `datasets/` holds."""
    return _history(DemoLine(SEED))


def live_rows(days: int | None = None) -> Iterator[LiveRow]:
    """Yield the line's rows after its two years, in time order; `days` calendar days, or without end.

    From the first shift on, a bath that loses powder: signalled within some readings, failed within ten.
    """
    line = DemoLine(SEED)
    _history(line)
    day = LAST_DAY
    while days is None or (day - LAST_DAY).days < days:
        day += timedelta(days=1)
        for at, item in line.day(day):
            yield LiveRow(at, "log" if isinstance(item, LogRow) else "events", item.text())


def write_history(folder: Path) -> tuple[Path, Path, Path]:
    """Write the log, the events and the truth about them into `folder`; return their paths in this order."""
    made = history()
    log, events, faults = (folder / name for name in FILES)
    log.write_bytes(as_csv(LOG_HEADER, made.log))
    events.write_bytes(as_csv(EVENTS_HEADER, made.events))
    faults.write_bytes(truth(made).encode())
    return log, events, faults


def truth(made: History) -> str:
    """Return what is wrong in `made` on purpose, as JSON."""
    counts = {outcome: sum(p.slip.outcome == outcome for p in made.planted) for outcome in ("duplicate", "quarantined")}
    read = len(made.log)
    text: dict[str, Any] = {
        "zone": ZONE,
        "seed": SEED,
        "rows": {"read": read, "accepted": read - sum(counts.values()), **counts},
        "faults": [_fault(fault) for fault in FAULTS],
        "slips": [_slip(slip, made) for slip in SLIPS],
        "live_faults": [_fault(fault) for fault in LIVE_FAULTS],
    }
    return json.dumps(text, indent=1, ensure_ascii=False) + "\n"


def _fault(fault: Any) -> dict[str, Any]:
    return {
        "id": fault.id,
        "line": fault.line,
        "check": fault.check,
        "positions": list(fault.positions),
        "from": fault.first.isoformat(timespec="minutes"),
        "to": None if fault.last is None else fault.last.isoformat(timespec="minutes"),
        "effect": fault.effect,
        "size": fault.size,
        "of_writing": fault.of_writing,
        "shift": fault.shift,
        "technician": fault.technician,
        "ends": fault.ends,
        "see": fault.see,
        "caught_by": fault.caught_by,
    }


def _slip(slip: Slip, made: History) -> dict[str, Any]:
    return {
        "id": slip.id,
        "line": slip.key.line,
        "check": slip.key.check,
        "position": slip.key.position,
        "rows": [planted.row for planted in made.planted if planted.slip is slip],
        "outcome": slip.outcome,
        "column": slip.column,
        "see": slip.see,
    }


def _history(line: DemoLine) -> History:
    rows: list[LogRow] = []
    events: list[EventRow] = []
    day = FIRST_DAY
    while day <= LAST_DAY:
        for _, item in line.day(day):
            if isinstance(item, LogRow):
                rows.append(item)
            else:
                events.append(item)
        day += timedelta(days=1)
    log, planted = _with_slips(rows)
    return History(tuple(log), tuple(event.text() for event in events), planted)


def _with_slips(rows: list[LogRow]) -> tuple[list[str], tuple[PlantedRow, ...]]:
    lines: list[str] = []
    planted: list[PlantedRow] = []
    waiting = {slip.id: slip.rows for slip in SLIPS}
    for row in rows:
        written = [row.text()]
        for slip in SLIPS:
            if waiting[slip.id] and _is_for(slip, row):
                waiting[slip.id] -= 1
                written = slip.write(row)
                planted.append(PlantedRow(slip, len(lines) + len(written) + 1))
                break
        lines += written
    return lines, tuple(planted)


def _is_for(slip: Slip, row: LogRow) -> bool:
    return (
        row.taken_at >= slip.at
        and (row.line, row.check, row.position) == (slip.key.line, slip.key.check, slip.key.position)
        and row.value[-1:].isalpha() == (slip.key.check == "water_break")
    )
