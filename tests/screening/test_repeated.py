"""Copied numbers, coarse steps, little scatter and favourite digits are asked about."""

from dataclasses import replace
from datetime import timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.monitor import monitor_stream
from spc.screening import FALSE_RATE, screen
from spc.screening.digits import largest_excess
from spc.screening.variation import TOGETHER, level_ranges
from tests.screening.streams import CHECKS, START, N, bath, kinds, lamp, noise, stream

# -- copied numbers, coarse steps --------------------------------------------------------------------------------------


def test_a_copied_number_is_asked_with_its_rows_its_chance_and_its_time():
    values = bath(30)
    values[100:124] = values[100]

    (question,) = screen([stream("bath_concentration", values, step=0.01)], zone=ZoneInfo("Europe/Vienna"))

    assert question.kind == "copied"
    assert set(range(102, 126)) <= set(question.rows)  # row 2 is the first reading
    assert len(question.rows) <= 27  # a neighbour may be the same by itself
    assert question.chance < FALSE_RATE / 100
    assert question.evidence["readings"] == len(question.rows)
    assert question.first == START + timedelta(hours=8 * (question.rows[0] - 2))
    assert "Sat 8 Feb 2025" in question.sentence  # 100 shifts of 8 h after Mon 6 Jan 2025 06:00 UTC
    assert question.sentence.endswith("?")


def test_two_copied_runs_are_two_questions():
    values = bath(31)
    values[50:80], values[300:320] = 0.21, 0.19

    assert kinds(screen([stream("bath_concentration", values, step=0.01)])) == ["copied", "copied"]


def test_readings_not_run_in_between_do_not_hide_a_copied_number():
    values = bath(32)
    values[100:140] = 0.2
    values[110:118] = np.nan
    words = ["not run" if np.isnan(x) else "" for x in values]

    assert kinds(screen([stream("bath_concentration", values, step=0.01, words=words)])) == ["copied"]


def test_the_same_ampere_at_two_levels_in_turn_is_compared_level_by_level():
    reference = np.where(np.arange(N) % 2 == 0, 1000.0, 2000.0)
    values = reference * (1 + 0.008 * noise(33))
    values[100:150] = np.where(np.arange(50) % 2 == 0, 1005.0, 2010.0)

    questions = screen([stream("ammeter", values, position="head", step=5, references=reference)])

    assert kinds(questions) == ["copied", "copied"]
    assert "at 1000" in questions[0].sentence + questions[1].sentence


def test_a_year_of_one_number_is_asked_although_nothing_shows_how_it_scatters():
    (question,) = screen([stream("bath_concentration", [0.2] * N)])

    assert question.kind == "copied"
    assert len(question.rows) == N


def test_holes_that_never_change_are_not_asked():
    assert screen([stream("ring_holes", [7.0] * N, position="ring 1", references=[1500.0] * N)]) == ()


def test_a_stretch_in_coarser_steps_is_asked():
    values = lamp(34)
    values[100:140] = np.round(values[100:140] / 100) * 100

    (question,) = screen([stream("uva_irradiance", values, step=10)])

    assert question.kind == "coarser_steps"
    assert question.evidence["step"] == 100.0
    assert set(range(104, 138)) <= set(question.rows)


def test_a_stream_rounded_throughout_is_asked_once_until_the_catalogue_names_its_step():
    rounded = stream("uva_irradiance", lamp(35), step=50)
    as_named = monitor_stream(
        rounded.readings, (), replace(CHECKS["uva_irradiance"], resolution=50.0, early_warning=False)
    )

    (question,) = screen([rounded])

    assert question.kind == "coarser_steps"
    assert "name its resolution in the site's catalogue" in question.sentence
    assert screen([as_named]) == ()


# -- scatter and digits ------------------------------------------------------------------------------------------------


def test_a_stretch_that_scatters_too_little_is_asked():
    values = lamp(40)
    values[150:210] = 4000 + (values[150:210] - 4000) / 5

    questions = screen([stream("uva_irradiance", values, step=10)])

    assert kinds(questions) == ["little_variation"]
    assert questions[0].evidence["sigma"] < questions[0].evidence["sigma_elsewhere"] / 2.5
    assert len(set(questions[0].rows) & set(range(152, 212))) > 25


def test_a_low_level_with_less_noise_is_no_question():
    level = np.where(np.arange(N) < 200, 4000.0, 1500.0)

    assert screen([stream("uva_irradiance", level * (1 + 0.02 * noise(41)), step=10)]) == ()


def test_ranges_that_share_a_reading_are_correlated_as_computed():
    x = np.random.default_rng(42).standard_normal(400_000)
    ranges = np.abs(np.diff(x))

    correlation = np.corrcoef(ranges[1:], ranges[:-1])[0, 1]

    assert pytest.approx(1 + 2 * correlation, abs=0.02) == TOGETHER  # standard error 0.003


@given(st.lists(st.floats(0.1, 10), min_size=2, max_size=40))
def test_ranges_are_never_made_smaller(x):
    assert (level_ranges(np.array(x)) >= np.abs(np.diff(x)) - 1e-12).all()


@pytest.mark.parametrize(("wide", "share"), [(50, 0.6), (100, 0.5)])
def test_a_favourite_last_digit_is_asked(wide, share):
    values = lamp(43)
    favourite = np.random.default_rng(44).random(N) < share

    questions = screen([stream("uva_irradiance", np.where(favourite, np.round(values / wide) * wide, values), step=10)])

    assert "digit_preference" in kinds(questions)
    (question,) = [question for question in questions if question.kind == "digit_preference"]
    assert wide % question.evidence["apart"] == 0 or question.evidence["apart"] % wide == 0
    assert question.evidence["found"] == len(question.rows)


def test_last_digits_of_fine_readings_are_uniform_and_the_excess_is_binomial():
    """All digits 0 to 9 equally often but 30 more zeros among 230: chance by the binomial tail, 12 looks."""
    from scipy.stats import binom

    digits = np.concatenate([np.tile(np.arange(10), 20), np.zeros(30, dtype=np.int64)])

    excess = largest_excess(digits, np.array([20.0]))

    assert (excess.apart, excess.start, excess.found) == (10, 0, 50)
    assert excess.chance == pytest.approx(12 * binom.sf(49, 230, 0.1), rel=1e-6)
