"""How long reading a log of 200,000 rows takes, against pandas merely reading the same file.

Both read the same file in turn in one process, so that a busy machine slows both; the figure is the median of the
ratios. Three files: as the contract has it, with an offset in every time, and with quotes in every twentieth row.
"""

import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd

from spc.catalogue.load import starter
from spc.ingest.csv_log import read_log

RUNS = 9
ROWS = 200_000
HEADER = "taken_at,line,check,position,value,reference,unit,instrument,technician,shift,note\n"


def made_rows(rng: random.Random) -> list[tuple[datetime, str]]:
    """Return time and rest of every row: four checks in turn on three lines."""
    at = datetime(2021, 1, 1, 6)  # noqa: DTZ001 - written with and without its offset
    rows = []
    for i in range(ROWS):
        at += timedelta(minutes=rng.randint(1, 20))
        check = (
            f"bath_concentration,tank,{rng.gauss(0.2, 0.02):.3f},,mL/100mL",
            f"uva_irradiance,lamp {i % 7},{rng.gauss(2500, 90):.0f},,uW/cm2",
            f"ammeter,head,{rng.gauss(1000, 10):.0f},1000,A",
            f"ambient_light,booth,{rng.gauss(0.5, 0.05):.2f},,fc",
        )[i % 4]
        rows.append((at, f"Line {'ABC'[i % 3]},{check},meter-{i % 9},ktl,{'AB'[i % 2]},"))
    return rows


def main() -> None:
    """Print the ratio for each file."""
    rows = made_rows(random.Random(20250304))
    files = {
        "as the contract has it": [f"{at:%Y-%m-%dT%H:%M},{rest}\n" for at, rest in rows],
        "with offsets": [f"{at:%Y-%m-%dT%H:%M:%S}+01:00,{rest}\n" for at, rest in rows],
        "with quotes": [
            f"{at:%Y-%m-%dT%H:%M},{rest}" + ('"topped up, stirred"\n' if i % 20 == 0 else "\n")
            for i, (at, rest) in enumerate(rows)
        ],
    }
    with tempfile.TemporaryDirectory() as folder:
        for name, lines in files.items():
            path = Path(folder) / "log.csv"
            path.write_text(HEADER + "".join(lines), encoding="utf-8")
            report(name, path)


def report(name: str, path: Path) -> None:
    """Print how much longer reading takes than pandas does."""
    catalogue, zone = starter(), ZoneInfo("Europe/Vienna")
    pairs = [
        (seconds(lambda: read_log(path, catalogue, zone=zone)), seconds(lambda: pd.read_csv(path)))
        for _ in range(RUNS + 1)
    ][1:]  # the first one fills the caches
    ratios = [ours / theirs for ours, theirs in pairs]
    sys.stdout.write(
        f"read_log, {ROWS:,} rows {name}: {statistics.median(ratios):.2f} times pandas.read_csv"
        f" (lowest {min(ratios):.2f}, highest {max(ratios):.2f}, {RUNS} runs;"
        f" median {statistics.median(ours for ours, _ in pairs):.2f} s)\n"
    )


def seconds(work: Callable[[], object]) -> float:
    """Return how long `work` takes."""
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


if __name__ == "__main__":
    main()
