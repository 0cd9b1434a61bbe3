"""What is asked before an unlikely reading is kept, and what is not asked."""

from datetime import UTC, datetime

import numpy as np
import pytest

from spc.catalogue.load import starter
from spc.entry import Written, of_stream
from spc.entry_doubts import COPIED, doubts, usual_range
from spc.formats import label
from spc.monitor import monitor_stream
from spc.records import NOT_RUN, Bound, StreamKey
from spc.results import StreamResult
from tests.made import made_readings

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)


def stream(check: str, values, references=None) -> StreamResult:
    key = StreamKey("Line 1", check, "here")
    return monitor_stream(made_readings(list(values), key=key, references=references), (), starter().checks[check])


def asked(check: str, result: StreamResult | None, value: float, **more: object):
    key = StreamKey("Line 1", check, "here")
    entry = Written(key, NOW, value, **more)  # type: ignore[arg-type]
    return doubts(result, entry, of_stream(result, starter().checks[check], key))


def kinds(check: str, result: StreamResult | None, value: float, **more: object) -> list[str]:
    return [doubt.kind for doubt in asked(check, result, value, **more)]


RNG = np.random.default_rng(11)
UVA = np.round(2450 + 40 * RNG.standard_normal(60), -1)
AMBIENT = np.round(1.1 + 0.1 * RNG.standard_normal(60), 1)
BATH = np.round(0.22 + 0.02 * RNG.standard_normal(60), 2)


@pytest.mark.parametrize(
    ("check", "before", "typed", "unit"),
    [
        ("uva_irradiance", UVA, 2.45, "mW/cm2"),  # 1 mW/cm2 is 1000 uW/cm2
        ("uva_irradiance", UVA, 24.5, "W/m2"),  # 1 W/m2 is 100 uW/cm2
        ("ambient_light", AMBIENT, 11.8, "lx"),  # 1 fc is 10.764 lx: NIST Special Publication 811, appendix B
    ],
)
def test_a_reading_in_another_unit_is_asked_about_with_what_it_would_be(check, before, typed, unit):
    (doubt,) = asked(check, stream(check, before), typed)

    assert doubt.kind == "unit"
    assert f"read in {label(unit)}?" in doubt.says


@pytest.mark.parametrize("factor", [10, 0.1, 100, 0.01])
def test_a_decimal_point_elsewhere_is_asked_about(factor):
    (doubt,) = asked("bath_concentration", stream("bath_concentration", BATH), round(0.22 * factor, 6))

    assert doubt.kind == "point"
    assert "0.22 mL/100 mL would be as usual" in doubt.says


def test_a_jump_beyond_all_that_the_stream_showed_is_asked_about():
    assert kinds("bath_concentration", stream("bath_concentration", BATH), 0.50) == ["far"]


@pytest.mark.parametrize("value", sorted({float(BATH.min()), float(BATH.max()), 0.19, 0.28}))
def test_what_is_near_the_readings_before_is_not_asked_about(value):
    assert kinds("bath_concentration", stream("bath_concentration", BATH), value) == []


def test_a_lamp_that_goes_on_falling_is_never_asked_about():
    falling = np.round(3000 - 15 * np.arange(80.0), -1)
    for n in range(10, 80):
        result = stream("uva_irradiance", falling[:n])

        assert kinds("uva_irradiance", result, float(falling[n])) == []


def test_ordinary_noise_is_hardly_ever_asked_about():
    """Fewer than 1 reading in 200 over 400 made ones: 16 streams of 65 readings, of which the last 25 are typed."""
    rng = np.random.default_rng(5)
    found = 0
    for _ in range(16):
        values = np.round(0.22 + 0.02 * rng.standard_normal(65), 2)
        for n in range(40, 65):
            found += len(asked("bath_concentration", stream("bath_concentration", values[:n]), float(values[n])))

    assert found < 2


def test_an_ammeter_is_asked_about_by_its_reference_even_the_first_time():
    first = asked("ammeter", None, 1.01, reference=1000.0)

    assert [doubt.kind for doubt in first] == ["unit"]
    assert "read in kA?" in first[0].says
    assert kinds("ammeter", None, 1010.0, reference=1000.0) == []
    assert kinds("ammeter", None, 10100.0, reference=1000.0) == ["point"]


def test_a_first_reading_of_anything_else_has_nothing_to_be_compared_with():
    assert kinds("uva_irradiance", None, 24.5) == []
    assert usual_range(None) is None
    assert usual_range(stream("bath_concentration", BATH[:4])) is None


def test_one_number_again_and_again_is_asked_about_where_others_scatter():
    copied = np.concatenate((BATH, [0.23] * 9))

    assert kinds("bath_concentration", stream("bath_concentration", copied), 0.23) == ["copied"]
    assert kinds("bath_concentration", stream("bath_concentration", copied), 0.24) == []


def test_coarse_steps_are_no_copies():
    """Read in steps of 0.05, most readings of a calm bath are one number."""
    coarse = np.full(40, 0.20)
    coarse[::9] = 0.25

    assert kinds("bath_concentration", stream("bath_concentration", np.append(coarse, [0.20] * 4)), 0.20) == []
    assert COPIED <= 0.01


def test_words_and_censored_readings_are_not_asked_about():
    result = stream("bath_concentration", BATH)

    assert kinds("bath_concentration", result, float("nan"), word=NOT_RUN) == []
    assert kinds("bath_concentration", result, 0.05, bound=Bound.BELOW) == []


def test_a_unit_change_of_readings_and_typed_value_asks_the_same():
    tenfold = stream("uva_irradiance", 10 * UVA)

    for value in (2450.0, 2.45, 900.0, 3100.0):
        one = asked("uva_irradiance", stream("uva_irradiance", UVA), value)
        ten = asked("uva_irradiance", tenfold, 10 * value)

        assert {doubt.kind for doubt in one} == {doubt.kind for doubt in ten}


def test_what_is_asked_rests_on_the_last_readings_alone():
    old = np.concatenate((np.full(300, 9.0), np.resize(BATH, 200)))
    result = stream("bath_concentration", old)

    low, high = usual_range(result) or (0.0, 0.0)
    assert high < 1.0
    assert low < 0.2
