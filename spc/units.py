"""Units as logs write them: one spelling each, and conversion by their definitions.

A spelling is compared without regard to spaces, powers written as ², ^2 or 2, and µ written as u.
pint does the arithmetic and is loaded only when a number really has to change.
"""

import unicodedata
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from spc.arrays import FloatArray, frozen
from spc.errors import InputError


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of one quantity: how pint names it, and how else people write it."""

    quantity: str
    pint: str
    also: tuple[str, ...] = ()


def _areal(prefix: str, *words: str) -> tuple[str, ...]:
    """Return the ways to write `prefix` per square centimetre."""
    return tuple(
        f"{power}{per}" for power in (prefix, *words) for per in ("/sqcm", "percm2", "cm-2", "/sq.cm")
    )  # spaces never count


UNITS: Mapping[str, Unit] = {
    "uW/cm2": Unit("irradiance", "microwatt/centimeter**2", _areal("uW", "microwatt", "microwatts")),
    "mW/cm2": Unit("irradiance", "milliwatt/centimeter**2", _areal("mW", "milliwatt", "milliwatts")),
    "W/cm2": Unit("irradiance", "watt/centimeter**2"),
    "W/m2": Unit("irradiance", "watt/meter**2", ("W/sqm", "Wm-2", "watt/m2")),
    "lx": Unit("illuminance", "lux", ("lux", "lm/m2")),
    "klx": Unit("illuminance", "kilolux", ("klux",)),
    "fc": Unit("illuminance", "mt_footcandle", ("ftc", "ft-c", "footcandle", "footcandles", "foot-candles", "lm/ft2")),
    "mL/100mL": Unit("settled volume", "percent", ("cc/100mL", "cc/100cc", "cm3/100cm3", "mLper100mL", "ml/100cc")),
    "%": Unit("share", "percent", ("percent", "pct", "vol%", "%vol", "vol.%", "%(v/v)")),
    "A": Unit("current", "ampere", ("amp", "amps", "ampere", "amperes")),
    "kA": Unit("current", "kiloampere", ("kiloampere", "kiloamperes")),
    "mA": Unit("current", "milliampere", ("milliampere", "milliamperes")),
    "s": Unit("time", "second", ("sec", "secs", "second", "seconds")),
    "ms": Unit("time", "millisecond", ("msec", "millisecond", "milliseconds")),
    "min": Unit("time", "minute", ("mins", "minute", "minutes")),
    "h": Unit("time", "hour", ("hr", "hrs", "hour", "hours")),
    "G": Unit("flux density", "mt_gauss", ("gauss", "Gs")),
    "T": Unit("flux density", "tesla", ("tesla",)),
    "mT": Unit("flux density", "millitesla", ("millitesla",)),
    "uT": Unit("flux density", "microtesla", ("microtesla",)),
    "A/m": Unit("field strength", "ampere/meter"),
    "A/cm": Unit("field strength", "ampere/centimeter"),
    "kA/m": Unit("field strength", "kiloampere/meter"),
    "Oe": Unit("field strength", "mt_oersted", ("oersted",)),
    "degC": Unit("temperature", "degree_Celsius", ("C", "celsius", "degreesC", "degreeC")),
    "degF": Unit("temperature", "degree_Fahrenheit", ("F", "fahrenheit", "degreesF", "degreeF")),
    "K": Unit("temperature", "kelvin", ("kelvin",)),
    "mm2/s": Unit("kinematic viscosity", "millimeter**2/second", ("sqmm/s", "mm2s-1")),
    "cSt": Unit("kinematic viscosity", "centistokes", ("centistoke", "centistokes")),
    "N": Unit("load", "newton", ("newton", "newtons")),
    "kN": Unit("load", "kilonewton"),
    "lb": Unit("load", "pound_force", ("lbs", "lbf", "pound", "pounds")),
    "kg": Unit("load", "kilogram_force", ("kgf", "kilogram", "kilograms", "kilo", "kilos")),
    "g": Unit("load", "gram_force", ("gram", "grams")),
    "oz": Unit("load", "force_ounce", ("ounce", "ounces", "ozav", "ozavdp", "ozavoirdupois")),
    "mm": Unit("length", "millimeter", ("millimetre", "millimeter")),
    "cm": Unit("length", "centimeter", ("centimetre", "centimeter")),
    "m": Unit("length", "meter", ("metre", "meter")),
    "um": Unit("length", "micrometer", ("micron", "microns")),
    "in": Unit("length", "inch", ("inch", "inches")),
    "mL": Unit("volume", "milliliter", ("cc", "cm3", "millilitre", "milliliter")),
    "L": Unit("volume", "liter", ("litre", "litres", "liter", "liters")),
    "USgal": Unit("volume", "US_liquid_gallon", ("USgallon", "USgallons")),
    "impgal": Unit("volume", "imperial_gallon", ("UKgal", "imperialgallon", "imperialgallons")),
    "g/L": Unit("mass per volume", "gram/liter", ("g/litre", "g/liter", "gL-1")),
    "kPa": Unit("pressure", "kilopascal"),
    "bar": Unit("pressure", "bar"),
    "psi": Unit("pressure", "pound_force_per_square_inch", ("lbf/in2", "lb/in2")),
}
"""Every unit that a log may be written in.

