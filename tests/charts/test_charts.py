"""Every chart there is, through every check there is."""

import pytest

from spc.charts import CHARTS
from tests.chart_checks import CHECKS, discovered


def test_these_charts_were_discovered():
    assert set(discovered()) == {
        "individuals",
        "moving_range",
        "ewma",
        "cusum",
        "trend",
        "residuals",
        "skewed",
        "fraction_failed",
        "passes_between",
        "time_between",
    }


def test_every_chart_discovered_is_listed_to_people():
    assert dict(CHARTS) == discovered()


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
@pytest.mark.parametrize("key", sorted(discovered()))
def test_chart(key, check):
    check(discovered()[key])
