import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.errors import InputError
from spc.units import UNITS, convert, convertible, quantity, same_unit, spelling, units_like


@pytest.mark.parametrize(
    ("value", "written", "unit", "expected", "tolerance"),
    [
        # SI prefixes, exact.
        (10.0, "W/m2", "uW/cm2", 1000.0, 0.0),
        (1.2, "mW/cm2", "uW/cm2", 1200.0, 0.0),
        (1.01, "kA", "A", 1010.0, 0.0),
        (0.3, "mT", "G", 3.0, 0.0),
        (250.0, "uT", "G", 2.5, 0.0),
        # NIST SP 811, appendix B.8 (from memory): 1 footcandle = 1.076 391 E+01 lx; 1 oersted = 7.957 747 E+01 A/m;
        # 1 pound-force = 4.448 222 N; 1 kilogram-force = 9.806 65 N; 1 psi = 6.894 757 kPa; 1 centistokes = 1 mm2/s.
        (1.0, "fc", "lx", 10.76391, 5e-6),
        (1.0, "Oe", "A/m", 79.57747, 5e-6),
        (1.0, "lb", "N", 4.448222, 5e-7),
        (1.0, "kg", "N", 9.80665, 0.0),
        (1.0, "psi", "kPa", 6.894757, 5e-7),
        # The same (from memory): 1 ounce (avoirdupois) = 2.834 952 E+01 g, which is 28.349523125 g exactly.
        (1.0, "oz", "g", 28.349523125, 5e-11),
        (16.0, "oz", "lb", 1.0, 0.0),
        (2.6, "cSt", "mm2/s", 2.6, 0.0),
        (1.0, "USgal", "L", 3.785412, 5e-7),
        (1.0, "impgal", "L", 4.546090, 5e-7),
        (15.0, "in", "cm", 38.1, 0.0),
        # F = 1.8 C + 32.
        (100.0, "degF", "degC", 37.7777777778, 1e-10),
        (140.0, "degF", "degC", 60.0, 1e-10),
        (0.0, "degC", "K", 273.15, 0.0),
        # A share by volume: mL in 100 mL.
        (0.2, "%", "mL/100mL", 0.2, 0.0),
    ],
)
def test_units_convert_by_their_definitions(value, written, unit, expected, tolerance):
    assert convert([value], written, unit)[0] == pytest.approx(expected, rel=0, abs=tolerance or 1e-15)


@pytest.mark.parametrize(
    ("written", "unit"),
    [
        ("µW/cm²", "uW/cm2"),
        ("μW/cm²", "uW/cm2"),
        ("uW/cm^2", "uW/cm2"),
        ("uW / cm2", "uW/cm2"),
        ("UW/CM2", "uW/cm2"),
        ("µW/sq cm", "uW/cm2"),
        ("W/m²", "W/m2"),
        ("mL/100 mL", "mL/100mL"),
        ("ml/100ml", "mL/100mL"),
        ("cc/100 mL", "mL/100mL"),
        ("percent", "%"),
        ("ft-c", "fc"),
        ("foot-candles", "fc"),
        ("Lux", "lx"),
        ("gauss", "G"),
        ("amps", "A"),
        ("°C", "degC"),
        ("℃", "degC"),
        ("F", "degF"),
        ("mm²/s", "mm2/s"),
        ("lbs", "lb"),
        ("Holes", "holes"),
    ],
)
def test_one_unit_has_many_spellings(written, unit):
    assert same_unit(written, unit)


@pytest.mark.parametrize(
    ("written", "unit"),
    [
        ("lx", "mL/100mL"),
        ("lx", "uW/cm2"),
        ("A", "G"),
        ("A/m", "G"),
        ("mL", "mL/100mL"),
        ("holes", "%"),
        ("uW", "uW/cm2"),
        ("gal", "L"),
        ("nonsense", "A"),
        ("mL/100mL", "%"),  # a share of the particles is no share of the bath
    ],
)
def test_a_unit_of_another_quantity_is_refused_with_those_that_fit(written, unit):
    with pytest.raises(InputError, match=f"write one of {unit}"):
        convert([1.0], written, unit)


def test_grams_are_no_gauss():
    assert quantity("g") == "load"
    assert quantity("G") == "flux density"


def test_every_unit_of_a_quantity_is_offered_with_the_asked_one_first():
    assert units_like("fc") == ("fc", "lx", "klx")
    assert units_like("holes") == ("holes",)


def test_a_unit_not_in_the_table_equals_itself_alone():
    assert convertible("holes", "Holes")
    assert quantity("holes") is None
    assert not convertible("holes", "pieces")


def test_converted_numbers_are_frozen_and_keep_their_shape():
    values = np.array([[1.0, 2.0], [3.0, np.nan]])

    converted = convert(values, "mW/cm2", "uW/cm2")

    assert converted.tolist()[0] == [1000.0, 2000.0]
    assert np.isnan(converted[1, 1])
    assert not converted.flags.writeable
    assert values[0, 0] == 1.0


def test_a_number_too_large_for_the_unit_becomes_infinite():
    assert convert([1e308], "kA", "A")[0] == np.inf


PAIRS = [(a, b) for a in UNITS for b in UNITS if convertible(a, b) and convertible(b, a)]


@given(st.sampled_from(PAIRS), st.floats(1e-3, 1e6))
def test_there_and_back_is_the_same_number(pair, value):
    written, unit = pair

    back = convert(convert([value], written, unit), unit, written)[0]

    assert back == pytest.approx(value, rel=1e-9, abs=1e-8)  # 12 digits of an offset temperature near 0 cost some


@given(st.sampled_from(PAIRS), st.floats(1e-3, 1e6))
def test_converted_numbers_have_twelve_digits(pair, value):
    converted = float(convert([value], *pair)[0])

    assert same_unit(*pair) or converted == float(f"{converted:.12g}")


def test_every_spelling_leads_to_one_unit():
    for name, unit in UNITS.items():
        assert {spelling(written) for written in (name, *unit.also)} == {name}


def test_a_spelling_of_the_same_unit_does_not_load_pint():
    program = (
        "import sys; from spc.units import convert, same_unit, units_like;"
        "convert([1.0], 'µW/cm²', 'uW/cm2'); units_like('fc'); sys.exit('pint' in sys.modules)"
    )

    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0
