"""One new reading through the monitor with 10 million behind it, against the same with 100.

The state after so many is built from its parts: the model's by the compiled loop over all of them, the rules' by the
last hundred, the limits by the first twenty. What is timed is the public `monitor_next`, in processor time.
"""

import statistics
import sys
import time
from dataclasses import replace

import numpy as np

from spc.catalogue.load import starter
from spc.early_warning import stream_model
from spc.kernels.watch import watch_quietly
from spc.records import NO_OFFSET, Reading
from spc.step_monitor import MonitorState, monitor_next, monitor_start
from spc.times import from_microseconds
from tests.made import KEY, cut, made_readings

RUNS = 400
CHECK = replace(starter().checks["bath_concentration"], early_warning=True, resolution=0.005)


def readings(x: list[float], first: int) -> list[Reading]:
    """Return readings of these values, one every hour."""
    every = 3600 * 1_000_000
    return [
        Reading(KEY, from_microseconds((first + i) * every), NO_OFFSET, first + i, value) for i, value in enumerate(x)
    ]


def state_after(x: np.ndarray) -> MonitorState:
    """Return the state of the monitor after all of `x`."""
    n = len(x)
    state = monitor_start(cut(made_readings([0.0]), 0), (), CHECK)
    for reading in readings(x[:100].tolist(), 0):
        state, _ = monitor_next(state, reading)
    if n == 100:
        return state
    for reading in readings(x[-100:].tolist(), n - 100):
        state, _ = monitor_next(state, reading)
    same, nowhere = np.zeros(n, np.int8), np.zeros(n, np.bool_)
    step, lower, upper = np.full(n, 0.005), np.full(n, 0.1), np.full(n, 0.4)
    drift, _ = watch_quietly(
        stream_model(CHECK), x=x, bound=same, resolution=step, lower=lower, upper=upper, restart=nowhere
    )
    return replace(state, n=n, drift=drift)


def seconds(state: MonitorState, new: list[Reading]) -> float:
    """Return how long one new reading takes, as the median over `new`."""
    took = []
    for reading in new:
        started = time.process_time()
        state, _ = monitor_next(state, reading)
        took.append(time.process_time() - started)
    return statistics.median(took)


def main() -> None:
    """Print the ratio."""
    x = np.round(np.random.default_rng(3).normal(0.2, 0.012, 10_000_000), 3)
    long, short = state_after(x), state_after(x[:100])
    new = np.round(np.random.default_rng(4).normal(0.2, 0.012, RUNS), 3).tolist()
    pairs = [(seconds(long, readings(new, len(x))), seconds(short, readings(new, 100))) for _ in range(9)]
    ratios = [ours / theirs for ours, theirs in pairs]
    sys.stdout.write(
        f"one new reading, 10,000,000 behind it: {statistics.median(ratios):.2f} times the same with 100 behind it "
        f"(lowest {min(ratios):.2f}, highest {max(ratios):.2f}; {1e6 * pairs[0][0]:.0f} us)\n"
    )


if __name__ == "__main__":
    main()