`lb`, `oz`, `kg` and `g` are loads: what a mass weighs under standard gravity. An ounce is the avoirdupois one, and a
gallon is named: US or imperial.
"""

DEFINITIONS = (
    "mt_footcandle = lumen / foot ** 2",
    "mt_gauss = 1e-4 * tesla",
    "mt_oersted = 1000 / (4 * pi) * ampere / meter",
)
"""Definitions in SI of units that pint lacks or keeps in the Gaussian system.

Source: SI Brochure, 9th edition; NIST Special Publication 811, appendix B.
"""

SIGNIFICANT_DIGITS = 12
"""Converted numbers are rounded to this, so that 10 W/m2 is 1000 uW/cm2 and nothing beside it."""


def _key(text: str) -> str:
    """Return `text` in the form that spellings are compared in."""
    plain = unicodedata.normalize("NFKC", text).replace("μ", "u").replace("°", "deg").replace("\N{MINUS SIGN}", "-")
    return "".join(plain.split()).replace("**", "").replace("^", "")


_EXACT: Mapping[str, str] = {_key(spelling): name for name, unit in UNITS.items() for spelling in (name, *unit.also)}
_TIMES_FOLDED = Counter(spelling.casefold() for spelling in _EXACT)
_FOLDED: Mapping[str, str] = {
    spelling.casefold(): name for spelling, name in _EXACT.items() if _TIMES_FOLDED[spelling.casefold()] == 1
}


@lru_cache(maxsize=1024)
def spelling(text: str) -> str:
    """Return our spelling of the unit `text`: "µW/cm²" gives "uW/cm2"; a unit not in UNITS gives its compared form."""
    key = _key(text)
    return _EXACT.get(key) or _FOLDED.get(key.casefold()) or key.casefold()


def same_unit(written: str, unit: str) -> bool:
    """Return whether both texts are spellings of one unit."""
    return spelling(written) == spelling(unit)


def convertible(written: str, unit: str) -> bool:
    """Return whether a number in `written` can be given in `unit`.

    A share by volume in percent is a settled volume in mL/100mL. The reverse does not hold: a contamination in percent
    is a share of the particles, not of the bath.
    """
    ours, theirs = spelling(unit), spelling(written)
    if ours == theirs:
        return True
    if ours not in UNITS or theirs not in UNITS:
        return False
    return UNITS[ours].quantity == UNITS[theirs].quantity or (theirs, ours) == ("%", "mL/100mL")


def units_like(unit: str) -> tuple[str, ...]:
    """Return every unit in UNITS that converts to `unit`, the unit itself first."""
    return (unit, *(name for name in UNITS if convertible(name, unit) and not same_unit(name, unit)))


def quantity(text: str) -> str | None:
    """Return what the unit `text` measures ("illuminance"), or None for a unit not in UNITS."""
    known = UNITS.get(spelling(text))
    return known.quantity if known else None


def convert(values: ArrayLike, written: str, unit: str) -> FloatArray:
    """Return `values`, written in the unit `written`, in `unit`, rounded to 12 significant digits; shape kept, frozen.

    A number too large to be held becomes infinite.

    Raises:
        InputError: the two are not units of one quantity.

    Source:
        Definitions: SI Brochure, 9th edition; NIST Special Publication 811, appendix B (through pint).
    """
    numbers = np.array(values, dtype=np.float64)
    if same_unit(written, unit):
        return frozen(numbers)
    if not convertible(written, unit):
        raise InputError(f"{written!r} cannot be given in {unit}; write one of {', '.join(units_like(unit))}")
    registry = _registry()
    source, target = UNITS[spelling(written)].pint, UNITS[spelling(unit)].pint
    with np.errstate(over="ignore"):
        converted = np.asarray(registry.Quantity(numbers, source).to(target).magnitude, dtype=np.float64)
    return frozen(rounded(converted))


def rounded(numbers: FloatArray) -> FloatArray:
    """Return `numbers` rounded to SIGNIFICANT_DIGITS."""
    plain = [float(f"{number:.{SIGNIFICANT_DIGITS}g}") for number in numbers.ravel().tolist()]
    return np.array(plain, dtype=np.float64).reshape(numbers.shape)


@lru_cache(maxsize=1)
def _registry() -> Any:  # pint builds the class of a registry at run time
    import pint

    registry: Any = pint.UnitRegistry(cache_folder=None)
    for definition in DEFINITIONS:
        registry.define(definition)
    return registry
