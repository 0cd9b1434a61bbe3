"""Constants of control charts."""

import math

import numpy as np
import pytest
from scipy.stats import studentized_range

from spc.chart_constants import c4, chart_constants
from spc.errors import InputError
from spc.sigma import D2_FOR_PAIRS, D3_FOR_PAIRS, D4_FOR_PAIRS, MEDIAN_FOR_PAIRS

# Computed independently: d2 by quadrature in many digits, d3 by a double Gauss-Legendre sum, c4 by the gamma function.
# n: (d2, d3, median range, c4)
COMPUTED = {
    2: (1.128379167096, 0.852502466427, 0.953872552409, 0.797884560803),
    3: (1.692568750643, 0.888368004045, 1.587787750446, 0.886226925453),
    4: (2.058750746008, 0.879808202825, 1.978320485540, 0.921317731924),
    5: (2.325928947281, 0.864081941100, 2.256882493026, 0.939985602987),
    6: (2.534412721223, 0.848039686117, 2.471651604793, 0.951532861948),
    8: (2.847200612091, 0.819831489792, 2.790840757136, 0.965030456147),
    9: (2.970026324418, 0.807834274553, 2.915437913406, 0.969310699714),
    10: (3.077505461670, 0.797050673519, 3.024201572972, 0.972659274122),
    11: (3.172872703816, 0.787314620550, 3.120530892504, 0.975350077145),
    12: (3.258455279744, 0.778478341203, 3.206853250004, 0.977559351855),
    13: (3.335980354098, 0.770416202064, 3.284959739861, 0.979405604314),
    14: (3.406763108200, 0.763023095625, 3.356207966092, 0.980971436756),
    16: (3.531982786110, 0.749908089410, 3.482118481208, 0.983483531616),
    17: (3.587883961765, 0.744051783961, 3.538280289949, 0.984506405472),
    18: (3.640063757937, 0.738590853378, 3.590680006603, 0.985410043808),
    19: (3.688963023208, 0.733481495519, 3.639766640779, 0.986214136860),
    20: (3.734950119597, 0.728686345707, 3.685914771963, 0.986934267525),
    21: (3.778335829843, 0.724173340718, 3.729439987406, 0.987582928826),
    22: (3.819384643363, 0.719914808434, 3.770610536771, 0.988170253316),
    23: (3.858323423285, 0.715886735492, 3.809656260123, 0.988704545234),
    24: (3.895348148451, 0.712068175148, 3.846775517772, 0.989192674959),
}

# As tables print them (ASTM MNL 7, ASTM E2587, ISO 7870-2), from memory. Printed d3 of n = 19 is .734 or .733.
# n: (d2, d3, c4, A2, A3, B3, B4, D1, D2, D3, D4)
PRINTED = {
    2: (1.128, 0.853, 0.7979, 1.880, 2.659, 0, 3.267, 0, 3.686, 0, 3.267),
    3: (1.693, 0.888, 0.8862, 1.023, 1.954, 0, 2.568, 0, 4.358, 0, 2.575),
    4: (2.059, 0.880, 0.9213, 0.729, 1.628, 0, 2.266, 0, 4.698, 0, 2.282),
    5: (2.326, 0.864, 0.9400, 0.577, 1.427, 0, 2.089, 0, 4.918, 0, 2.114),
    6: (2.534, 0.848, 0.9515, 0.483, 1.287, 0.030, 1.970, 0, 5.079, 0, 2.004),
    7: (2.704, 0.833, 0.9594, 0.419, 1.182, 0.118, 1.882, 0.205, 5.204, 0.076, 1.924),
    8: (2.847, 0.820, 0.9650, 0.373, 1.099, 0.185, 1.815, 0.388, 5.307, 0.136, 1.864),
    9: (2.970, 0.808, 0.9693, 0.337, 1.032, 0.239, 1.761, 0.547, 5.394, 0.184, 1.816),
    10: (3.078, 0.797, 0.9727, 0.308, 0.975, 0.284, 1.716, 0.686, 5.469, 0.223, 1.777),
    15: (3.472, 0.756, 0.9823, 0.223, 0.789, 0.428, 1.572, 1.203, 5.741, 0.347, 1.653),
    20: (3.735, 0.729, 0.9869, 0.180, 0.680, 0.510, 1.490, 1.549, 5.921, 0.415, 1.585),
    25: (3.931, 0.708, 0.9896, 0.153, 0.606, 0.565, 1.435, 1.805, 6.056, 0.459, 1.541),
}


@pytest.mark.parametrize("n", sorted(COMPUTED))
def test_ten_digits(n):
    found = chart_constants(n)

    assert (found.d2, found.d3, found.d4, found.c4) == pytest.approx(COMPUTED[n], rel=1e-11)


@pytest.mark.parametrize("n", sorted(PRINTED))
def test_printed_tables(n):
    k = chart_constants(n)
    factors = (*k.deviation_limits, *k.range_limits_from_sigma, *k.range_limits)
    found = (k.d2, k.d3, k.c4, k.mean_from_range, k.mean_from_deviation, *factors)

    assert found == pytest.approx(PRINTED[n], abs=0.0011)


def test_pairs_agree_with_their_closed_form():
    k = chart_constants(2)

    assert k.d2 == pytest.approx(D2_FOR_PAIRS, rel=1e-12)
    assert k.d3 == pytest.approx(D3_FOR_PAIRS, rel=1e-12)
    assert k.d4 == pytest.approx(MEDIAN_FOR_PAIRS, rel=1e-11)
    assert k.range_limits[1] == pytest.approx(D4_FOR_PAIRS, rel=1e-12)
    assert k.single_from_range == pytest.approx(2.66, abs=0.002)  # E2 as NIST/SEMATECH 6.3.2.2 prints it
    assert chart_constants(3).d2 == pytest.approx(3 / math.sqrt(math.pi), rel=1e-12)


@pytest.mark.parametrize("n", [3, 10, 25])
def test_constants_against_the_distribution_of_the_range(n):
    # scipy's studentized range with unlimited degrees of freedom is the range in sigmas.
    k = chart_constants(n)
    range_of = studentized_range(n, np.inf)

    assert range_of.cdf(k.d4) == pytest.approx(0.5, abs=1e-9)


def test_constants_by_simulation():
    x = np.random.default_rng(7).normal(size=(200_000, 7))
    ranges, deviations = np.ptp(x, axis=1), x.std(axis=1, ddof=1)
    k = chart_constants(7)

    assert ranges.mean() == pytest.approx(k.d2, abs=4 * k.d3 / math.sqrt(len(x)))
    assert ranges.std() == pytest.approx(k.d3, rel=0.01)
    assert deviations.mean() == pytest.approx(k.c4, abs=4 * k.c5 / math.sqrt(len(x)))
    assert deviations.std() == pytest.approx(k.c5, rel=0.01)


def test_c4_of_many_readings_goes_to_one():
    assert c4(1000) == pytest.approx(1 - 1 / 4000, abs=1e-6)


@pytest.mark.parametrize("n", [1, 0, 26, -3])
def test_refuses(n):
    with pytest.raises(InputError, match="take 2 to 25"):
        chart_constants(n)
