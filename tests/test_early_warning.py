"""Early warning of a stream through its catalogue entry."""

from datetime import timedelta

import numpy as np
import pytest

from spc.catalogue.load import load_catalogue
from spc.charted import charted_readings
from spc.early_warning import early_warning, stream_model, warning_signals
from spc.monitor import monitor_stream
from tests.made import START, made_check, made_event, made_readings

CHECKS = load_catalogue().checks


def signals_of(readings, check, events=()):
    """Return the early-warning signals of one stream."""
    charted = charted_readings(readings, check)
    _, outcomes = early_warning(charted, events, check)
    return warning_signals(charted, dict(enumerate(outcomes)))


def drifting(n=90, onset=60):
    """Bath readings to 0.01 that fall from 0.25 towards 0.1 from `onset` on."""
    level = 0.25 - 0.005 * np.clip(np.arange(n) - onset + 1, 0, None)
    return np.round(level + 0.01 * np.random.default_rng(3).standard_normal(n), 2)


@pytest.mark.parametrize("key", sorted(key for key, check in CHECKS.items() if check.kind == "measured"))
def test_every_measured_check_of_the_catalogue_has_settings(key):
    assert stream_model(CHECKS[key]).sigma > 0


def test_settings_follow_from_the_check():
    lamp, bath, meter = (stream_model(CHECKS[key]) for key in ("uva_irradiance", "bath_concentration", "ammeter"))

    assert (lamp.log, lamp.ages) == (True, True)
    assert stream_model(CHECKS["residual_field"]).log
    assert (bath.log, bath.ages) == (False, False)
    assert bath.wander > meter.wander


def test_a_drift_is_a_signal_at_its_reading():
    check = made_check(resolution=0.05)
    readings = made_readings(drifting().tolist())
    charted = charted_readings(readings, check)

    found = signals_of(readings, check)

    assert 61 <= found[0].position <= 75
    assert {(s.chart, s.side) for s in found} == {("early_warning", "low")}
    assert {s.rule for s in found} <= {"drift", "step"}
    assert all(s.row == readings.row[s.position] and s.value == charted.x[s.position] for s in found)


def test_a_recorded_bath_change_is_no_signal_and_a_top_up_explains_no_more_than_a_jump():
    check = made_check(resolution=0.05)
    x = np.concatenate((drifting(60), 0.10 + drifting(60)))
    readings = made_readings(x.tolist())

    def seen(kind):
        return signals_of(readings, check, [made_event(kind, START + timedelta(hours=8 * 60))])

    without = signals_of(readings, check)
    assert seen("bath_changed") == ()
    topped_up = seen("bath_topped_up")
    assert topped_up[0].position > without[0].position  # half of 0.10 at once is more than a top-up explains
    assert seen("lamp_cleaned") == without != ()  # says nothing about this check


def test_signals_do_not_look_ahead():
    check = made_check(resolution=0.05)
    readings = made_readings(drifting().tolist())
    whole = signals_of(readings, check)

    for n in (40, 66, 70, 80):
        cut = signals_of(made_readings(drifting()[:n].tolist()), check)
        assert cut == tuple(s for s in whole if s.position < n)


def test_a_stream_without_readings_or_chart_has_no_signals():
    words = made_readings([np.nan] * 40, words=["shown"] * 40)
    judged = made_check(kind="judged", charted="none", rules=(), early_warning=True)

    assert monitor_stream(made_readings([]), (), made_check(early_warning=True)).signals == ()
    assert monitor_stream(words, (), judged).signals == ()


def test_there_is_one_outcome_for_each_reading_on_the_chart():
    check = made_check(resolution=0.05)
    charted = charted_readings(made_readings(drifting().tolist()), check)

    state, outcomes = early_warning(charted, (), check)

    assert len(outcomes) == state.n == len(charted.x)
