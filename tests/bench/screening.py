"""What screening finds of what is planted, and what it asks on lines where there is nothing to ask.

A line is 40 streams over two years, tidy or rough, drawn as for the measurement of early warning but without faults,
copied readings or misreads. `--half tune` scores the lines that screening may be tuned on; `--half report`, the
default, those that are only ever scored.
"""

import argparse
import math
import sys
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spc.arrays import FloatArray, frozen
from spc.catalogue.load import starter
from spc.monitor import monitor_stream
from spc.records import NO_OFFSET, Bound, Readings, StreamKey
from spc.results import StreamResult
from spc.screening import Question, screen
from tests.bench.lines.habits import Habits, draw_habits
from tests.bench.lines.sources import PLAN, Source
from tests.bench.lines.writing import write

HALVES = {"tune": range(2_000, 2_060), "report": range(8_000, 8_060)}

PLANTED = 20
"""Lines of a half in which something is planted; the others are only ever clean."""

EVERY = 3
"""Of the 120 streams of a line, every third is taken: 40."""

START = 1_700_000_000_000_000  # microseconds since 1970-01-01 UTC
HOUR = 3_600_000_000
SET_POINT = 1000.0  # A, of the ammeters


@dataclass(frozen=True, slots=True)
class Log:
    """One stream as written, before anything is planted; every array has shape (n,)."""

    key: StreamKey
    step: float
    hours: float  # between readings
    value: FloatArray
    bound: NDArray[np.int8]
    reference: FloatArray
    taken_at: NDArray[np.int64]

    def with_values(self, value: FloatArray) -> "Log":
        """Return the stream with other numbers."""
        return replace(self, value=value)


def clean_line(seed: int, *, rough: bool) -> list[Log]:
    """Return the streams of a line without anything to ask."""
    draws = [draw for draw, count in PLAN for _ in range(count)][::EVERY]
    return [
        clean_stream(np.random.default_rng([seed, int(rough), number]), number, draw, rough=rough)
        for number, draw in enumerate(draws)
    ]


def clean_stream(
    rng: np.random.Generator, number: int, draw: Callable[[np.random.Generator, Habits], Source], *, rough: bool
) -> Log:
    """Return one stream: quiet from change to change, read with its line's noise and steps."""
    habits = replace(draw_habits(rng, rough=rough), copied=0.0, misread=0.0, cold=0.0)
    source = draw(rng, habits)
    values, bounds, n = [], [], 0
    while n < source.n:
        level, _ = source.quiet(rng, int(rng.integers(*source.segment)))
        written = write(rng, level, source, habits)
        kept = rng.random(len(level)) >= habits.missing
        values.append(written.value[kept])
        bounds.append(written.bound[kept])
        n += int(kept.sum())
        source.renew(rng)
    value, step = np.concatenate(values), source.step
    reference = np.full(len(value), np.nan)
    if source.check == "ammeter":
        value, step, reference = SET_POINT * (1 + value / 100), SET_POINT * step / 100, np.full(len(value), SET_POINT)
    return Log(
        key=StreamKey("Line A", source.check, f"{number:02}"),
        step=step,
        hours=source.hours,
        value=np.round(value, 6),
        bound=np.concatenate(bounds),
        reference=reference,
        taken_at=START + (np.arange(len(value)) * source.hours * HOUR).astype(np.int64),
    )


def result_of(log: Log) -> StreamResult:
    """Return the stream as screening takes it."""
    n = len(log.value)
    text = frozen(np.full(n, "", dtype=np.object_))
    readings = Readings(
        key=log.key,
        taken_at=frozen(log.taken_at.copy()),
        offset=frozen(np.full(n, NO_OFFSET, dtype=np.int16)),
        row=frozen(np.arange(2, n + 2, dtype=np.int64)),
        value=frozen(log.value.copy()),
        bound=frozen(log.bound.copy()),
        word=text,
        reference=frozen(log.reference.copy()),
        instrument=text,
        technician=text,
        shift=text,
        note=text,
    )
    check = replace(starter().checks[log.key.check], early_warning=False)  # screening asks nothing of it
    return monitor_stream(readings, (), check)


