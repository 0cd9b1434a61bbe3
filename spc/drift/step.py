"""One reading at a time: a frozen state, and `update(state, reading)`."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from spc.arrays import FloatArray
from spc.drift.evidence import DRIFT_ROWS, DRIFT_WEIGHT, STEP_WEIGHT, Evidence, evidence, no_onsets, with_reading
from spc.drift.inputs import Feed
from spc.drift.level import Level, corrected, level_from, predicted
from spc.drift.mixture import alternatives
from spc.drift.model import StreamModel
from spc.drift.noise import HISTORY, Noise
from spc.drift.reading import RECENT, DriftReading, Known, known, scored, written_step
from spc.errors import InputError

DriftSignal = Literal["drift_low", "drift_high", "step_low", "step_high"]

THRESHOLD = 7.6
"""Log odds of a change at which it signals: about one false alarm in 2000 quiet readings of a tidy stream."""

WANDER_COST = 1.0
"""How much more is asked of a stream that wanders, per unit of `Noise.wander_ratio` above 1; at most twice this."""

GOES_ON = 2.0
"""By how much the log odds may fall below the threshold while a signal goes on."""

HELD = 8
"""Readings after which a signal that goes on is taken for the new level, and watched from there."""

LARGEST_SIGMAS = 3.0
"""A reading counts as no further off than this: a single misread proves nothing (Huber 1964)."""

STAYS_AWAY = 1.0
"""Sigmas off the level from which the same number, written a third time in a row, counts as a reading of its own."""

FEWEST = 3
"""Readings since a restart before one can signal."""


@dataclass(frozen=True, slots=True)
class Scale:
    """What the latest reading was weighed with, on the model's scale."""

    white: float  # variances of the noise
    slow: float
    rounding: float
    lower: float  # acceptance limits; NaN where none
    upper: float
    fails_below: float  # a true value, with its noise, that is written down as outside; NaN where no limit
    fails_above: float

    @property
    def sigma(self) -> float:
        """Standard deviation of a written reading about its level."""
        return math.sqrt(self.white + self.slow + self.rounding)


@dataclass(frozen=True, slots=True)
class DriftState:
    """What the model remembers of a stream; arrays are never changed."""

    model: StreamModel
    n: int  # readings so far
    changed_at: int  # readings before the last recorded change
    since_restart: int  # readings since a recorded change, or since a held signal was taken for the new level
    noise: Noise
    recent: FloatArray  # latest values as written, shape (m,), m <= RECENT
    history: (
        FloatArray  # latest readings since the restart less `moved_by`, on the model's scale, shape (m,), m <= HISTORY
    )
    moved_by: float  # how far top-ups and losses were expected to have moved the level since the restart
    feed: Feed
    level: Level | None  # None before the first reading
    scale: Scale | None
    bank: FloatArray  # see `evidence.with_reading`
    lasting: int  # readings for which a signal has gone on
    moved: bool  # whether a held signal was taken for the new level since the last recorded change
    far: int  # readings in a row that lay beyond LARGEST_SIGMAS, negative where below


@dataclass(frozen=True, slots=True)
class DriftOutcome:
    """What is known after one reading, in the chart unit; slopes are per reading."""

    signal: DriftSignal | None
    evidence_low: float  # log odds of a change downwards
    evidence_high: float
    level: float
    level_sd: float
    slope: float
    slope_sd: float
    since: int | None  # reading at which the change most likely started; None without a signal
    since_span: tuple[int, int] | None  # readings between which it started with a probability of 80 %
    predicted: float  # what the reading was expected to be before it came
    predicted_sd: float


def start(model: StreamModel) -> DriftState:
    """Return the state before the first reading."""
    nothing = np.zeros(0)
    noise = Noise.start(model)
    return DriftState(model, 0, 0, 0, noise, nothing, nothing, 0.0, Feed(), None, None, no_onsets(), 0, False, 0)


