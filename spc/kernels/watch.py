"""The early-warning model over a long stream: quiet readings compiled, every other one by the plain model."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from spc.arrays import BoolArray, FloatArray, IntArray
from spc.drift import DriftOutcome, DriftReading, DriftState, StreamModel, evidence, level, noise, start, step, update
from spc.drift.inputs import Feed, Move
from spc.drift.level import Level
from spc.drift.noise import Noise
from spc.drift.reading import RECENT, STEP_RATIOS

_PER_READING = 1.0 / np.array(evidence.DURATIONS)


def watch_quietly(
    model: StreamModel,
    *,
    x: FloatArray,
    bound: NDArray[np.int8],
    resolution: FloatArray,
    lower: FloatArray,
    upper: FloatArray,
    restart: BoolArray,
    fed: IntArray | None = None,
    amount: FloatArray | None = None,
    disturbed: BoolArray | None = None,
    pause: FloatArray | None = None,
) -> tuple[DriftState, Mapping[int, DriftOutcome]]:
    """Return the model's state after all readings, and what was known at each that signals: `spc.drift.watch`.

    Every reading that might signal is decided by the plain `update`. Between them the compiled loop does the same
    arithmetic in the same order; squares and logarithms may differ from the plain model's in the last bit, which moves
    log odds by less than 1e-9 (tests/kernels/test_watch.py).

    Args:
        model: settings of the stream.
        x: readings in time order, shape (n,), in the chart unit; so are all others.
        bound: values of `records.Bound`.
        resolution: smallest step by the check; NaN where not known.
        lower: acceptance limits; NaN where none.
        upper: likewise above.
        restart: whether a resetting event was recorded since the reading before.
        fed: top-ups recorded since then, and the `amount` they added; left out: none.
        disturbed: whether something else was recorded since then; left out: nothing.
        pause: since then, in usual times between two readings; left out: 1.

    Raises:
        InputError: a reading that is no finite number.
    """
    from spc.kernels.drift import PARTS, POWERS, ROW, quiet_readings, written_steps

    n = len(x)
    columns = (np.ascontiguousarray(each, dtype=np.float64) for each in (x, lower, upper, resolution))
    x, lower, upper, resolution = columns
    bound = np.ascontiguousarray(bound, dtype=np.int8)
    restart = np.ascontiguousarray(restart, dtype=np.bool_)
    nothing, unknown = np.zeros(n), np.full(n, np.nan)
    fed = np.zeros(n, dtype=np.int64) if fed is None else fed
    amount = unknown if amount is None else amount
    disturbed = np.zeros(n, dtype=np.bool_) if disturbed is None else disturbed
    pause = nothing + 1.0 if pause is None else pause
    feeds, moves = _moves(restart, fed, amount, disturbed, pause)
    steps = written_steps(x, resolution, STEP_RATIOS, RECENT)
    readings = (
        x[:-1],
        bound[:-1],
        steps[:-1],
        lower[:-1],
        upper[:-1],
        restart[:-1],
        moves[:-1],
    )  # the last one is for `update`
    settings = (model.log, model.sigma, _constants(), np.array(evidence.STEP_SIGMAS), _PER_READING, evidence.SHAPES)
    weights = np.array([evidence.STEP_WEIGHT, evidence.DRIFT_WEIGHT])
    rows = len(evidence.SHAPES)
    middles, bank = np.empty(n), np.zeros((2, PARTS * rows * ROW))
    onsets = bank[0].reshape(PARTS, rows, ROW)[:, :, : evidence.ONSETS]  # `DriftState.bank`, newest last
    state, outcomes, at = start(model), {}, 0
    while at < n:
        if state.level is not None:
            levels, sums, m, begun = np.array(state.level), np.array(state.noise), state.bank.shape[2], at
            bank[0] = 0.0
            onsets[:, :, evidence.ONSETS - m :] = state.bank
            first = at - len(state.history)
            at, since, lasting, far, m, moved_by = quiet_readings(
                at, state.since_restart, first, state.lasting, state.far, *readings, state.moved_by, middles, levels,
                sums, bank, m, *settings, weights, POWERS,
            )  # fmt: skip
            if at > begun:
                state = replace(
                    state,
                    n=at,
                    since_restart=since,
                    noise=Noise(*sums.tolist()),
                    recent=x[max(0, at - RECENT) : at],
                    moved_by=moved_by,
                    feed=feeds[at - 1] if feeds else state.feed,
                    history=middles[max(first, at - noise.HISTORY) : at].copy(),
                    level=Level(*levels.tolist()),
                    bank=onsets[:, :, evidence.ONSETS - m :].copy(),
                    lasting=lasting,
                    far=far,
                )
        one = (x, bound, resolution, lower, upper, restart, fed, amount, disturbed, pause)
        state, outcome = update(state, DriftReading(*(column[at].item() for column in one)))
        middles[at] = state.history[-1]
        if outcome.signal is not None:
            outcomes[at] = outcome
        at += 1
    return replace(state, recent=state.recent.copy()), outcomes


def _moves(
    restart: BoolArray, fed: IntArray, amount: FloatArray, disturbed: BoolArray, pause: FloatArray
) -> tuple[list[Feed], FloatArray]:
    """Return what is known of top-ups after each reading, and how the level is expected to move to it, shape (n, 5).

    The first is empty where no top-up was recorded and the state's own goes on unchanged.
    """
    n = len(restart)
    moves = np.zeros((n, len(Move._fields)))
    moves[:, Move._fields.index("disturbed")] = disturbed
    moves[:, Move._fields.index("pause")] = pause
    feeds: list[Feed] = []
    if not fed.any():
        moves[restart] = Move()
        return feeds, moves
    feed = Feed()
    columns = (column.tolist() for column in (restart, fed, amount, disturbed, pause))
    for i, (again, *inputs) in enumerate(zip(*columns, strict=True)):
        reading = DriftReading(
            0.0, restart=again, fed=inputs[0], amount=inputs[1], disturbed=inputs[2], pause=inputs[3]
        )
        feed, moves[i] = feed.moved(reading, i)
        feeds.append(feed)
    return feeds, moves


def _constants() -> FloatArray:
    """Return the model's constants in the order in which the compiled loop takes them.

    They are handed over, not compiled in: a loop that was compiled earlier cannot hold one that has changed since.
    """
    return np.array(
        [
            noise.MEMORY,
            level.LEVEL_WANDER**2,
            step.THRESHOLD,
            step.WANDER_COST,
            step.GOES_ON,
            step.LARGEST_SIGMAS,
            step.STAYS_AWAY,
            step.FEWEST,
            evidence.NEAREST_LIMIT,
            noise.HISTORY,
            noise.BLOCK,
            noise._WANDER_SHARE,
            noise._AT_MOST,
            noise._LARGEST,
            noise._LARGEST_MEAN,
            noise._LEAST_SHARE,
            noise._LEAST_STEP,
            noise.EXCESS_OF_WANDER,
            level.DISTURBED_SD**2,
        ]
    )
