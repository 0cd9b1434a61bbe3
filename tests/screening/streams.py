"""Streams made by hand for screening: built-in checks, seeded noise."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from spc.catalogue.load import starter
from spc.monitor import monitor_stream
from spc.records import StreamKey
from spc.results import StreamResult
from tests.made import made_readings

CHECKS = starter().checks
N = 400
START = datetime(2025, 1, 6, 6, tzinfo=UTC)


def stream(
    check: str, values, *, position: str = "tank", step: float | None = None, hours: float = 8.0, **columns
) -> StreamResult:
    """Return a stream of a built-in check, rounded to `step`."""
    x = np.asarray(values, dtype=np.float64)
    x = x if step is None else np.round(np.round(x / step) * step, 6)
    times = columns.pop("times", [START + timedelta(hours=hours * n) for n in range(len(x))])
    readings = made_readings(x.tolist(), key=StreamKey("Line A", check, position), times=times, **columns)
    return monitor_stream(readings, (), replace(CHECKS[check], early_warning=False))


def noise(seed: int, n: int = N) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(n)


def lamp(seed: int, level: float = 4000.0, position: str = "lamp 1", n: int = N) -> np.ndarray:
    return level * (1 + 0.02 * noise(seed, n))


def bath(seed: int, n: int = N) -> np.ndarray:
    return 0.2 + 0.015 * noise(seed, n)


def kinds(questions) -> list[str]:
    return [question.kind for question in questions]