def update(state: DriftState, reading: DriftReading) -> tuple[DriftState, DriftOutcome]:
    """Return the state after `reading`, and what is known then.

    Raises:
        InputError: a value that is no finite number.
    """
    if not math.isfinite(reading.value):
        raise InputError(f"the reading is {reading.value}; drop or quarantine missing readings before monitoring")
    model = state.model
    recent = np.concatenate((state.recent[-(RECENT - 1) :], (reading.value,)))
    step = written_step(recent, reading.resolution)
    seen = known(reading, step, log=model.log)
    scale = _scale(state, reading, step, seen.width)
    white, slow = scale.white, scale.slow
    feed, move = state.feed.moved(reading, state.n)
    if state.level is None or reading.restart:
        return _restarted(state, seen, scale, recent, feed)
    moved_by = state.moved_by + move.lift * state.level.lift
    level = predicted(state.level, slow, white + slow, move)
    expected, sd = level.now, math.sqrt(max(level.variance, 0.0) + white)
    copied = state.recent[-1] == reading.value and seen.width**2 < white
    gain, score, information, far = level.gain(), 0.0, 0.0, state.far
    distance, information = scored(seen, expected, sd**2)
    if copied and not _stays_away(state, reading, distance):
        information = 0.0
    else:
        far = _far(far, distance)
        score = max(-LARGEST_SIGMAS, min(LARGEST_SIGMAS, distance)) * math.sqrt(information)
        level = corrected(level, score, information)
    bank = with_reading(state.bank, gain, score, information, move.lift)
    found = evidence_of(level, scale, bank)
    low, high = found.log_odds(-1), found.log_odds(1)
    signals = max(low, high) > _threshold(state) and state.since_restart >= FEWEST
    noise, history = _learnt(state, seen.middle - moved_by, copied=copied, signals=signals)
    after = DriftState(
        model=model,
        n=state.n + 1,
        changed_at=state.changed_at,
        since_restart=state.since_restart + 1,
        noise=noise,
        recent=recent,
        history=history,
        moved_by=moved_by,
        feed=feed,
        level=level,
        scale=scale,
        bank=bank,
        lasting=state.lasting + 1 if signals else 0,
        moved=state.moved,
        far=far,
    )
    side = (-1 if low > high else 1) if signals else 0
    outcome = _outcome(after, found, side, (low, high), (expected, math.hypot(sd, math.sqrt(scale.rounding))))
    return (_held(after) if after.lasting >= HELD else after), outcome


def evidence_of(level: Level, scale: Scale, bank: FloatArray) -> Evidence:
    """Return the evidence for changes after a reading that left level and bank like this."""
    return evidence(bank, sigma=scale.sigma, to_lower=scale.lower - level.mean, to_upper=scale.upper - level.mean)


def watch(model: StreamModel, readings: Iterable[DriftReading]) -> tuple[DriftState, list[DriftOutcome]]:
    """Return the state after all `readings`, and what was known after each: the fold of `update`."""
    state, outcomes = start(model), []
    for reading in readings:
        state, outcome = update(state, reading)
        outcomes.append(outcome)
    return state, outcomes


def _scale(state: DriftState, reading: DriftReading, step: float, width: float) -> Scale:
    model = state.model
    white, slow = state.noise.variances(width, model)
    below, above = reading.lower, reading.upper
    if step > 0.0:  # the last written value inside, and half a step beyond it
        below = (math.ceil(below / step - 1e-9) - 0.5) * step if math.isfinite(below) else below
        above = (math.floor(above / step + 1e-9) + 0.5) * step if math.isfinite(above) else above
    lower, upper, below, above = (_limit(limit, model) for limit in (reading.lower, reading.upper, below, above))
    return Scale(white, slow, width**2 / 12.0, lower, upper, below, above)


def _far(before: int, distance: float) -> int:
    if abs(distance) <= LARGEST_SIGMAS:
        return 0
    way = 1 if distance > 0 else -1
    return before + way if before * way > 0 else way


def _limit(limit: float, model: StreamModel) -> float:
    if not model.log:
        return limit
    return math.log(limit) if limit > 0 else math.nan


def _threshold(state: DriftState) -> float:
    wander = min(2.0, state.noise.wander_ratio - 1.0)
    return THRESHOLD + WANDER_COST * wander - (GOES_ON if state.lasting else 0.0)


def _restarted(
    state: DriftState, seen: Known, scale: Scale, recent: FloatArray, feed: Feed
) -> tuple[DriftState, DriftOutcome]:
    """Return the state after the first reading of a segment: its level is that reading, its noise is carried over."""
    level = level_from(
        seen.middle,
        n=1,
        white=scale.white,
        slow=scale.slow,
        rounding=scale.rounding,
        ages=state.model.ages,
        before=state.level,
    )
    after = replace(
        state,
        n=state.n + 1,
        changed_at=state.n,
        since_restart=1,
        recent=recent,
        history=np.array([seen.middle]),
        moved_by=0.0,
        feed=feed,
        level=level,
        scale=scale,
        bank=no_onsets(),
        lasting=0,
        moved=False,
        far=0,
    )
    never = math.log(1e-12)
    return after, _outcome(after, evidence_of(level, scale, after.bank), 0, (never, never), (seen.middle, math.inf))


