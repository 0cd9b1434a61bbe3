"""What the headers of people's sheets mean, as far as their words tell. Common practice, no source."""

import re
import unicodedata
from dataclasses import dataclass

from spc.catalogue.check import Check
from spc.units import convertible, same_unit

CHECK_WORDS = (
    ("bath_contamination", r"contam|dirt|verunr|verschmutz"),
    ("known_defect_part", r"defect|master part|reference part|test ?part|fehlerteil|testteil"),
    ("notched_shim", r"\bshim"),
    ("ring_holes", r"\bring\b|as ?5282|holes|löcher"),
    ("quick_break", r"quick ?break|\bqb\b"),
    ("water_break", r"water ?break|\bwb\b|benetz"),
    ("lamp_visible_light", r"(?:uv|lamp|black ?light).*visible|visible.*(?:uv|lamp|black ?light)"),
    ("lamp_integrity", r"(?:lamp|filter|lens|lampe).*(?:cond|integr|crack|clean|zustand)"),
    ("uva_irradiance", r"\buv|black ?light|\bbl\b"),
    (
        "ambient_light",
        r"\bamb\b|ambient|white ?light|\bwl\b|visible|\bfc\b|\blux\b|wei(?:ß|ss)licht|raumlicht|umgebungslicht",
    ),
    ("viscosity", r"visc|visk"),
    ("bath_temperature", r"temp"),
    ("bath_concentration", r"\bconc|settl|\bkonz|absetz|ml ?/ ?100"),
    ("timer", r"\btimer|shot time"),
    ("residual_field", r"resid|demag|restfeld|entmag"),
    ("yoke_lift", r"\byoke|\blift\b|\bjoch"),
    ("ammeter", r"ammeter|\bamps?\b|panel|amperemeter"),
)
"""Checks by words of their headers; of several that fit, the first one."""

ROLE_WORDS = (
    ("remarks", r"remark|comment|\bnotes?\b|bemerk"),
    ("shift", r"\bshift\b|\bschicht\b"),
    ("date", r"\bdate\b|\bdatum\b|\bday\b|\btag\b"),
    ("time", r"\btime\b|\buhrzeit\b|\bzeit\b"),
    ("technician", r"\binit|\btech|\bby\b|operator|inspector|badge|stamp|prüfer|kürzel"),
    ("line_column", r"\bline\b|\blinie\b|\bmachine\b|\banlage\b"),
)

REFERENCE = re.compile(r"\bref\b|reference|referenz|shunt")
POSITION = re.compile(
    r"\b(?:left|right|front|rear|upper|lower|links|rechts|vorn|hinten|head|coil|booth|tank|kopf|spule)\b"
    r"|\b(?:lamp|lampe|bath|bad|tank|booth|head|coil)\s*[0-9]+\b"
)
CURRENT = re.compile(r"(?<![0-9.])([1-9][0-9]{2,4})\s*A\b", re.IGNORECASE)
LIMITS = re.compile(
    r"(?:[<>≤≥]|\bmax\.?|\bmin\.?)\s*[0-9]+(?:[.,][0-9]+)?"
    r"|[0-9]+(?:[.,][0-9]+)?\s*(?:-|\u2013|\bto\b|\bbis\b)\s*[0-9]+(?:[.,][0-9]+)?",
    re.IGNORECASE,
)
SETTLED = re.compile(r"\b(?:ml|cc) ?(?:/ ?100)?(?![a-z0-9])")


@dataclass(frozen=True, slots=True)
class HeaderMeaning:
    """What a header seems to say of its column; "" and None where it does not say."""

    check: str = ""
    role: str = ""  # key of the layout: "date", "shift", ...; "reference" for what the ammeter is compared with
    position: str = ""
    unit: str = ""
    unit_assumed: str = ""  # what in the header the unit was taken from, where that is no full unit
    reference: int | None = None
    limits: str = ""


def header_meaning(text: str, checks: dict[str, Check]) -> HeaderMeaning:
    """Return what a header seems to say."""
    plain = unicodedata.normalize("NFKC", text).casefold()
    if REFERENCE.search(plain) and not re.search("reference part", plain):
        return HeaderMeaning(role="reference")
    check = next((key for key, words in CHECK_WORDS if key in checks and re.search(words, plain)), "")
    role = next((key for key, words in ROLE_WORDS if re.search(words, plain)), "")
    if not check or role in ("remarks", "date", "shift"):
        return HeaderMeaning(role=role)
    unit, assumed = _unit(text, checks[check])
    current = CURRENT.search(text)
    limits = LIMITS.search(text)
    return HeaderMeaning(
        check=check,
        position=" ".join(dict.fromkeys(POSITION.findall(plain))),
        unit=unit,
        unit_assumed=assumed,
        reference=int(current[1]) if current and check in ("ring_holes", "ammeter") else None,
        limits=limits[0] if limits else "",
    )


def _unit(text: str, check: Check) -> tuple[str, str]:
    """Return the unit that a header names, and what it was taken from where that is no full unit."""
    if check.kind == "judged":
        return "", ""
    words = re.split(r"[\s()\[\],;]+", LIMITS.sub(" ", text))
    for width in (3, 2, 1):
        for at in range(len(words) - width + 1):
            word = "".join(words[at : at + width])
            if word and len(word) > (check.key not in ("ammeter", "timer", "residual_field", "yoke_lift")):
                deviates = check.charted == "deviation" and same_unit(word, "%")
                if deviates or convertible(word, check.unit):
                    return word, ""
    settled = SETTLED.search(text.casefold())
    if check.key == "bath_concentration" and settled:
        return "mL/100mL", settled[0]
    percent = re.search("%", text)
    if percent and convertible("%", check.unit):
        return "%", ""
    if check.key == "ring_holes":
        return check.unit, ""
    return "", ""
