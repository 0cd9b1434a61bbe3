"""How long `spc scan` takes on a log of 500 rows, against starting Python with pandas and scipy.stats.

The two are run in turn, so that a busy machine slows both; the figure is the median of the ratios.
"""

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

RUNS = 9
ROOT = Path(__file__).parent.parent.parent
DEMO = ROOT / "datasets" / "demo-log.csv"
YARDSTICK = [sys.executable, "-c", "import pandas, scipy.stats"]


def seconds(command: list[str]) -> float:
    """Return how long a command takes from start to end."""
    started = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, cwd=ROOT)
    return time.perf_counter() - started


def main() -> None:
    """Print the ratio of every run and their median."""
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "log.csv"
        log.write_text("".join(DEMO.read_text(encoding="utf-8").splitlines(keepends=True)[:501]), encoding="utf-8")
        scan = [sys.executable, "-m", "spc", "scan", str(log), "--zone", "Europe/Vienna"]
        pairs = [(seconds(scan), seconds(YARDSTICK)) for _ in range(RUNS + 1)][1:]  # the first one fills the disk cache
    ratios = [ours / theirs for ours, theirs in pairs]
    sys.stdout.write(
        f"spc scan, 500 rows: {statistics.median(ratios):.2f} times `import pandas, scipy.stats`"
        f" (lowest {min(ratios):.2f}, highest {max(ratios):.2f}, {RUNS} runs;"
        f" median {statistics.median(ours for ours, _ in pairs):.2f} s)\n"
    )


if __name__ == "__main__":
    main()
