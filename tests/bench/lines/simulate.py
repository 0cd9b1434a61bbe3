"""Lines of 120 streams over two years, drawn from a seed."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spc.arrays import BoolArray, FloatArray, frozen
from tests.bench.lines.faults import Fault, draw_fault, harmless, with_fault
from tests.bench.lines.habits import Habits, draw_habits
from tests.bench.lines.sources import PLAN, Source
from tests.bench.lines.truth import AHEAD, FailingDrift, HarmlessStep, NoiseLaw, SimulatedStream, State
from tests.bench.lines.writing import write

TUNE_SEEDS = range(1_000, 1_012)
"""Lines that methods may be built and tuned on."""

REPORT_SEEDS = range(12_000, 12_012)
"""Lines that are only ever scored: whoever tunes a method does not look at them."""

GRAMS = 1000.0
"""What is weighed in to raise a bath by 1 mL/100 mL, if all of it were found again."""

AFTER_UNRECORDED = 40
"""Readings after a fault went away without a word for which a signal is still about a real step."""


def simulate_line(seed: int, *, rough: bool) -> list[SimulatedStream]:
    """Return the streams of one line."""
    streams = []
    for number, draw in enumerate(draw for draw, count in PLAN for _ in range(count)):
        rng = np.random.default_rng([seed, int(rough), number])
        habits = draw_habits(rng, rough=rough)
        streams.append(_stream(rng, f"{seed}-{number:03}", seed, draw(rng, habits), habits))
    return streams


@dataclass(slots=True)
class _Course:
    """A stream in the making: one array a segment in each list."""

    n: int = 0
    columns: dict[str, list[NDArray[Any]]] = field(default_factory=dict)
    drifts: list[FailingDrift] = field(default_factory=list)
    steps: list[HarmlessStep] = field(default_factory=list)

    def add(self, **columns: NDArray[Any]) -> None:
        for name, column in columns.items():
            self.columns.setdefault(name, []).append(column)
        self.n += len(columns["value"])

    def whole(self, name: str) -> NDArray[Any]:
        return np.concatenate(self.columns[name])


def _stream(rng: np.random.Generator, name: str, seed: int, source: Source, habits: Habits) -> SimulatedStream:
    course = _Course()
    recorded, aftermath = True, 0
    while course.n < source.n:
        fault = draw_fault(rng, source, faulty=habits.faulty, left=source.n - course.n)
        _add_segment(rng, course, source, habits, fault, recorded=recorded, aftermath=aftermath)
        recorded, aftermath = _end(rng, fault, habits)
        source.renew(rng)
    value = course.whole("value")
    gaps = rng.choice([1.0, 2.0, 3.0, 10.0], len(value), p=[0.9, 0.06, 0.03, 0.01]) * source.hours
    return SimulatedStream(
        name=name,
        check=source.check,
        line=seed,
        lower=source.lower,
        upper=source.upper,
        hours=frozen(np.cumsum(gaps) - gaps[0]),
        value=frozen(value),
        bound=frozen(course.whole("bound")),
        reset=frozen(course.whole("reset")),
        fed=frozen(course.whole("fed")),
        amount=frozen(course.whole("amount")),
        level=frozen(course.whole("level")),
        quiet=frozen(course.whole("quiet")),
        began=frozen(course.whole("began")),
        law=NoiseLaw(
            sigma=source.sigma,
            relative=source.relative,
            step=source.step,
            tail=habits.tail,
            memory=habits.memory,
            misread=habits.misread,
            cold=habits.cold if source.check == "uva_irradiance" else 0.0,
            copied=habits.copied,
        ),
        state=frozen(course.whole("state")),
        copied=frozen(course.whole("copied")),
        fails_in=frozen(course.whole("fails_in")),
        drifts=tuple(course.drifts),
        steps=tuple(course.steps),
    )


def _end(rng: np.random.Generator, fault: Fault, habits: Habits) -> tuple[bool, int]:
    """Return whether the change that ends a segment is written down, and for how long a fault's end is a real step."""
    if fault.kind == "none":
        return bool(rng.random() >= habits.unrecorded), 0
    recorded = bool(rng.random() >= 0.4 * habits.unrecorded)
    return recorded, 0 if recorded else AFTER_UNRECORDED


