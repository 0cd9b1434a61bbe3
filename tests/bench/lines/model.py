"""The model of a stream, by default settings, as a method to be scored."""

import numpy as np

from spc.catalogue.load import load_catalogue
from spc.drift import DriftReading, watch
from spc.early_warning import stream_model
from tests.bench.lines.score import HIGH, LOW, SideArray
from tests.bench.lines.truth import SimulatedStream

CHECKS = load_catalogue().checks
"""The starter catalogue: nothing about a simulated stream is told to the model but its limits."""


def drift_readings(stream: SimulatedStream) -> list[DriftReading]:
    """Return the readings of a simulated stream as the model takes them."""
    check = CHECKS[stream.check]
    step = 1.0 if check.charted == "deviation" else check.resolution
    names = ("value", "bound", "reset", "fed", "amount")
    columns = (getattr(stream, name).tolist() for name in names)
    return [
        DriftReading(
            value=value,
            bound=bound,
            resolution=float("nan") if step is None else step,
            lower=stream.lower,
            upper=stream.upper,
            restart=restart,
            fed=fed,
            amount=amount,
        )
        for value, bound, restart, fed, amount in zip(*columns, strict=True)
    ]


def early_warning(stream: SimulatedStream) -> SideArray:
    """What moves, by the state-space model with everything at its default."""
    _, outcomes = watch(stream_model(CHECKS[stream.check]), drift_readings(stream))
    signals = [outcome.signal or "" for outcome in outcomes]
    return np.array([LOW if s.endswith("low") else HIGH if s.endswith("high") else 0 for s in signals], dtype=np.int8)
