"""What is measured: baths, lamps, meters and rooms, each with the course of its true level while nothing is wrong."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.signal import lfilter

from spc.arrays import FloatArray
from tests.bench.lines.habits import Habits


class Source(Protocol):
    """One thing that is measured."""

    check: str
    lower: float
    upper: float
    sigma: float  # of a reading, before it is rounded: in the unit, or relative where `relative`
    relative: bool
    step: float  # the steps readings are written in
    n: int  # readings in two years
    hours: float  # between readings
    segment: tuple[int, int]  # readings between ordinary changes
    habits: Habits

    def quiet(self, rng: np.random.Generator, length: int) -> tuple[FloatArray, FloatArray]:
        """Return the true level of the next `length` readings after a change, and what top-ups were to add."""

    def renew(self, rng: np.random.Generator) -> None:
        """Make the change that ends a segment: a new bath, a clean or a new lamp, a calibration."""


def wander(rng: np.random.Generator, length: int, memory: float) -> FloatArray:
    """Return a stationary course with lag-1 correlation `memory` and standard deviation 1, shape (length,)."""
    kicks = rng.standard_normal(length)
    kicks[1:] *= np.sqrt(1.0 - memory**2)
    return np.asarray(lfilter([1.0], [1.0, -memory], kicks), dtype=np.float64)


def season(rng: np.random.Generator, length: int, hours: float, swing: float) -> FloatArray:
    """Return a yearly swing about 0, shape (length,)."""
    year = 2 * np.pi * hours / 8766.0
    return np.asarray(swing * np.sin(year * np.arange(length) + rng.uniform(0, 2 * np.pi)), dtype=np.float64)


@dataclass(slots=True)
class Bath:
    """A bath that loses powder by drag-out, gains by evaporation, and is topped up."""

    target: float
    sigma: float
    step: float
    loss: float  # share lost per reading
    every: int  # readings between scheduled top-ups; 0: topped up when a reading looks low
    trigger: float  # share of the target at which a top-up is made by feel
    dose_error: float
    process: float  # share of the level, of slow mixing
    n: int
    hours: float
    habits: Habits
    check: str = "bath_concentration"
    lower: float = 0.1
    upper: float = 0.4
    relative: bool = False
    segment: tuple[int, int] = (70, 220)

    @classmethod
    def draw(cls, rng: np.random.Generator, habits: Habits) -> "Bath":
        """Return a bath of a line with such habits."""
        rough = habits.rough
        by_shift = rng.random() < 0.6
        return cls(
            target=rng.uniform(0.21, 0.29) if rough else rng.uniform(0.18, 0.28),
            sigma=rng.uniform(0.010, 0.022) if rough else rng.uniform(0.007, 0.015),
            step=float(rng.choice([0.05, 0.025, 0.01], p=[0.6, 0.2, 0.2] if rough else [0.0, 0.25, 0.75])),
            loss=rng.uniform(0.01, 0.04) * (1.0 if by_shift else 1.5),
            every=0 if rough else int(rng.integers(1, 5)),
            trigger=rng.uniform(0.80, 0.90),
            dose_error=rng.uniform(0.2, 0.5) if rough else rng.uniform(0.05, 0.15),
            process=rng.uniform(0.01, 0.04) if rough else rng.uniform(0.0, 0.01),
            n=900 if by_shift else 480,
            hours=12.0 if by_shift else 24.0,
            habits=habits,
        )

    def quiet(self, rng: np.random.Generator, length: int) -> tuple[FloatArray, FloatArray]:
        """Return the true level between two bath changes, and what a top-up before each reading was to add."""
        level, topped = np.empty(length), np.zeros(length)
        errors, glance = rng.standard_normal(length), rng.standard_normal(length)
        losses = self.loss * (1.0 - season(rng, length, self.hours, 10 * self.habits.season))
        now = self.target * (1.0 + 0.3 * self.dose_error * errors[0])
        for t in range(length):
            level[t] = now
            seen = now + self.sigma * glance[t]
            now *= 1.0 - losses[t]
            if self.every and t % self.every == self.every - 1:
                dose = self.every * self.loss * self.target + 0.3 * (self.target - seen)
            elif not self.every and seen <= self.trigger * self.target:
                dose = self.target - seen
            else:
                continue
            now += max(0.0, dose * (1.0 + self.dose_error * errors[t]))
            if t + 1 < length:
                topped[t + 1] = max(0.0, dose)
        return level * (1.0 + self.process * wander(rng, length, 0.8)), topped

    def renew(self, rng: np.random.Generator) -> None:
        """Fill the bath anew."""


@dataclass(slots=True)
class Lamp:
    """A UV-A lamp that ages and soils; cleaning brings the dirt's share back, a new lamp all of it."""

    new: float  # irradiance of a new lamp
    spread: float  # lamp to lamp
    lower: float
    sigma: float
    step: float
    ageing: float  # log units per reading when new
    settle: float  # readings over which the ageing slows down
    soiling: float  # log units per reading
    habits: Habits
    n: int
    hours: float = 24.0
    check: str = "uva_irradiance"
    upper: float = float("nan")
    relative: bool = True
    segment: tuple[int, int] = (50, 180)
    age: float = 0.0
    this: float = 0.0  # irradiance of this lamp when new

    @classmethod
    def led(cls, rng: np.random.Generator, habits: Habits) -> "Lamp":
        """Return a lamp of light-emitting diodes."""
        return cls._draw(rng, habits, rng.uniform(2200, 6000), 0.05, (0.012, 0.025), (0.022, 0.045), (2e-5, 3e-4), 1e6)

    @classmethod
    def mercury(cls, rng: np.random.Generator, habits: Habits) -> "Lamp":
        """Return a mercury lamp: a faster ageing that slows down."""
        return cls._draw(
            rng, habits, rng.uniform(2000, 4000), 0.15, (0.02, 0.035), (0.03, 0.055), (3e-4, 2e-3), rng.uniform(50, 120)
        )

    @classmethod
    def _draw(
        cls,
        rng: np.random.Generator,
        habits: Habits,
        new: float,
        spread: float,
        tidy: tuple[float, float],
        rough: tuple[float, float],
        ageing: tuple[float, float],
        settle: float,
    ) -> "Lamp":
        lamp = cls(
            new=new,
            spread=spread,
            lower=1000.0 if rng.random() < 0.5 else round(new * rng.uniform(0.5, 0.7), -1),
            sigma=rng.uniform(*(rough if habits.rough else tidy)),
            step=float(rng.choice([10.0, 50.0, 100.0], p=[0.4, 0.4, 0.2])) if habits.rough else 10.0,
            ageing=rng.uniform(*ageing),
            settle=settle,
            soiling=rng.uniform(0.0, 1e-3) if habits.rough else rng.uniform(0.0, 2e-4),
            habits=habits,
            n=int(rng.integers(420, 500)),
        )
        lamp._replace(rng)
        return lamp

    def _replace(self, rng: np.random.Generator) -> None:
        self.age = 0.0
        self.this = max(self.new * np.exp(self.spread * rng.standard_normal()), 1.5 * self.lower)

    def _aged(self, age: FloatArray | float) -> FloatArray:
        return np.asarray(self.ageing * self.settle * (1.0 - np.exp(-np.asarray(age) / self.settle)))

    def quiet(self, rng: np.random.Generator, length: int) -> tuple[FloatArray, FloatArray]:
        """Return the true irradiance between two cleanings."""
        time = np.arange(length)
        swing = season(rng, length, self.hours, self.habits.season)
        log = -self._aged(np.asarray(self.age + time, dtype=np.float64)) - self.soiling * time + swing
        self.age += length
        return np.asarray(self.this * np.exp(log)), np.zeros(length)

    def renew(self, rng: np.random.Generator) -> None:
        """Clean the lamp, or replace it where it would not last another while."""
        left = np.log(self.this / self.lower) - float(self._aged(self.age + 250))
        if left < 12 * self.sigma or rng.random() < 0.2:
            self._replace(rng)


