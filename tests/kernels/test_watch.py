"""The compiled early-warning model against the plain one: the same signals, and the same state at the end."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spc.drift import DriftReading, StreamModel, watch
from spc.errors import InputError
from spc.kernels.watch import watch_quietly

NAMES = ("x", "bound", "resolution", "lower", "upper", "restart", "fed", "amount", "disturbed", "pause")


def made_stream(rng: np.random.Generator, n: int, *, log: bool) -> dict[str, np.ndarray]:
    """Return a stream with steps, drifts, copies, censored readings, restarts, inputs and pauses, or some of them."""
    centre, scatter = (2500.0, 0.02) if log else (0.2, 0.06)
    x = centre * (1.0 + rng.normal(0, scatter, n))
    for _ in range(int(rng.integers(0, 4))):
        start = int(rng.integers(0, max(n, 1)))
        x[start:] *= 1.0 + rng.normal(0, 3 * scatter)
        x[start:] += centre * rng.normal(0, scatter / 20) * np.arange(n - start)
    x = np.abs(x)
    step = rng.choice([np.nan, 0.5, 2.0]) * centre * scatter
    if not np.isnan(step):
        x = np.round(np.rint(x / step) * step, 9)
    copied = np.flatnonzero(rng.random(n) < 0.1)
    x[copied] = x[np.maximum(copied - 1, 0)]
    bound = rng.choice([-1, 0, 1], n, p=[0.02, 0.96, 0.02]).astype(np.int8) * int(rng.integers(0, 2))
    resolution = np.full(n, step)
    if rng.random() < 0.3:
        resolution = resolution * rng.choice([1.0, 2.0], n)
    limits = {"lower": np.full(n, 0.7 * centre), "upper": np.full(n, rng.choice([np.nan, 1.3 * centre]))}
    often = rng.choice([0.0, 0.2])
    fed = np.where(rng.random(n) < often, rng.integers(1, 3, n), 0)
    inputs = {
        "fed": fed,
        "amount": np.where((fed > 0) & (rng.random(n) < 0.8), rng.uniform(5.0, 30.0, n), np.nan),
        "disturbed": rng.random(n) < often / 10,
        "pause": np.where(rng.random(n) < 0.1, rng.uniform(1.0, 60.0, n), 1.0),
    }
    return {"x": x, "bound": bound, "resolution": resolution, **limits, "restart": rng.random(n) < 0.01, **inputs}


def plain(model: StreamModel, stream: dict[str, np.ndarray]):
    """Return the fold of the plain model, and its signals by reading."""
    rows = zip(*(stream[name] for name in NAMES), strict=True)
    state, outcomes = watch(model, [DriftReading(*(cell.item() for cell in row)) for row in rows])
    return state, {i: outcome for i, outcome in enumerate(outcomes) if outcome.signal is not None}


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32), st.integers(0, 400), st.booleans(), st.booleans())
def test_the_same_signals_and_the_same_state(seed, n, log, ages):
    model = StreamModel(log=log, sigma=0.02 if log else 0.012, ages=ages)
    stream = made_stream(np.random.default_rng(seed), n, log=log)
    state, signals = plain(model, stream)

    found, found_signals = watch_quietly(model, **stream)

    assert {i: outcome.signal for i, outcome in found_signals.items()} == {
        i: outcome.signal for i, outcome in signals.items()
    }
    for i, outcome in signals.items():
        close(found_signals[i], outcome)
    close(found, state)


def close(found, expected):
    """Assert that two dataclasses say the same: numbers to 1e-9, everything else exactly."""
    for name in expected.__slots__:
        theirs, ours = getattr(expected, name), getattr(found, name)
        if isinstance(theirs, float | tuple | np.ndarray) and theirs is not None and not isinstance(theirs, str):
            assert np.asarray(ours) == pytest.approx(np.asarray(theirs), rel=1e-9, abs=1e-9, nan_ok=True), name
        elif hasattr(theirs, "__slots__") and not isinstance(theirs, StreamModel):
            close(ours, theirs)
        else:
            assert ours == theirs, name


def test_a_quiet_stream_has_nothing_to_say():
    n = 3000
    x = np.round(np.random.default_rng(4).normal(0.2, 0.012, n), 3)
    same = {"bound": np.zeros(n, np.int8), "restart": np.zeros(n, np.bool_), "resolution": np.full(n, 0.005)}

    _, signals = watch_quietly(
        StreamModel(log=False, sigma=0.012), x=x, lower=np.full(n, 0.1), upper=np.full(n, 0.4), **same
    )

    assert len(signals) <= 10  # the plain model gives about one false alarm in 2000 quiet readings


def test_a_reading_that_was_not_taken_is_refused_as_by_the_plain_model():
    stream = made_stream(np.random.default_rng(1), 50, log=False)
    stream["x"][30] = np.nan

    with pytest.raises(InputError, match="the reading is nan"):
        watch_quietly(StreamModel(log=False, sigma=0.012), **stream)