@dataclass(frozen=True, slots=True)
class Planted:
    """Streams with something planted, and where."""

    name: str
    logs: tuple[Log, ...]
    rows: frozenset[int]  # any of them in a question of the kind counts as found
    kinds: tuple[str, ...]


Plant = Callable[[np.random.Generator, Sequence[Log]], Planted | None]


def rows_of(places: Sequence[int] | NDArray[np.int64]) -> frozenset[int]:
    """Return the row numbers of places in a stream."""
    return frozenset(int(place) + 2 for place in places)


def plain(log: Log) -> Log | None:
    """Return the stream if all its readings are numbers above 0 in numbers enough, else None."""
    return log if len(log.value) >= 100 and (log.bound == Bound.EXACT).all() and (log.value > 0).all() else None


def equal_share(log: Log) -> float:
    """Return the share of readings that repeat the one before."""
    return float(np.mean(np.diff(log.value) == 0))


def copied(length: int) -> Plant:
    """Plant a run of one number."""

    def plant(rng: np.random.Generator, logs: Sequence[Log]) -> Planted | None:
        (log,) = logs
        start = int(rng.integers(20, len(log.value) - length - 20))
        if (log.bound[start : start + length] != Bound.EXACT).any():
            return None
        value = log.value.copy()
        value[start : start + length] = value[start]
        share = equal_share(log)
        like = "under 20 %" if share < 0.2 else "20 to 50 %" if share < 0.5 else "over 50 %"
        name = f"copied, {length} readings, where {like} repeat"
        return Planted(name, (log.with_values(value),), rows_of(range(start, start + length)), ("copied",))

    return plant


def quieter(length: int, share: float) -> Plant:
    """Plant a stretch that scatters by `share` of what it should."""

    def plant(rng: np.random.Generator, logs: Sequence[Log]) -> Planted | None:
        (log,) = logs
        if equal_share(log) > 0.35 or (log.bound != Bound.EXACT).any():
            return None
        start = int(rng.integers(20, len(log.value) - length - 20))
        places = np.arange(start, start + length)
        level = np.convolve(log.value, np.ones(9) / 9, mode="same")
        value = log.value.copy()
        value[places] = np.round((level + share * (log.value - level))[places] / log.step) * log.step
        name = f"scatter {share:g} of the usual, {length} readings"
        return Planted(name, (log.with_values(np.round(value, 6)),), rows_of(places), ("little_variation", "copied"))

    return plant


def coarser(length: int, times: int) -> Plant:
    """Plant a stretch written in steps `times` as coarse."""

    def plant(rng: np.random.Generator, logs: Sequence[Log]) -> Planted | None:
        (log,) = logs
        if equal_share(log) > 0.35 or (log.bound != Bound.EXACT).any():
            return None
        start = int(rng.integers(20, len(log.value) - length - 20))
        places, wide = np.arange(start, start + length), times * log.step
        value = log.value.copy()
        value[places] = np.round(np.round(value[places] / wide) * wide, 6)
        name = f"steps {times} times as coarse, {length} readings"
        kinds = ("coarser_steps", "copied", "little_variation")
        return Planted(name, (log.with_values(value),), rows_of(places), kinds)

    return plant


def favourite(share: float) -> Plant:
    """Plant a favourite: `share` of all readings is rounded to five steps."""

    def plant(rng: np.random.Generator, logs: Sequence[Log]) -> Planted | None:
        (log,) = logs
        if equal_share(log) > 0.35 or (log.bound != Bound.EXACT).any():
            return None
        wide, rounded = 5 * log.step, rng.random(len(log.value)) < share
        value = np.where(rounded, np.round(np.round(log.value / wide) * wide, 6), log.value)
        rows = rows_of(range(len(value)))
        name = f"{share:.0%} of readings rounded to 5 steps"
        return Planted(name, (log.with_values(value),), rows, ("digit_preference", "coarser_steps"))

    return plant


