"""One soak: a board of its own, everybody on it, and the reckoning afterwards."""

import asyncio
import os
import random
import subprocess
import sys
import time
from bisect import bisect_left
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from spc.catalogue.load import starter
from spc.entry import needs_reference
from spc.records import StreamKey
from spc.store.store import Store
from spc.store.written import ENTRY
from tests.soak.client import Connection, Times
from tests.soak.people import LOG_HEADER, LOG_LINE, Told, growing_log, log_row, person, screen

ROOT = Path(__file__).parent.parent.parent
FIRST_ROWS = 30
STARTS_WITHIN = 120.0
LATEST_LOOK = 20.0
"""Seconds that screens have to show the last reading, once nobody writes any more."""


@dataclass(frozen=True, slots=True)
class Plan:
    """Who takes part, and for how long."""

    seconds: float = 600.0  # over which memory has to stand
    warm_up: float = 480.0  # before them, everybody taking part: until the server's caches and heaps are filled
    screens: int = 100  # a fifth of them on the page of one stream
    people: int = 20
    pause: float = 30.0  # between two entries of one person, seconds
    row_every: float = 5.0
    period: float = 0.4  # between two questions of a screen, as dashboard/assets/live.js has it
    seed: int = 1


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a soak showed."""

    times: Times
    to_screen: list[float]  # seconds from a reading's being sent to its being on each screen
    told: Told
    faults: tuple[str, ...]  # what was lost, doubled or wrong
    entries: int  # found in the record
    rows: int
    memory: list[tuple[float, float]]  # seconds since the end of the warm-up, MiB
    cpu: float  # processor seconds of the server
    seconds: float

    def slope(self) -> float:
        """Return how memory rose once all was warm, MiB an hour."""
        at, mib = np.array([each for each in self.memory if each[0] >= 0]).T
        return float(np.polyfit(at / 3600, mib, 1)[0])


@contextmanager
def board(store: Path, log: Path, catalogue: Path | None = None) -> Iterator[tuple[str, int]]:
    """Give host and port of a board of its own."""
    command = [sys.executable, "-m", "spc", "serve", "--store", str(store), "--follow", str(log), "--port", "0"]
    command += ["--zone", "Europe/Vienna", *(["--catalogue", str(catalogue)] if catalogue else [])]
    process = subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.PIPE, text=True, env={**os.environ, "XDG_DATA_HOME": str(store.parent)}
    )
    try:
        assert process.stdout is not None
        said = process.stdout.readline()
        host, port = said.split()[4].removeprefix("http://").rstrip("/").split(":")
        yield host, int(port)
    finally:
        process.terminate()
        try:
            process.wait(timeout=30)
        finally:
            process.kill()
            process.wait()
            if process.stdout is not None:
                process.stdout.close()


def soak(store: Path, plan: Plan, *, catalogue: Path | None = None) -> Outcome:
    """Put everybody on a board on `store` for the time of `plan`; then account for every entry and row.

    Args:
        store: with readings in it; entries go into its numeric streams.
        plan: who takes part.
        catalogue: the site's; None for the starter's.
    """
    log = store.parent / "growing.csv"
    log.write_text(LOG_HEADER + "".join(map(log_row, range(FIRST_ROWS))), encoding="utf-8")
    with Store.open(store) as kept:
        choices = writable(kept)
        before = sum(map(len, kept.first_written().values()))
    # in a thread of its own: the caller may have a loop that runs
    with board(store, log, catalogue) as where, ThreadPoolExecutor(1) as alone:
        people = _soak(store, log, where, plan, choices, before + FIRST_ROWS)
        return alone.submit(asyncio.run, people).result()


def writable(store: Store) -> list[tuple[StreamKey, str]]:
    """Return the streams that a number can be written into, each with one that it held."""
    found = []
    for key, readings in store.streams().items():
        check, usual = starter().checks.get(key.check), np.flatnonzero(np.isfinite(readings.value))
        if check is not None and check.kind != "judged" and not needs_reference(check) and len(usual):
            found.append((key, f"{readings.value[usual[-1]]:g}"))
    return found


async def _soak(
    store: Path, log: Path, where: tuple[str, int], plan: Plan, choices: list[tuple[StreamKey, str]], before: int
) -> Outcome:
    times, told, end, over = Times(), Told(rows=FIRST_ROWS), asyncio.Event(), asyncio.Event()
    rng = random.Random(plan.seed)
    own: list[list[tuple[StreamKey, str]]] = [choices[i :: plan.people] for i in range(plan.people)]
    streams = [key for key, _ in choices]
    screens = [
        screen(
            Connection(*where, times), streams[i % len(streams)] if i % 5 == 4 else None, over, told,
            after=min(10.0, plan.seconds / 4) * i / plan.screens, period=plan.period,
        )
        for i in range(plan.screens)
    ]  # fmt: skip
    people = [
        person(Connection(*where, times), mine or choices, end, told, random.Random(rng.random()), plan.pause)
        for mine in own
    ]
    started, memory = time.perf_counter(), list[tuple[float, float]]()
    following = asyncio.gather(*screens)
    writing = asyncio.gather(*people, growing_log(log, FIRST_ROWS, end, told, plan.row_every))
    watching = Connection(*where, Times())
    warm = started + plan.warm_up
    while (left := warm + plan.seconds - time.perf_counter()) > 0:
        await asyncio.sleep(min(5.0, left))
        memory.append((time.perf_counter() - warm, (await figure(watching, "process_resident_memory_bytes")) / 2**20))
    end.set()
    await writing
    due, until = before + len(told.kept) + told.rows - FIRST_ROWS, time.perf_counter() + LATEST_LOOK
    boards = plan.screens
    while sum(count >= due for _, count in told.shown) < boards and time.perf_counter() < until:
        await asyncio.sleep(0.2)
    cpu = await figure(watching, "process_cpu_seconds_total")
    over.set()
    await following
    await watching.close()
    faults = list(reconciled(store, told))
    behind = boards - sum(count >= due for _, count in told.shown)
    if behind > 0:
        faults.append(f"{behind} screens did not show the last reading within {LATEST_LOOK:g} s")
    if any(count > due for _, count in told.shown):
        most = max(count for _, count in told.shown)
        faults.append(f"a screen counted {most} readings; there are {due}")
    entries, rows = len(told.kept), told.rows
    return Outcome(
        times, waits(told, before), told, tuple(faults + told.errors[:5]), entries, rows, memory, cpu,
        time.perf_counter() - started,
    )  # fmt: skip


async def figure(connection: Connection, name: str) -> float:
    """Return one of the figures that the board gives of itself."""
    _, text = await connection.get("/metrics", "metrics")
    return next(float(line.split()[1]) for line in str(text).splitlines() if line.startswith(f"{name} "))


def waits(told: Told, before: int) -> list[float]:
    """Return how long each reading took until a screen counted it: the k-th sent is in what is counted from k on."""
    sent = sorted(at for at, _ in told.sent)
    found, counts = [], sorted({count for _, count in told.shown})
    for at, count in told.shown:
        newest = count - before - 1
        previous = counts[bisect_left(counts, count) - 1] - before if bisect_left(counts, count) else 0
        if 0 <= newest < len(sent) and previous <= newest:
            found.append(max(0.0, at - sent[newest]))
    return found


def reconciled(store: Path, told: Told) -> Iterator[str]:
    """Return what the record holds otherwise than it was told: entries and rows lost, doubled or never written."""
    with Store.open(store) as kept:
        names: list[str] = []
        for readings in kept.first_written().values():
            names += [str(name) for name in readings.other.get(ENTRY, ()) if str(name)]
        rows = [len(readings) for key, readings in kept.first_written().items() if key.line == LOG_LINE]
        misfit = kept.verify().misfit
    if len(names) != len(set(names)):
        yield f"{len(names) - len(set(names))} entries stand twice"
    if lost := set(told.kept) - set(names):
        yield f"{len(lost)} entries that were kept are not there"
    if strange := set(names) - set(told.kept):
        yield f"{len(strange)} entries that nobody was told of"
    if sum(rows) != told.rows:
        yield f"{told.rows} rows were written to the log, {sum(rows)} are in the record"
    if misfit is not None:
        yield f"the trail does not fit: {misfit}"
    if told.refused:
        yield f"{len(told.refused)} entries were refused: {told.refused[0]}"
