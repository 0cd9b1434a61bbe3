"""What could be had at best: a detector that is told what no detector can know.

It knows how each stream's readings scatter (sigma, tails, memory, the written step, rates of misreads, copies and cold
lamps), when a new segment began whether or not it was written down, and the true distribution from which the lines draw
the onset, shape, length and side of what goes wrong. Told the *course* too, it knows what the level would be without a
fault at every reading: every top-up, the ageing, the season. What it is not told is whether something has gone wrong:
it reckons the probability of that by Bayes' rule from the readings so far.

Each way of going wrong has its own filter of the noise that remembers, and of the segment's level where that is not
told. The filters take the score of the likelihood, so heavy tails, written steps and misreads are weighed as they
are. Approximations: every second onset stands for two, missing readings are not counted, and a course that is not told
is noise of its variance and memory.

Source:
    Shiryaev, A. N. (1963), On optimum methods in quickest detection problems, Theory of Probability and its
    Applications 8, 22-46; the filter: Masreliez, C. J. (1975), Approximate non-Gaussian filtering with linear state and
    observation relations, IEEE Transactions on Automatic Control 20, 107-110.
"""

import math
from dataclasses import dataclass

import numpy as np

from spc.arrays import FloatArray
from spc.records import Bound
from tests.bench.lines.truth import NoiseLaw, SimulatedStream

ONSETS = np.r_[5:20:2, 25:90:2]
"""Readings after which something may go wrong in a segment; every second one stands for two."""

_ONSET_SHARES = np.r_[np.full(8, 0.08 / 8), np.full(33, 0.92 / 33)]
_ORDINARY = {"bath_concentration": (70, 220), "uva_irradiance": (50, 180)}  # readings of a segment without a fault
_ORDINARY_ELSE = (70, 250)
_DRIFT, _STEP, _SUDDEN, _FAULTY = 0.30, 0.22, 0.03, 0.75
_SHARE_OF_SIDE_DOWN = {"bath_concentration": 0.75}
_STEP_SIGMAS = np.array([2.85, 3.75, 4.65, 5.55])
_DURATION_NODES = 5
_GRID = np.linspace(-16.0, 16.0, 1601)
_REACH, _STRIDE = 16.0, 32.0 / 1600
_SPREADS = 14  # uncertainties of the level for which the likelihood is tabulated
_LEVEL_SD = 8.0  # of a level that is not told, in sigmas: as good as unknown
_FAR = 14.0  # sigmas over which misreads are spread


@dataclass(frozen=True, slots=True)
class _Ways:
    """Ways of going wrong: `share` of the way to the limit at each reading since the onset, or a shift in sigmas."""

    weight: FloatArray  # shape (w,)
    side: FloatArray
    share: FloatArray  # shape (w, 250)
    shift: FloatArray  # shape (w,)
    ends: FloatArray  # readings after the onset by which somebody has put it right


def _shapes() -> list[tuple[float, FloatArray]]:
    """Return the shapes of drifts at 1000 points from 0 to 5 times their length, each with its share."""
    u = np.linspace(0.0, 5.0, 1000)
    levelling = (1.0 - np.exp(-1.2 * u)) / (1.0 - math.exp(-1.2))
    return [
        (0.34, u),
        (0.20, u**1.8),
        (0.16, levelling),
        (0.15, np.where(u > 0, 0.3 + 0.7 * u, 0.0)),
        (0.15, np.ceil(u * 6.0) / 6.0),
    ]


def _ways(stream: SimulatedStream) -> _Ways:
    from scipy.special import ndtri

    lasts = 40.0 if math.isfinite(stream.law.tail) else 32.0
    nodes = (np.arange(_DURATION_NODES) + 0.5) / _DURATION_NODES
    durations = np.clip(lasts * np.exp(0.5 * ndtri(nodes)), 12.0, 120.0)
    down = _SHARE_OF_SIDE_DOWN.get(stream.check, 0.5)
    down = 1.0 if math.isnan(stream.upper) else 0.0 if math.isnan(stream.lower) else down
    rows: list[tuple[float, float, FloatArray, float, float]] = []
    since = np.arange(1, 251)
    points = np.linspace(0.0, 5.0, 1000)
    for side, of_side in ((-1.0, down), (1.0, 1.0 - down)):
        if of_side:
            rows += [
                (_DRIFT * of_side * part / _DURATION_NODES, side, np.interp(since / d, points, shape), 0.0, d + 7.0)
                for d in durations
                for part, shape in _shapes()
            ]
    for side in (-1.0, 1.0):
        rows += [(_STEP / 2.0 / len(_STEP_SIGMAS), side, np.zeros(250), side * size, 80.0) for size in _STEP_SIGMAS]
    weight, sides, share, shift, ends = zip(*rows, strict=True)
    return _Ways(np.array(weight), np.array(sides), np.array(share), np.array(shift), np.array(ends))


