"""What the early warning found, in words."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from spc.monitor import monitor_stream
from spc.results import StreamResult
from spc.signals import Episode, episodes
from spc.state import stream_state
from tests.made import START, made_check, made_event, made_readings

VIENNA = ZoneInfo("Europe/Vienna")


def watched(level, *, events=(), scatter=0.008, **parts) -> StreamResult:
    rng = np.random.default_rng(20250303)
    values = np.round(np.asarray(level) + rng.normal(0, scatter, len(level)), 3)
    check = made_check(early_warning=True, rules_signal=False, **parts)
    return monitor_stream(made_readings(values.tolist()), events, check)


def told(result: StreamResult) -> tuple[Episode, ...]:
    return episodes(result, VIENNA)


FALLING = [0.25] * 40 + [0.25 - 0.005 * i for i in range(1, 25)]
STEPPED = [0.25] * 40 + [0.20] * 20


def test_a_drift_is_told_once_with_its_start_its_rate_and_the_limit_ahead():
    (episode,) = told(watched(FALLING))

    assert episode.side == "low"
    assert episode.open
    assert abs(episode.since - (START + timedelta(hours=8 * 40))) <= timedelta(hours=8 * 5)
    assert episode.sentence.startswith("Bath concentration, tank has been falling since about ")
    assert " a reading, and it most likely began between " in episode.sentence
    assert "If nothing is done the limit 0.1 mL/100 mL is passed in about " in episode.sentence
    rate = float(episode.sentence.split(": about ")[1].split()[0])
    assert rate == pytest.approx(0.005, abs=0.0015)


def test_a_step_is_told_as_a_step_with_both_levels():
    first = told(watched(STEPPED))[0]

    assert "stepped down at about" in first.sentence or "has been falling since about" in first.sentence
    assert first.look_first == ("the agitator",)
    before, after = first.sentence.split(", from ")[1].split(" to ")[:2]
    assert float(before.split()[0]) == pytest.approx(0.25, abs=0.01)
    assert float(after.split()[0]) == pytest.approx(0.20, abs=0.02)


def test_a_recorded_bath_change_is_no_step():
    changed = made_event("bath_changed", START + timedelta(hours=8 * 40 - 1))

    assert told(watched(STEPPED, events=(changed,))) == ()


def test_the_board_says_what_moves():
    result = watched(FALLING)
    state = stream_state(result, VIENNA, START + timedelta(hours=8 * 64))

    assert state.word == "moving"
    assert state.headline == told(result)[-1].sentence


def test_a_calm_stream_is_told_nothing():
    assert told(watched([0.25] * 120)) == ()
