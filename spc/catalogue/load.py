"""The catalogue of a site: the starter's checks, overridden key by key by the site's own file (TOML).

The format is described at the top of `starter.toml`.
"""

import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from spc.catalogue.build import RULE_FIELDS, check_from
from spc.catalogue.check import EVENT_KINDS, Catalogue
from spc.catalogue.site import SITE_KEYS, formats_from
from spc.catalogue.table import LIFTED, Table, nearest, shown
from spc.catalogue.toml_file import toml_file
from spc.units import convertible, same_unit, units_like

STARTER = Path(__file__).with_name("starter.toml")
STARTER_SOURCE = "starter catalogue"

DEFAULT_KEYS = ("baseline", "early_warning", "moving_range", "obliges", "rules", "rules_signal")
CHECK_KEYS = (
    "title", "kind", "unit", "unit_label", "chart", "decimals", "resolution", "possible", "baseline", "rules",
    "moving_range", "early_warning", "rules_signal", "new_segment_on", "explained_by", "look_first", "obliges",
    "cautions", "interval", "acceptance", "acceptance_at",
)  # fmt: skip
INTERVAL_KEYS = ("every", "words", "document")
LIMIT_KEYS = ("rule", *dict.fromkeys(field for fields in RULE_FIELDS.values() for field in fields))
ACCEPTANCE_KEYS = (*LIMIT_KEYS, "document", "revision")
PLACE_KEYS = ("line", "position")

Values = Mapping[str, Any]


@cache
def starter() -> Catalogue:
    """Return the built-in checks; none of their limits is confirmed for any site."""
    return catalogue_from({}, STARTER_SOURCE)


def load_catalogue(path: Path | str | None = None) -> Catalogue:
    """Return the starter catalogue overridden key by key by the site's file; the starter alone without one.

    Raises:
        CatalogueError: the file cannot be read, or has a mistake: file, key, value and remedy in one line.
    """
    return starter() if path is None else catalogue_from(toml_file(path, "a catalogue file"), str(path))


@cache
def _starter_values() -> Values:
    return toml_file(STARTER, "a catalogue file")


def catalogue_from(values: Values, source: str) -> Catalogue:
    """Return the starter catalogue overridden by the `values` of a site's file, which refusals name as `source`.

    Raises:
        CatalogueError: a mistake in the values.
    """
    base, site = _starter_values(), Table(source, "", values)
    site.only(("site", "defaults", "check"))
    own_defaults, own_checks = site.named("defaults"), site.named("check")
    own_defaults.only(DEFAULT_KEYS)
    defaults = Table(site.file, "defaults", _merged(base["defaults"], own_defaults.values))
    checks = {}
    for key in (*base["check"], *(key for key in own_checks.values if key not in base["check"])):
        if not re.fullmatch(r"[a-z][a-z0-9_]*", key):
            raise site.refused("check", f"{shown(key)} is no key; write small letters, digits and underscores")
        own = own_checks.named(key)
        own.only(CHECK_KEYS)
        if key not in base["check"] and not {"title", "kind"} <= own.values.keys():
            raise own.refused(
                "", f"no check '{key}' yet; {nearest(key, base['check'])} (a new one needs title and kind)"
            )
        checks[key] = check_from(key, _override(base["check"].get(key, {}), own), defaults)
    own_site = site.named("site")
    own_site.only(SITE_KEYS)
    return Catalogue(checks, EVENT_KINDS, site.file, formats_from(own_site))


def _merged(base: Values, own: Values) -> dict[str, Any]:
    """Return `base` with the values of `own` in place of its own, table within table."""
    merged = dict(base)
    for key, value in own.items():
        under = base.get(key)
        merged[key] = _merged(under, value) if isinstance(under, dict) and isinstance(value, dict) else value
    return merged


def _override(base: Values, own: Table) -> Table:
    """Return the table of one check: the starter's, with what the site's says in its place."""
    values = _merged(base, own.values)
    if base and "unit" in own.values and "unit_label" not in own.values:
        values.pop("unit_label", None)
    values["acceptance"] = acceptance = _acceptance(base.get("acceptance", {}), own.named("acceptance"))
    values["interval"] = _interval(base.get("interval", {}), own.named("interval"))
    values["acceptance_at"] = [_acceptance_at(acceptance, each) for each in own.tables("acceptance_at")]
    if "unit" in base and "unit" in own.values and not same_unit(own.text("unit"), base["unit"]):
        _refuse_another_quantity(base["unit"], own)
        _refuse_numbers_of_another_unit(base, acceptance, own)
    return Table(own.file, own.where, values)


def _refuse_another_quantity(unit: str, own: Table) -> None:
    if not convertible(own.text("unit"), unit):
        raise own.refused(
            "unit", f"{shown(own.text('unit'))} cannot replace '{unit}'; write one of {', '.join(units_like(unit))}"
        )


def _refuse_numbers_of_another_unit(base: Values, acceptance: Values, own: Table) -> None:
    """Refuse a changed unit that leaves numbers of the starter in the old one."""
    stale = ["resolution"] if "resolution" in base and "resolution" not in own.values else []
    for where, values in (("possible", base.get("possible", {})), ("acceptance", acceptance)):
        given = own.named(where).values
        numbers = (key for key in ("lower", "upper") if values.get(key) not in (None, LIFTED, 0.0))
        stale += [f"{where}.{key}" for key in numbers if key not in given]
    if stale:
        unit = shown(own.values["unit"])
        raise own.refused("unit", f"{unit} is not '{base['unit']}' as before; give {', '.join(stale)} in it too")


def _acceptance(base: Values, own: Table) -> Values:
    """Return acceptance limits with what a site says in their place, confirmed by document and revision."""
    own.only(ACCEPTANCE_KEYS)
    if not own.values:
        return base
    missing = [key for key in ("document", "revision") if key not in own.values]
    if missing:
        raise own.refused(
            "",
            f"{', '.join(own.values)} given without {' and '.join(missing)}; name the written procedure's document"
            " and revision, both, for the limits to count as confirmed",
        )
    kept = base
    if own.values.get("rule", base.get("rule")) != base.get("rule"):
        fields = RULE_FIELDS.get(str(own.values["rule"]), ())
        kept = {key: value for key, value in base.items() if key in (*fields, "conflict")}
    return {**kept, **own.values, "mark": "site"}


def _acceptance_at(base: Values, own: Table) -> Values:
    own.only((*PLACE_KEYS, *ACCEPTANCE_KEYS))
    place = {key: own.values[key] for key in PLACE_KEYS if key in own.values}
    limits = {key: value for key, value in own.values.items() if key not in place}
    if not limits:
        raise own.refused("", "no limit is given; name at least document and revision, or take the table out")
    return {**place, **_acceptance(base, Table(own.file, own.where, limits))}


def _interval(base: Values, own: Table) -> Values:
    """Return an interval with what a site says in its place, and the site's document as its source."""
    own.only(INTERVAL_KEYS)
    if not own.values:
        return base
    if "document" not in own.values:
        raise own.refused("", f"{', '.join(own.values)} given without document; name the document that says so")
    if "every" not in own.values and "every" not in base:
        raise own.refused("", 'every is missing; add every = "8 h", or "on condition"')
    kept = {key: value for key, value in base.items() if key != "words" or "every" not in own.values}
    return {**kept, **own.values, "mark": "site"}