def slipped(factor: float, length: int, check: str = "") -> Plant:
    """Plant readings in another unit, or with the point elsewhere, written with as many places as the others."""

    def plant(rng: np.random.Generator, logs: Sequence[Log]) -> Planted | None:
        (log,) = logs
        if plain(log) is None or check not in ("", log.key.check):
            return None
        start = int(rng.integers(20, len(log.value) - length - 20))
        value = log.value.copy()
        digits = [float(f"{x * factor:.3g}") for x in value[start : start + length]]
        value[start : start + length] = digits
        where = f" in {check}" if check else ""
        name = f"{length} reading{'s' * (length > 1)} times {factor:g}{where}"
        return Planted(name, (log.with_values(value),), rows_of(range(start, start + length)), ("unit_slip",))

    return plant


def exchanged(length: int) -> Plant:
    """Plant rounds in which two lamps a sixth or more apart are written in each other's place."""

    def plant(rng: np.random.Generator, logs: Sequence[Log]) -> Planted | None:
        a, b = logs
        n = min(len(a.value), len(b.value))
        start = int(rng.integers(20, n - length - 20))
        places = np.arange(start, start + length)
        near = slice(start - 10, start + length + 10)
        apart = abs(math.log(float(np.median(a.value[near]) / np.median(b.value[near]))))
        if a.hours != b.hours or apart < 1 / 6:
            return None
        value_a, value_b = a.value.copy(), b.value.copy()
        value_a[places], value_b[places] = b.value[places], a.value[places]
        size = "17 to 35" if apart < 0.35 else "over 35"
        name = f"two lamps {size} % apart exchanged, {length} round{'s' * (length > 1)}"
        both = (a.with_values(value_a), b.with_values(value_b))
        return Planted(name, both, rows_of(places), ("exchanged_positions",))

    return plant


def columns_exchanged(rng: np.random.Generator, logs: Sequence[Log]) -> Planted | None:
    """Plant one row with value and reference exchanged."""
    (log,) = logs
    place = int(rng.integers(20, len(log.value) - 20))
    if log.key.check != "ammeter" or log.value[place] == log.reference[place]:
        return None
    value, reference = log.value.copy(), log.reference.copy()
    value[place], reference[place] = log.reference[place], log.value[place]
    planted = replace(log, value=value, reference=reference)
    return Planted("value and reference exchanged, 1 row", (planted,), rows_of([place]), ("exchanged_columns",))


PLANTS: tuple[Plant, ...] = (
    *(copied(length) for length in (6, 8, 12, 20, 40)),
    *(quieter(length, 0.33) for length in (30, 60)),
    coarser(30, 5),
    coarser(15, 10),
    favourite(0.3),
    favourite(0.6),
    slipped(10.0, 1),
    slipped(0.1, 1),
    slipped(0.01, 1),
    slipped(10.764, 1, "ambient_light"),
    slipped(10.764, 3, "ambient_light"),
    slipped(0.001, 1, "uva_irradiance"),
    slipped(0.001, 10, "uva_irradiance"),
    columns_exchanged,
)
PAIR_PLANTS: tuple[Plant, ...] = (exchanged(1), exchanged(3), exchanged(10))


