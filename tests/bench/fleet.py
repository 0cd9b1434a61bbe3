"""A fleet on workers of this machine: two against one, and one against the plain loop in this process.

`python -m tests.bench fleet [--partitions N] [--readings N]`: 40 partitions of 25,000 readings unless told otherwise.
Starting the workers is reported apart; a first run on them loads the compiled loops and is not counted.
"""

import argparse
import statistics
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from spc.catalogue.load import starter
from spc.fleet import Fleet, Partition, add_streams, partitions_in, run_fleet
from spc.fleet import run as fleet_run
from spc.records import StreamKey
from tests.made import made_readings

RUNS = 3


def write_sites(folder: Path, partitions: int, n: int) -> tuple[Partition, ...]:
    """Write partitions of one stream of `n` readings each."""
    rng = np.random.default_rng(5)
    for place in range(partitions):
        key = StreamKey(f"Line {place % 10}", "bath_concentration", "tank")
        values = np.round(np.maximum(rng.normal(0.2, 0.012, n), 0.0), 3).tolist()
        add_streams(folder, f"Site {place // 10:03}", {key: made_readings(values, key=key)})
    return partitions_in(folder)


def on_workers(found: tuple[Partition, ...], workers: int) -> tuple[float, float, Fleet]:
    """Return seconds to start, the median of seconds of warm runs, and the result."""
    started = time.perf_counter()
    with fleet_run._client(None, workers) as client:
        ready = time.perf_counter() - started

        @contextmanager
        def there(*how):
            yield client

        before, fleet_run._client = fleet_run._client, there  # type: ignore[assignment]  # the same client each time
        try:
            took = []
            for _ in range(RUNS + 1):
                started = time.perf_counter()
                fleet = run_fleet(found, starter(), workers=workers)
                took.append(time.perf_counter() - started)
        finally:
            fleet_run._client = before
    return ready, statistics.median(took[1:]), fleet


def main(words: list[str]) -> None:
    """Print efficiency and overhead, and whether all three say the same."""
    options = argparse.ArgumentParser()
    options.add_argument("--partitions", type=int, default=40)
    options.add_argument("--readings", type=int, default=25_000)
    chosen = options.parse_args(words)
    with tempfile.TemporaryDirectory() as folder:
        found = write_sites(Path(folder), chosen.partitions, chosen.readings)
        took = []
        for _ in range(RUNS + 1):
            started = time.perf_counter()
            alone = run_fleet(found, starter(), workers=0)
            took.append(time.perf_counter() - started)
        plain = statistics.median(took[1:])
        start_one, one, first = on_workers(found, 1)
        start_two, two, second = on_workers(found, 2)
    same = alone.signals == first.signals == second.signals and alone.streams == first.streams == second.streams
    total = chosen.partitions * chosen.readings
    sys.stdout.write(
        f"fleet, {total:,} readings in {chosen.partitions} partitions: plain loop {plain:.2f} s "
        f"({1e6 * plain / total:.2f} us a reading), 1 worker {one:.2f} s ({one / plain:.2f} times the loop, "
        f"{1e3 * (one - plain) / chosen.partitions:.1f} ms a task), 2 workers {two:.2f} s "
        f"(efficiency {one / two / 2:.0%}); starting workers {start_one:.1f} and {start_two:.1f} s; "
        f"{'the same to the bit' if same else 'NOT the same'}\n"
    )


if __name__ == "__main__":
    main(sys.argv[1:])
