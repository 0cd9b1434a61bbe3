"""How a site writes numbers, dates and units: read back, and never another verdict."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.catalogue.acceptance import Verdict, verdict
from spc.catalogue.load import catalogue_from, starter
from spc.errors import CatalogueError, InputError
from spc.formats import AS_IT_CAME, CONVENTIONS, Formats, formats_now, formats_of
from spc.shown import check_shown, conversion
from spc.units import convert, quantity
from spc.wording import date_text, in_figures, number, plain, reading_text, short, time_text

COMMA = Formats(decimal="comma", dates="dd.mm.yyyy", units="SI")
AT = datetime(2026, 3, 4, 14, 5, tzinfo=UTC)
VIENNA = ZoneInfo("Europe/Vienna")


# NIST Special Publication 811 (2008), appendix B.8; 1 fc is 1 lm/ft2 and 1 ft is 0.3048 m exactly.
@pytest.mark.parametrize(
    ("one", "of", "is_", "in_"),
    [
        (1, "fc", 10.76391, "lx"),
        (1, "USgal", 3.785411784, "L"),
        (1, "impgal", 4.54609, "L"),
        (1, "in", 25.4, "mm"),
        (1, "Oe", 79.57747, "A/m"),
        (1, "G", 0.1, "mT"),
        (1, "lb", 4.448222, "N"),
        (1, "psi", 6.894757, "kPa"),
        (1000, "uW/cm2", 10, "W/m2"),
        (68, "degF", 20, "degC"),
        (1, "oz", 28.349523125, "g"),
    ],
)
def test_published_factors(one, of, is_, in_):
    assert float(convert([one], of, in_)[0]) == pytest.approx(is_, rel=5e-7)


def test_every_unit_of_a_convention_measures_its_quantity():
    for named in CONVENTIONS.values():
        assert all(quantity(unit) == what for what, unit in named.items())


def test_nothing_changes_where_the_site_says_nothing():
    assert formats_now() is AS_IT_CAME
    assert catalogue_from({}, "x").formats == AS_IT_CAME
    assert (number(-1234.5, 1), short(1096.0), plain(0.1)) == ("\N{MINUS SIGN}1234.5", "1,096", "0.1")
    assert time_text(AT, VIENNA) == "Wed 4 Mar 2026 15:05"
    assert AS_IT_CAME.said == ""


def test_numbers_with_a_decimal_comma():
    with formats_of(COMMA):
        told = number(-0.125, 3), plain(0.1), in_figures(12345.0, 7), short(0.0120), short(2.0)

    assert told == ("\N{MINUS SIGN}0,125", "0,1", "12\N{NARROW NO-BREAK SPACE}345,00", "0,012", "2")


@pytest.mark.parametrize(
    ("dates", "clock", "says"),
    [
        ("yyyy-mm-dd", "24 h", "2026-03-04 15:05"),
        ("dd.mm.yyyy", "24 h", "04.03.2026 15:05"),
        ("dd/mm/yyyy", "24 h", "04/03/2026 15:05"),
        ("mm/dd/yyyy", "12 h", "03/04/2026 3:05 pm"),
        ("words", "12 h", "Wed 4 Mar 2026 3:05 pm"),
    ],
)
def test_dates_and_clocks(dates, clock, says):
    with formats_of(Formats(dates=dates, clock=clock)):
        assert time_text(AT, VIENNA) == says
        assert says.startswith(date_text(AT, VIENNA))


@pytest.mark.parametrize(("hour", "says"), [(0, "12:05 am"), (11, "11:05 am"), (12, "12:05 pm"), (23, "11:05 pm")])
def test_twelve_hours_at_midnight_and_noon(hour, says):
    assert Formats(clock="12 h").time(datetime(2026, 1, 1, hour, 5)) == says  # noqa: DTZ001  # a local time


@given(st.decimals(min_value=-10_000, max_value=10_000, places=3))
def test_a_written_number_is_read_back(value):
    for formats in (AS_IT_CAME, COMMA):
        text = str(value).replace(".", formats.sign)

        assert formats.read(text) == str(value)


@pytest.mark.parametrize(
    ("formats", "text", "says"),
    [
        (COMMA, "1.234", "write 1234 or 1,234"),
        (AS_IT_CAME, "1,234", "write 1234 or 1.234"),
        (COMMA, "1.234.567", "write 1234567"),
        (COMMA, "1.234,5", "a point and a comma"),
        (AS_IT_CAME, "1.234,567", "a point and a comma"),
        (AS_IT_CAME, "+1,234", r"write \+1234 or \+1.234"),
        (AS_IT_CAME, "< 1,234", "write < 1234 or < 1.234"),
        (AS_IT_CAME, "01,234", "write 01234 or 01.234"),
        (AS_IT_CAME, " 1,234 ", "write 1234 or 1.234"),
        (AS_IT_CAME, "1,234e0", "write 1234e0 or 1.234e0"),
    ],
)
def test_a_number_of_two_readings_is_asked_about(formats, text, says):
    with pytest.raises(InputError, match=says):
        formats.read(text)


@pytest.mark.parametrize("formats", [AS_IT_CAME, COMMA])
@pytest.mark.parametrize(("text", "read"), [("0,21", "0.21"), ("0.21", "0.21"), ("<0,050", "<0.050"), ("2400", "2400")])
def test_either_sign_is_taken_where_only_one_reading_is_possible(formats, text, read):
    assert formats.read(text) == read


@pytest.mark.parametrize(
    ("site", "says"),
    [
        ({"units": "metric"}, "there is no 'metric'"),
        ({"decimal": ","}, "there is no ','"),
        ({"dates": "dmy"}, "there is no 'dmy'"),
        ({"shown": {"light": "lx"}}, "unknown quantity 'light'"),
        ({"shown": {"illuminance": "W/m2"}}, "is no unit of illuminance; there is lx, klx, fc"),
        ({"unit": "SI"}, "unknown key 'unit'"),
    ],
)
def test_a_mistake_in_the_site_is_refused(site, says):
    with pytest.raises(CatalogueError, match=says):
        catalogue_from({"site": site}, "site.toml")


def test_a_quantity_may_differ_from_the_convention():
    formats = catalogue_from({"site": {"units": "SI", "shown": {"irradiance": "mW/cm2"}}}, "site.toml").formats

    assert formats.unit_of("uW/cm2") == "mW/cm2"
    assert formats.unit_of("fc") == "lx"
    assert formats.unit_of("holes") == "holes"
    assert "SI units but mW/cm²" in formats.said


@pytest.mark.parametrize("name", ["SI", "customary"])
def test_limits_and_places_of_the_starter_checks(name):
    for check in starter().checks.values():
        shown = check_shown(check, Formats(units=name))

        if not shown.kept_in:
            assert shown is check
            continue
        by = conversion(check.unit, shown.unit)
        kept_step = abs(by.factor) * 10.0**-check.decimals
        assert kept_step / 10 < 10.0**-shown.decimals <= kept_step * (1 + 1e-9) or shown.decimals == 0
        for kept, seen in (
            (check.acceptance.lower, shown.acceptance.lower),
            (check.acceptance.upper, shown.acceptance.upper),
        ):
            assert (kept is None) == (seen is None)
            if kept is not None and seen is not None:
                assert float(convert([seen], shown.unit, check.unit)[0]) == pytest.approx(kept, rel=1e-11)


def test_differences_of_temperatures_have_no_offset():
    by = conversion("degC", "degF")

    assert by.value(20.0) == 68.0
    assert by.difference(10.0) == 18.0


def as_read(text: str) -> float:
    """Return the number that a reader sees."""
    return float(text.split(" ")[0].replace("\N{MINUS SIGN}", "-"))


@pytest.mark.parametrize("name", ["SI", "customary"])
@given(st.data())
def test_a_rounded_reading_never_reads_as_another_verdict(name, data):
    checks = [check for check in starter().checks.values() if check.acceptance.rule == "fixed"]
    check = data.draw(st.sampled_from(checks))
    limits = [limit for limit in (check.acceptance.lower, check.acceptance.upper) if limit is not None]
    steps = data.draw(st.integers(-3, 3))
    x = data.draw(st.sampled_from(limits)) + steps * 10.0**-check.decimals
    shown = check_shown(check, Formats(units=name))
    if not shown.kept_in:
        return
    seen = float(convert([x], check.unit, shown.unit)[0])

    def nan(limit):
        return np.nan if limit is None else limit

    said = verdict([x], [0], [nan(check.acceptance.lower)], [nan(check.acceptance.upper)])[0]
    low, high = shown.acceptance.lower, shown.acceptance.upper
    read = as_read(reading_text(seen, shown))
    beyond = (low is not None and read < as_read(plain(low))) or (high is not None and read > as_read(plain(high)))
    assert beyond == (said == Verdict.OUTSIDE)
