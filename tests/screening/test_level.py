"""The running median, by the definition."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.screening.level import running_median


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40), st.integers(1, 6))
def test_it_is_the_median_of_each_reading_and_its_neighbours(values, reach):
    by_hand = [np.median(values[max(0, i - reach) : i + reach + 1]) for i in range(len(values))]

    assert running_median(np.array(values), reach).tolist() == pytest.approx(by_hand, rel=1e-12)


def test_a_reading_that_was_not_taken_has_no_say():
    assert running_median(np.array([1.0, np.nan, 5.0, 7.0, 9.0]), 1).tolist() == [1.0, 3.0, 6.0, 7.0, 8.0]
