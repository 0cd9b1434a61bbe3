"""How early a drift could be told at best: the lead of a detector that is told what none can know.

See `tests/bench/lines/oracle.py` for what it is told. For each row, the threshold is the lowest at which it keeps to
the false alarms named; the row of the early warning stands beside it at its own threshold.
"""

import argparse
import sys
from collections.abc import Sequence

import numpy as np

from spc.arrays import FloatArray
from tests.bench.early_warning import HALVES
from tests.bench.lines.model import early_warning
from tests.bench.lines.oracle import probability_of_fault
from tests.bench.lines.score import HIGH, LOW, SideArray, Tally, tally_stream, together, with_uncertainty
from tests.bench.lines.simulate import simulate_line
from tests.bench.lines.truth import SimulatedStream

ORACLES = (
    ("told the course without a fault", True, True),
    ("told the course, not its level", True, False),
    ("told changes, not top-ups and level", False, False),
)
THRESHOLDS = np.linspace(0.02, 0.98, 49)
MOST_FALSE = {"tidy": 0.5, "rough": 2.7}


def sides(probability: FloatArray, threshold: float) -> SideArray:
    """Return the signals of an oracle: the likelier side wherever a fault is likelier than `threshold`."""
    way = np.where(probability[:, 0] > probability[:, 1], LOW, HIGH)
    return np.where(probability.sum(axis=1) > threshold, way, 0).astype(np.int8)


def at_most(
    lines: Sequence[Sequence[SimulatedStream]], found: Sequence[Sequence[FloatArray]], most: float
) -> tuple[float, list[Tally]]:
    """Return the lowest threshold with at most `most` false alarms per 1000 quiet readings, and the tally of each line.

    The highest threshold stands where none keeps to it.
    """
    tallies: list[Tally] = []
    for threshold in THRESHOLDS:
        tallies = [
            together([tally_stream(s, sides(p, threshold)) for s, p in zip(line, of_line, strict=True)])
            for line, of_line in zip(lines, found, strict=True)
        ]
        if together(tallies).false_per_1000 <= most:
            return float(threshold), tallies
    return float(THRESHOLDS[-1]), tallies


def main(words: Sequence[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench oracle", description=__doc__)
    parser.add_argument("--half", choices=sorted(HALVES), default="tune")
    parser.add_argument("--lines", type=int, default=2, help="tidy and rough lines each, about a minute a row and line")
    parser.add_argument("--kind", choices=sorted(MOST_FALSE), default="rough")
    given = parser.parse_args(words)
    seeds = HALVES[given.half][: given.lines]
    lines = [simulate_line(seed, rough=given.kind == "rough") for seed in seeds]
    heads = ("ahead %", "lead", "steps %", "false/1000")
    sys.stdout.write(f"{given.half} half, seeds {seeds[0]} to {seeds[-1]}, {given.kind} lines\n")
    sys.stdout.write(f"{'':<38} {' '.join(f'{head:>14}' for head in heads)} {'mean lead':>10} {'threshold':>10}\n")
    own = [together([tally_stream(stream, early_warning(stream)) for stream in line]) for line in lines]
    print_row("early warning", own, "its own")
    for name, course, level in ORACLES:
        found = [[probability_of_fault(stream, course=course, level=level) for stream in line] for line in lines]
        threshold, tallies = at_most(lines, found, MOST_FALSE[given.kind])
        print_row(name, tallies, f"{threshold:.2f}")


def print_row(name: str, tallies: Sequence[Tally], threshold: str) -> None:
    """Print the figures of one detector."""
    figures = with_uncertainty(tallies, np.random.default_rng(20250304))
    cells = " ".join(f"{value:7.2f} ±{error:5.2f}" for value, error in figures)
    mean = float(np.mean(together(tallies).leads))
    sys.stdout.write(f"{name:<38} {cells} {mean:10.1f} {threshold:>10}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
