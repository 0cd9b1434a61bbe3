"""What the words of headers mean. The spellings are common practice, no source."""

import pytest

from spc.catalogue.load import starter
from spc.ingest.headers import header_meaning

CHECKS = dict(starter().checks)


@pytest.mark.parametrize(
    ("header", "check", "unit"),
    [
        ("Conc", "bath_concentration", ""),
        ("Bath conc. (mL)", "bath_concentration", "mL/100mL"),
        ("Settling mL/100 mL", "bath_concentration", "mL/100mL"),
        ("mL/100", "bath_concentration", "mL/100mL"),
        ("Particle conc 0.1-0.4", "bath_concentration", ""),
        ("Contam. <30%", "bath_contamination", "%"),
        ("WB", "water_break", ""),
        ("UV @15in uW/cm2", "uva_irradiance", "uW/cm2"),
        ("Black light", "uva_irradiance", ""),
        ("BL int [µW/cm²]", "uva_irradiance", "µW/cm²"),
        ("UV-A mW/cm2", "uva_irradiance", "mW/cm2"),
        ("Amb. lux", "ambient_light", "lux"),
        ("WL", "ambient_light", ""),
        ("FC", "ambient_light", "FC"),
        ("AS5282 ring", "ring_holes", "holes"),
        ("holes @ 1000A", "ring_holes", "holes"),
        ("Ammeter A", "ammeter", "A"),
        ("Panel amps", "ammeter", "amps"),
        ("Visible light of UV lamp fc", "lamp_visible_light", "fc"),
        ("Lens clean?", "lamp_integrity", ""),
        ("Bath temp °C", "bath_temperature", "°C"),
        ("Quick break", "quick_break", ""),
        ("Shim", "notched_shim", ""),
        ("Residual G", "residual_field", "G"),
        ("Weißlicht lx", "ambient_light", "lx"),
        ("Verunr. %", "bath_contamination", "%"),
        ("Konzentration", "bath_concentration", ""),
    ],
)
def test_a_header_names_its_check_and_unit(header, check, unit):
    meaning = header_meaning(header, CHECKS)

    assert (meaning.check, meaning.unit) == (check, unit)


@pytest.mark.parametrize(
    ("header", "role"),
    [
        ("Date", "date"),
        ("Datum", "date"),
        ("Shift", "shift"),
        ("Schicht", "shift"),
        ("Uhrzeit", "time"),
        ("Initials", "technician"),
        ("Remarks", "remarks"),
        ("Bemerkungen", "remarks"),
        ("Machine", "line_column"),
        ("Reference", "reference"),
        ("Air press.", ""),
        ("Part no.", ""),
    ],
)
def test_a_header_names_what_its_column_is_for(header, role):
    meaning = header_meaning(header, CHECKS)

    assert (meaning.role, meaning.check) == (role, "")


def test_position_current_and_limits_are_taken_apart():
    assert header_meaning("UV left lamp", CHECKS).position == "left"
    assert header_meaning("UV lamp 2", CHECKS).position == "lamp 2"
    assert header_meaning("Holes @ 1500 A head", CHECKS).reference == 1500
    assert header_meaning("Particle conc 0.1-0.4", CHECKS).limits == "0.1-0.4"
    assert header_meaning("Contam. <30%", CHECKS).limits == "<30"
    assert header_meaning("UV min 1000", CHECKS).limits == "min 1000"


def test_a_unit_of_another_quantity_is_not_taken():
    assert header_meaning("Conc bar", CHECKS).unit == ""
