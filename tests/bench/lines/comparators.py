"""The methods that early warning is compared with, each with nothing set by hand."""

import math

import numpy as np

from spc.arrays import FloatArray
from spc.charts.individuals import individuals_limits
from spc.rules import ALL_EIGHT, in_sigmas, run_rules
from spc.sigma import D2_FOR_PAIRS
from tests.bench.lines.score import ANY, SideArray
from tests.bench.lines.truth import SimulatedStream

BASELINE = 20


def _segments(stream: SimulatedStream) -> list[slice]:
    starts = sorted({0, *np.flatnonzero(stream.reset).tolist()})
    return [slice(a, b) for a, b in zip(starts, [*starts[1:], len(stream)], strict=True)]


def _written_step(values: FloatArray) -> float:
    """Return the smallest difference between two written readings, the step a person sees on the chart."""
    steps = np.diff(np.unique(values))
    return float(steps.min()) if len(steps) else 1e-9


def _in_sigmas_of_the_baseline(x: FloatArray) -> FloatArray:
    limits = individuals_limits(x[:BASELINE], resolution=_written_step(x[:BASELINE]))
    return in_sigmas(x, limits.centre_line, limits.sigma)


def three_sigma(stream: SimulatedStream) -> SideArray:
    """Limits from the first 20 readings after a resetting event; a reading beyond three sigma signals."""
    side = np.zeros(len(stream), dtype=np.int8)
    for segment in _segments(stream):
        x = stream.value[segment]
        if len(x) > BASELINE:
            z = _in_sigmas_of_the_baseline(x)
            after = np.arange(len(x)) >= BASELINE
            side[segment] = np.where(after & (np.abs(z) > 3.0), np.sign(z), 0)
    return side


def all_eight_rules(stream: SimulatedStream) -> SideArray:
    """The same limits with all eight run rules."""
    side = np.zeros(len(stream), dtype=np.int8)
    for segment in _segments(stream):
        x = stream.value[segment]
        if len(x) <= BASELINE:
            continue
        z = _in_sigmas_of_the_baseline(x)
        hits = run_rules(z, z, ALL_EIGHT, boundaries=np.zeros(len(z), dtype=np.bool_))
        found = np.zeros(len(x), dtype=np.int8)
        for index, towards in zip(hits.index, hits.side, strict=True):
            if index >= BASELINE:
                found[index] = towards if found[index] in (0, towards) and towards else ANY
        side[segment] = found
    return side


def self_starting_cusum(stream: SimulatedStream, *, k: float = 0.75, h: float = 7.0) -> SideArray:
    """A CUSUM that needs no baseline: each reading against the level before it, sigma pooled over all segments.

    The level of a new segment starts from those of earlier segments, weighed by how much they differed. A sum that
    has signalled for 20 readings is taken for the new level.

    Source:
        Hawkins, D. M. (1987), Self-starting CUSUM charts for location and scale, The Statistician 36, 299-315.
    """
    side = np.zeros(len(stream), dtype=np.int8)
    x, reset = stream.value, stream.reset
    floor = _written_step(x[:BASELINE]) / math.sqrt(12.0)
    ranges, n_ranges, levels = 0.0, 0, []
    mean, weight, n, up, down, lasting = 0.0, 0.0, 0, 0.0, 0.0, 0
    for t in range(len(x)):
        if reset[t] or lasting >= 20:
            if n >= 5 and reset[t]:
                levels.append(mean)
            sigma = max(floor, ranges / max(n_ranges, 1) / D2_FOR_PAIRS)
            between = float(np.var(levels)) if len(levels) >= 3 else math.inf
            mean = float(np.mean(levels)) if levels and reset[t] else x[t]
            weight = min(20.0, sigma**2 / max(between, 1e-12)) if reset[t] and levels else 0.0
            n, up, down, lasting = 0, 0.0, 0.0, 0
        sigma = max(floor, ranges / max(n_ranges, 1) / D2_FOR_PAIRS)
        if n_ranges >= 8 and weight + n >= 3:
            z = (x[t] - mean) / (sigma * math.sqrt(1.0 + 1.0 / (weight + n)))
            up, down = max(0.0, up + z - k), max(0.0, down - z - k)
        signalled = up > h or down > h
        if signalled:
            side[t] = 1 if up > h else -1
            up, down = min(up, h + 4), min(down, h + 4)
        lasting = lasting + 1 if signalled else 0
        if n > 0 and not signalled:
            ranges, n_ranges = ranges + abs(x[t] - x[t - 1]), n_ranges + 1
        if not signalled:
            n += 1
            mean += (x[t] - mean) / (weight + n)
    return side
