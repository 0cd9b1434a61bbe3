"""What limits from few readings are worth."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from spc.charts.individuals import individuals_limits
from spc.errors import InputError
from spc.limits_uncertainty import false_alarm_spread

# Monte Carlo of 200,000 baselines (40,000 for 200 and 500), computed independently; Quesenberry (1993) for the finding
# that some 300 readings are needed before limits behave as if known. n: (mean rate, 1/rate at 50, 90 and 10 %).
SIMULATED = {
    20: (0.010869, 268.91, 33.740, 5653.6),
    25: (0.008851, 285.55, 42.725, 4152.0),
    30: (0.007636, 298.32, 50.603, 3271.8),
    50: (0.005385, 323.77, 77.425, 1975.2),
    100: (0.003941, 345.44, 120.295, 1187.2),
    200: (0.003290, 358.05, 166.415, 841.3),
    500: (0.002927, 365.73, 222.972, 623.1),
}


@pytest.mark.parametrize("n", sorted(SIMULATED))
def test_spread_of_the_false_alarm_rate(n):
    found = false_alarm_spread(n, generator=np.random.default_rng(n))
    mean, median, often, seldom = SIMULATED[n]

    assert found.mean == pytest.approx(mean, rel=0.03)
    assert (1 / found.p50, 1 / found.p90) == pytest.approx((median, often), rel=0.03)
    assert 1 / found.p10 == pytest.approx(seldom, rel=0.05)
    assert found.nominal == pytest.approx(2 * norm.sf(3), rel=1e-12)


def test_more_readings_bring_the_rate_to_the_nominal_one():
    few, many = (false_alarm_spread(n, generator=np.random.default_rng(1)) for n in (10, 300))

    assert few.p10 < many.p10 < many.nominal < many.p90 < few.p90


def test_rates_are_those_of_the_chart_itself():
    # A second way: limits by the chart's own function, rate by the normal distribution.
    rng = np.random.default_rng(2)
    rates = []
    for _ in range(3000):
        limits = individuals_limits(rng.normal(size=10), width=2.5)
        rates.append(norm.sf(limits.upper) + norm.cdf(limits.lower))

    assert false_alarm_spread(10, generator=rng, width=2.5).mean == pytest.approx(np.mean(rates), rel=0.08)


def test_the_same_generator_gives_the_same_answer():
    once, again = (false_alarm_spread(20, generator=np.random.default_rng(4)) for _ in range(2))

    assert once == again


def test_in_words():
    words = str(false_alarm_spread(20, generator=np.random.default_rng(5)))

    assert words == (
        "limits from 20 readings: half of all such baselines give a false alarm more often than once in 270 readings, "
        "one in ten more often than once in 34; limits from endless readings give one in 370"
    )


@pytest.mark.parametrize(
    ("n", "width", "says"), [(1, 3.0, "from 1 readings"), (20, 0.0, "width is 0.0"), (20, math.inf, "width is inf")]
)
def test_refuses(n, width, says):
    with pytest.raises(InputError, match=says):
        false_alarm_spread(n, generator=np.random.default_rng(0), width=width)
