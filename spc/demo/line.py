"""The demo line at work: day by day, what is done, what is read and what is written down."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from decimal import ROUND_HALF_EVEN, Decimal

from spc.demo.faults import Work
from spc.demo.noise import Noise
from spc.demo.plan import A, B, StreamPlan
from spc.demo.process import Process
from spc.demo.rows import EventRow, LogRow, minute
from spc.demo.script import Script
from spc.demo.working_days import BEFORE_WORK, SHIFT_STARTS, SHIFTS_END, holiday, shift_start, shut_down, working
from spc.records import NOT_RUN, StreamKey

# Habits of this line; shares are estimates (common practice, no source).
MISSED = 0.012  # of checks, not done although the line ran
WITHOUT_WORK = 0.012  # of shifts
UNWRITTEN = 0.25  # of feeds nobody writes down
UNSIGNED, SMALL_LETTERS = 0.015, 0.03  # of rows
DIRTY = 25  # % of contaminant at which the bath is changed the next morning
SETTLING = timedelta(minutes=75)  # an hour in the tube, then the powder is weighed

NOTES = {
    "bath_changed": "new bath",
    "lamp_replaced": "new lamp",
    "lamp_cleaned": "after cleaning",
    "meter_calibrated": "after calibration",
    "unit_repaired": "after repair",
    "booth_repaired": "after repair",
    "bath_topped_up": "after feeding",
}

CHECKED_AGAIN = {"meter_calibrated", "unit_repaired", "booth_repaired", "lamp_replaced"}
"""Kinds of work after which the check is done again at once, due or not."""

Written = tuple[datetime, LogRow | EventRow]


class DemoLine:
    """The line from its first shift on: call `day` for every day, in order."""

    def __init__(self, script: Script, seed: int) -> None:
        self._script = script
        self._noise = {plan.key: Noise(seed, place, plan.carry) for place, plan in enumerate(script.streams)}
        work, self._idling, self._signing, self._writing = (
            Noise(seed, len(script.streams) + more) for more in range(4)
        )
        self._process = Process(script, work)
        self._work = list(script.work)
        self._copied: dict[tuple[str, StreamKey], str] = {}
        self._notes: dict[StreamKey, str] = {}
        self._again: set[StreamKey] = set()
        self._closed = False

    def day(self, day: date) -> list[Written]:
        """Return what is written on `day`, in time order."""
        written = [*self._closing(day), *self._stopping(day)]
        if holiday(day):
            written += self._holiday(day)
        elif working(day):
            for shift in SHIFT_STARTS:
                written += self._shift(day, shift)
        return sorted(written, key=lambda item: item[0])  # a stable sort: equal times stay as made

    # what is done

    def _closing(self, day: date) -> Iterator[Written]:
        if self._closed and working(day):
            self._closed = False
            for line in (A, B):
                yield _event(datetime.combine(day, BEFORE_WORK), line, "line_running")
        if not self._closed and shut_down(day + timedelta(days=1)):
            self._closed = True
            for line in (A, B):
                yield _event(datetime.combine(day, SHIFTS_END), line, "line_idle", note="plant closed")

    def _stopping(self, day: date) -> Iterator[Written]:
        for stop in self._script.stops:
            if stop.first.date() == day:
                yield _event(stop.first, stop.line, "line_idle", note=stop.note)
            if stop.last.date() == day:
                yield _event(stop.last, stop.line, "line_running")

    def _stands(self, line: str, at: datetime) -> bool:
        return any(stop.holds(line, at) for stop in self._script.stops)

    def _work_done(self, until: datetime) -> Iterator[Written]:
        while self._work and self._work[0].at <= until:
            work = self._work.pop(0)
            grams = self._process.work(work)
            for plan in self._script.streams:
                if work.touches(plan.key):
                    self._notes[plan.key] = NOTES.get(work.kind, "")
                    self._again |= {plan.key} if work.kind in CHECKED_AGAIN else set()
            yield _event(work.at, work.line, work.kind, work.check, work.position, grams, work.note)

    # what is read

    def _holiday(self, day: date) -> Iterator[Written]:
        for plan in self._script.streams:
            if plan.every in ("shift", "day"):
                at = shift_start(day, "A") + timedelta(minutes=plan.minute)
                yield at, self._row(plan, at, "A", NOT_RUN, note="holiday")

    def _shift(self, day: date, shift: str) -> Iterator[Written]:
        start = shift_start(day, shift)
        yield from self._work_done(start)
        idle = {line for line in (A, B) if self._idling.chance() < WITHOUT_WORK or self._stands(line, start)}
        for line in (A, B):
            if line not in idle:
                self._process.use(line, start)
        for plan in self._script.streams:
            if not plan.due(day, shift) and plan.key not in self._again:
                continue
            noise = self._noise[plan.key]  # drawn alike whatever happens, so that no fault moves the noise
            missed, late = noise.chance() < MISSED, int(7 * noise.chance())
            draws = [noise.chance() if plan.form == "word" else noise.next() for _ in plan.references or (None,)]
            at = start + timedelta(minutes=plan.minute + late)
            if self._has_fault(plan.key, at, "missing"):
                continue
            if plan.key.line in idle or self._stands(plan.key.line, at):
                if plan.every in ("shift", "day"):
                    yield at, self._row(plan, at, shift, NOT_RUN)
            elif not missed:
                self._again.discard(plan.key)
                yield from self._check(plan, at, shift, draws)

    def _has_fault(self, key: StreamKey, at: datetime, effect: str) -> bool:
        return any(fault.effect == effect for fault in self._process.faults(at, key))

    def _check(self, plan: StreamPlan, at: datetime, shift: str, draws: list[float]) -> Iterator[Written]:
        if plan.form == "word":
            yield at, self._row(plan, at, shift, self._word(plan, at, draws[0]))
            return
        for reference, draw in zip(plan.references or (None,), draws, strict=True):
            x = self._faulted(plan, at, shift, draw)
            if plan.form == "deviation" and reference is not None:
                x = reference * (1 + x / 100)
            value = self._written(plan, x, at)
            yield at, self._row(plan, at, shift, value, reference)
            at += timedelta(minutes=3)
        if plan.form in ("bath", "share"):
            yield from self._react(plan, at, value)

    def _faulted(self, plan: StreamPlan, at: datetime, shift: str, draw: float) -> float:
        x = self._process.read(plan, at, draw)
        for fault in self._process.faults(at, plan.key):
            if fault.shift in ("", shift) and fault.technician in ("", _reader(plan.key.line, at, shift)):
                x = fault.changed(x, at)
        return x

    def _word(self, plan: StreamPlan, at: datetime, chance: float) -> str:
        weakness = self._process.weakness(plan.key.line, at)
        poor = {
            "notched_shim": 0.003 + 0.45 * weakness,
            "known_defect_part": 0.003 + 0.15 * weakness,
            "water_break": 0.003,
        }.get(plan.key.check, 0.0)
        for fault in self._process.faults(at, plan.key):
            poor = fault.size if fault.effect == "spent" else poor
        if plan.key.check == "notched_shim":
            return "not shown" if chance < poor / 6 else "partly" if chance < poor else "shown"
        return "fail" if chance < poor else "pass"

    def _react(self, plan: StreamPlan, at: datetime, value: str) -> Iterator[Written]:
        """Feed a bath that reads low and change one that reads dirty, unless a fault makes it so."""
        key, reading, unwritten = plan.key, float(value), self._writing.chance() < UNWRITTEN
        if any(not fault.of_writing for fault in self._process.faults(at, key)):
            return
        if plan.form == "bath" and reading <= self._process.baths[key.line].feed_at:
            grams = self._process.feed(key.line, reading)
            if not unwritten:
                yield _event(at + SETTLING, key.line, "bath_topped_up", key.check, key.position, grams)
        if plan.form == "share" and reading > DIRTY:
            morning = datetime.combine(at.date() + timedelta(days=1), BEFORE_WORK)
            self._work.insert(0, Work(morning, key.line, "bath_changed"))

    # what is written

    def _written(self, plan: StreamPlan, x: float, at: datetime) -> str:
        step, copied = plan.step, None
        for fault in self._process.faults(at, plan.key):
            step = Decimal(str(fault.size)) if fault.effect == "step" else step
            copied = fault if fault.effect == "copied" else copied
        text = rounded(x if plan.form == "level" else max(x, 0.0), step)
        if plan.below is not None and x < plan.below:
            text = f"<{plan.below}"
        return text if copied is None else self._copied.setdefault((copied.id, plan.key), text)

    def _row(
        self, plan: StreamPlan, at: datetime, shift: str, value: str, reference: int | None = None, note: str = ""
    ) -> LogRow:
        key = plan.key
        who = self._signed(_reader(key.line, at, shift))
        if value == NOT_RUN:
            return LogRow(minute(at), key.line, key.check, key.position, value, technician=who, shift=shift, note=note)
        return LogRow(
            minute(at),
            key.line,
            key.check,
            key.position,
            value,
            "" if reference is None else str(reference),
            plan.unit,
            "tube-3" if self._has_fault(key, at, "step") else plan.instrument,
            who,
            shift,
            self._notes.pop(key, note),
        )

    def _signed(self, code: str) -> str:
        """Return the code as it is written: now and then left out, or in small letters."""
        chance = self._signing.chance()
        if chance < UNSIGNED:
            return ""
        return code.lower() if chance < UNSIGNED + SMALL_LETTERS else code


def rounded(x: float, step: Decimal) -> str:
    """Return `x` to the nearest multiple of `step`, with as many places as the step has."""
    count = (Decimal(x) / step).quantize(Decimal(1), ROUND_HALF_EVEN)
    return str(count * step if count else abs(count * step))  # no "-0.00"


def _reader(line: str, at: datetime, shift: str) -> str:
    """Return who does the checks: on Line A two people take turns by the week."""
    even = at.isocalendar().week % 2 == 0
    return {(A, "A"): "T1" if even else "T2", (A, "B"): "T3" if even else "T4", (B, "A"): "T5", (B, "B"): "T6"}[
        line, shift
    ]


def _event(
    at: datetime, line: str, kind: str, check: str = "", position: str = "", grams: float = 0.0, note: str = ""
) -> Written:
    amount, unit = (rounded(grams, Decimal(1)), "g") if grams else ("", "")
    return at, EventRow(minute(at), line, kind, check, position, amount, unit, note)