@dataclass(slots=True)
class Steady:
    """What has a bias that creeps a little: panel meter, timer, light in the room, residual field."""

    check: str
    centre: float
    lower: float
    upper: float
    sigma: float
    relative: bool
    step: float
    creep: float  # per reading: in the unit, or in log units where `relative`
    between: float  # standard deviation of the centre from one calibration or repair to the next
    n: int
    hours: float
    habits: Habits
    segment: tuple[int, int] = (70, 250)
    this: float = 0.0

    @classmethod
    def ammeter(cls, rng: np.random.Generator, habits: Habits) -> "Steady":
        """Return a panel meter's deviation from the reference, in %."""
        n, hours = _interval(rng)
        rough = habits.rough
        sigma = rng.uniform(1.0, 1.7) if rough else rng.uniform(0.6, 1.3)
        step = float(rng.choice([1.0, 0.5] if rough else [0.1, 0.5]))
        creep = rng.choice([-1, 1]) * rng.uniform(0.3, 1.5) * hours / 8766.0
        return cls._start(
            rng,
            cls("ammeter", rng.uniform(-1.5, 1.5), -10.0, 10.0, sigma, False, step, creep, 0.8, n, hours, habits),
        )

    @classmethod
    def timer(cls, rng: np.random.Generator, habits: Habits) -> "Steady":
        """Return a timer's error, in s."""
        n, hours = _interval(rng)
        sigma = rng.uniform(0.012, 0.018) if habits.rough else rng.uniform(0.008, 0.015)
        return cls._start(
            rng,
            cls("timer", rng.uniform(-0.01, 0.02), -0.1, 0.1, sigma, False, 0.01, 0.0, 0.01, n, hours, habits),
        )

    @classmethod
    def room(cls, rng: np.random.Generator, habits: Habits) -> "Steady":
        """Return the visible light of a booth, in fc."""
        n, hours = _interval(rng)
        sigma = rng.uniform(0.15, 0.3) if habits.rough else rng.uniform(0.08, 0.18)
        step = 0.1 if habits.rough else float(rng.choice([0.01, 0.05, 0.1]))
        centre = rng.uniform(0.25, 0.6)
        return cls._start(
            rng,
            cls("ambient_light", centre, np.nan, 2.0, sigma, True, step, 0.0, 0.2, n, hours, habits),
        )

    @classmethod
    def field(cls, rng: np.random.Generator, habits: Habits) -> "Steady":
        """Return the residual field of parts after demagnetising, in G."""
        sigma = rng.uniform(0.2, 0.3) if habits.rough else rng.uniform(0.12, 0.22)
        step = float(rng.choice([0.1, 0.5])) if habits.rough else 0.1
        return cls._start(
            rng,
            cls("residual_field", rng.uniform(0.5, 0.9), np.nan, 3.0, sigma, True, step, 0.0, 0.15, 480, 24.0, habits),
        )

    @staticmethod
    def _start(rng: np.random.Generator, source: "Steady") -> "Steady":
        source.renew(rng)
        return source

    def quiet(self, rng: np.random.Generator, length: int) -> tuple[FloatArray, FloatArray]:
        """Return the true level between two calibrations or repairs."""
        off = self.creep * np.arange(length) + season(rng, length, self.hours, self.habits.season * self._unit())
        level = self.this * np.exp(off) if self.relative else self.this + off
        return np.asarray(level), np.zeros(length)

    def _unit(self) -> float:
        return 1.0 if self.relative else 10.0 * self.sigma

    def renew(self, rng: np.random.Generator) -> None:
        """Calibrate or repair."""
        off = self.between * rng.standard_normal()
        self.this = self.centre * np.exp(off) if self.relative else self.centre + off


def _interval(rng: np.random.Generator) -> tuple[int, float]:
    """Return readings in two years and hours between them: daily, twice a week or weekly."""
    choices = ((480, 24.0), (208, 84.0), (104, 168.0))
    return choices[int(rng.choice(3, p=[0.5, 0.25, 0.25]))]


PLAN: tuple[tuple[Callable[[np.random.Generator, Habits], Source], int], ...] = (
    (Bath.draw, 40),
    (Lamp.led, 24),
    (Lamp.mercury, 16),
    (Steady.ammeter, 14),
    (Steady.timer, 6),
    (Steady.room, 12),
    (Steady.field, 8),
)
"""The streams of a line: what draws one, and how many there are."""
