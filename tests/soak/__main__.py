"""`python -m tests.soak [--minutes 10] [--warm-up 8] [--screens 100] [--people 20]`: the demo line's board under load.

Prints a table; exit code 1 where an entry or row was lost or doubled, or a goal was missed. Times are those of the
clients, which share this machine with the server, from the first minute on; memory has to stand after the warm-up.
"""

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from tests.soak.run import ROOT, Outcome, Plan, soak

GOALS = {"board update": 0.150, "entry": 0.300}
"""95th percentiles of single requests, seconds."""

MOST_RISE = 60.0
"""MiB an hour that memory may rise by after the warm-up: new readings and entries are kept in it."""


def table(outcome: Outcome) -> list[str]:
    """Return the figures as lines."""
    lines = [f"{'':24}{'count':>8}{'p50 ms':>9}{'p95 ms':>9}{'p99 ms':>9}"]
    named = {**dict(sorted(outcome.times.by_kind.items())), "reading to screen": outcome.to_screen}
    for name, seconds in named.items():
        if seconds:
            p50, p95, p99 = np.percentile(np.array(seconds) * 1000, [50, 95, 99])
            lines.append(f"{name:24}{len(seconds):8}{p50:9.0f}{p95:9.0f}{p99:9.0f}")
    lines.append(f"{outcome.entries} entries and {outcome.rows} rows of the log kept, each once")
    begun, last = outcome.memory[0][1], outcome.memory[-1][1]
    warm = next(mib for at, mib in outcome.memory if at >= 0)
    lines.append(
        f"memory {begun:.0f} MiB at first, {warm:.0f} warm, {last:.0f} at the end; {outcome.slope():+.0f} MiB an hour"
    )
    busy = outcome.cpu / outcome.seconds
    lines.append(f"server {busy:.2f} of a processor; load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()}")
    return lines


def missed(outcome: Outcome) -> list[str]:
    """Return which goals were missed."""
    said = list(outcome.faults)
    for kind, goal in GOALS.items():
        p95 = float(np.percentile(outcome.times.by_kind[kind], 95))
        if p95 > goal:
            said.append(f"{kind}: p95 {p95 * 1000:.0f} ms, goal {goal * 1000:.0f} ms")
    if outcome.slope() > MOST_RISE:
        said.append(f"memory rises by {outcome.slope():.0f} MiB an hour, goal {MOST_RISE:.0f}")
    return said


def main(words: list[str]) -> int:
    """Soak, print, and return whether all is well."""
    parser = argparse.ArgumentParser(prog="python -m tests.soak", description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--warm-up", type=float, default=8.0, help="minutes before memory is looked at")
    parser.add_argument("--screens", type=int, default=100)
    parser.add_argument("--people", type=int, default=20)
    parser.add_argument("--pause", type=float, default=30.0, help="seconds between two entries of one person")
    asked = parser.parse_args(words)
    plan = Plan(60 * asked.minutes, 60 * asked.warm_up, screens=asked.screens, people=asked.people, pause=asked.pause)
    with tempfile.TemporaryDirectory(prefix="soak-") as folder:
        store = Path(folder) / "store.db"
        command = [sys.executable, "-m", "spc", "import", "datasets/demo-log.csv", "--zone", "Europe/Vienna"]
        command += ["--events", "datasets/demo-events.csv", "--store", str(store)]
        subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
        outcome = soak(store, plan)
    said = missed(outcome)
    sys.stdout.write("\n".join([*table(outcome), *(f"MISSED {each}" for each in said)]) + "\n")
    return 1 if said else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