def _held(state: DriftState) -> DriftState:
    """Return the state that takes the latest readings for the new level."""
    assert state.level is not None  # a signal has gone on
    assert state.scale is not None
    latest, scale = state.history[-4:], state.scale
    level = level_from(
        float(latest.mean()) + state.moved_by,
        n=len(latest),
        white=scale.white,
        slow=scale.slow,
        rounding=scale.rounding,
        ages=state.model.ages,
        before=state.level,
    )
    return replace(
        state,
        since_restart=1,
        history=state.history[-1:],
        level=level,
        bank=no_onsets(),
        lasting=0,
        moved=True,
        far=0,
    )


def _drifting(odds: FloatArray) -> bool:
    """Return whether the evidence of one side speaks for a drift rather than a step, the weights of both left out."""
    return bool(odds[DRIFT_ROWS].sum() / DRIFT_WEIGHT > odds[~DRIFT_ROWS].sum() / STEP_WEIGHT)


def _stays_away(state: DriftState, reading: DriftReading, distance: float) -> bool:
    """Return whether a repeated number is the third in a row and off the level: no longer taken for a copy."""
    return len(state.recent) > 1 and state.recent[-2] == reading.value and abs(distance) > STAYS_AWAY


def _learnt(state: DriftState, middle: float, *, copied: bool, signals: bool) -> tuple[Noise, FloatArray]:
    """Return what is known of the noise after a reading, and the latest readings; a signal teaches nothing."""
    noise = state.noise
    history = np.concatenate((state.history[-(HISTORY - 1) :], (middle,)))
    if signals:
        return noise, history
    if not copied:
        noise = noise.learnt_short(float(history[-1] - history[-2]))
    if len(history) == HISTORY:
        noise = noise.learnt_wander(history)
    return noise, history


def _outcome(
    state: DriftState,
    found: Evidence,
    side: int,
    log_odds: tuple[float, float],
    expected: tuple[float, float],
) -> DriftOutcome:
    level = state.level
    assert level is not None  # set by every caller
    now, variance, slope, slope_sd = level.now, level.variance, level.ageing, math.sqrt(max(level.p_ageing, 0.0))
    signal: DriftSignal | None = None
    since, span = None, None
    if side:
        odds = found.of_side(side)
        drifting = _drifting(odds)
        signal = _signal(side, drifting=drifting)
        mixed = alternatives(level, state.bank, found, side=side, drifting=drifting)
        now, variance = mixed.level, variance + mixed.level_variance
        slope, slope_sd = mixed.slope, math.hypot(slope_sd, math.sqrt(mixed.slope_variance))
        since, span = _since(odds, state.n)
    unit = math.exp(now) if state.model.log else 1.0
    scaled = math.exp(expected[0]) if state.model.log else 1.0
    return DriftOutcome(
        signal=signal,
        evidence_low=log_odds[0],
        evidence_high=log_odds[1],
        level=unit if state.model.log else now,
        level_sd=unit * math.sqrt(max(variance, 0.0)),
        slope=unit * slope,
        slope_sd=unit * slope_sd,
        since=since,
        since_span=span,
        predicted=scaled if state.model.log else expected[0],
        predicted_sd=scaled * expected[1],
    )


def _signal(side: int, *, drifting: bool) -> DriftSignal:
    if side < 0:
        return "drift_low" if drifting else "step_low"
    return "drift_high" if drifting else "step_high"


def _since(odds: FloatArray, n: int) -> tuple[int, tuple[int, int]]:
    """Return the likeliest onset as a reading's index, and the span that holds it with a probability of 80 %."""
    by_onset = odds.sum(axis=0)
    first = n - len(by_onset)
    so_far = np.cumsum(by_onset) / by_onset.sum()
    low, high = (int(np.searchsorted(so_far, share)) for share in (0.1, 0.9))
    return first + int(by_onset.argmax()), (first + low, first + min(high, len(by_onset) - 1))
