"""What is wrong on the demo line on purpose, and what was done to the line: the truth behind the log."""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from spc.demo.plan import A, B
from spc.records import StreamKey

Effect = Literal[
    "factor",  # every reading times `size`
    "factor_per_day",  # every reading times (1 + size) once more each day
    "add",  # every reading plus `size`
    "add_per_day",  # every reading plus `size` for each day since
    "loss_per_shift",  # the bath loses this share of its powder each shift, and nobody tops up
    "share_per_week",  # contaminant share grows by this many points a week more
    "step",  # readings are rounded to multiples of `size`
    "copied",  # the first reading is written again and again
    "missing",  # nothing was written although the line ran
    "spent",  # the judged check fails with probability `size`
]
Ending = Literal["failed check", "caught in time", "found later", "passed by itself", "open at the end of the log"]


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong, where, from when to when, and how much."""

    id: str
    line: str
    check: str  # "" every check of the line
    positions: tuple[str, ...]  # () every position of the check
    first: datetime
    last: datetime | None  # exclusive; None: not over when the log ends
    effect: Effect
    size: float
    ends: Ending
    see: str  # what a person would see
    caught_by: str  # what should catch it
    of_writing: bool = False  # the instrument or the writing is wrong, not the line
    shift: str = ""  # on this shift alone
    technician: str = ""  # in this person's readings alone

    def touches(self, key: StreamKey) -> bool:
        """Return whether the fault is on the stream `key`."""
        return (
            key.line == self.line
            and self.check in ("", key.check)
            and (not self.positions or key.position in self.positions)
        )

    def active(self, at: datetime) -> bool:
        """Return whether the fault lasts at the site's local time `at`."""
        return self.first <= at and (self.last is None or at < self.last)

    def days(self, at: datetime) -> float:
        """Return days since the fault began."""
        return (at - self.first).total_seconds() / 86400


def _at(text: str) -> datetime:
    return datetime.fromisoformat(text)


