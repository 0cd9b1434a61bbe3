"""How long a stream of a million readings takes to open and to zoom in the drift room, against a thousand readings.

The yardstick is a stream of a thousand readings: opened, and for each look at more than the usual stretch, all of it.

What the server does is measured: the page in words, the chart, and both as they are sent. The two are asked in turn, so
that a busy machine slows both; each figure is the ratio of medians. The model of the stream is left out: it costs
about 0.1 ms a reading once, when the reading comes in, and nothing when it is looked at. `--readings N` asks about
other sizes.
"""

import argparse
import json
import statistics
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from plotly.io.json import to_json_plotly  # type: ignore[import-untyped]  # it comes without types

from dashboard.queries import Queries, Snapshot
from dashboard.settings import Settings
from dashboard.urls import StreamView
from spc.catalogue.load import load_catalogue
from spc.ingest.csv_log import CheckLog
from spc.monitor import monitor_stream
from spc.records import Readings, RowCount
from spc.results import StreamResult
from spc.scan import Scan
from tests.made import made_check, made_readings

FEW, MANY = 1_000, 1_000_000
RUNS = 7
START = datetime(2016, 1, 1, tzinfo=UTC)
SCREEN: dict[str, object] = {"theme": "light", "width": 1000, "scale": 1}
VIEWS = ("opened", "all of it", "a tenth", "a hundredth", "all of it, EWMA", "a tenth, run rules")


class Still:
    """A source whose log does not grow."""

    store = None

    def __init__(self, result: StreamResult) -> None:
        log = CheckLog(RowCount(), (), {result.key: result.readings}, (), UTC, "made")
        scan = Scan(log, None, load_catalogue(None), (result,), UTC)
        self.snapshot = Snapshot(1, scan, {result.key: 1}, START, None)

    def poll(self) -> bool:
        """Nothing new."""
        return False

    def reload(self) -> str | None:
        """Nothing new."""
        return None


def stream(n: int) -> Readings:
    """Return `n` readings over ten years, quiet but for a few that are far out."""
    rng = np.random.default_rng(7)
    x = rng.normal(0.2, 0.01, n)
    x[rng.integers(0, n, max(1, n // 5000))] = 0.05
    step = timedelta(days=3652) / n
    return made_readings(x.tolist(), times=[START + i * step for i in range(n)])


def asked(n: int) -> tuple[Queries, StreamResult]:
    """Return what answers for a stream of `n` readings."""
    result = monitor_stream(stream(n), (), made_check(early_warning=False, rules_signal=False))
    queries = Queries(Still(result), Settings(), clock=lambda: START + timedelta(days=3653))
    return queries, result


def views(result: StreamResult) -> dict[str, StreamView]:
    """Return the addresses that are asked for."""
    key = result.key

    def part(share: float, **more: Any) -> StreamView:
        first = START + timedelta(days=1200)
        last = first + share * timedelta(days=3652)
        ends = (f"{at.replace(tzinfo=None).isoformat(timespec='minutes')}" for at in (first, last))
        start, end = ends
        return StreamView(key.line, key.check, key.position, start=start, end=end, **more)

    usual = StreamView(key.line, key.check, key.position)
    whole = StreamView(key.line, key.check, key.position, show="all")
    ewma = StreamView(key.line, key.check, key.position, show="all", chart="ewma")
    return dict(zip(VIEWS, (usual, whole, part(0.1), part(0.01), ewma, part(0.1, rules="on")), strict=True))


def answer(queries: Queries, view: StreamView) -> int:
    """Return how many letters are sent for one look."""
    page, figure = queries.stream(view), queries.figure(view, SCREEN)
    queries.stamp(view)
    return len(json.dumps(repr(page))) + len(to_json_plotly(figure))


def seconds(work: Callable[[], object]) -> float:
    """Return how much processor time some work takes."""
    started = time.process_time()
    work()
    return time.process_time() - started


def main() -> None:
    """Print the ratio for each look."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, default=MANY)
    many = parser.parse_args().readings
    (few_asked, few), (many_asked, much) = asked(FEW), asked(many)
    few_views, many_views = views(few), views(much)
    for name in VIEWS:
        yardstick = few_views[VIEWS[0] if name == VIEWS[0] else VIEWS[1]]
        first = seconds(lambda name=name: answer(many_asked, many_views[name]))  # type: ignore[misc]  # the default binds
        answer(few_asked, yardstick)
        pairs = [
            (
                seconds(lambda name=name: answer(many_asked, many_views[name])),  # type: ignore[misc]
                seconds(lambda yardstick=yardstick: answer(few_asked, yardstick)),  # type: ignore[misc]
            )
            for _ in range(RUNS)
        ]
        ours, theirs = (statistics.median(times) for times in zip(*pairs, strict=True))
        sys.stdout.write(
            f"{name}: {many:,} readings at {ours / theirs:.2f} times {FEW:,} ({1000 * ours:.0f} ms against"
            f" {1000 * theirs:.0f} ms; the first time {1000 * first:.0f} ms)\n"
        )


if __name__ == "__main__":
    main()
