"""The demo line itself: its baths and lamps as they truly are, whatever is read of them."""

import math
from dataclasses import dataclass
from datetime import datetime

from spc.demo.faults import Fault, Work
from spc.demo.noise import Noise
from spc.demo.plan import A, B, StreamPlan
from spc.demo.script import Script
from spc.records import StreamKey

GRAMS_PER_ML = 600.0
"""Powder for 1 mL/100 mL more in 120 L, at a yield of 0.2 mL/100 mL for each g/L (planning figure, no source)."""

AGEING = {(A, "lamp 1"): 2e-5, (A, "lamp 2"): 2e-4, (B, "lamp 1"): 2e-5}
"""Share of its light each lamp loses for good in a shift of work: mercury ages, LED hardly."""

SOILING = 4e-5
"""Share of its light a lamp loses to ordinary dirt in a shift of work, until it is cleaned."""

SHIFTS_A_WEEK = 10


@dataclass(slots=True)
class Bath:
    """Powder and dirt in one tank."""

    target: float  # mL/100 mL
    feed_at: float  # fed when a reading is not above this
    loss: float  # share of powder lost each shift
    soiling: float  # points of contaminant share a week
    level: float  # mL/100 mL
    share: float = 3.0  # contaminant, % of the settled volume


@dataclass(slots=True)
class Lamp:
    """Light of one lamp."""

    level: float  # when clean, uW/cm2
    clean: float = 1.0  # share of its light that passes the dirt on its filter


class Process:
    """What is true on the line: changed by work, wear and faults, read with noise."""

    def __init__(self, script: Script, noise: Noise) -> None:
        self._script = script
        self._noise = noise
        self.baths = {
            A: Bath(target=0.21, feed_at=0.185, loss=0.010, soiling=1.0, level=0.21),
            B: Bath(target=0.20, feed_at=0.175, loss=0.008, soiling=1.5, level=0.20),
        }
        self._plans = {plan.key: plan for plan in script.streams}
        self._lamps = {plan.key: Lamp(plan.centre) for plan in script.streams if plan.form == "lamp"}

    def faults(self, at: datetime, key: StreamKey) -> list[Fault]:
        """Return the faults that are on a stream at a time."""
        return [fault for fault in self._script.faults if fault.active(at) and fault.touches(key)]

    def work(self, work: Work) -> float:
        """Do `work`; return the grams of powder it took (0 but for a feed)."""
        bath, grams = self.baths[work.line], 0.0
        on_bath = work.check in ("", "bath_concentration")
        if on_bath and work.kind in ("bath_changed", "unit_repaired", "bath_topped_up"):
            if work.kind == "bath_topped_up":
                grams = max(bath.target - bath.level, 0.0) * GRAMS_PER_ML
            bath.level = bath.target * (1 + 0.03 * self._noise.fresh())
        if work.kind == "bath_changed":
            bath.share = 2.0
        for key, lamp in self._lamps.items():
            if work.touches(key) and work.kind in ("lamp_cleaned", "lamp_replaced"):
                lamp.clean = 1.0
                lamp.level = lamp.level if work.level is None else work.level
        return grams

    def feed(self, line: str, reading: float) -> float:
        """Feed a bath from `reading` to its target, as well as a person weighs; return grams of powder."""
        bath = self.baths[line]
        added = (bath.target - reading) * (1 + 0.1 * self._noise.fresh())
        bath.level += added
        return added * GRAMS_PER_ML

    def use(self, line: str, at: datetime) -> None:
        """Let a shift of work pass over a line."""
        bath = self.baths[line]
        loss, soiling = bath.loss, bath.soiling
        for fault in self._script.faults:
            if fault.line == line and fault.active(at):
                loss += fault.size if fault.effect == "loss_per_shift" else 0.0
                soiling += fault.size if fault.effect == "share_per_week" else 0.0
        bath.level *= 1 - loss * (1 + 0.3 * self._noise.fresh())
        bath.share += soiling / SHIFTS_A_WEEK
        for key, lamp in self._lamps.items():
            if key.line == line:
                lamp.level *= 1 - AGEING[key.line, key.position]
                lamp.clean *= 1 - SOILING

    def read(self, plan: StreamPlan, at: datetime, draw: float) -> float:
        """Return what a faultless reading gives, before rounding; `draw` is its noise in standard deviations."""
        if plan.form == "lamp":
            lamp = self._lamps[plan.key]
            return lamp.level * lamp.clean * (1 + plan.spread * draw)
        if plan.form == "skewed":
            return plan.centre * math.exp(plan.spread * draw)
        bath = self.baths[plan.key.line]
        centre = {"bath": bath.level, "share": bath.share}.get(plan.form, plan.centre + plan.season * _summer(at))
        if plan.form == "count":
            centre -= self.weakness(plan.key.line, at)
        return centre + plan.spread * draw

    def weakness(self, line: str, at: datetime) -> float:
        """Return how poor bath, light or current are for showing what should be shown: 0 not at all, 1 very."""
        if self._true(StreamKey(line, "bath_concentration", "tank"), at) < 0.13:
            return 1.0
        if max(self._true(key, at) for key in self._lamps if key.line == line) < 1200:
            return 1.0
        return 0.2 if self._true(StreamKey(line, "ammeter", "head"), at) < -8 else 0.0

    def _true(self, key: StreamKey, at: datetime) -> float:
        x = self.read(self._plans[key], at, 0.0)
        for fault in self.faults(at, key):
            if not fault.of_writing:
                x = fault.changed(x, at)
        return x


def _summer(at: datetime) -> float:
    """Return 1 in mid-July, -1 in mid-January."""
    return math.cos(2 * math.pi * (at.timetuple().tm_yday - 196) / 365.25)
