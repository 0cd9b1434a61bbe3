"""The table [site] of a catalogue: how the site writes numbers and times, and the units it wants shown."""

from typing import cast

from spc.catalogue.table import Table, nearest, shown
from spc.formats import CLOCKS, CONVENTIONS, DATES, DECIMALS, Clock, DateForm, Decimal, Formats, known_quantities
from spc.units import UNITS, quantity, spelling

SITE_KEYS = ("units", "shown", "decimal", "dates", "clock")


def formats_from(site: Table) -> Formats:
    """Return what the table [site] says; what it leaves out stays as it came.

    Raises:
        CatalogueError: an unknown convention, quantity or form, or a unit of another quantity.
    """
    return Formats(
        decimal=cast(Decimal, site.one_of("decimal", DECIMALS, "point")),
        dates=cast(DateForm, site.one_of("dates", tuple(DATES), "words")),
        clock=cast(Clock, site.one_of("clock", CLOCKS, "24 h")),
        units=site.one_of("units", tuple(CONVENTIONS), "catalogue"),
        shown=tuple(_shown(site.named("shown")).items()),
    )


def _shown(own: Table) -> dict[str, str]:
    found = {}
    for key in own.values:
        what = key.replace("_", " ")
        if what not in known_quantities():
            raise own.refused("", f"unknown quantity {shown(key)}; {nearest(what, known_quantities())}")
        unit = spelling(own.text(key))
        if quantity(unit) != what:
            fitting = ", ".join(name for name, each in UNITS.items() if each.quantity == what)
            raise own.refused(key, f"{shown(own.values[key])} is no unit of {what}; there is {fitting}")
        found[what] = unit
    return found
