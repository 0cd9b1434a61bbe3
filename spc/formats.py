"""How a site writes numbers, dates and times, and in which units it wants them shown.

Only what people read and type follows it. Readings, limits, files and JSON stay as they were written: points, ISO 8601,
the units of the catalogue.
"""

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date as Day
from datetime import datetime
from functools import lru_cache
from typing import Literal

from spc.errors import InputError
from spc.units import UNITS, quantity

Decimal = Literal["point", "comma"]
DateForm = Literal["words", "yyyy-mm-dd", "dd.mm.yyyy", "dd/mm/yyyy", "mm/dd/yyyy"]
Clock = Literal["24 h", "12 h"]

DECIMALS: tuple[Decimal, ...] = ("point", "comma")
DATES: Mapping[DateForm, str] = {
    "words": "{0:%a} {0.day} {0:%b} {0:%Y}",
    "yyyy-mm-dd": "{0:%Y-%m-%d}",
    "dd.mm.yyyy": "{0:%d.%m.%Y}",
    "dd/mm/yyyy": "{0:%d/%m/%Y}",
    "mm/dd/yyyy": "{0:%m/%d/%Y}",
}
DAY_PATTERNS: Mapping[DateForm, str] = {
    "words": "%d %b %Y", "yyyy-mm-dd": "%Y-%m-%d", "dd.mm.yyyy": "%d.%m.%Y", "dd/mm/yyyy": "%d/%m/%Y",
    "mm/dd/yyyy": "%m/%d/%Y",
}  # fmt: skip
"""How a typed day is read, beside ISO 8601."""

CLOCKS: tuple[Clock, ...] = ("24 h", "12 h")

CONVENTIONS: Mapping[str, Mapping[str, str]] = {
    "catalogue": {},
    "SI": {
        "irradiance": "W/m2", "illuminance": "lx", "temperature": "degC", "flux density": "mT",
        "field strength": "kA/m", "load": "N", "kinematic viscosity": "mm2/s", "length": "mm", "volume": "L",
        "pressure": "kPa",
    },
    "customary": {
        "irradiance": "uW/cm2", "illuminance": "fc", "temperature": "degF", "flux density": "G",
        "field strength": "Oe", "load": "lb", "kinematic viscosity": "cSt", "length": "in", "volume": "USgal",
        "pressure": "psi",
    },
}  # fmt: skip
"""Units by quantity (common practice, no source); a quantity that is not named stays as the catalogue has it."""

LABELS: Mapping[str, str] = {
    "uW/cm2": "µW/cm²", "mW/cm2": "mW/cm²", "W/cm2": "W/cm²", "W/m2": "W/m²", "mL/100mL": "mL/100 mL",
    "degC": "°C", "degF": "°F", "mm2/s": "mm²/s", "uT": "µT", "um": "µm", "USgal": "US gal", "impgal": "imp gal",
    "lb": "lbf", "kg": "kgf", "g": "gf", "oz": "ozf",
}  # fmt: skip
"""How units are shown where that is not how logs write them."""

GROUPED = re.compile(
    r"(?:[<>]\s*)?[-+\N{MINUS SIGN}]?0*[1-9][0-9]{0,2}(?P<sign>[.,])[0-9]{3}(?:(?P=sign)[0-9]{3})*(?:[eE][-+]?[0-9]+)?"
)


