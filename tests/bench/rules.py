"""Moving range, limits and the eight rules on 10 million readings: compiled, against numpy and one pass of `x.sum()`.

Limits come from the first 20 readings of each stream, as in the monitor. numpy is the plain `run_rules`: once over all
streams with their starts as boundaries, and (for 50 streams) once a stream; the faster of the two is the yardstick.
With `--model`: the early warning over the first million, against the compiled rules on the same.
"""

import statistics
import sys
import time
from collections.abc import Callable

import numpy as np

from spc.charts.individuals import individuals_limits
from spc.kernels import LimitsOfMany, limits_of_many, rule_hits_of_many
from spc.rules import ALL_EIGHT, Hits, in_sigmas, run_rules

N = 10_000_000
BASELINE = 20
RUNS = 5


def seconds(work: Callable[[], object]) -> float:
    """Return how long `work` takes."""
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def compiled(x: np.ndarray, first: np.ndarray, stop: np.ndarray) -> tuple[LimitsOfMany, Hits]:
    """Return limits and hits of all streams by the compiled loops."""
    limits = limits_of_many(x, first, first + BASELINE, step=np.full(len(first), 0.001))
    hits = rule_hits_of_many(
        x,
        first,
        stop,
        ALL_EIGHT,
        centre_line=limits.centre_line,
        sigma=limits.sigma,
        monitored=first + BASELINE,
        moving_range_upper=limits.moving_range_upper,
    )
    return limits, hits


def flat(x: np.ndarray, first: np.ndarray, size: int) -> Hits:
    """Return the same hits by numpy over all streams at once; limits by numpy too, in the last bits not the same."""
    rows = x.reshape(-1, size)
    baseline = rows[:, :BASELINE]
    centre = baseline.mean(axis=1)
    sigma = np.abs(np.diff(baseline, axis=1)).mean(axis=1) * np.sqrt(np.pi) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.rint((rows - centre[:, None]) / sigma[:, None] * 1e9).ravel() / 1e9
    boundaries = np.zeros(len(x), dtype=np.bool_)
    boundaries[first] = True
    hits = run_rules(z, z, ALL_EIGHT, boundaries=boundaries)
    ranges = np.abs(np.diff(x)) > np.repeat(3.2665 * 2 / np.sqrt(np.pi) * sigma, size)[1:]
    assert ranges.any()
    return hits


def by_stream(x: np.ndarray, first: np.ndarray, size: int) -> int:
    """Return how many hits numpy finds stream by stream."""
    found = 0
    for start in first.tolist():
        own = x[start : start + size]
        limits = individuals_limits(own[:BASELINE], resolution=0.001)
        z = in_sigmas(own, limits.centre_line, limits.sigma)
        found += len(run_rules(z, z, ALL_EIGHT))
        found += int((np.abs(np.diff(own)) > limits.moving_range_upper).sum())
    return found


def main(words: list[str]) -> None:
    """Print the ratios for 50 and 100,000 streams."""
    for k in (50, 100_000):
        size = N // k
        x = np.round(np.random.default_rng(1).normal(0.2, 0.012, N), 3)
        first = np.arange(k) * size
        stop = first + size
        compiled(x, first, stop)  # compiles, or loads what was compiled before
        runs = [(seconds(lambda: compiled(x, first, stop)), seconds(x.sum)) for _ in range(RUNS)]  # noqa: B023
        plain = [seconds(lambda: flat(x, first, size)) for _ in range(2)]  # noqa: B023
        if k <= 1000:
            plain += [seconds(lambda: by_stream(x, first, size)) for _ in range(2)]  # noqa: B023
        ours = statistics.median(run for run, _ in runs)
        passes = statistics.median(run / one for run, one in runs)
        sys.stdout.write(
            f"limits, moving range, eight rules, {N:,} readings of {k:,} streams: {passes:.0f} passes of x.sum(), "
            f"{min(plain) / ours:.0f} times faster than numpy (median {ours:.3f} s of {RUNS} runs)\n"
        )
        if "--model" in words:
            model(x[: N // 10], first[: k // 10], size)


def model(x: np.ndarray, first: np.ndarray, size: int) -> None:
    """Print how long the early warning takes against the compiled rules."""
    from spc.drift import StreamModel
    from spc.kernels.watch import watch_quietly

    exact, nowhere = np.zeros(size, np.int8), np.zeros(size, np.bool_)
    step, lower, upper = np.full(size, 0.005), np.full(size, 0.1), np.full(size, 0.4)
    settings = StreamModel(log=False, sigma=0.012)

    def watch() -> None:
        for start in first.tolist():
            own = x[start : start + size]
            watch_quietly(settings, x=own, bound=exact, resolution=step, lower=lower, upper=upper, restart=nowhere)

    watch()
    ratios = [seconds(watch) / seconds(lambda: compiled(x, first, first + size)) for _ in range(3)]
    sys.stdout.write(
        f"early warning, {len(x):,} readings of {len(first):,} streams: {statistics.median(ratios):.0f} times the "
        f"compiled rules (lowest {min(ratios):.0f}, highest {max(ratios):.0f})\n"
    )


if __name__ == "__main__":
    main(sys.argv[1:])