FAULTS: tuple[Fault, ...] = (
    Fault(
        "cold-lamp",
        A,
        "uva_irradiance",
        ("lamp 1",),
        _at("2025-01-13T06:00"),
        _at("2025-01-18T06:00"),
        "factor",
        1.08,
        "passed by itself",
        "Five early-shift readings of the LED lamp about 8 % high, late-shift readings as ever.",
        "single readings above the upper control limit; comparing shifts",
        of_writing=True,
        shift="A",
    ),
    Fault(
        "soiled-lamp-2",
        A,
        "uva_irradiance",
        ("lamp 2",),
        _at("2025-02-17T06:00"),
        _at("2025-04-15T14:00"),
        "factor_per_day",
        -0.021,
        "failed check",
        "The mercury lamp loses about 2 % a day: oil mist on its filter. Below 1000 uW/cm2 from about 10 April; the filter is cleaned after the failed checks.",
        "run rules within days; the forecast weeks before the failure",
    ),
    Fault(
        "soiled-lamp-b",
        B,
        "uva_irradiance",
        ("lamp 1",),
        _at("2025-03-03T06:00"),
        _at("2025-04-07T05:30"),
        "factor_per_day",
        -0.006,
        "caught in time",
        "The lamp of Line B loses about 0.6 % a day and is cleaned at 80 % of its level, far above the limit.",
        "run rules on one side of the centre line",
    ),
    Fault(
        "bath-unfed",
        A,
        "bath_concentration",
        (),
        _at("2025-05-12T06:00"),
        _at("2025-05-27T05:30"),
        "loss_per_shift",
        0.03,
        "failed check",
        "Nobody tops up and drag-out doubles with a new part: the settling volume falls from 0.20 to below 0.10 mL/100 mL in two weeks, shims are shown partly at the end.",
        "run rules after some readings; the forecast a week before the failure",
    ),
    Fault(
        "missing-fortnight",
        B,
        "",
        (),
        _at("2025-06-16T00:00"),
        _at("2025-06-30T00:00"),
        "missing",
        0.0,
        "found later",
        "No row of Line B for two weeks although it ran: the sheet was lost.",
        "the schedule: checks due and not done",
        of_writing=True,
    ),
    Fault(
        "agitator-blocked",
        A,
        "bath_concentration",
        (),
        _at("2025-07-07T06:00"),
        _at("2025-07-10T05:30"),
        "factor",
        0.45,
        "failed check",
        "Powder settles in the sump for three days: the settling volume halves from one shift to the next and comes back after the agitator pipe is cleared.",
        "a reading beyond the lower control limit at once",
    ),
    Fault(
        "shot-in-bath",
        A,
        "bath_contamination",
        (),
        _at("2025-08-25T06:00"),
        _at("2025-10-15T05:30"),
        "share_per_week",
        4.0,
        "failed check",
        "Blasting shot is carried in: the contaminant share grows by five points a week until it passes 30 % and the bath is changed.",
        "the trend, weeks before 30 %",
    ),
    Fault(
        "head-ammeter-creeping",
        A,
        "ammeter",
        ("head",),
        _at("2025-09-01T06:00"),
        _at("2026-01-28T05:30"),
        "add_per_day",
        -0.0875,
        "failed check",
        "A shunt joint works loose: the panel reads 0.6 % less each week, past -10 % in January.",
        "run rules from October; the forecast in December",
    ),
    Fault(
        "ring-left-magnetised",
        A,
        "ring_holes",
        ("ring 1",),
        _at("2025-10-20T06:00"),
        _at("2025-10-22T22:00"),
        "add",
        2.0,
        "passed by itself",
        "Two holes more than ever for three days: the ring was not demagnetised.",
        "counts above the upper control limit",
    ),
    Fault(
        "radiometer-damaged",
        A,
        "uva_irradiance",
        (),
        _at("2025-11-10T06:00"),
        _at("2026-02-02T05:30"),
        "factor",
        0.88,
        "found later",
        "Both lamps of Line A read 12 % less from one shift to the next: the radiometer was dropped. Found when it is recalibrated in February.",
        "readings below the lower control limit on both lamps at the same time",
        of_writing=True,
    ),
    Fault(
        "curtain-worn",
        A,
        "ambient_light",
        (),
        _at("2025-12-08T06:00"),
        _at("2026-01-14T05:30"),
        "factor",
        3.0,
        "caught in time",
        "The booth is three times as light after the curtain was moved, still under 2 fc; the curtain is mended in January.",
        "run rules on one side of the centre line",
    ),
    Fault(
        "oil-carried-in",
        A,
        "viscosity",
        (),
        _at("2025-10-20T06:00"),
        _at("2026-03-16T05:30"),
        "add_per_day",
        0.0019,
        "caught in time",
        "Cutting oil thickens the bath from 2.6 to 2.85 mm2/s; it is changed before 3.0.",
        "the trend",
    ),
    Fault(
        "wrong-tube",
        B,
        "bath_concentration",
        (),
        _at("2026-02-16T06:00"),
        _at("2026-03-23T05:30"),
        "step",
        0.1,
        "found later",
        "The settling tube was swapped for one with divisions of 0.1 mL: every reading is 0.1, 0.2 or 0.3.",
        "screening: a changed resolution and instrument",
        of_writing=True,
    ),
    Fault(
        "coil-ammeter-creeping",
        A,
        "ammeter",
        ("coil",),
        _at("2026-02-23T06:00"),
        _at("2026-04-15T05:30"),
        "add_per_day",
        -0.1,
        "caught in time",
        "The coil circuit's panel meter creeps to -5 % in seven weeks and is calibrated in time.",
        "run rules on one side of the centre line",
    ),
    Fault(
        "demagnetiser-step-lost",
        A,
        "residual_field",
        (),
        _at("2026-03-09T06:00"),
        _at("2026-03-12T05:30"),
        "add",
        3.4,
        "failed check",
        "Parts leave with more than 3 G for three days: a step of the demagnetiser's decay is missing.",
        "a reading beyond the upper control limit and the acceptance limit at once",
    ),
    Fault(
        "copied-bath",
        A,
        "bath_concentration",
        (),
        _at("2026-04-20T06:00"),
        _at("2026-05-09T00:00"),
        "copied",
        0.0,
        "passed by itself",
        "The same settling volume, shift after shift, for three weeks.",
        "screening: a run of equal readings",
        of_writing=True,
    ),
    Fault(
        "copied-residual",
        B,
        "residual_field",
        (),
        _at("2025-11-17T06:00"),
        _at("2025-12-13T00:00"),
        "copied",
        0.0,
        "passed by itself",
        "The same residual field every day for four weeks.",
        "screening: a run of equal readings",
        of_writing=True,
    ),
    Fault(
        "lamp-b-unwritten",
        B,
        "uva_irradiance",
        ("lamp 1",),
        _at("2026-05-04T06:00"),
        None,
        "factor",
        1.1,
        "passed by itself",
        "The lamp's head was changed and nobody wrote it down: readings step up by 10 % and stay.",
        "readings above the upper control limit; a step without an event",
    ),
    Fault(
        "second-reader",
        A,
        "bath_concentration",
        (),
        _at("2026-06-01T06:00"),
        _at("2026-08-01T00:00"),
        "add",
        0.03,
        "passed by itself",
        "One person reads the tube 0.03 mL higher than the others: every second week's late shift is high.",
        "comparing technicians",
        of_writing=True,
        technician="T4",
    ),
    Fault(
        "torn-curtain",
        B,
        "ambient_light",
        (),
        _at("2026-06-22T06:00"),
        _at("2026-07-07T05:30"),
        "add",
        1.7,
        "failed check",
        "Two weekly readings above 2 fc: a torn curtain, then mended.",
        "a reading beyond both limits at once",
    ),
    Fault(
        "hot-summer",
        B,
        "bath_concentration",
        (),
        _at("2026-07-13T06:00"),
        _at("2026-07-29T05:30"),
        "factor_per_day",
        0.035,
        "caught in time",
        "Water evaporates in a hot fortnight: the settling volume climbs towards 0.3, then carrier is added.",
        "run rules on one side of the centre line",
    ),
    Fault(
        "wetting-spent",
        B,
        "water_break",
        (),
        _at("2026-09-14T06:00"),
        _at("2026-09-21T05:30"),
        "spent",
        0.6,
        "failed check",
        "Water break fails on several days at the end of the bath's life; the bath is changed.",
        "the failed checks themselves",
    ),
    Fault(
        "head-ammeter-b-creeping",
        B,
        "ammeter",
        ("head",),
        _at("2026-08-24T06:00"),
        _at("2026-11-25T05:30"),
        "add_per_day",
        -0.14,
        "open at the end of the log",
        "The panel reads 1 % less each week; the last check of the log is beyond -10 % and Line B is stopped.",
        "run rules in September; the forecast in October",
    ),
    Fault(
        "lamp-2-soiling",
        A,
        "uva_irradiance",
        ("lamp 2",),
        _at("2026-10-12T06:00"),
        _at("2026-12-14T05:30"),
        "factor_per_day",
        -0.01,
        "open at the end of the log",
        "The mercury lamp loses 1 % a day and stands at two thirds of its level: not failed, on its way.",
        "run rules; the forecast",
    ),
)

