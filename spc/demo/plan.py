"""What is checked on the demo line: its streams, with their centre, spread, resolution and times.

Centres, spreads, resolutions and serial correlation are engineering estimates for such a line (common practice,
no source); the intervals follow common industrial practice.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from spc.records import StreamKey

ZONE = "Europe/Vienna"
"""The site's zone; the log's times stand without an offset."""

A, B = "Line A", "Line B"

Every = Literal["shift", "day", "week", "month", "half_year"]
Form = Literal["bath", "share", "lamp", "level", "skewed", "deviation", "count", "word"]


@dataclass(frozen=True, slots=True)
class StreamPlan:
    """One stream of the demo line: when it is checked and how its readings lie."""

    key: StreamKey
    form: Form
    every: Every
    minute: int  # after the start of the shift
    step: Decimal = Decimal(1)  # what readings are rounded to
    centre: float = 0.0  # in the check's unit; % for a deviation
    spread: float = 0.0  # standard deviation; relative for a lamp and a skewed stream
    carry: float = 0.0  # correlation of successive readings
    unit: str = ""
    instrument: str = ""
    references: tuple[int, ...] = ()
    shift: str = "A"  # on which shift, unless checked every shift
    weekday: int = 0  # of a weekly check; 0 is Monday
    bad_word: str = "fail"
    season: float = 0.0  # how much higher in July than in January, halved
    below: Decimal | None = None  # a reading under this is written "<" and this


def _plan(line: str, check: str, position: str, form: Form, every: Every, minute: int, **more: object) -> StreamPlan:
    if isinstance(more.get("step"), str):
        more["step"] = Decimal(str(more["step"]))
    return StreamPlan(StreamKey(line, check, position), form, every, minute, **more)  # type: ignore[arg-type]


_CONCENTRATION = {"unit": "mL/100mL"}
_UVA = {"unit": "uW/cm2", "step": "10"}
_LIGHT = {"unit": "fc", "step": "0.1", "below": Decimal("0.1")}
_AMPERES = {"unit": "A", "step": "10"}

STREAMS: tuple[StreamPlan, ...] = (
    _plan(
        A,
        "bath_concentration",
        "tank",
        "bath",
        "shift",
        10,
        step="0.01",
        spread=0.012,
        instrument="tube-1",
        **_CONCENTRATION,
    ),
    _plan(
        A,
        "bath_temperature",
        "tank",
        "level",
        "shift",
        12,
        centre=23.0,
        spread=0.6,
        carry=0.3,
        step="0.5",
        unit="degC",
        instrument="therm-1",
        season=0.2,
    ),
    _plan(
        A,
        "uva_irradiance",
        "lamp 1",
        "lamp",
        "shift",
        20,
        centre=4500,
        spread=0.015,
        carry=0.2,
        instrument="rad-1",
        **_UVA,
    ),
    _plan(
        A,
        "uva_irradiance",
        "lamp 2",
        "lamp",
        "shift",
        23,
        centre=3150,
        spread=0.03,
        carry=0.3,
        instrument="rad-1",
        **_UVA,
    ),
    _plan(
        A,
        "ring_holes",
        "ring 1",
        "count",
        "shift",
        30,
        centre=7,
        spread=0.32,
        carry=0.4,
        references=(1500,),
        instrument="ring-1",
    ),
    _plan(A, "notched_shim", "bracket", "word", "shift", 35, bad_word="partly"),
    _plan(A, "notched_shim", "hub", "word", "shift", 37, bad_word="partly"),
    _plan(A, "known_defect_part", "gear 3", "word", "shift", 42),
    _plan(
        A,
        "residual_field",
        "demagnetiser",
        "skewed",
        "day",
        50,
        centre=0.8,
        spread=0.25,
        step="0.1",
        unit="G",
        instrument="gauss-1",
    ),
    _plan(
        A,
        "bath_contamination",
        "tank",
        "share",
        "week",
        15,
        spread=0.9,
        step="1",
        unit="%",
        instrument="tube-1",
        weekday=1,
    ),
    _plan(
        A,
        "viscosity",
        "tank",
        "level",
        "month",
        16,
        centre=2.6,
        spread=0.03,
        step="0.05",
        unit="mm2/s",
        instrument="cup-1",
    ),
    _plan(A, "lamp_integrity", "lamp 1", "word", "week", 24, weekday=2),
    _plan(A, "lamp_integrity", "lamp 2", "word", "week", 25, weekday=2),
    _plan(
        A,
        "lamp_visible_light",
        "lamp 1",
        "skewed",
        "week",
        26,
        centre=0.6,
        spread=0.12,
        weekday=2,
        instrument="lux-1",
        **_LIGHT,
    ),
    _plan(
        A,
        "lamp_visible_light",
        "lamp 2",
        "skewed",
        "week",
        27,
        centre=0.9,
        spread=0.12,
        weekday=2,
        instrument="lux-1",
        **_LIGHT,
    ),
    _plan(
        A,
        "ambient_light",
        "booth",
        "skewed",
        "week",
        28,
        centre=0.25,
        spread=0.4,
        carry=0.3,
        weekday=2,
        instrument="lux-1",
        **_LIGHT,
    ),
    _plan(
        A,
        "ammeter",
        "head",
        "deviation",
        "week",
        55,
        centre=0.5,
        spread=0.8,
        references=(1000, 2000),
        weekday=1,
        instrument="shunt-1",
        **_AMPERES,
    ),
    _plan(
        A,
        "ammeter",
        "coil",
        "deviation",
        "week",
        60,
        centre=-0.5,
        spread=0.8,
        references=(1000, 2000),
        weekday=1,
        instrument="shunt-1",
        **_AMPERES,
    ),
    _plan(
        A,
        "timer",
        "head",
        "level",
        "half_year",
        70,
        centre=0.01,
        spread=0.012,
        step="0.01",
        unit="s",
        instrument="stopwatch-1",
    ),
    _plan(A, "quick_break", "coil", "word", "half_year", 75),
    _plan(
        B,
        "bath_concentration",
        "tank",
        "bath",
        "shift",
        10,
        step="0.025",
        spread=0.015,
        instrument="tube-2",
        **_CONCENTRATION,
    ),
    _plan(B, "water_break", "tank", "word", "day", 14),
    _plan(
        B,
        "bath_temperature",
        "tank",
        "level",
        "day",
        15,
        centre=21.0,
        spread=0.6,
        carry=0.3,
        step="0.5",
        unit="degC",
        instrument="therm-2",
        season=1.0,
    ),
    _plan(
        B,
        "uva_irradiance",
        "lamp 1",
        "lamp",
        "day",
        20,
        centre=3800,
        spread=0.02,
        carry=0.2,
        instrument="rad-2",
        **_UVA,
    ),
    _plan(
        B,
        "ring_holes",
        "ring 2",
        "count",
        "day",
        30,
        centre=6,
        spread=0.32,
        carry=0.4,
        references=(1000,),
        instrument="ring-2",
    ),
    _plan(B, "known_defect_part", "pin 8", "word", "day", 36),
    _plan(
        B,
        "residual_field",
        "demagnetiser",
        "skewed",
        "day",
        44,
        centre=0.7,
        spread=0.25,
        step="0.1",
        unit="G",
        instrument="gauss-2",
    ),
    _plan(
        B,
        "bath_contamination",
        "tank",
        "share",
        "week",
        12,
        spread=1.2,
        step="1",
        unit="%",
        instrument="tube-2",
        weekday=3,
    ),
    _plan(B, "lamp_integrity", "lamp 1", "word", "week", 22, weekday=3),
    _plan(
        B,
        "lamp_visible_light",
        "lamp 1",
        "skewed",
        "week",
        24,
        centre=0.7,
        spread=0.12,
        weekday=3,
        instrument="lux-2",
        **_LIGHT,
    ),
    _plan(
        B,
        "ambient_light",
        "booth",
        "skewed",
        "week",
        26,
        centre=0.7,
        spread=0.2,
        carry=0.3,
        weekday=3,
        instrument="lux-2",
        **_LIGHT,
    ),
    _plan(
        B,
        "ammeter",
        "head",
        "deviation",
        "week",
        40,
        centre=0.5,
        spread=0.6,
        references=(1000,),
        weekday=4,
        shift="B",
        instrument="shunt-1",
        **_AMPERES,
    ),
    _plan(
        B,
        "timer",
        "head",
        "level",
        "half_year",
        60,
        centre=0.02,
        spread=0.012,
        step="0.01",
        unit="s",
        instrument="stopwatch-1",
    ),
    _plan(B, "quick_break", "coil", "word", "half_year", 65),
    _plan(
        B,
        "yoke_lift",
        "yoke 1",
        "level",
        "half_year",
        70,
        centre=52.0,
        spread=0.8,
        step="1",
        unit="N",
        instrument="weight-1",
    ),
)
