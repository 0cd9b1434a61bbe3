"""The demo line at work: shift by shift, what is done to it, what is read and what is written down."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import ROUND_HALF_EVEN, Decimal

from spc.demo.faults import FAULTS, LIVE_FAULTS, LIVE_WORK, STOPS, WORK, Fault, Work
from spc.demo.noise import Noise
from spc.demo.plan import STREAMS, A, B, StreamPlan
from spc.demo.rows import EventRow, LogRow, minute
from spc.demo.working_days import (
    BEFORE_WORK,
    SHIFT_STARTS,
    SHIFTS_END,
    first_of_month,
    holiday,
    shift_start,
    shut_down,
    working,
)
from spc.records import NOT_RUN, StreamKey

MISSED = 0.012  # share of checks not done although the line ran
IDLE_SHIFT = 0.012  # share of shifts without work
UNWRITTEN = 0.25  # share of top-ups nobody writes down
GRAMS_PER_ML = 600.0  # powder for 1 mL/100 mL more in 120 L at a yield of 0.2 mL/100 mL per g/L

_NOTES = {
    "bath_changed": "new bath",
    "lamp_replaced": "new lamp",
    "lamp_cleaned": "after cleaning",
    "meter_calibrated": "after calibration",
    "unit_repaired": "after repair",
    "booth_repaired": "after repair",
    "bath_topped_up": "after feeding",
}

Written = LogRow | EventRow


@dataclass(slots=True)
class Bath:
    """Powder and dirt in one tank."""

    target: float  # mL/100 mL
    feed_at: float  # fed when a reading is not above this
    loss: float  # share of powder lost each shift
    soiling: float  # points of contaminant share a week
    level: float = 0.0
    share: float = 3.0


class DemoLine:
    """The line from its first shift on; `day` must be called for every day in order."""

    def __init__(self, seed: int) -> None:
        self._plans = {plan.key: plan for plan in STREAMS}
        self._noise = {plan.key: Noise(seed, place, plan.carry) for place, plan in enumerate(STREAMS)}
        self._habits = Noise(seed, len(STREAMS))
        self._baths = {
            A: Bath(target=0.21, feed_at=0.185, loss=0.010, soiling=1.0),
            B: Bath(target=0.20, feed_at=0.175, loss=0.008, soiling=1.5),
        }
        for bath in self._baths.values():
            bath.level = bath.target
        self._lamps = {plan.key: plan.centre for plan in STREAMS if plan.form == "lamp"}
        self._copied: dict[tuple[str, StreamKey], str] = {}
        self._notes: dict[StreamKey, str] = {}
        self._work = sorted((*WORK, *LIVE_WORK), key=lambda work: work.at)
        self._faults = (*FAULTS, *LIVE_FAULTS)
        self._idle = False

    def day(self, day: date) -> list[tuple[datetime, Written]]:
        """Return what is written on `day`, in time order."""
        written: list[tuple[datetime, Written]] = [*self._stops(day), *self._idle_and_running(day)]
        if holiday(day):
            written += self._resting(day)
        elif working(day):
            for shift in SHIFT_STARTS:
                written += self._shift(day, shift)
        return sorted(written, key=lambda item: item[0])  # a stable sort: equal times stay as made

    # what is done

    def _idle_and_running(self, day: date) -> Iterator[tuple[datetime, Written]]:
        tomorrow = day + timedelta(days=1)
        if not self._idle and shut_down(tomorrow):
            self._idle = True
            yield from self._both(datetime.combine(day, SHIFTS_END), "line_idle", "plant closed")
        if self._idle and working(day) and not shut_down(day) and not shut_down(tomorrow):
            self._idle = False
            yield from self._both(datetime.combine(day, BEFORE_WORK), "line_running", "")

    @staticmethod
    def _both(at: datetime, kind: str, note: str) -> Iterator[tuple[datetime, Written]]:
        for line in (A, B):
            yield at, EventRow(minute(at), line, kind, note=note)

    @staticmethod
    def _stops(day: date) -> Iterator[tuple[datetime, Written]]:
        for line, first, last, note in STOPS:
            if first.date() == day:
                yield first, EventRow(minute(first), line, "line_idle", note=note)
            if last.date() == day:
                yield last, EventRow(minute(last), line, "line_running")

    def _do_work(self, until: datetime) -> Iterator[tuple[datetime, Written]]:
        while self._work and self._work[0].at <= until:
            work = self._work.pop(0)
            yield work.at, self._done(work)

    def _done(self, work: Work) -> EventRow:
        bath = self._baths[work.line]
        amount = ""
        if work.kind in ("bath_changed", "unit_repaired", "bath_topped_up") and work.check == "bath_concentration":
            if work.kind == "bath_topped_up":
                amount = _grams(bath.target - bath.level)
            bath.level = bath.target * (1 + 0.03 * self._habits.fresh())
        if work.kind == "bath_changed":
            bath.share = 2.0
        for key in self._plans:
            if key.line == work.line and work.check == key.check and work.position in ("", key.position):
                self._notes[key] = _NOTES.get(work.kind, "")
                if work.level is not None:
                    self._lamps[key] = work.level
        return EventRow(
            minute(work.at), work.line, work.kind, work.check, work.position, amount, "g" if amount else "", work.note
        )

    # what is read

    def _resting(self, day: date) -> Iterator[tuple[datetime, Written]]:
        for plan in STREAMS:
            if plan.every in ("shift", "day"):
                at = shift_start(day, "A") + timedelta(minutes=plan.minute)
                yield at, self._row(plan, at, "A", NOT_RUN, "holiday")

    def _shift(self, day: date, shift: str) -> Iterator[tuple[datetime, Written]]:
        start = shift_start(day, shift)
        yield from self._do_work(start)
        without_work = {line: self._habits.chance() < IDLE_SHIFT for line in self._baths}
        for line, bath in self._baths.items():
            if not without_work[line] and not self._stopped(line, start):
                self._use(line, bath, start)
        for plan in STREAMS:
            if not _due(plan, day, shift):
                continue
            noise = self._noise[plan.key]
            missed, late, draw = noise.chance() < MISSED, int(7 * noise.chance()), noise.next()
            at = start + timedelta(minutes=plan.minute + late)
            if without_work[plan.key.line] or self._stopped(plan.key.line, at):
                if plan.every in ("shift", "day"):
                    yield at, self._row(plan, at, shift, NOT_RUN)
            elif not missed and not self._lost(plan.key, at):
                yield from self._check(plan, at, shift, draw)

    @staticmethod
    def _stopped(line: str, at: datetime) -> bool:
        return any(line == stopped and first <= at < last for stopped, first, last, _ in STOPS)

    def _use(self, line: str, bath: Bath, at: datetime) -> None:
        """Let a shift of work pass over the bath and the lamps of a line."""
        loss, share = bath.loss, bath.soiling / 10
        for fault in self._active(at):
            if fault.line == line and fault.effect == "loss_per_shift":
                loss += fault.size
            if fault.line == line and fault.effect == "share_per_week":
                share += fault.size / 10
        bath.level *= 1 - loss * (1 + 0.3 * self._habits.fresh())
        bath.share += share
        for key in self._lamps:
            if key.line == line:
                self._lamps[key] *= 1 - (0.0004 if key.position == "lamp 2" else 0.00003)

    def _active(self, at: datetime, key: StreamKey | None = None) -> list[Fault]:
        return [fault for fault in self._faults if fault.active(at) and (key is None or fault.touches(key))]

    def _lost(self, key: StreamKey, at: datetime) -> bool:
        return any(fault.effect == "missing" for fault in self._active(at, key))

    def _check(self, plan: StreamPlan, at: datetime, shift: str, draw: float) -> Iterator[tuple[datetime, Written]]:
        technician = self._technician(plan.key.line, at, shift)
        if plan.form == "word":
            yield at, self._row(plan, at, shift, self._word(plan, at), "", technician)
            return
        for place, reference in enumerate(plan.references or (None,)):
            chance = draw if place == 0 else self._noise[plan.key].next()
            taken = at + timedelta(minutes=3 * place)
            x = self._faulted(plan.key, self._read(plan, taken, chance), taken, shift, technician)
            value = self._written(plan, x, reference, taken)
            yield taken, self._row(plan, taken, shift, value, "", technician, reference)
        if plan.form == "bath":
            yield from self._feed(plan, at, value)

    def _read(self, plan: StreamPlan, at: datetime, draw: float) -> float:
        """Return what a faultless reading gives, before rounding."""
        if plan.form == "lamp":
            return self._lamps[plan.key] * (1 + plan.spread * draw)
        if plan.form == "skewed":
            return plan.centre * math.exp(plan.spread * draw)
        if plan.form == "count":
            return plan.centre + plan.spread * draw - (1 if self._weak(plan.key.line, at) else 0)
        centre = {"bath": self._baths[plan.key.line].level, "share": self._baths[plan.key.line].share}.get(
            plan.form, plan.centre + plan.season * _summer(at)
        )
        return centre + plan.spread * draw

    def _faulted(self, key: StreamKey, x: float, at: datetime, shift: str, technician: str) -> float:
        for fault in self._active(at, key):
            if fault.shift in ("", shift) and fault.technician in ("", technician.upper()):
                x = _with(fault, x, at)
        return x

    def _physical(self, key: StreamKey, at: datetime) -> float:
        """Return the true level of a stream, whatever the instrument or the person says."""
        plan = self._plans[key]
        x = self._read(plan, at, 0.0)
        for fault in self._active(at, key):
            if not fault.of_writing:
                x = _with(fault, x, at)
        return x

    def _weak(self, line: str, at: datetime) -> bool:
        """Return whether bath, light or current is too poor to show what should be shown."""
        lamps = [self._physical(key, at) for key in self._lamps if key.line == line]
        return (
            self._physical(StreamKey(line, "bath_concentration", "tank"), at) < 0.12
            or max(lamps) < 1200
            or self._physical(StreamKey(line, "ammeter", "head"), at) < -8
        )

    def _word(self, plan: StreamPlan, at: datetime) -> str:
        good = "shown" if plan.key.check == "notched_shim" else "pass"
        chance = self._noise[plan.key].chance()
        poor = 0.003
        if plan.key.check in ("notched_shim", "known_defect_part") and self._weak(plan.key.line, at):
            poor = 0.45 if plan.key.check == "notched_shim" else 0.15
        if plan.key.check in ("quick_break", "lamp_integrity"):
            poor = 0.0
        for fault in self._active(at, plan.key):
            if fault.effect == "spent":
                poor = fault.size
        if good == "shown" and chance < poor / 6:
            return "not shown"
        return plan.bad_word if chance < poor else good

    # what is written

    def _written(self, plan: StreamPlan, x: float, reference: int | None, at: datetime) -> str:
        if plan.form == "deviation" and reference is not None:
            x = reference * (1 + x / 100)
        if plan.form != "level":
            x = max(x, 0.0)
        step, copied = plan.step, None
        for fault in self._active(at, plan.key):
            if fault.effect == "step":
                step = Decimal(str(fault.size))
            if fault.effect == "copied":
                copied = fault
        text = _rounded(x, step)
        if plan.below is not None and Decimal(text) < plan.below:
            text = f"<{plan.below}"
        return text if copied is None else self._copied.setdefault((copied.id, plan.key), text)

    def _feed(self, plan: StreamPlan, at: datetime, value: str) -> Iterator[tuple[datetime, Written]]:
        """Feed the bath when a reading is low, unless it is a fault that makes it so."""
        bath, noise = self._baths[plan.key.line], self._habits
        dose, unwritten = 1 + 0.1 * noise.fresh(), noise.chance() < UNWRITTEN
        wrong = any(not fault.of_writing for fault in self._active(at, plan.key))
        if wrong or float(value) > bath.feed_at:
            return
        added = (bath.target - float(value)) * dose
        bath.level += added
        done = at + timedelta(minutes=75)  # the settling time, then the powder is weighed
        if not unwritten:
            yield done, EventRow(minute(done), *_names(plan.key, "bath_topped_up"), _grams(added), "g")

    def _row(
        self,
        plan: StreamPlan,
        at: datetime,
        shift: str,
        value: str,
        note: str = "",
        technician: str = "",
        reference: int | None = None,
    ) -> LogRow:
        key = plan.key
        technician = technician or self._technician(key.line, at, shift)
        instrument = plan.instrument
        if any(fault.effect == "step" for fault in self._active(at, key)):
            instrument = "tube-3"
        measured = value != NOT_RUN
        return LogRow(
            minute(at),
            key.line,
            key.check,
            key.position,
            value,
            str(reference) if measured and reference is not None else "",
            plan.unit if measured else "",
            instrument if measured else "",
            technician,
            shift,
            (self._notes.pop(key, "") if measured else "") or note,
        )

    def _technician(self, line: str, at: datetime, shift: str) -> str:
        """Return who reads: a code, now and then in small letters or left out."""
        early_week = at.isocalendar().week % 2 == 0
        code = {(A, "A"): "T1" if early_week else "T2", (A, "B"): "T3" if early_week else "T4", (B, "A"): "T5"}.get(
            (line, shift), "T6"
        )
        chance = self._habits.chance()
        if chance < 0.015:
            return " "
        return code.lower() if chance < 0.045 else code


def _names(key: StreamKey, kind: str) -> tuple[str, str, str, str]:
    return key.line, kind, key.check, key.position


def _grams(millilitres: float) -> str:
    return _rounded(max(millilitres, 0.0) * GRAMS_PER_ML, Decimal(1))


def _rounded(x: float, step: Decimal) -> str:
    """Return `x` to the nearest multiple of `step`, written with as many places as the step has."""
    count = (Decimal(x) / step).quantize(Decimal(1), ROUND_HALF_EVEN)
    return str(abs(count * step) if count == 0 else count * step)


def _summer(at: datetime) -> float:
    """Return 1 in mid-July, -1 in mid-January."""
    return math.cos(2 * math.pi * (at.timetuple().tm_yday - 196) / 365.25)


def _with(fault: Fault, x: float, at: datetime) -> float:
    if fault.effect == "factor":
        return x * fault.size
    if fault.effect == "factor_per_day":
        return float(x * (1 + fault.size) ** fault.days(at))
    if fault.effect == "add":
        return x + fault.size
    if fault.effect == "add_per_day":
        return x + fault.size * fault.days(at)
    return x


def _due(plan: StreamPlan, day: date, shift: str) -> bool:
    if plan.every == "shift":
        return True
    if shift != plan.shift:
        return False
    if plan.every == "week":
        return day.weekday() == plan.weekday
    if plan.every == "month":
        return first_of_month(day)
    if plan.every == "half_year":
        return first_of_month(day) and day.month in (5, 11)
    return True