class _Likelihood:
    """Distribution of the white noise about a level that is uncertain itself, in sigmas, tabulated."""

    def __init__(self, tail: float, white: float, most: float) -> None:
        """Tabulate; `white` is the standard deviation of the noise, `most` of the level."""
        from scipy.special import ndtr
        from scipy.stats import t as student

        self.spreads = np.geomspace(0.02, max(most, 0.04), _SPREADS)
        nodes, weight = np.polynomial.hermite_e.hermegauss(41)
        weight = weight / weight.sum()
        self.inside = np.empty((_SPREADS, len(_GRID)))
        scale = white if math.isinf(tail) else white * math.sqrt((tail - 2.0) / tail)
        for row, sd in enumerate(self.spreads):
            # the wider of the two is integrated smoothly over the nodes of the narrower
            if sd > white:
                probabilities = (np.arange(400) + 0.5) / 400
                noise = student.ppf(probabilities, tail) if math.isfinite(tail) else _normal_quantiles(probabilities)
                self.inside[row] = ndtr((_GRID[:, None] - scale * noise) / sd).mean(axis=1)
                continue
            z = (_GRID[:, None] - sd * nodes) / scale
            self.inside[row] = (student.cdf(z, tail) if math.isfinite(tail) else ndtr(z)) @ weight
        self.density = np.gradient(self.inside, _STRIDE, axis=1)
        self.slope = np.gradient(self.density, _STRIDE, axis=1)

    def row(self, sd: float) -> int:
        """Return the row of the tables for a level known to `sd` sigmas."""
        return int(np.abs(np.log(self.spreads / max(sd, 1e-9))).argmin())


def _normal_quantiles(probabilities: FloatArray) -> FloatArray:
    from scipy.special import ndtri

    return np.asarray(ndtri(probabilities))


def _read(table: FloatArray, z: FloatArray) -> FloatArray:
    at = np.clip((z + _REACH) / _STRIDE, 0.0, len(table) - 1.001)
    low = at.astype(np.int64)
    part = at - low
    return np.asarray(table[low] + part * (table[low + 1] - table[low]))


def probability_of_fault(stream: SimulatedStream, *, course: bool, level: bool) -> FloatArray:
    """Return the probability after each reading that a drift or a step is under way, shape (n, 2): low side, high side.

    Args:
        stream: with its truth.
        course: whether the oracle is told what the level would be without a fault, from reading to reading; else its
            spread about the segment's middle counts as noise that remembers.
        level: whether it is told the level that a segment began at (or its middle); else it learns it.
    """
    starts = np.flatnonzero(stream.began | (np.arange(len(stream)) == 0)).tolist()
    ways = _ways(stream)
    noise = _noise(stream, starts, course=course)
    result = np.zeros((len(stream), 2))
    for a, b in zip(starts, [*starts[1:], len(stream)], strict=True):
        result[a:b] = _segment(stream, slice(a, b), ways, noise, course=course, level=level)
    return result


@dataclass(frozen=True, slots=True)
class _Noise:
    table: _Likelihood
    slow: float  # variance of what remembers, in squared sigmas
    memory: float


def _scale(stream: SimulatedStream, value: FloatArray) -> FloatArray:
    if not stream.law.relative:
        return value
    return np.log(np.maximum(value, 1e-9))


def _noise(stream: SimulatedStream, starts: list[int], *, course: bool) -> _Noise:
    law = stream.law
    slow, memory = law.memory, 0.4 + 0.5 * law.memory
    if not course:
        quiet = _scale(stream, stream.quiet)
        parts = np.split(quiet, starts[1:])
        more = float(np.mean(np.concatenate([part - np.median(part) for part in parts]) ** 2)) / law.sigma**2
        if more > 0:
            memory = (slow * memory + more * 0.8) / (slow + more)
        slow += more
    most = math.hypot(_LEVEL_SD, math.sqrt(slow))
    return _Noise(_Likelihood(law.tail, math.sqrt(max(1.0 - law.memory, 1e-6)), most), slow, memory)


