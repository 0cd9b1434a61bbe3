"""Screening asks nothing of sound readings."""

import math

import numpy as np
import pytest

from spc.records import Bound
from spc.screening import screen
from tests.screening.streams import N, bath, lamp, noise, stream


def test_a_sound_line_is_asked_nothing():
    line = [
        stream("bath_concentration", bath(1), step=0.01),
        stream(
            "bath_concentration", 0.2 * np.exp(-0.01 * (np.arange(N) % 12)) + 0.012 * noise(2), position="b", step=0.05
        ),
        stream("uva_irradiance", lamp(3), position="lamp 1", step=10),
        stream("uva_irradiance", lamp(4, 3000) * np.exp(-0.001 * np.arange(N)), position="lamp 2", step=10),
        stream("ambient_light", 0.4 * np.exp(0.3 * noise(5)), position="booth", step=0.1),
        stream("residual_field", 0.8 * np.exp(0.25 * noise(6)), position="d", step=0.1),
        stream("bath_temperature", 22 + 0.6 * noise(7), step=0.5),
        stream("ring_holes", np.round(7 + 0.3 * noise(8)), position="ring 1", references=[1500.0] * N),
        stream(
            "ammeter",
            1000 * (1 + 0.008 * noise(9)),
            position="head",
            step=5,
            references=[1000.0] * N,
        ),
        stream("timer", 0.01 + 0.012 * noise(10), position="head", step=0.01),
    ]

    assert screen(line) == ()


@pytest.mark.parametrize("level", [0.2, 0.225])
def test_a_steady_bath_read_in_coarse_divisions_repeats_its_number_and_is_not_asked(level):
    """Scatter a third of a division: a run of 40 comes by itself where the level rests between two."""
    assert screen([stream("bath_concentration", level + 0.015 * noise(20, 300), step=0.05)]) == ()


def test_a_step_and_a_drift_of_the_level_are_no_questions():
    moved = lamp(21) * np.where(np.arange(N) > 200, 0.75, 1.0) * np.exp(-0.002 * np.maximum(np.arange(N) - 300, 0))

    assert screen([stream("uva_irradiance", moved, step=10)]) == ()


def test_judged_checks_and_short_streams_are_asked_nothing():
    judged = stream("water_break", [math.nan] * 60, words=["pass"] * 60)
    short = stream("bath_concentration", [0.2] * 10, step=0.05)

    assert screen([judged, short]) == ()
    assert screen([]) == ()


def test_readings_below_the_scale_repeat_by_themselves():
    dark = stream("ambient_light", [0.1] * 200, position="booth", bounds=[int(Bound.BELOW)] * 200)
    half = np.where(np.arange(200) % 2, 0.1, 0.8 + 0.15 * noise(11, 200))
    mixed = stream("ambient_light", half, position="b", step=0.1, bounds=[-(n % 2) for n in range(200)])

    assert screen([dark, mixed]) == ()
