"""Slips of unit or point and exchanged places are asked about, and what is no slip is not."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from spc.screening import screen
from spc.screening.level import distances, running_median, spread_in_steps
from tests.screening.streams import START, N, bath, kinds, lamp, noise, stream

# -- slips and exchanges -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("check", "values", "step", "factor", "text"),
    [
        ("uva_irradiance", lamp(50), 10, 0.001, "written in mW/cm²"),
        ("uva_irradiance", lamp(51), 10, 0.01, "written in W/m²"),
        ("uva_irradiance", lamp(52), 10, 10.0, "with its decimal point 1 place to the left"),
        ("ambient_light", 0.7 * np.exp(0.15 * noise(53)), 0.1, 10.764, "written in lx"),
        ("bath_concentration", bath(54), 0.01, 10.0, "with its decimal point 1 place to the left"),
        ("bath_concentration", bath(55), 0.01, 100.0, "with its decimal point 2 places to the left"),
        ("residual_field", 0.8 * np.exp(0.15 * noise(56)), 0.1, 0.1, "written in mT"),
        ("yoke_lift", 50 + noise(57), 1, 0.2248, "written in lb"),
    ],
)
def test_a_slip_of_unit_or_point_is_asked_and_named(check, values, step, factor, text):
    values = np.round(values / step) * step
    values[200] = float(f"{values[200] * factor:.3g}")

    (question,) = [question for question in screen([stream(check, values)]) if question.kind == "unit_slip"]

    assert question.rows == (202,)
    assert text in question.sentence
    assert question.evidence["as_meant"] == pytest.approx(np.median(values), rel=0.5)


def test_fahrenheit_among_celsius_is_a_unit_too():
    values = 22 + 0.5 * noise(58)
    values[200] = 72.0

    (question,) = screen([stream("bath_temperature", np.round(values * 2) / 2)])

    assert "written in °F" in question.sentence
    assert question.evidence["as_meant"] == pytest.approx(22.2, abs=0.1)


def test_kiloamperes_are_found_by_the_reference():
    values = np.round(1000 * (1 + 0.008 * noise(59)) / 5) * 5
    values[200] = 1.01

    (question,) = screen([stream("ammeter", values, position="head", references=[1000.0] * N)])

    assert "written in kA" in question.sentence
    assert question.evidence["as_meant"] == pytest.approx(1010.0)


def test_slips_of_a_week_are_one_question():
    values = np.round(lamp(60) / 10) * 10
    values[200:210] = np.round(values[200:210] / 1000, 2)

    (question,) = screen([stream("uva_irradiance", values)])

    assert question.rows == tuple(range(202, 212))
    assert "and 9 more" in question.sentence


def test_a_true_failure_that_fits_no_unit_is_not_asked():
    values = np.round(0.8 * np.exp(0.2 * noise(61)), 1)
    values[200:202] = 4.2

    assert screen([stream("residual_field", values)]) == ()


@pytest.mark.parametrize("rounds", [1, 4, 12])
def test_two_lamps_in_each_other_s_rows_are_one_question(rounds):
    a, b = np.round(lamp(62, 4500) / 10) * 10, np.round(lamp(63, 3100) / 10) * 10
    places = slice(100, 100 + rounds)
    a[places], b[places] = b[places].copy(), a[places].copy()

    (question,) = screen(
        [stream("uva_irradiance", a, position="lamp 1"), stream("uva_irradiance", b, position="lamp 2")]
    )

    assert question.kind == "exchanged_positions"
    assert [key.position for key in question.keys] == ["lamp 1", "lamp 2"]
    assert question.evidence["rounds"] == pytest.approx(rounds, abs=rounds // 5)  # one at the edge may go either way
    assert question.line == "Line A"


def test_one_lamp_that_falls_to_the_other_s_level_was_not_exchanged():
    a, b = lamp(64, 4500), lamp(65, 3100)
    a[100:112] *= 3100 / 4500

    questions = screen(
        [
            stream("uva_irradiance", a, position="lamp 1", step=10),
            stream("uva_irradiance", b, position="lamp 2", step=10),
        ]
    )

    assert "exchanged_positions" not in kinds(questions)


def test_value_and_reference_in_each_other_s_column_are_asked():
    values, reference = np.round(1000 * (1 + 0.008 * noise(66)) / 5) * 5, np.full(N, 1000.0)
    values[200], reference[200] = 1000.0, 1010.0

    (question,) = screen([stream("ammeter", values, position="head", references=reference)])

    assert (question.kind, question.rows) == ("exchanged_columns", (202,))
    assert "value 1000, reference 1010 A" in question.sentence


def test_a_reference_measured_each_time_makes_no_exchange():
    reference = np.round(1000 * (1 + 0.01 * noise(67)), 0)
    values = np.round(reference * (1 + 0.008 * noise(68)) / 5) * 5

    assert screen([stream("ammeter", values, position="head", references=reference)]) == ()


def test_a_date_with_day_and_month_exchanged_is_asked():
    at = [START + timedelta(days=n) for n in range(120)]
    row = np.arange(2, 122)
    wrong = next(n for n, day in enumerate(at) if (day.day, day.month) == (7, 3))
    at[wrong] = at[wrong].replace(day=3, month=7)
    order = np.argsort([day.timestamp() for day in at], kind="stable")
    result = stream("uva_irradiance", (np.round(lamp(69, n=120) / 10) * 10)[order], times=[at[n] for n in order])
    result = replace(result, readings=replace(result.readings, row=row[order]))

    (question,) = screen([result])

    assert (question.kind, question.rows) == ("day_and_month", (wrong + 2,))


# -- levels and distances ----------------------------------------------------------------------------------------------


def test_the_running_median_is_that_of_each_window():
    x = np.random.default_rng(70).standard_normal(30)

    expected = [float(np.median(x[max(0, n - 4) : n + 5])) for n in range(30)]

    assert running_median(x, 4) == pytest.approx(expected)


def test_distances_of_a_normal_have_its_sigma_and_light_tails_and_wild_ones_do_not_count():
    off = 0.1 * np.random.default_rng(71).standard_normal(4000)
    off[:20] = 3.0

    found = distances(off)

    assert found.usual == pytest.approx(0.1, rel=0.05)
    assert found.tails == pytest.approx(12.0)


def test_heavy_tails_are_seen_and_make_a_far_reading_likelier():
    rng = np.random.default_rng(72)
    heavy, light = distances(0.1 * rng.standard_t(3, 4000)), distances(0.1 * rng.standard_normal(4000))

    assert heavy.tails < light.tails
    assert heavy.chance_so_far(6 * heavy.usual) > 3 * light.chance_so_far(6 * light.usual)


def test_spread_readings_stay_within_their_step():
    x = np.round(np.random.default_rng(73).uniform(1, 2, 200), 1)

    spread = spread_in_steps(x)

    assert np.abs(spread - x).max() <= 0.05 + 1e-9
    assert len(np.unique(spread)) > 150
