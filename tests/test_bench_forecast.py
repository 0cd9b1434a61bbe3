"""How forecasts are scored: hand-made forecasts whose scores are known."""

import numpy as np
import pytest

from tests.bench.forecast import EDGES, Foretold, figures, foretold, last_value_forecast, reliability, together
from tests.bench.lines.simulate import simulate_line


def made(risk, fails_in, *, p10=np.inf, p90=np.inf, weight=1.0):
    """Return forecasts of equal risk, one for each entry of `fails_in`, the limit passed half way between readings."""
    n = len(fails_in)
    quantiles = np.tile([p10, (p10 + p90) / 2, p90], (n, 1))
    return Foretold(
        np.full(n, weight), np.tile(risk, (n, 2)), quantiles, np.array(fails_in, dtype=np.float64), np.full(n, 0.5)
    )


def test_scores_of_one_risk_are_the_textbook_ones():
    # a quarter fails; risk 0.25: Brier p (1 - p), log score the entropy
    brier, log, *_ = figures(made(0.25, [1, 9, 9, 9]))

    assert brier == pytest.approx(1000 * 0.25 * 0.75)
    assert log == pytest.approx(-1000 * (0.25 * np.log(0.25) + 0.75 * np.log(0.75)))


def test_the_next_five_are_scored_by_what_comes_in_five():
    _, _, brier, _, _ = figures(made(1.0 - 1e-4, [5, 5, 6, 6]))

    assert brier == pytest.approx(1000 * 0.5, rel=1e-3)


def test_what_was_held_impossible_is_charged_no_more_than_the_least_risk():
    assert figures(made(0.0, [1]))[1] == pytest.approx(-1000 * np.log(1e-4))


def test_coverage_counts_only_intervals_that_end():
    ended = made(0.5, [4, 5, 6, 20, np.inf], p10=4.0, p90=8.0)  # 4 was passed at 3.5, 20 and inf are past the end
    open_end = made(0.5, [4, 5, 6, 20, np.inf], p10=4.0)

    assert figures(ended)[4] == pytest.approx(40.0)
    assert np.isnan(figures(open_end)[4])
    assert figures(together([ended, open_end]))[4] == pytest.approx(40.0)


def test_reliability_sets_the_share_that_failed_beside_the_risk_foretold():
    curve = reliability(together([made(0.3, [2, 9, 9, 9]), made(0.9, [1, 1, 1, np.inf], weight=40.0)]))

    assert len(curve) == len(EDGES) - 1
    assert curve[5].tolist() == pytest.approx([0.3, 0.25, 4.0])
    assert curve[8].tolist() == pytest.approx([0.9, 0.75, 160.0])


def test_the_last_value_is_as_likely_to_fail_as_its_usual_difference_says():
    x = np.array([0.0, 1.0, 0.0, 1.0, 0.0, 1.0])  # differences of 1; the limit is one of them away

    assert last_value_forecast(x, float("nan"), 2.0).risk_next == pytest.approx(0.1587, abs=1e-4)  # of a normal table


def test_a_line_is_foretold_by_every_method_at_the_same_readings():
    streams = simulate_line(31, rough=True)[::30]

    found = foretold(streams)

    assert len({len(line.weight) for line in found.values()}) == 1
    assert all(np.array_equal(line.fails_in, found["last value"].fails_in) for line in found.values())
    assert all(((line.risk >= 0) & (line.risk <= 1)).all() for line in found.values())
