"""A small made line for tests: what each stream shows is known. Readings are drawn from a fixed seed."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from dashboard.queries import Queries, Source
from dashboard.settings import Settings
from spc.records import StreamKey
from spc.results import StreamResult
from spc.watch import Watch

ZONE = ZoneInfo("Europe/Vienna")
HEADER = "taken_at,line,check,position,value,reference,unit,instrument,technician,shift,note"
FIRST = datetime(2026, 3, 2, 6, 10)  # noqa: DTZ001  logs write local times
SHIFTS = 80  # two a day; the clock changes on 29 March
NOW = datetime(2026, 4, 10, 16, 0, tzinfo=ZONE)

BATH = StreamKey("Line 1", "bath_concentration", "tank")  # calm; bath changed and topped up
LAMP = StreamKey("Line 1", "uva_irradiance", "lamp 1")  # falls from reading 40 on
AMMETER = StreamKey("Line 2", "ammeter", "head")  # fails at the last reading
SHIM = StreamKey("Line 1", "notched_shim", "hub")  # judged; reading 30 is not shown
AMBIENT = StreamKey("Line 2", "ambient_light", "booth")  # half of the readings are written "<0.1"
TIMER = StreamKey("Line 2", "timer", "head")  # too few readings for limits
KEYS = (BATH, LAMP, SHIM, AMBIENT, AMMETER, TIMER)

BAD_ROW = "2026-03-05T06:12,Line 1,bath_concentration,tank,1.2.3,,mL/100mL,tube-1,m1,A,"
NOTE = "=1+1 <b>& note</b>"
EVENTS = """at,line,kind,check,position,amount,unit,note
2026-03-14T05:30,Line 1,bath_changed,bath_concentration,tank,,,new powder <lot 7>
2026-03-26T06:00,Line 1,bath_topped_up,bath_concentration,tank,20,g,
2026-03-27T06:00,Line 1,bath_topped_up,bath_concentration,tank,15,g,
2026-04-03T18:00,Line 1,line_idle,,,,,
2026-04-05T05:00,Line 1,line_running,,,,,
"""


def taken(shift: int) -> datetime:
    """Return when shift `shift` takes its readings, local time."""
    return FIRST + timedelta(days=shift // 2, hours=8 * (shift % 2))


def rows(seed: int = 7) -> Iterator[str]:
    """Yield the rows of the log in time order."""
    rng = np.random.default_rng(seed)
    for shift in range(SHIFTS):
        at, person = taken(shift).isoformat(timespec="minutes"), f"m{1 + shift % 3},{'AB'[shift % 2]}"
        bath = 0.20 + 0.01 * round(rng.normal())
        yield f"{at},Line 1,{BATH.check},tank,{bath:.2f},,mL/100mL,tube-1,{person},{NOTE if shift == 12 else ''}"
        lamp = 3000 + 40 * rng.normal() - 30 * max(0, shift - 40)
        yield f"{at},Line 1,{LAMP.check},lamp 1,{lamp:.0f},,uW/cm2,rad-1,{person},"
        word = "not shown" if shift == 30 else "not run" if shift in (50, 51, 60) else "shown"
        yield f"{at},Line 1,{SHIM.check},hub,{word},,,,{person},"
        light = 0.05 + 0.1 * rng.random()
        yield f"{at},Line 2,{AMBIENT.check},booth,{'<0.1' if light < 0.1 else f'{light:.1f}'},,fc,lux-1,{person},"
        amperes = 870 if shift == SHIFTS - 1 else 1000 + 10 * round(rng.normal())
        yield f"{at},Line 2,{AMMETER.check},head,{amperes},1000,A,shunt-1,{person},"
        if shift % 20 == 0:
            yield f"{at},Line 2,{TIMER.check},head,0.0{shift // 20},,s,,{person},"


def write_line(folder: Path) -> Settings:
    """Write log and events into `folder`; one row cannot be read and one is there twice."""
    lines = list(rows())
    log, events = folder / "log.csv", folder / "events.csv"
    log.write_text("\n".join([HEADER, *lines[:40], BAD_ROW, lines[3], *lines[40:]]) + "\n", encoding="utf-8")
    events.write_text(EVENTS, encoding="utf-8")
    return Settings(log=log, events=events, zone=ZONE, title="Hall 4")


def add_row(settings: Settings, row: str) -> None:
    """Append a row to the log, as the people at the line do."""
    assert settings.log is not None
    with settings.log.open("a", encoding="utf-8") as log:
        log.write(row + "\n")


def watched(settings: Settings) -> Watch:
    """Return a watch on the log."""
    assert settings.log is not None
    return Watch(settings.log, events=settings.events, zone=settings.zone)


def asked(settings: Settings, source: Source | None = None) -> Queries:
    """Return queries on the log, the clock standing at NOW."""
    return Queries(source or watched(settings), settings, clock=lambda: NOW)


def results(folder: Path) -> dict[StreamKey, StreamResult]:
    """Return every stream of the made line."""
    return {result.key: result for result in watched(write_line(folder)).snapshot.scan.streams}
