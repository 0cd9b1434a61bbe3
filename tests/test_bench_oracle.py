"""The detector that is told what none can know: what it must do if its lead is to be the bound of what can be had."""

from dataclasses import replace

import numpy as np
import pytest

from tests.bench.lines.oracle import probability_of_fault
from tests.bench.lines.score import HIGH, LOW, tally_stream
from tests.bench.lines.simulate import simulate_line
from tests.bench.lines.truth import SimulatedStream, State
from tests.bench.oracle import at_most, sides


@pytest.fixture(scope="module")
def lamps() -> list[SimulatedStream]:
    """The first lamps of a rough line of the tuning half, long drifts among them."""
    return simulate_line(1000, rough=True)[40:48]


@pytest.fixture(scope="module")
def told(lamps):
    return [probability_of_fault(lamp, course=True, level=True) for lamp in lamps]


def test_probabilities_are_low_while_quiet_and_high_before_a_failure(lamps, told):
    quiet = np.concatenate([p.sum(axis=1)[s.state == State.QUIET] for s, p in zip(lamps, told, strict=True)])
    failing = [p.sum(axis=1)[d.first_failing] for s, p in zip(lamps, told, strict=True) for d in s.drifts]

    assert all(p.min() >= 0.0 and p.sum(axis=1).max() <= 1.0 for p in told)
    assert len(failing) >= 3
    assert np.median(quiet) < 0.05
    assert min(failing) > 0.9


def test_probabilities_are_calibrated(lamps, told):
    # Bayes' rule with the true prior: a fault is under way as often as it says, within what eight streams scatter.
    under_way = np.concatenate([np.isin(s.state, (State.DRIFT, State.STEP)) for s in lamps])
    foretold = np.concatenate([p.sum(axis=1) for p in told])

    assert foretold.mean() == pytest.approx(under_way.mean(), abs=0.05)


def test_nothing_that_comes_later_is_used(lamps, told):
    lamp, cut = lamps[0], 150
    columns = (
        "hours",
        "value",
        "bound",
        "reset",
        "fed",
        "amount",
        "level",
        "quiet",
        "began",
        "state",
        "copied",
        "fails_in",
    )
    first = replace(lamp, **{name: getattr(lamp, name)[:cut] for name in columns})
    # what is told of the whole segment is its median step in sigmas, which the end of a cut segment moves a little
    assert probability_of_fault(first, course=True, level=True) == pytest.approx(told[0][:cut], abs=0.02)


def test_being_told_less_never_makes_it_warn_of_every_quiet_level(lamps):
    learns = [probability_of_fault(lamp, course=True, level=False) for lamp in lamps[:3]]
    quiet = np.concatenate([p.sum(axis=1)[s.state == State.QUIET] for s, p in zip(lamps[:3], learns, strict=True)])

    assert np.median(quiet) < 0.1


def test_sides_and_the_threshold_that_keeps_to_the_false_alarms(lamps, told):
    assert sides(np.array([[0.6, 0.1], [0.1, 0.7], [0.2, 0.1]]), 0.5).tolist() == [LOW, HIGH, 0]
    threshold, (tally,) = at_most([lamps], [told], 2.7)

    assert tally.false_per_1000 <= 2.7
    assert tally.false == sum(tally_stream(s, sides(p, threshold)).false for s, p in zip(lamps, told, strict=True))
