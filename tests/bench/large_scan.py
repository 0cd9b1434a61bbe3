"""`spc scan` of a large log, whole process, against polars merely reading the file; and its memory against the file.

`python -m tests.bench large_scan [--rows N]`: a million rows unless told otherwise; the goals are for ten million. Both
are processes of their own, in turn; polars reads the times too. The log has one reading a row of five checks.
"""

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parent.parent.parent
HEADER = "taken_at,line,check,position,value,reference,unit,instrument,technician,shift,note\n"
CHECKS = (
    ("bath_concentration", "tank", "mL/100mL", "", 0.2, 0.012, 3),
    ("uva_irradiance", "lamp", "uW/cm2", "", 2500.0, 60.0, 0),
    ("ammeter", "head", "A", "1000", 1000.0, 8.0, 0),
    ("ambient_light", "booth", "fc", "", 0.5, 0.06, 2),
    ("residual_field", "part", "G", "", 1.2, 0.25, 1),
)
POLARS = "import sys, polars; polars.read_csv(sys.argv[1], try_parse_dates=True)"
RUNS = 3


def write_log(path: Path, rows: int, streams: int, *, seed: int = 7) -> None:
    """Write a log of `rows` readings of `streams` streams, all alike, in order of time."""
    rng = np.random.default_rng(seed)
    first, block = np.datetime64("2005-01-01T06:00", "m"), 100_000
    with path.open("w", encoding="utf-8") as file:
        file.write(HEADER)
        for start in range(0, rows, block):
            place = np.arange(start, min(start + block, rows))
            stream = place % streams
            at = (first + place // streams * 240 + stream * 240 // streams).astype(str)
            noise, who = rng.normal(size=len(place)), rng.integers(0, 6, len(place))
            lines = []
            for i, moment in enumerate(at.tolist()):
                line, which = divmod(int(stream[i]), len(CHECKS))
                key, where, unit, reference, centre, sigma, decimals = CHECKS[which]
                value = f"{max(centre + sigma * noise[i], 0.0):.{decimals}f}"
                note = "after cleaning" if i % 997 == 0 else ""
                lines.append(
                    f"{moment},Line {line:04},{key},{where},{value},{reference},{unit},m-{line % 7},k{who[i]},A,{note}"
                )
            file.write("\n".join(lines) + "\n")


def run(command: list[str]) -> tuple[float, float]:
    """Return seconds and peak bytes of a process."""
    started = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, cwd=ROOT)
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise subprocess.CalledProcessError(process.returncode, command)
    return time.perf_counter() - started, usage.ru_maxrss * 1024.0


def main(words: list[str]) -> None:
    """Print time and memory for 50 and for 5,000 streams."""
    options = argparse.ArgumentParser()
    options.add_argument("--rows", type=int, default=1_000_000)
    options.add_argument("--runs", type=int, default=RUNS)
    chosen = options.parse_args(words)
    for streams in (50, 5000):
        with tempfile.TemporaryDirectory() as folder:
            log = Path(folder) / "log.csv"
            write_log(log, chosen.rows, streams)
            scan = [sys.executable, "-m", "spc", "scan", str(log), "--zone", "UTC"]
            pairs = [(run(scan), run([sys.executable, "-c", POLARS, str(log)])) for _ in range(chosen.runs)]
            ratios = [ours / theirs for (ours, _), (theirs, _) in pairs]
            peak = statistics.median(peak for (_, peak), _ in pairs)
            seconds, theirs = (statistics.median(pair[i][0] for pair in pairs) for i in (0, 1))
            sys.stdout.write(
                f"spc scan, {chosen.rows:,} rows of {streams:,} streams: {statistics.median(ratios):.1f} times polars "
                f"reading (median {seconds:.1f} s against {theirs:.1f} s, {chosen.runs} runs); peak memory "
                f"{peak / log.stat().st_size:.1f} times the file of {log.stat().st_size / 1e6:.0f} MB\n"
            )


if __name__ == "__main__":
    main(sys.argv[1:])
