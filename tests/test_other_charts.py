"""Other views of the same readings: the charts themselves are tested on their own; here, what of a stream they show."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from spc.catalogue.acceptance import Acceptance
from spc.charts import CHARTS
from spc.charts.ewma import ewma_limits, ewma_plot
from spc.errors import InputError
from spc.monitor import monitor_stream
from spc.other_charts import JUDGED, MEASURED, TITLES, baseline_places, other_chart, views_of
from spc.records import Event
from spc.rules import NO_SIDE
from tests.dashboard.made_line import AMBIENT, BATH, LAMP, SHIM, results
from tests.made import made_check, made_readings

START = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)


def stream(x, events=(), **changed):
    return monitor_stream(made_readings(list(x)), events, made_check(**changed))


def normal(n, seed=3, level=0.2, sigma=0.01):
    return np.random.default_rng(seed).normal(level, sigma, n)


@pytest.fixture(scope="module")
def line(tmp_path_factory):
    return results(tmp_path_factory.mktemp("line"))


def test_every_view_is_a_chart_or_the_usual_one():
    assert set(MEASURED) <= set(CHARTS)
    assert set(JUDGED) - {"verdicts"} <= set(CHARTS)
    assert set(TITLES) == {*MEASURED, *JUDGED}


def test_a_segment_is_drawn_as_its_chart_draws_it_alone():
    x = normal(50)
    result = stream(x)
    drawn = other_chart(result, "ewma").plotted
    limits = result.segments[0].limits
    alone = ewma_plot(result.charted.x, ewma_limits(result.charted.x[: limits.n_baseline], resolution=0.005))

    assert drawn.values[:, 0] == pytest.approx(alone.values[:, 0], rel=1e-12)
    assert drawn.upper == pytest.approx(alone.upper, rel=1e-9)


def test_a_change_of_bath_starts_every_chart_afresh():
    x = np.concatenate([normal(40), normal(40, seed=4, level=0.3)])
    at = made_readings(list(x)).taken_at[40]
    event = Event(datetime.fromtimestamp(at / 1e6, UTC), 0, 1, "Line A", "bath_changed")
    result = monitor_stream(made_readings(list(x)), [event], made_check())
    drawn = other_chart(result, "cusum").plotted

    assert len(result.segments) == 2
    assert abs(drawn.values[40]).max() < 3
    assert (drawn.side[40:] == NO_SIDE).all()


def test_nothing_signals_before_the_baseline_is_complete():
    x = normal(60)
    x[5] = 0.9
    result = stream(x)
    for key in ("ewma", "cusum", "trend", "residuals", "skewed"):
        n = result.segments[0].limits.n_baseline

        assert (other_chart(result, key).plotted.side[:n] == NO_SIDE).all(), key


def test_a_shift_of_two_sigma_shows_on_ewma_and_cusum():
    x = np.concatenate([normal(40), normal(30, seed=9, level=0.22)])
    for key in ("ewma", "cusum"):
        assert (other_chart(stream(x), key).plotted.side[45:] > 0).any(), key


def test_nothing_of_the_past_changes_when_readings_follow():
    x = normal(70)
    for key in MEASURED[1:]:
        whole, part = other_chart(stream(x), key).plotted, other_chart(stream(x[:50]), key).plotted

        np.testing.assert_array_equal(whole.values[:50], part.values)
        np.testing.assert_array_equal(whole.side[:50], part.side)


def test_a_bound_is_left_out(line):
    drawn = other_chart(line[AMBIENT], "ewma")
    bounds = line[AMBIENT].charted.bound != 0

    assert np.isnan(drawn.plotted.values[bounds, 0]).all()


def test_what_cannot_be_drawn_is_said():
    found = other_chart(stream([0.0, *normal(39)]), "skewed")

    assert "no logarithm" in found.missing[0]
    assert np.isnan(found.plotted.values).all()


def test_a_chart_that_is_no_view_is_refused(line):
    with pytest.raises(InputError, match="has no chart 'passes_between'; choose one of individuals, ewma"):
        other_chart(line[BATH], "passes_between")


def test_a_judged_check_is_counted_by_week_and_between_failures(line):
    weekly, passes = other_chart(line[SHIM], "fraction_failed"), other_chart(line[SHIM], "passes_between")

    # 77 verdicts, 3 of the 80 shifts not in operation; one is "not shown"
    counted = len(line[SHIM].readings) - 3
    assert np.nansum(weekly.plotted.values[:, 0]) == pytest.approx(1 / 14)  # a week of two shifts a day
    assert weekly.place[-1] == 79
    assert counted == 77
    assert "fewer" in passes.missing[0]


def test_passes_between_three_failures():
    words = ["pass"] * 60
    for place in (10, 31, 52):
        words[place] = "fail"
    asked = Acceptance(rule="words", good=("pass",), bad=("fail",))
    check = made_check(kind="judged", charted="none", acceptance=asked)
    result = monitor_stream(made_readings([np.nan] * 60, words=words), (), check)

    assert other_chart(result, "passes_between").plotted.values[:, 0].tolist() == [20.0, 20.0]


def test_the_readings_behind_the_limits_are_the_first_of_the_segment(line):
    result = line[LAMP]

    assert baseline_places(result).tolist() == list(range(result.segments[-1].limits.n_baseline))
    assert views_of(result) == MEASURED


def test_times_are_those_of_the_readings(line):
    drawn = other_chart(line[BATH], "trend")

    np.testing.assert_array_equal(drawn.taken_at, line[BATH].charted.taken_at)
    assert timedelta(microseconds=int(drawn.taken_at[-1] - drawn.taken_at[0])) > timedelta(days=30)
