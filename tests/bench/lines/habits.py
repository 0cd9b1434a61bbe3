"""How a stream is read and written down: tidily or roughly."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Habits:
    """The habits around one stream; rates are per reading."""

    rough: bool
    tail: float  # degrees of freedom of the noise; inf: normal
    memory: float  # lag-1 correlation of the noise
    misread: float
    cold: float  # lamps read before they are warm
    copied: float  # rate at which runs of copied readings start
    missing: float
    unrecorded: float  # share of ordinary changes that nobody writes down
    top_up_recorded: float
    season: float  # swing of evaporation and mains voltage over a year, as a share
    drift_lasts: float  # median readings from the onset of a failing drift to the limit
    faulty: bool  # whether anything ever goes wrong


def draw_habits(rng: np.random.Generator, *, rough: bool) -> Habits:
    """Return the habits of one stream."""
    faulty = rng.random() < 0.75
    if not rough:
        return Habits(
            rough=False,
            tail=np.inf,
            memory=0.0,
            misread=0.0005,
            cold=0.0,
            copied=0.0,
            missing=rng.uniform(0.0, 0.02),
            unrecorded=0.0,
            top_up_recorded=1.0,
            season=rng.uniform(0.0, 0.01),
            drift_lasts=32.0,
            faulty=bool(faulty),
        )
    return Habits(
        rough=True,
        tail=rng.uniform(3.0, 8.0),
        memory=rng.uniform(0.0, 0.6),
        misread=rng.uniform(0.002, 0.010),
        cold=rng.uniform(0.0, 0.03),
        copied=float(rng.choice([0.0, rng.uniform(0.005, 0.03)])),
        missing=rng.uniform(0.01, 0.06),
        unrecorded=rng.uniform(0.2, 0.6),
        top_up_recorded=rng.uniform(0.0, 0.5),
        season=rng.uniform(0.0, 0.05),
        drift_lasts=40.0,
        faulty=bool(faulty),
    )
