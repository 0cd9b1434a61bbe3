import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.ingest.clean import Number, Reason, parse_number, parse_word
from spc.records import NOT_RUN, Bound
from tests.ingest.made_log import CATALOGUE


@pytest.mark.parametrize(
    ("text", "delimiter", "value"),
    [
        ("0.21", ",", 0.21),
        (".20", ",", 0.2),
        ("5.", ",", 5.0),
        ("2450", ",", 2450.0),
        ("+5", ",", 5.0),
        ("-0.2", ",", -0.2),
        ("\u22120.2", ",", -0.2),  # the minus of typesetters
        ("1e3", ",", 1000.0),
        ("1.5E-2", ",", 0.015),
        (" 0.21\xa0", ",", 0.21),
        ("0,21", ",", 0.21),
        ("0,21", ";", 0.21),
        (",5", "\t", 0.5),
        ("0,200", ",", 0.2),  # nobody sets thousands apart after a zero
        ("1234,567", ",", 1234.567),  # nor after four digits
        ("1,20", ",", 1.2),
        ("1,2000", ",", 1.2),
        ("1,200", ";", 1.2),  # where semicolons part the cells, the comma is the decimal sign
        ("1.234,5", ",", 1234.5),
        ("1,234.5", ",", 1234.5),
        ("12.345.678,9", ";", 12345678.9),
        ("1.200", ",", 1.2),
        ("1.200", "\t", 1.2),
    ],
)
def test_numbers_are_read(text, delimiter, value):
    number = parse_number(text, delimiter=delimiter)

    assert isinstance(number, Number)
    assert number.value == value
    assert number.bound is Bound.EXACT


@pytest.mark.parametrize(
    ("text", "value", "bound"),
    [
        ("<0.05", 0.05, Bound.BELOW),
        ("< 0,05", 0.05, Bound.BELOW),
        (">5000", 5000.0, Bound.ABOVE),
        (" > 5000 ", 5000.0, Bound.ABOVE),
    ],
)
def test_a_censored_number_keeps_its_side(text, value, bound):
    number = parse_number(text, delimiter=",")

    assert isinstance(number, Number)
    assert (number.value, number.bound) == (value, bound)


@pytest.mark.parametrize("text", ["nan", "NaN", "inf", "-inf", "+Infinity", "1e400", "<inf", ">1e999", "9" * 400])
def test_what_is_not_finite_is_told_so(text):
    found = parse_number(text, delimiter=",")

    assert isinstance(found, Reason)
    assert "no finite number" in found.text


@pytest.mark.parametrize("delimiter", [",", "\t"])
@pytest.mark.parametrize("text", ["1,200", "-1,200", "12,345", "<1,200"])
def test_a_comma_before_three_digits_is_not_guessed(text, delimiter):
    found = parse_number(text, delimiter=delimiter)

    assert isinstance(found, Reason)
    assert "1200" in found.text or "12345" in found.text


def test_a_point_before_three_digits_is_not_guessed_where_semicolons_part_the_cells():
    found = parse_number("1.200", delimiter=";")

    assert isinstance(found, Reason)
    assert "write 1200" in found.text


def test_a_number_too_small_to_hold_is_not_read_as_zero():
    assert isinstance(parse_number("1e-400", delimiter=","), Reason)
    assert isinstance(parse_number("0e-400", delimiter=","), Number)


RANGES = ["0.15-0.2", "1/5", "<=5", "≤5", "<", "<<5", "<-"]
PARTED = ["1.2.3", "1,2,3", "1,234,567", "1 200", "1'200", "1_000"]
WITH_TEXT = ["0.2 ok", "1200uW", "5 %", "0x10", "٣", "OK", "--", "", "e5", "1e", ".", ","]


@pytest.mark.parametrize("text", [*RANGES, *PARTED, *WITH_TEXT])
def test_what_only_resembles_a_number_is_none(text):
    assert parse_number(text, delimiter=",") is None


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_number_python_prints_is_read_back(value):
    number = parse_number(repr(value), delimiter="," if "e" in repr(value) or abs(value) < 1 else "\t")

    assert isinstance(number, Number)
    assert number.value == value


@given(st.floats(0, 1e6).map(lambda value: f"{value:.2f}"))
def test_a_decimal_comma_reads_as_a_decimal_point(text):
    with_point, with_comma = (parse_number(written, delimiter=";") for written in (text, text.replace(".", ",")))

    assert isinstance(with_point, Number)
    assert isinstance(with_comma, Number)
    assert with_point.value == with_comma.value
    assert with_comma.decimal_comma


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("pass", "pass"),
        ("FAIL", "fail"),
        ("Shown", "shown"),
        ("partly", "partly"),
        ("not  shown", "not shown"),
        ("smeared", "Smeared"),  # the catalogue's own word, in its own spelling
        ("Not Run", NOT_RUN),
        ("OK", None),
        ("1", None),
    ],
)
def test_words_of_a_judged_check(text, word):
    assert parse_word(text, CATALOGUE.checks["notched_shim"]) == word


@pytest.mark.parametrize(("text", "word"), [("not run", NOT_RUN), ("pass", None), ("shown", None)])
def test_a_measured_check_knows_no_word_but_not_run(text, word):
    assert parse_word(text, CATALOGUE.checks["bath_concentration"]) == word
