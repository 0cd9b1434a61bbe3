"""One table of a catalogue file, read value by value; every refusal names file, key, value and remedy."""

import math
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from difflib import get_close_matches
from typing import Literal, TypeGuard

from spc.errors import CatalogueError

LIFTED: Literal["none"] = "none"
"""Written in place of a number where there is none: TOML has no empty value."""

ON_CONDITION = "on condition"
"""Written in place of an interval where no clock sets one."""

CountedIn = Literal["hours", "dates", "operating hours", "shifts"]
"""What an interval is counted in: elapsed hours, dates of the calendar, hours in operation, shifts in operation."""

USUAL_SHIFT = timedelta(hours=8)
"""Length taken for a shift where a time is asked of an interval counted in shifts (common practice, no source)."""

_HOURS = {"h": 1, "hour": 1, "d": 24, "day": 24, "week": 168}
_MONTHS = {"month": 1, "year": 12}
_MONTH = timedelta(days=365.25 / 12)


@dataclass(frozen=True, slots=True)
class Length:
    """The length of an interval, and what it is counted in."""

    every: timedelta | None  # None: no clock sets it
    counted: CountedIn = "hours"
    months: int = 0  # calendar months, where it counts in them
    shifts: int = 0  # shifts in operation, where it counts in them


@dataclass(frozen=True, slots=True)
class Table:
    """A table of a catalogue: its values, and where they stand."""

    file: str
    where: str  # "check.ammeter.acceptance"; "" for the file as a whole
    values: Mapping[str, object]

    def refused(self, key: str, problem: str) -> CatalogueError:
        """Return the refusal of what stands at `key` of this table ("" for the table itself), in one line."""
        place = ".".join(part for part in (self.where, key) if part)
        return CatalogueError(f"{self.file}: {place}: {problem}" if place else f"{self.file}: {problem}")

    def unlike(self, key: str, wanted: str) -> CatalogueError:
        """Return the refusal of a value that is not what is `wanted` there."""
        return self.refused(key, f"{shown(self.values[key])} is no {wanted}; write {wanted}")

    def only(self, allowed: Collection[str]) -> None:
        """Refuse a key that is not among `allowed`."""
        for key in self.values:
            if key not in allowed:
                raise self.refused("", f"unknown key {shown(key)}; {nearest(key, allowed)}")

    def named(self, key: str) -> "Table":
        """Return the table under `key`, empty when it is left out."""
        values = self.values.get(key, {})
        where = f"{self.where}.{key}" if self.where else key
        if not isinstance(values, dict):
            raise self.refused(key, f"{shown(values)} is no table; write it as [{where}] with its keys below")
        return Table(self.file, where, values)

    def tables(self, key: str) -> tuple["Table", ...]:
        """Return the tables of the list under `key`."""
        values = self.values.get(key, [])
        where = ".".join(part for part in (self.where, key) if part)
        if not isinstance(values, list) or not all(isinstance(each, dict) for each in values):
            raise self.refused(key, f"{shown(values)} is no list of tables; write each as [[{where}]]")
        return tuple(Table(self.file, f"{where}[{place}]", each) for place, each in enumerate(values, start=1))

    def text(self, key: str, default: str | None = None) -> str:
        """Return a text of one line; it may be left out when there is a default."""
        value = self.values.get(key, default)
        if value is None:
            raise self.refused("", f'{key} is missing; add {key} = "..."')
        if is_text(value):
            return value.strip()
        if default is not None and value == default:
            return default
        raise self.unlike(key, "text of one line in quotes")

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of texts, empty when it is left out."""
        values = self.values.get(key, [])
        if not isinstance(values, list) or not all(is_text(value) for value in values):
            raise self.unlike(key, "list of texts in quotes")
        if len(set(values)) < len(values):
            raise self.refused(key, f"{shown(values)} says one thing twice; write each once")
        return tuple(values)

    def flag(self, key: str) -> bool:
        """Return true or false."""
        value = self.values[key]
        if not isinstance(value, bool):
            raise self.unlike(key, "true or false")
        return value

    def one_of(self, key: str, allowed: Sequence[str], default: str = "") -> str:
        """Return one of the `allowed` words; it may be left out when there is a default."""
        value = self.values.get(key, default)
        if value == "":
            raise self.refused("", f"{key} is missing; there is {', '.join(allowed)}")
        if not isinstance(value, str) or value not in allowed:
            raise self.refused(key, f"there is no {shown(value)}; {nearest(str(value), allowed)}")
        return value

    def number(self, key: str) -> float | None:
        """Return a finite number, or None where it is left out or lifted."""
        value = self.values.get(key, LIFTED)
        return None if value == LIFTED else self.finite(key, value)

    def finite(self, key: str, value: object) -> float:
        """Return `value`, found at `key`, as a finite number."""
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.refused(key, f"{shown(value)} is no number; write digits without quotes and unit")
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        if not math.isfinite(number):
            raise self.refused(key, f'{shown(value)} is no finite number; write "{LIFTED}" where there is no limit')
        return number

    def above_zero(self, key: str) -> float | None:
        """Return a finite number above 0, or None where it is left out or lifted."""
        number = self.number(key)
        if number is not None and number <= 0:
            raise self.refused(key, f"{number:g} is not above 0; correct it")
        return number

    def whole(self, key: str, *, least: int, most: int) -> int:
        """Return a whole number from `least` to `most`."""
        value = self.values[key]
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise self.unlike(key, f"whole number from {least} to {most}")
        return value

    def interval(self, key: str) -> Length:
        """Return the length of an interval."""
        value = self.values[key]
        if value == ON_CONDITION:
            return Length(None)
        found = (
            re.fullmatch(r"([1-9][0-9]{0,2}) ?((?:operating )?[a-z]+?)s?", value) if isinstance(value, str) else None
        )
        number, unit = (int(found[1]), found[2]) if found else (0, "")
        if unit in _MONTHS:
            months = number * _MONTHS[unit]
            return Length(months * _MONTH, "dates", months=months)
        if unit in _HOURS:
            return Length(timedelta(hours=number * _HOURS[unit]), "hours" if _HOURS[unit] == 1 else "dates")
        if unit == "shift":
            return Length(number * USUAL_SHIFT, "shifts", shifts=number)
        if unit in ("operating h", "operating hour"):
            return Length(timedelta(hours=number), "operating hours")
        raise self.refused(
            key,
            f'{shown(value)} is no interval; write "8 h", "1 shift", "40 operating hours", "1 day", "2 weeks", '
            f'"6 months", "1 year" or "{ON_CONDITION}"',
        )


def is_text(value: object) -> TypeGuard[str]:
    """Return whether `value` is text that says something on one line."""
    return isinstance(value, str) and value.strip() != "" and len(value.splitlines()) == 1


def shown(value: object) -> str:
    """Return `value` for a message: as it stands in the file, on one line, not too long."""
    if isinstance(value, bool):
        return str(value).lower()
    try:
        text = repr(value)
    except (RecursionError, ValueError):  # nested too deep, or a whole number of too many digits
        return "a value too long to be shown"
    return text if len(text) <= 60 else text[:57] + "..."


def nearest(word: str, allowed: Collection[str]) -> str:
    """Return the remedy for a word that is not among `allowed`: the nearest one, or all of them."""
    close = get_close_matches(word, allowed, n=1)
    if close:
        return f"did you mean '{close[0]}'?"
    return f"there is {', '.join(allowed)}" if allowed else "take it out"
