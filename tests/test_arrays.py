"""Readings at the public door."""

import math

import numpy as np
import pytest
from hypothesis import given

from spc.arrays import as_readings, frozen
from spc.errors import InputError
from tests.strategies import READINGS


@given(READINGS)
def test_readings_are_copied_and_frozen(values):
    given_array = np.array(values)

    kept = as_readings(given_array)

    assert kept.tolist() == values
    assert given_array.flags.writeable
    assert not np.shares_memory(kept, given_array)
    with pytest.raises(ValueError, match="read-only"):
        kept[0] = 1.0


def test_whole_numbers_become_floats():
    assert as_readings([1, 2, 3]).dtype == np.float64


def test_missing_readings_pass_where_they_may():
    assert np.isnan(as_readings([1.0, math.nan], missing=True)[1])


@pytest.mark.parametrize(
    ("values", "options", "says"),
    [
        ([], {}, "0 readings given; at least 1"),
        ([1.0], {"at_least": 2}, "1 readings given; at least 2"),
        ([1.0, math.nan], {}, "reading 1 is nan; drop or quarantine"),
        ([math.inf, 1.0], {}, "reading 0 is inf"),
        ([1.0, -math.inf], {"missing": True}, "reading 1 is -inf"),
        ([[1.0, 2.0]], {}, r"these have shape \(1, 2\)"),
        (5.0, {}, r"these have shape \(\)"),
        (["pass", "fail"], {}, "readings must be numbers"),
        ([1.0, None, [2.0]], {}, "readings must be numbers"),
    ],
)
def test_refuses(values, options, says):
    with pytest.raises(InputError, match=says):
        as_readings(values, **options)


def test_frozen_keeps_the_array_itself():
    array = np.zeros(3)

    assert frozen(array) is array
    assert not array.flags.writeable
