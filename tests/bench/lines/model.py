"""The model of a stream, by default settings, as a method to be scored."""

import numpy as np

from spc.catalogue.load import load_catalogue
from spc.drift import DriftReading
from spc.early_warning import stream_model
from spc.kernels.watch import watch_quietly
from tests.bench.lines.score import HIGH, LOW, SideArray
from tests.bench.lines.truth import SimulatedStream

CHECKS = load_catalogue().checks
"""The starter catalogue: nothing about a simulated stream is told to the model but its limits."""


def _resolution(stream: SimulatedStream) -> float:
    check = CHECKS[stream.check]
    step = 1.0 if check.charted == "deviation" else check.resolution
    return float("nan") if step is None else step


def drift_readings(stream: SimulatedStream) -> list[DriftReading]:
    """Return the readings of a simulated stream as the model takes them."""
    step = _resolution(stream)
    names = ("value", "bound", "reset", "fed", "amount")
    columns = (getattr(stream, name).tolist() for name in names)
    return [
        DriftReading(
            value=value,
            bound=bound,
            resolution=step,
            lower=stream.lower,
            upper=stream.upper,
            restart=restart,
            fed=fed,
            amount=amount,
        )
        for value, bound, restart, fed, amount in zip(*columns, strict=True)
    ]


def early_warning(stream: SimulatedStream) -> SideArray:
    """What moves, by the state-space model with everything at its default, compiled: the signals are the plain ones."""
    n = len(stream)
    _, found = watch_quietly(
        stream_model(CHECKS[stream.check]),
        x=stream.value,
        bound=stream.bound,
        resolution=np.full(n, _resolution(stream)),
        lower=np.full(n, stream.lower),
        upper=np.full(n, stream.upper),
        restart=stream.reset,
        fed=stream.fed,
        amount=stream.amount,
    )
    sides = np.zeros(n, dtype=np.int8)
    for i, outcome in found.items():
        sides[i] = LOW if (outcome.signal or "").endswith("low") else HIGH
    return sides
