"""How early and how falsely each method warns, on simulated lines with known truth.

`--half tune` scores the lines that methods may be tuned on; `--half report`, the default, those that are only ever
scored.
"""

import argparse
import sys
import time
from collections.abc import Mapping, Sequence

import numpy as np

from tests.bench.lines.comparators import all_eight_rules, self_starting_cusum, three_sigma
from tests.bench.lines.model import early_warning
from tests.bench.lines.score import Method, Tally, tally_stream, together, with_uncertainty
from tests.bench.lines.simulate import REPORT_SEEDS, TUNE_SEEDS, simulate_line

METHODS: Mapping[str, Method] = {
    "20 readings, beyond three sigma": three_sigma,
    "20 readings, all eight run rules": all_eight_rules,
    "self-starting CUSUM, pooled": self_starting_cusum,
    "early warning": early_warning,
}
HALVES = {"tune": TUNE_SEEDS, "report": REPORT_SEEDS}


def main(words: Sequence[str] | None = None) -> None:
    """Print the table of all methods."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench early_warning", description=__doc__)
    parser.add_argument("--half", choices=sorted(HALVES), default="report")
    parser.add_argument("--lines", type=int, default=None, help="tidy and rough lines each; left out: all")
    parser.add_argument("--method", action="append", help="a word of the method's name; all methods if left out")
    given = parser.parse_args(words)
    seeds = HALVES[given.half][: given.lines]
    chosen = {name: method for name, method in METHODS.items() if any(m in name for m in given.method or [""])}
    heads = ("ahead %", "lead", "steps %", "false/1000")
    sys.stdout.write(
        f"{given.half} half, seeds {seeds[0]} to {seeds[-1]}: {len(seeds)} tidy and {len(seeds)} rough lines\n"
        f"{'method':<32} {'lines':<5} {' '.join(f'{head:>14}' for head in heads)} {'us/reading':>11}\n"
    )
    for rough in (False, True):
        print_kind(seeds, chosen, rough=rough)


def print_kind(seeds: Sequence[int], methods: Mapping[str, Method], *, rough: bool) -> None:
    """Print one row a method for tidy or rough lines."""
    tallies: dict[str, list[Tally]] = {name: [] for name in methods}
    seconds = dict.fromkeys(methods, 0.0)
    readings = 0
    for seed in seeds:
        streams = simulate_line(seed, rough=rough)
        readings += sum(map(len, streams))
        for name, method in methods.items():
            started = time.perf_counter()
            sides = [method(stream) for stream in streams]
            seconds[name] += time.perf_counter() - started
            tallies[name].append(together([tally_stream(s, side) for s, side in zip(streams, sides, strict=True)]))
    for name, lines in tallies.items():
        figures = with_uncertainty(lines, np.random.default_rng(20250304))
        cells = " ".join(f"{value:7.2f} ±{error:5.2f}" for value, error in figures)
        kind = "rough" if rough else "tidy"
        sys.stdout.write(f"{name:<32} {kind:<5} {cells} {1e6 * seconds[name] / readings:11.1f}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