def _segment(
    stream: SimulatedStream, where: slice, ways: _Ways, noise: _Noise, *, course: bool, level: bool
) -> FloatArray:
    law, sigma = stream.law, stream.law.sigma
    value, copied_from = stream.value[where], np.r_[np.nan, stream.value[where][:-1]]
    quiet = _scale(stream, stream.quiet[where])
    if not course:
        quiet = np.full_like(quiet, np.median(quiet))
    half = law.step / 2.0
    below = stream.bound[where] == Bound.BELOW
    low = (_scale(stream, np.where(below, -1e9, value - half)) - quiet) / sigma
    high = (_scale(stream, np.where(below, half, value + half)) - quiet) / sigma
    limits = _scale(stream, np.array([stream.lower, stream.upper]))
    to_limit = np.where(np.isnan(limits), 0.0, (limits - quiet[:, None]) / sigma)  # shape (n, 2)
    shift_unit = math.hypot(
        1.0, law.step / (float(np.median(stream.quiet[where])) if law.relative else 1.0) / sigma / 3.5
    )
    n, w = len(value), len(ways.weight)
    onsets = ONSETS[n > ONSETS]
    # one filter per onset and way, and the last one for the quiet level
    shape = (len(onsets), w)
    slow, base, logs = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    quiet_filter = np.zeros(3)  # slow, base, log likelihood
    p = np.array([[0.0 if level else _LEVEL_SD**2, 0.0], [0.0, noise.slow]])
    prior = _FAULTY * _ONSET_SHARES[: len(onsets), None] * ways.weight
    ordinary = 1.0 - _FAULTY * (_DRIFT + _STEP + _SUDDEN)
    waiting_for = _FAULTY * (_DRIFT + _STEP + _SUDDEN)
    result = np.zeros((n, 2))
    was_copy = 0.0
    shortest, longest = _ORDINARY.get(stream.check, _ORDINARY_ELSE)
    side_high = (ways.side > 0).astype(np.int64)
    for t in range(n):
        if t:
            p[0, 1] *= noise.memory
            p[1, 0] = p[0, 1]
            p[1, 1] = noise.memory**2 * p[1, 1] + noise.slow * (1.0 - noise.memory**2)
        begun = int(np.searchsorted(onsets, t, side="right"))
        total = p.sum()
        row = noise.table.row(math.sqrt(max(total, 0.0)))
        copy = 0.0 if not law.copied else law.copied + (1.0 - law.copied) * 0.67 * was_copy
        same = value[t] == copied_from[t]
        gain = p.sum(axis=1)
        quiet_filter[0] *= noise.memory
        slow[:begun] *= noise.memory
        off = np.zeros((begun, w))
        if begun:
            since = t - onsets[:begun]
            share = ways.share[:, np.minimum(since, 249)].T
            off = share * to_limit[t, side_high] + ways.shift * shift_unit
        mean = np.concatenate(((off + slow[:begun] + base[:begun]).ravel(), [quiet_filter[0] + quiet_filter[1]]))
        likelihood, score, information = _weigh(noise.table, row, low[t] - mean, high[t] - mean, law, sigma)
        whole = (copy if same else 0.0) + (1.0 - copy) * likelihood
        score = score * (1.0 - copy) * likelihood / whole
        was_copy = copy / float(whole[-1]) if same and copy else 0.0
        quiet_filter += np.array([gain[1] * score[-1], gain[0] * score[-1], math.log(whole[-1])])
        if begun:
            score_ways, log_ways = score[:-1].reshape(begun, w), np.log(whole[:-1]).reshape(begun, w)
            slow[:begun] += gain[1] * score_ways
            base[:begun] += gain[0] * score_ways
            logs[:begun] += log_ways
        if begun < len(onsets):  # what has not begun is as the quiet level so far
            slow[begun:], base[begun:], logs[begun:] = quiet_filter
        p -= np.outer(gain, gain) * information
        left = min(1.0, max(0.01, (longest - t) / (longest - shortest)))
        quiet_weight = ordinary * left + waiting_for * float(_ONSET_SHARES[begun:].sum())
        if begun:
            alive = (t - onsets[:begun, None]) <= ways.ends
            odds = prior[:begun] * np.exp(np.minimum(logs[:begun] - quiet_filter[2], 600.0)) * alive
            sides = np.array([odds[:, side_high == 0].sum(), odds[:, side_high == 1].sum()])
            result[t] = sides / (quiet_weight + sides.sum())
    return result


def _weigh(
    table: _Likelihood, row: int, low: FloatArray, high: FloatArray, law: NoiseLaw, sigma: float
) -> tuple[FloatArray, FloatArray, float]:
    """Return likelihood, score and, of the last mean, the information of an interval of readings about each mean."""
    inside, density, slope = table.inside[row], table.density[row], table.slope[row]
    plain = np.maximum(_read(inside, high) - _read(inside, low), 1e-12)
    rise = _read(density, low) - _read(density, high)
    if law.cold:  # lamps read cold are 6 to 12 % too bright
        off = 0.085 / sigma
        warm = 1.0 - law.cold
        cold = np.maximum(_read(inside, high - off) - _read(inside, low - off), 0.0)
        rise = warm * rise + law.cold * (_read(density, low - off) - _read(density, high - off))
        plain = warm * plain + law.cold * cold
    width = min(float(high[-1] - low[-1]), 2.0)
    likelihood = (1.0 - law.misread) * plain + law.misread * width / _FAR + 1e-12
    score = (1.0 - law.misread) * rise / likelihood
    bend = float(_read(slope, high[-1:])[0] - _read(slope, low[-1:])[0]) * (1.0 - law.misread)
    information = float(score[-1]) ** 2 - bend / float(likelihood[-1])
    return likelihood, score, max(0.0, information)
