"""Who uses the board in a soak: screens that follow it, people that write checks down, a log that grows."""

import asyncio
import json
import random
import secrets
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from dashboard.ids import Board, Shell, Stream
from dashboard.urls import LIVE, STREAM, WRITE_KEEP, StreamView
from spc.records import StreamKey
from tests.soak.client import Connection

CALLBACK = "/_dash-update-component"
LOG_LINE = "Soak line"
APART = 1.01
"""Seconds between two entries of one person at least: the same value twice within a second is one reading."""
LOG_HEADER = "taken_at,line,check,position,value\n"


@dataclass(slots=True)
class Told:
    """What happened during a soak."""

    kept: list[str] = field(default_factory=list)  # names of entries that the board said it kept
    refused: list[str] = field(default_factory=list)  # what it said instead
    sent: list[tuple[float, int]] = field(default_factory=list)  # when readings went in, and how many went in then
    shown: list[tuple[float, int]] = field(default_factory=list)  # when a screen said how many are accepted
    rows: int = 0  # written to the log
    errors: list[str] = field(default_factory=list)


class Callbacks:
    """The callbacks of the board, as its browser learns of them."""

    def __init__(self, dependencies: list[dict[str, Any]]) -> None:
        self._made = dependencies

    def body(self, output: str, values: dict[str, Any]) -> dict[str, Any]:
        """Return what a browser posts to have `output` ("id.property") made."""
        made = next(each for each in self._made if output in each["output"].strip(".").split("..."))
        names = made["output"].strip(".").split("...")
        outputs = [dict(zip(("id", "property"), name.rsplit(".", 1), strict=True)) for name in names]
        body: dict[str, Any] = {
            "output": made["output"],
            "outputs": outputs if made["output"].startswith("..") else outputs[0],
        }
        moved = [f"{each['id']}.{each['property']}" for each in made["inputs"]]
        body["changedPropIds"] = [f"{Shell.LIVE}.data"] if f"{Shell.LIVE}.data" in moved else moved[:1]
        for kind in ("inputs", "state"):
            body[kind] = [{**each, "value": values.get(f"{each['id']}.{each['property']}")} for each in made[kind]]
        return body


def stores(part: Any) -> Iterator[tuple[str, Any]]:
    """Return name and data of every store in a page."""
    if isinstance(part, dict):
        if part.get("type") == "Store":
            yield part["props"]["id"], part["props"].get("data")
        for child in part.values():
            yield from stores(child)
    elif isinstance(part, list):
        for child in part:
            yield from stores(child)


async def screen(
    connection: Connection, stream: StreamKey | None, end: asyncio.Event, told: Told, after: float, period: float
) -> None:
    """Open the board, or the page of one stream, and follow it as its scripts do."""
    await asyncio.sleep(after)
    await connection.get("/", "first page")
    await connection.get("/_dash-layout", "first page")
    callbacks = Callbacks((await connection.get("/_dash-dependencies", "first page"))[1])
    path = "/" if stream is None else STREAM
    search = "" if stream is None else StreamView(stream.line, stream.check, stream.position).to_search()
    values: dict[str, Any] = {
        f"{Shell.URL}.pathname": path,
        f"{Shell.URL}.search": search,
        f"{Shell.SCREEN}.data": {"theme": "dark", "width": 800, "scale": 1},
    }
    _, page = await connection.post(CALLBACK, callbacks.body(f"{Shell.PAGE}.children", values), "first page")
    values |= {f"{name}.data": data for name, data in stores(page)}
    outputs = [f"{Shell.CLOCK}.children"]
    outputs += [f"{Board.TOLD}.data"] if stream is None else [
        f"{Stream.TOLD}.data", f"{Stream.STATE_TOLD}.data", f"{Stream.FIGURE_TOLD}.data",
    ]  # fmt: skip
    before = None
    while not end.is_set():
        status, live = await connection.get(LIVE, "live")
        if status == 200 and (live["version"], live["minute"]) != before:
            before = live["version"], live["minute"]
            values[f"{Shell.LIVE}.data"] = {"version": live["version"], "minute": live["minute"]}
            for output in outputs:
                kind = "board update" if stream is None else "stream update"
                status, answer = await connection.post(CALLBACK, callbacks.body(output, values), kind)
                if status not in (200, 204):
                    told.errors.append(f"{output}: {status} {str(answer)[:200]}")
                elif status == 200:
                    take(answer, values, told)
            # what a browser draws is another matter: it is measured in a browser
        await asyncio.sleep(period)
    await connection.close()


