"""Numbers and tables as they are printed."""

import io
import math

import pytest
from rich.console import Console

from spc.printed.table import plain_table
from spc.wording import in_figures, short


@pytest.mark.parametrize(
    ("x", "printed"),
    [
        (0.0, "0"),
        (12.354, "12.4"),
        (370.398, "370"),
        (1095.75, "1,100"),
        (0.00134990, "0.00135"),
        (-2.5, "-2.50"),
        (9.996, "10.0"),
        (2.4e-12, "2.40e-12"),
        (3.5e15, "3.50e+15"),
        (math.nan, "none"),
        (math.inf, "no end"),
        (-math.inf, "-no end"),
    ],
)
def test_three_figures(x, printed):
    assert in_figures(x) == printed.replace("-", "\N{MINUS SIGN}")


@pytest.mark.parametrize(
    ("x", "printed"), [(0.012, "0.012"), (1095.75, "1,096"), (2.0, "2"), (100.0, "100"), (0.0, "0"), (-0.5, "-0.5")]
)
def test_no_more_figures_than_say_something(x, printed):
    assert short(x) == printed.replace("-", "\N{MINUS SIGN}")


def test_words_stand_left_and_numbers_right():
    said = io.StringIO()
    Console(file=said, width=60).print(plain_table(("rules", "a year"), [("one", "1.0"), ("eight", "14.9")]))

    assert [line.rstrip() for line in said.getvalue().splitlines()] == [
        "rules  a year",
        "one       1.0",
        "eight    14.9",
    ]