def _add_segment(
    rng: np.random.Generator,
    course: _Course,
    source: Source,
    habits: Habits,
    fault: Fault,
    *,
    recorded: bool,
    aftermath: int,
) -> None:
    long = fault.length + AHEAD
    quiet, dose = source.quiet(rng, long)
    level = with_fault(quiet, fault, source)
    if fault.kind == "step" and not harmless(level[: fault.length], quiet, source):
        fault, level = Fault("none", 0, fault.length), quiet
    written = write(rng, level, source, habits)
    kept = rng.random(long) >= habits.missing
    state = _states(level, fault, aftermath)
    state[(state == State.QUIET) & ((level < source.lower) | (level > source.upper))] = State.STEP
    state[written.slip] = State.SLIP
    recorded_dose = np.where((dose > 0) & (rng.random(long) < habits.top_up_recorded), dose, 0.0)
    length = int(kept[: fault.length].sum())
    reset = np.zeros(long, dtype=np.bool_)
    value, level, state = written.value[kept], level[kept], state[kept]
    reset[0] = recorded and course.n > 0
    _note_fault(course, fault, level, kept, source)
    columns: dict[str, NDArray[Any]] = {
        "quiet": quiet[kept],
        "began": np.arange(len(value)) == 0,
        "value": value,
        "bound": written.bound[kept],
        "reset": reset,
        "fed": _since_kept(recorded_dose > 0, kept),
        "amount": _amounts(recorded_dose, kept, weighed=not habits.rough),
        "level": level,
        "state": state,
        "copied": written.copied[kept],
        "fails_in": _fails_in(value, level, source),
    }
    course.add(**{name: column[:length] for name, column in columns.items()})


def _since_kept(happened: NDArray[Any], kept: BoolArray) -> NDArray[Any]:
    """Return how much happened since the kept reading before, for each kept reading."""
    return np.diff(np.cumsum(happened)[kept], prepend=0)


def _amounts(dose: FloatArray, kept: BoolArray, *, weighed: bool) -> FloatArray:
    """Return what is written of the amounts; NaN where there is none, as there is for doses by feel."""
    total = _since_kept(dose, kept)
    return np.where((total > 0) & weighed, np.round(GRAMS * total), np.nan)


def _states(level: FloatArray, fault: Fault, aftermath: int) -> NDArray[np.int8]:
    state = np.full(len(level), State.QUIET, dtype=np.int8)
    state[:aftermath] = State.STEP
    if fault.kind == "drift":
        state[fault.onset :] = State.DRIFT
    elif fault.kind != "none":
        state[fault.onset :] = State.STEP
    return state


def _note_fault(course: _Course, fault: Fault, level: FloatArray, kept: BoolArray, source: Source) -> None:
    """Add the fault to the stream's truth, counted in readings that were taken."""
    onset = course.n + int(kept[: fault.onset].sum())
    end = course.n + int(kept[: fault.length].sum())
    if fault.kind == "step":
        course.steps.append(HarmlessStep(onset, end, fault.side))
    if fault.kind == "drift":
        limit = source.lower if fault.side < 0 else source.upper
        beyond = np.flatnonzero((fault.side * (level - limit) > 0) & (course.n + np.arange(len(level)) >= onset))
        if len(beyond) and course.n + beyond[0] < end:
            course.drifts.append(FailingDrift(onset, course.n + int(beyond[0]), fault.side, fault.shape))


def _fails_in(value: FloatArray, level: FloatArray, source: Source) -> FloatArray:
    """Return how many readings on the next one is written that is outside; inf where none of the next AHEAD is.

    A misread outside the limits is no failure of the line: of those, only readings whose level is outside too count.
    """
    far = np.abs(value - level) > 6 * (source.sigma * level if source.relative else source.sigma) + source.step
    slack = 1e-9
    out = (value < source.lower - slack) | (value > source.upper + slack)
    out &= ~far | (level < source.lower) | (level > source.upper)
    at = np.flatnonzero(out)
    where = np.searchsorted(at, np.arange(len(value)) + 1)
    ahead = np.full(len(value), np.inf)
    found = where < len(at)
    ahead[found] = at[where[found]] - np.flatnonzero(found)
    ahead[ahead > AHEAD] = np.inf
    return ahead