def take(answer: Any, values: dict[str, Any], told: Told) -> None:
    """Take an update in, as the browser does: new states, and what the header says of rows."""
    response = answer.get("response", {})
    for name, properties in response.items():
        for kind, value in properties.items():
            values[f"{name}.{kind}"] = value
    if Shell.PAGE in answer.get("sideUpdate", {}):
        values |= {f"{name}.data": data for name, data in stores(answer["sideUpdate"][Shell.PAGE])}
    rows = json.dumps(response.get(Shell.ROWS, ""), ensure_ascii=False)
    if " accepted" in rows:
        accepted = rows.split(" accepted")[0].rsplit(" ", 1)[1]
        told.shown.append((time.perf_counter(), int("".join(c for c in accepted if c.isdigit()))))


async def person(
    connection: Connection, choices: list[tuple[StreamKey, str]], end: asyncio.Event, told: Told, rng: random.Random,
    pause: float,
) -> None:  # fmt: skip
    """Write checks down, one after the other; now and then one arrives twice, as after a cut connection."""
    while not end.is_set():
        try:
            await asyncio.wait_for(end.wait(), max(APART, rng.uniform(0.6, 1.4) * pause))
        except TimeoutError:
            key, value = rng.choice(choices)
            await entry(connection, key, value, told, twice=rng.random() < 0.1)
    await connection.close()


async def entry(connection: Connection, key: StreamKey, value: str, told: Told, *, twice: bool) -> None:
    """Write one check down; questions are answered with "keep as typed"."""
    name, sure, started = secrets.token_hex(16), list[str](), time.perf_counter()
    body: dict[str, Any] = {
        "line": key.line, "check": key.check, "position": key.position, "value": value,
        "technician": "soak", "entry": name, "age": 0,
    }  # fmt: skip
    answer: Any = {}
    for _ in range(4):
        _, answer = await connection.post(WRITE_KEEP, {**body, "sure": sure}, "entry")
        if not isinstance(answer, dict) or answer.get("state") != "asks":
            break
        sure += [each["kind"] for each in answer["asks"]]
    if isinstance(answer, dict) and answer.get("state") == "kept":
        told.kept.append(name)
        told.sent.append((started, 1))
    else:
        told.refused.append(str(answer)[:300])
    if twice:
        await connection.post(WRITE_KEEP, {**body, "sure": sure}, "entry")


def log_row(number: int) -> str:
    """Return one row of the log that grows: a bath that scatters a little, a reading every eight hours."""
    at = datetime(2025, 1, 1, 6, tzinfo=UTC) + timedelta(hours=8 * number)
    return f"{at:%Y-%m-%dT%H:%MZ},{LOG_LINE},bath_concentration,tank,{0.20 + 0.01 * (number * 7 % 5):.2f}\n"


async def growing_log(path: Path, first: int, end: asyncio.Event, told: Told, pause: float) -> None:
    """Append a row now and then, some of them in two pieces."""
    number = first
    while not end.is_set():
        try:
            await asyncio.wait_for(end.wait(), pause)
        except TimeoutError:
            row, cut = log_row(number), len(LOG_LINE) if number % 3 == 0 else 0
            with path.open("a", encoding="utf-8") as file:
                if cut:
                    file.write(row[:cut])
                    file.flush()
                    await asyncio.sleep(0.05)
                file.write(row[cut:])
            told.sent.append((time.perf_counter(), 1))
            number += 1
            told.rows += 1