LIVE_FAULTS: tuple[Fault, ...] = (
    Fault(
        "strainer-clogging",
        A,
        "bath_concentration",
        (),
        _at("2026-11-23T06:00"),
        _at("2026-11-27T05:30"),
        "loss_per_shift",
        0.09,
        "failed check",
        "From the first live shift the bath of Line A loses 9 % of its powder a shift under a clogging strainer; signalled after a few readings, failed after about eight, cleared after nine.",
        "run rules; the forecast",
    ),
)


@dataclass(frozen=True, slots=True)
class Work:
    """Something done to the line at a known time."""

    at: datetime
    line: str
    kind: str
    check: str = ""
    position: str = ""
    level: float | None = None  # what a replaced lamp gives, uW/cm2
    note: str = ""


def _work(
    at: str, line: str, kind: str, check: str, position: str = "", level: float | None = None, note: str = ""
) -> Work:
    return Work(_at(at), line, kind, check, position, level, note)


WORK: tuple[Work, ...] = (
    *(
        _work(f"{day}T05:30", A, "bath_changed", "bath_concentration", "tank")
        for day in (
            "2025-01-20",
            "2025-03-31",
            "2025-06-10",
            "2025-08-18",
            "2025-12-15",
            "2026-05-26",
            "2026-08-17",
            "2026-10-19",
        )
    ),
    _work("2025-10-15T05:30", A, "bath_changed", "bath_concentration", "tank", note="contamination over 30 %"),
    _work("2026-03-16T05:30", A, "bath_changed", "bath_concentration", "tank", note="oil carried in"),
    *(
        _work(f"{day}T05:30", B, "bath_changed", "bath_concentration", "tank")
        for day in (
            "2024-12-16",
            "2025-02-03",
            "2025-03-24",
            "2025-05-12",
            "2025-07-01",
            "2025-08-18",
            "2025-10-06",
            "2025-11-24",
            "2026-01-19",
            "2026-03-09",
            "2026-04-27",
            "2026-06-15",
            "2026-08-17",
            "2026-11-09",
        )
    ),
    _work("2026-09-21T05:30", B, "bath_changed", "bath_concentration", "tank", note="water break failed"),
    *(
        _work(f"{day}T05:30", A, "lamp_cleaned", "uva_irradiance", "lamp 1")
        for day in ("2025-03-03", "2025-06-23", "2025-09-29", "2026-05-11", "2026-09-07")
    ),
    _work("2025-04-15T14:00", A, "lamp_cleaned", "uva_irradiance", "lamp 2", note="oil mist on the filter"),
    _work("2025-04-07T05:30", B, "lamp_cleaned", "uva_irradiance", "lamp 1"),
    _work("2025-07-21T05:30", A, "lamp_replaced", "uva_irradiance", "lamp 2", 3350.0),
    _work("2026-08-17T05:30", A, "lamp_replaced", "uva_irradiance", "lamp 2", 3100.0),
    _work("2025-05-27T05:30", A, "bath_topped_up", "bath_concentration", "tank", note="failed, fed to target"),
    _work("2025-07-10T05:30", A, "unit_repaired", "bath_concentration", "tank", note="agitator pipe cleared"),
    _work("2026-01-28T05:30", A, "meter_calibrated", "ammeter", "head", note="shunt joint tightened"),
    _work("2026-02-02T05:30", A, "meter_calibrated", "uva_irradiance", note="rad-1 as found 12 % low"),
    _work("2025-06-30T05:30", B, "meter_calibrated", "uva_irradiance", note="rad-2 as found within 2 %"),
    _work("2026-06-29T05:30", B, "meter_calibrated", "uva_irradiance", note="rad-2 as found within 2 %"),
    _work("2026-01-14T05:30", A, "booth_repaired", "ambient_light", "booth", note="curtain mended"),
    _work("2026-07-07T05:30", B, "booth_repaired", "ambient_light", "booth", note="curtain replaced"),
    _work("2026-03-23T05:30", B, "instrument_changed", "bath_concentration", "tank", note="back to tube-2"),
    _work("2026-04-15T05:30", A, "meter_calibrated", "ammeter", "coil"),
    _work("2026-03-12T05:30", A, "unit_repaired", "residual_field", "demagnetiser"),
    _work("2026-07-29T05:30", B, "carrier_added", "bath_concentration", "tank", note="made up with water"),
)

LIVE_WORK: tuple[Work, ...] = (
    _work("2026-11-25T05:30", B, "meter_calibrated", "ammeter", "head", note="shunt joint tightened"),
    _work("2026-11-27T05:30", A, "unit_repaired", "bath_concentration", "tank", note="strainer cleared"),
    _work("2026-12-14T05:30", A, "lamp_cleaned", "uva_irradiance", "lamp 2", note="oil mist on the filter"),
)

STOPS: tuple[tuple[str, datetime, datetime, str], ...] = (
    (B, _at("2026-11-20T15:00"), _at("2026-11-25T05:31"), "stopped: ammeter outside its limit"),
)
"""Times when one line stood still: line, from, to, note."""
