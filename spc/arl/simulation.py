"""Run length by simulation, where nothing exact reaches."""

import math
from collections.abc import Sequence

import numpy as np

from spc.arl.histories import Track, tracks_of
from spc.arl.readings import NormalReadings
from spc.arl.run_length import PARTS, RunLength, Start, check_start
from spc.arrays import BoolArray, IntArray
from spc.errors import InputError
from spc.rules import RuleSetting
from spc.rules.table import Seen

LONGEST_WINDOW = 62
"""Flags that fit in one whole number of 64 bits."""

MOST_READINGS = 300_000_000


def simulated_run_length(
    settings: Sequence[RuleSetting],
    readings: NormalReadings,
    *,
    generator: np.random.Generator,
    moving_range_limit: float = math.inf,
    start: Start = "zero",
    runs: int = 10_000,
) -> RunLength:
    """Return the run length of a set of run rules from simulated runs.

    Args:
        settings: the rules switched on.
        readings: what is charted.
        generator: source of the readings.
        moving_range_limit: in sigmas; infinite where it does not signal.
        start: "zero" from a fresh chart; "steady" after twice the longest window of readings in control, of which
            runs that signal by then are left out.
        runs: how many are begun, at least 100.

    Raises:
        InputError: a rule that cannot be or looks back too far, too few runs, or rules that signal too rarely.
    """
    check_start(start)
    tracks = tracks_of(settings)
    longest = max(track.window for track in tracks)
    if runs < 100:
        raise InputError(f"{runs} runs asked for; give at least 100")
    if longest > LONGEST_WINDOW:
        raise InputError(f"a run rule looks back over more than {LONGEST_WINDOW} readings; give a shorter window")
    lead_in = 0 if start == "zero" else 2 * (longest + 2)
    lengths = _lengths(_Runs(tracks, readings, moving_range_limit, runs, generator), lead_in)
    if len(lengths) < 100:
        raise InputError(f"only {len(lengths)} of {runs} runs reach the steady state without a signal; give more runs")
    n = len(lengths)
    error = float(lengths.std(ddof=1)) / math.sqrt(n)
    p05, p10, p25, p50, p75, p90, p95 = np.quantile(lengths, PARTS, method="inverted_cdf").tolist()
    return RunLength("simulation", start, float(lengths.mean()), error, p05, p10, p25, p50, p75, p90, p95, n)


class _Runs:
    """Simulated runs side by side; those that signal drop out."""

    def __init__(
        self,
        tracks: tuple[Track, ...],
        readings: NormalReadings,
        limit: float,
        runs: int,
        generator: np.random.Generator,
    ) -> None:
        self.tracks, self.readings, self.limit, self.runs, self.generator = tracks, readings, limit, runs, generator
        self.off = readings.spread * generator.standard_normal(runs)  # next readings, from the level
        self.before = np.full(runs, np.nan)
        self.rose = self.fell = np.zeros(runs, dtype=np.bool_)
        self.histories = np.zeros((len(tracks), runs), dtype=np.int64)

    def read(self, shift: float) -> int:
        """Take one reading of each run, and return how many runs ended with it."""
        z = shift + self.off
        seen = Seen(z, z, z > self.before, z < self.before, self.rose, self.fell)
        going = ~(_record(self.tracks, seen, self.histories) | (np.abs(z - self.before) > self.limit))
        self.before, self.rose, self.fell = z[going], seen.rising[going], seen.falling[going]
        self.histories = self.histories[:, going]
        news = self.generator.standard_normal(len(self.before))
        self.off = self.readings.lag_correlation * self.off[going] + self.readings.step_sigma * news
        return len(z) - len(self.before)


def _lengths(runs: _Runs, lead_in: int) -> IntArray:
    """Return the readings until the first signal of each run that is left after the lead-in, in rising order."""
    for _ in range(lead_in):
        runs.read(0.0)
    ended: list[int] = []
    taken = 0
    while len(runs.before):
        taken += len(runs.before)
        if taken > MOST_READINGS:
            raise InputError(
                f"{len(runs.before)} of {runs.runs} simulated runs have no signal after {len(ended)} readings; "
                "these rules signal too rarely to simulate: give fewer runs, or rules that signal sooner"
            )
        ended.append(runs.read(runs.readings.shift))
    return np.repeat(np.arange(1, len(ended) + 1), ended)


def _record(tracks: tuple[Track, ...], seen: Seen, histories: IntArray) -> BoolArray:
    """Add one reading of each run to `histories`, and return which runs signal."""
    signal = np.zeros(histories.shape[1], dtype=np.bool_)
    for track, history in zip(tracks, histories, strict=True):
        flag = np.asarray(track.flag(seen, track.width), dtype=np.bool_)
        history <<= 1
        history |= flag
        history &= (1 << track.window) - 1
        signal |= flag & (np.bitwise_count(history) >= track.needed)
    return signal
