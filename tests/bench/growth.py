"""How time and memory grow with rows, streams, rules and segments, each with the exponent fitted.

`python -m tests.bench growth [--out FILE.html]` also draws them. One of the four grows, the others stay: a million
readings at most. Memory is what Python and numpy allocate at most while it runs. An exponent of 1 is in proportion.
"""

import argparse
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import numpy as np

from spc.catalogue.check import Check
from spc.catalogue.load import starter
from spc.ingest.large_log import read_large_log
from spc.monitor import monitor_stream
from spc.records import Readings, StreamKey
from spc.rules import ALL_EIGHT
from spc.scan import scan
from spc.screening import screen
from tests.bench.large_scan import write_log
from tests.ingest.made_log import ZONE
from tests.made import START, made_event, made_readings

CHECK = starter().checks["bath_concentration"]
KEY = StreamKey("Line A", "bath_concentration", "tank")


@dataclass(frozen=True, slots=True)
class Growth:
    """Time and memory at several sizes of one thing."""

    what: str
    sizes: tuple[int, ...]
    seconds: tuple[float, ...]
    bytes: tuple[float, ...]

    def exponent(self, of: str) -> float:
        """Return the slope of log `of` (seconds or bytes) over log size, by least squares."""
        return float(np.polyfit(np.log(self.sizes), np.log(getattr(self, of)), 1)[0])


def grown(what: str, sizes: tuple[int, ...], work: Callable[[int], Callable[[], object]]) -> Growth:
    """Return the growth of `work(size)()`; making the work is not counted, and the best of three is."""
    seconds, peaks = [], []
    for size in sizes:
        job = work(size)
        took = []
        for _ in range(3):
            started = time.perf_counter()
            job()
            took.append(time.perf_counter() - started)
        seconds.append(min(took))
        tracemalloc.start()
        job()
        peaks.append(float(tracemalloc.get_traced_memory()[1]))
        tracemalloc.stop()
    found = Growth(what, sizes, tuple(seconds), tuple(peaks))
    sys.stdout.write(
        f"{what}: time with the power {found.exponent('seconds'):.2f}, memory with {found.exponent('bytes'):.2f} "
        f"({sizes[0]:,} to {sizes[-1]:,}: {seconds[0]:.3f} to {seconds[-1]:.3f} s)\n"
    )
    sys.stdout.flush()
    return found


def stream(n: int) -> Readings:
    """Return `n` quiet readings of one bath."""
    values = np.round(np.maximum(np.random.default_rng(2).normal(0.2, 0.012, n), 0.0), 3)
    return made_readings(values.tolist(), key=KEY)


def monitored(readings: Readings, check: Check, changes: int = 0) -> Callable[[], object]:
    """Return the monitoring of a stream with so many bath changes, evenly apart."""
    n = len(readings)
    events = [
        replace(made_event("bath_changed", START + timedelta(hours=8 * i * n // (changes + 1))), check=KEY.check)
        for i in range(1, changes + 1)
    ]
    return lambda: monitor_stream(readings, events, check, compiled=True)


def main(words: list[str]) -> None:
    """Print every growth; draw them where asked."""
    options = argparse.ArgumentParser()
    options.add_argument("--out", type=Path)
    chosen = options.parse_args(words)
    monitored(stream(1000), CHECK)()  # loads the compiled loops
    long = stream(200_000)
    with tempfile.TemporaryDirectory() as folder:

        def log(rows: int, streams: int) -> Path:
            path = Path(folder) / f"{rows}-{streams}.csv"
            if not path.exists():
                write_log(path, rows, streams)
            return path

        rows = (62_500, 125_000, 250_000, 500_000, 1_000_000)
        found = [
            grown("reading, over rows", rows, lambda n: lambda: read_large_log(log(n, 50), starter(), zone=ZONE)),
            grown("monitor, over readings", rows, lambda n: monitored(stream(n), CHECK)),
            grown("questions, over rows", rows[:4], lambda n: _questions(log(n, 50))),
            grown("scan, over streams", (10, 100, 1000), lambda k: lambda: scan(log(500_000, k), zone=ZONE)),
            grown("monitor, over rules", (1, 2, 4, 8), lambda k: monitored(long, replace(CHECK, rules=ALL_EIGHT[:k]))),
            grown("monitor, over segments", (10, 100, 1000), lambda k: monitored(long, CHECK, k)),
        ]
    if chosen.out is not None:
        draw(found, chosen.out)


def _questions(log: Path) -> Callable[[], object]:
    results = scan(log, zone=ZONE).streams
    return lambda: screen(results, zone=ZONE)


def draw(found: list[Growth], out: Path) -> None:
    """Draw time and memory over size, on log scales."""
    import plotly.graph_objects as go  # type: ignore[import-untyped]
    from plotly.subplots import make_subplots  # type: ignore[import-untyped]

    figure = make_subplots(rows=2, cols=len(found), subplot_titles=[growth.what for growth in found])
    for place, growth in enumerate(found, 1):
        for row, of in ((1, "seconds"), (2, "bytes")):
            name = f"power {growth.exponent(of):.2f}"
            figure.add_trace(go.Scatter(x=growth.sizes, y=getattr(growth, of), name=name), row=row, col=place)
            figure.update_xaxes(type="log", row=row, col=place)
            figure.update_yaxes(type="log", title=of if place == 1 else None, row=row, col=place)
    figure.write_html(out, include_plotlyjs=True)


if __name__ == "__main__":
    main(sys.argv[1:])