def planted_line(rng: np.random.Generator, logs: Sequence[Log], turn: int) -> list[Planted]:
    """Return a line with something planted in every stream that allows it; `turn` moves on what is planted where."""
    lamps = [log for log in logs if log.key.check == "uva_irradiance"]
    in_pairs = lamps[:4]
    planted = [PAIR_PLANTS[(turn + n // 2) % 3](rng, in_pairs[n : n + 2]) for n in (0, 2)]
    rest = [log for log in logs if all(log is not lamp for lamp in in_pairs)]
    planted += [_first_that_fits(rng, log, turn + 5 * n) for n, log in enumerate(rest)]
    return [each for each in planted if each is not None]


def _first_that_fits(rng: np.random.Generator, log: Log, turn: int) -> Planted | None:
    tried = (PLANTS[(turn + more) % len(PLANTS)](rng, [log]) for more in range(len(PLANTS)))
    return next((planted for planted in tried if planted is not None), None)


def found(planted: Planted, questions: Sequence[Question]) -> bool:
    """Return whether a question of the right kind is about what was planted."""
    keys = {log.key for log in planted.logs}
    return any(
        question.kind in planted.kinds and keys & set(question.keys) and planted.rows & set(question.rows)
        for question in questions
    )


def expected(question: Question, logs: Mapping[StreamKey, Log]) -> bool:
    """Return whether a question on a clean line is right: the stream is written in coarser steps than can be read."""
    resolution = starter().checks[question.keys[0].check].resolution
    coarse = resolution is not None and logs[question.keys[0]].step > resolution
    return question.kind == "coarser_steps" and coarse


def with_range(hits: int, n: int) -> str:
    """Return a share in percent with its 95 % range (Wilson 1927)."""
    if n == 0:
        return "none tried"
    z, p = 1.96, hits / n
    centre, half = p + z * z / (2 * n), z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    low, high = (max(0.0, centre + way * half) / (1 + z * z / n) for way in (-1, 1))
    return f"{100 * p:5.1f} %  ({100 * low:.0f} to {100 * high:.0f} %, {hits} of {n})"


def main(words: Sequence[str] | None = None) -> None:
    """Print false and found rates."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench screening", description=__doc__)
    parser.add_argument("--half", choices=sorted(HALVES), default="report")
    parser.add_argument(
        "--lines", type=int, default=None, help="tidy and rough lines each; all of the half if left out"
    )
    parser.add_argument(
        "--turns", type=int, default=4, help="times that something is planted in a line; 0: clean ones alone"
    )
    given = parser.parse_args(words)
    seeds = HALVES[given.half][: given.lines]
    sys.stdout.write(
        f"{given.half} half, seeds {seeds[0]} to {seeds[-1]}: {len(seeds)} tidy and {len(seeds)} rough lines of 40 "
        "streams, two years each\n"
    )
    for rough in (False, True):
        print_kind(seeds, given.turns, rough=rough)


def print_kind(seeds: Sequence[int], turns: int, *, rough: bool) -> None:
    """Print the rates on tidy or on rough lines."""
    word = "rough" if rough else "tidy"
    asked, false_kinds, coarse = 0, Counter[str](), 0
    hits, tried = Counter[str](), Counter[str]()
    for place, seed in enumerate(seeds):
        logs = clean_line(seed, rough=rough)
        by_key = {log.key: log for log in logs}
        questions = screen([result_of(log) for log in logs])
        false = [question for question in questions if not expected(question, by_key)]
        asked += bool(false)
        false_kinds.update(question.kind for question in false)
        coarse += len(questions) - len(false)
        for turn in range(turns if place < PLANTED else 0):
            rng = np.random.default_rng([seed, int(rough), 1_000 + turn])
            planted = planted_line(rng, logs, 7 * turn + seed)
            results = [result_of(log) for each in planted for log in each.logs]
            questions = screen(results)
            for each in planted:
                tried[each.name] += 1
                hits[each.name] += found(each, questions)
    sys.stdout.write(
        f"\n{word} lines with a question although there is nothing to ask: {with_range(asked, len(seeds))}\n"
    )
    kinds = ", ".join(f"{kind} {count}" for kind, count in sorted(false_kinds.items())) or "none"
    sys.stdout.write(f"such questions by kind: {kinds}\n")
    sys.stdout.write(f"streams written in coarser steps than the catalogue says, and asked about: {coarse}\n")
    for name in sorted(tried):
        sys.stdout.write(f"{name:<58} {with_range(hits[name], tried[name])}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
