"""Recorded events as inputs of the level: top-ups by weight and without, whatever else was done, and pauses."""

import math
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.charted import charted_readings
from spc.drift import DriftReading, StreamModel, watch
from spc.drift.inputs import LONGEST_WAY_DOWN, Feed, Move
from spc.early_warning import GAPS, LONGEST_PAUSE, early_warning, early_warning_compiled, pause, pauses, put_in
from tests.made import START, made_check, made_event, made_readings

MODEL = StreamModel(log=False, sigma=0.01)
EVERY = 5
LOWER, UPPER = 0.1, 0.4


def toothed(n: int, *, lift: float = 0.03, seed: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """Return a bath that falls evenly and is lifted back every fifth reading, and where that is, shape (n,) each."""
    at = np.arange(n)
    course = 0.25 - lift * (at % EVERY) / EVERY
    return course + 0.008 * np.random.default_rng(seed).standard_normal(n), (at % EVERY == 0) & (at > 0)


def readings(x, fed, amount=None, **same):
    grams = np.full(len(x), np.nan) if amount is None else amount
    rows = zip(x.tolist(), fed.astype(int).tolist(), grams.tolist(), strict=True)
    return [
        DriftReading(value, fed=n, amount=g if n else math.nan, lower=LOWER, upper=UPPER, **same)
        for value, n, g in rows
    ]


def signals(found):
    return [i for i, outcome in enumerate(found) if outcome.signal]


def test_recorded_teeth_are_learnt_and_no_longer_count_as_scatter():
    x, fed = toothed(200)

    told, _ = watch(MODEL, readings(x, fed, np.full(200, 20.0)))
    untold, _ = watch(MODEL, readings(x, np.zeros(200, dtype=bool)))

    assert told.level is not None
    assert told.level.lift == pytest.approx(0.03, abs=0.008)
    assert told.feed.added / told.feed.n == pytest.approx(1 / EVERY, rel=0.1)
    assert told.noise.short / told.noise.n_short == pytest.approx(0.008**2, rel=0.35)
    assert untold.noise.short / untold.noise.n_short > 1.2 * told.noise.short / told.noise.n_short


def test_neither_a_recorded_jump_nor_the_way_back_down_is_a_signal():
    x, fed = toothed(200, lift=0.03)

    _, told = watch(MODEL, readings(x, fed))

    assert signals(told) == []


def test_a_loss_that_grows_between_recorded_top_ups_is_a_signal():
    x, fed = toothed(160)
    leaking = x - 0.0035 * np.clip(np.arange(160) - 120, 0, None)

    _, found = watch(MODEL, readings(leaking, fed))

    assert 121 < min(i for i in signals(found) if i > 20) <= 145
    assert next(found[i].signal for i in signals(found) if i > 20).endswith("low")


def test_that_nobody_tops_up_any_more_is_a_signal():
    x, fed = toothed(100)
    falling = 0.25 - 0.006 * np.arange(1, 16) + 0.004 * np.random.default_rng(2).standard_normal(15)
    stopped = np.concatenate((fed, np.zeros(15, dtype=bool)))

    _, found = watch(MODEL, readings(np.concatenate((x, falling)), stopped))

    assert [i for i in signals(found) if 20 < i < 100] == []
    assert found[114].signal in ("drift_low", "step_low")


def test_twice_the_weight_is_expected_to_lift_twice_as_far():
    x, fed = toothed(120)
    grams = np.where(fed, 20.0, np.nan)
    state, _ = watch(MODEL, readings(x, fed, grams))
    assert state.level is not None

    _, usual = watch_on(state, amount=20.0)
    _, double = watch_on(state, amount=40.0)
    _, unknown = watch_on(state, amount=math.nan)

    assert double.predicted - usual.predicted == pytest.approx(state.level.lift, rel=0.1)
    assert unknown.predicted == pytest.approx(usual.predicted, abs=1e-3)
    assert unknown.predicted_sd > usual.predicted_sd


def watch_on(state, **parts):
    from spc.drift import update

    return update(state, DriftReading(0.25, fed=1, lower=LOWER, upper=UPPER, **parts))


def test_something_else_that_was_done_may_have_moved_the_level_once():
    x = 0.25 + 0.008 * np.random.default_rng(3).standard_normal(80)
    x[60:] -= 0.03
    quiet = [DriftReading(value, lower=LOWER, upper=UPPER) for value in x.tolist()]
    told = [replace(reading, disturbed=i == 60) for i, reading in enumerate(quiet)]

    assert [i for i in signals(watch(MODEL, told)[1]) if i >= 60] == []
    assert [i for i in signals(watch(MODEL, quiet)[1]) if i >= 60] != []


def test_the_longer_the_pause_the_less_is_known_of_the_level():
    x = 0.25 + 0.008 * np.random.default_rng(3).standard_normal(60)
    state, _ = watch(MODEL, [DriftReading(value, lower=LOWER, upper=UPPER) for value in x.tolist()])
    from spc.drift import update

    sds = [
        update(state, DriftReading(0.25, pause=p, lower=LOWER, upper=UPPER))[1].predicted_sd for p in (1.0, 20.0, 200.0)
    ]

    assert sds == sorted(sds)
    assert sds[2] > 1.03 * sds[0]


@given(st.lists(st.tuples(st.integers(0, 2), st.one_of(st.just(math.nan), st.floats(0.1, 50))), max_size=60))
def test_no_more_is_expected_to_be_lost_than_was_added(rows):
    feed, fallen = Feed(), 0.0
    for i, (fed, amount) in enumerate(rows):
        feed, move = feed.moved(DriftReading(0.2, fed=fed, amount=amount), i)
        dose = move.lift if fed else 0.0
        fallen = 0.0 if fed else fallen - move.lift
        assert math.isfinite(move.lift)
        assert fed or -LONGEST_WAY_DOWN * 4 - 1e-9 <= move.lift <= 0.0
        assert dose <= 4.0
        assert fallen <= 4.0 * LONGEST_WAY_DOWN + 1e-9


def test_a_stream_without_inputs_is_expected_to_stay():
    assert Feed().moved(DriftReading(0.2), 7) == (Feed(), Move())


def test_a_wrong_weight_counts_as_no_more_than_four_usual_top_ups():
    feed = Feed()
    for i in range(20):
        feed, _ = feed.moved(DriftReading(0.2, fed=1, amount=10.0), i)

    _, move = feed.moved(DriftReading(0.2, fed=1, amount=10_000.0), 20)

    assert move.lift <= 4.0


def test_amounts_are_taken_in_grams_and_only_where_every_one_is_known():
    weighed = made_event("bath_topped_up", START, amount=20.0, unit="g")
    ounce = made_event("bath_topped_up", START, amount=1.0, unit="oz")
    bare = made_event("bath_topped_up", START, amount=20.0)
    volume = made_event("bath_topped_up", START, amount=2.0, unit="L")
    carrier = made_event("carrier_added", START, amount=2.0, unit="L")

    assert put_in([weighed, ounce])[0::2] == (2, False)
    assert put_in([weighed, ounce])[1] == pytest.approx(20.0 + 28.349523125)  # NIST SP 811, appendix B.8
    assert math.isnan(put_in([weighed, bare])[1])
    assert math.isnan(put_in([volume])[1])
    assert put_in([carrier])[0::2] == (0, True)
    assert put_in([])[0::2] == (0, False)


@given(st.lists(st.integers(0, 10**12), max_size=3 * GAPS))
def test_pauses_one_by_one_are_those_of_all(gaps):
    taken_at = np.cumsum(np.array(gaps, dtype=np.int64))

    whole = pauses(taken_at)

    assert [pause(taken_at[: i + 1].tolist()) for i in range(len(taken_at))] == whole.tolist()
    assert ((whole >= 1.0) & (whole <= LONGEST_PAUSE)).all()


def test_a_pause_is_counted_in_usual_times_between_readings():
    hours = np.cumsum([8.0] * 40 + [80.0] + [8.0] * 5)

    found = pauses((hours * 3_600_000_000).astype(np.int64))

    assert found[40] == 10.0
    assert np.delete(found, 40).tolist() == [1.0] * 45


def test_plain_and_compiled_take_the_same_inputs():
    check = replace(made_check(resolution=0.01, explained_by=("bath_topped_up", "carrier_added")))
    x, fed = toothed(300)
    x[200:] -= 0.002 * np.arange(100)
    charted = charted_readings(made_readings(np.round(x, 2).tolist()), check)
    times = [START + timedelta(hours=8 * i - 1) for i in np.flatnonzero(fed).tolist()]
    events = [made_event("bath_topped_up", at, amount=20.0 + i % 3, unit="g") for i, at in enumerate(times)]
    events += [made_event("carrier_added", START + timedelta(hours=8 * 77)), made_event("bath_changed", times[20])]

    state, outcomes = early_warning(charted, events, check)
    quick, found = early_warning_compiled(charted, events, check)

    assert {i: o.signal for i, o in enumerate(outcomes) if o.signal} == {i: o.signal for i, o in found.items()} != {}
    assert state.level is not None
    assert quick.level == pytest.approx(tuple(state.level), rel=1e-9)
    assert quick.feed == state.feed
    assert quick.moved_by == pytest.approx(state.moved_by, rel=1e-9)