@dataclass(frozen=True, slots=True)
class Formats:
    """What a site writes and reads."""

    decimal: Decimal = "point"
    dates: DateForm = "words"
    clock: Clock = "24 h"
    units: str = "catalogue"  # the name of the convention
    shown: tuple[tuple[str, str], ...] = ()  # quantity and unit, over the convention

    @property
    def sign(self) -> str:
        """The sign between whole and fraction."""
        return "," if self.decimal == "comma" else "."

    def unit_of(self, unit: str) -> str:
        """Return the unit that a quantity written in `unit` is shown in: `unit` itself where the site asks no other."""
        what = quantity(unit)
        if what is None:
            return unit
        return dict(self.shown).get(what) or CONVENTIONS[self.units].get(what) or unit

    def written(self, text: str) -> str:
        """Return a number that was written with points and commas between thousands as this site writes it."""
        if self.decimal == "point":
            return text
        return text.replace(",", "\N{NARROW NO-BREAK SPACE}").replace(".", ",")

    def date(self, at: datetime) -> str:
        """Return the date of a local time."""
        return _date(self.dates, at.date())

    def day(self, day: Day) -> str:
        """Return a day that cannot be read two ways: "4 Mar 2025", or as the site writes it."""
        return f"{day.day} {day:%b %Y}" if self.dates == "words" else DATES[self.dates].format(day)

    def day_typed(self, day: Day) -> str:
        """Return a day as it is typed into a form: "2025-03-04", or as the site writes it."""
        return day.isoformat() if self.dates == "words" else self.day(day)

    def read_day(self, text: str) -> Day:
        """Return a typed day, as ISO 8601 or as this site writes it.

        Raises:
            InputError: it is none, or in another form.
        """
        text = text.strip()
        pattern = DAY_PATTERNS[self.dates]
        try:
            return Day.fromisoformat(text)
        except ValueError:
            pass
        try:
            return datetime.strptime(text, pattern).date()  # noqa: DTZ007  # a day has no zone
        except ValueError:
            example = self.day_typed(Day(2026, 3, 31))
            raise InputError(f"“{text[:40]}” is no day; write one such as {example}") from None

    def time(self, at: datetime) -> str:
        """Return the hour and minute of a local time."""
        if self.clock == "24 h":
            return f"{at.hour:02}:{at.minute:02}"
        return f"{at.hour % 12 or 12}:{at:%M} {'am' if at.hour < 12 else 'pm'}"

    def read(self, text: str) -> str:
        """Return a typed number with a point: "0,21" gives "0.21", whichever sign this site writes.

        Raises:
            InputError: it can be read in two ways.
        """
        text = text.strip()
        found = GROUPED.fullmatch(text)
        if found is not None and found["sign"] != self.sign:
            whole, part = text.replace(found["sign"], ""), text.replace(found["sign"], self.sign)
            either = f"{whole} or {part}" if text.count(found["sign"]) == 1 else whole
            raise InputError(f"“{text}” can be read in two ways; write {either}.")
        if "." in text and "," in text:
            raise InputError(f"“{text}” holds a point and a comma; write one sign alone, before the decimals.")
        return text.replace(",", ".")

    @property
    def said(self) -> str:
        """What holds, in words for a screen: "SI units, decimal comma, dates dd.mm.yyyy, 24 h"; "" as it came."""
        if self == AS_IT_CAME:
            return ""
        units = {"catalogue": "units of the catalogue", "SI": "SI units", "customary": "customary units"}[self.units]
        if self.shown:
            units += " but " + ", ".join(label(unit) for _, unit in self.shown)
        dates = "dates in words" if self.dates == "words" else f"dates {self.dates}"
        return f"{units}, decimal {self.decimal}, {dates}, {self.clock} clock"


AS_IT_CAME = Formats()
"""The units of the catalogue, decimal points, dates in words, 24 hours."""

_IN_FORCE: ContextVar[Formats] = ContextVar("formats", default=AS_IT_CAME)


def formats_now() -> Formats:
    """Return the formats that hold where words are made now."""
    return _IN_FORCE.get()


@lru_cache(maxsize=4096)
def _date(dates: DateForm, day: Day) -> str:
    """Return a date; a chart says the same few thousand of them at every look."""
    return DATES[dates].format(day)


@contextmanager
def formats_of(formats: Formats) -> Iterator[None]:
    """Let `formats` hold for the words that are made within."""
    token = _IN_FORCE.set(formats)
    try:
        yield
    finally:
        _IN_FORCE.reset(token)


def label(unit: str) -> str:
    """Return a unit as people read it: "W/m²" for "W/m2"."""
    return LABELS.get(unit, unit)


def known_quantities() -> tuple[str, ...]:
    """Return every quantity that a unit can be chosen for."""
    return tuple(dict.fromkeys(unit.quantity for unit in UNITS.values()))
