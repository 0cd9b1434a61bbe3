"""Whether the board is well, and its figures, for programs that watch over it. Neither says what a reading was."""

import sys
from collections import Counter
from pathlib import Path
from time import process_time, time

from flask import Flask, Response, jsonify

from dashboard.queries import Queries, SpcError
from dashboard.requests import Measures
from dashboard.urls import HEALTH, METRICS
from dashboard.views import STATE_WORDS

LATE_AFTER = 10.0
"""Seconds after which a log that nobody looked at counts as not followed; a look at a large one takes a few."""

TEXT = "text/plain; version=0.0.4; charset=utf-8"

STARTED = time()


def store_answers(queries: Queries) -> bool:
    """Return whether the store can be read; true where there is none."""
    try:
        if queries.store is not None:
            queries.store.sequence()
    except SpcError:
        return False
    return True


def add_health(server: Flask, queries: Queries, measures: Measures) -> None:
    """Add both addresses; the gate lets anyone ask for health, and for figures who may see the board or sits here."""

    def health() -> Response:
        follows, snapshot = queries.settings.follow, queries.snapshot
        late = (queries.clock() - snapshot.read_at).total_seconds() > LATE_AFTER
        said = {
            "store": "ok" if store_answers(queries) else "not ok",
            "files": "not followed" if not follows else "ok" if not late and snapshot.problem is None else "not ok",
            "clock": queries.clock().isoformat(timespec="seconds"),
        }
        well = "not ok" not in said.values()
        answer = jsonify({"board": "ok" if well else "not ok", **said})
        answer.status_code = 200 if well else 503
        answer.headers["Cache-Control"] = "no-store"
        return answer

    def metrics() -> Response:
        lines = [*measures.lines(), *figures(queries)]
        return Response("\n".join(lines) + "\n", headers={"Content-Type": TEXT, "Cache-Control": "no-store"})

    server.add_url_rule(HEALTH, "health", health)
    server.add_url_rule(METRICS, "metrics", metrics)


def figures(queries: Queries) -> list[str]:
    """Return what is counted of the board itself, in the text form of the metrics exposition format."""
    snapshot = queries.snapshot
    rows, states = snapshot.scan.log.rows, Counter(tile.state for tile in queries.board().tiles)
    counts = {"accepted": rows.accepted, "duplicate": rows.duplicate, "quarantined": rows.quarantined}
    said = [
        *gauge("board_rows", "Rows read, by what became of them.", {f'outcome="{k}"': v for k, v in counts.items()}),
        *gauge("board_streams", "Streams, by how they stand.", {f'state="{k}"': states[k] for k in STATE_WORDS}),
        *gauge("board_looked_seconds", "Since files and store were last looked at.", _age(queries)),
        *gauge("board_up_to_date", "1: files and store could be read.", float(snapshot.problem is None)),
        *gauge("board_version", "Rises with every change that is shown.", snapshot.version),
        *gauge("process_start_time_seconds", "When this process began.", round(STARTED, 2)),
        *gauge("process_cpu_seconds_total", "Processor time.", round(process_time(), 2), kind="counter"),
    ]
    if queries.store is not None and store_answers(queries):
        said += gauge("board_trail_entries", "Entries of the trail.", queries.store.sequence(), kind="counter")
    memory = memory_bytes()
    return said + gauge("process_resident_memory_bytes", "Memory in use.", memory) if memory is not None else said


def gauge(name: str, words: str, value: float | dict[str, int], kind: str = "gauge") -> list[str]:
    """Return one figure, or one for each label."""
    lines = [f"# HELP {name} {words}", f"# TYPE {name} {kind}"]
    if isinstance(value, dict):
        return lines + [f"{name}{{{label}}} {each}" for label, each in value.items()]
    return [*lines, f"{name} {value}"]


def memory_bytes() -> int | None:
    """Return the memory that this process holds; None where the system does not tell."""
    if not sys.platform.startswith("linux"):
        return None
    import resource

    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * resource.getpagesize()


def _age(queries: Queries) -> float:
    return round((queries.clock() - queries.snapshot.read_at).total_seconds(), 3)
