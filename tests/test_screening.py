"""Screening: what is asked of planted readings, what is not asked of sound ones, and that no sentence accuses."""

import json
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spc.catalogue.load import starter
from spc.demo import DEMO_ZONE
from spc.monitor import monitor_stream
from spc.records import Bound, StreamKey
from spc.results import StreamResult
from spc.scan import scan
from spc.screening import FALSE_RATE, screen
from spc.screening.digits import largest_excess
from spc.screening.level import distances, running_median, spread_in_steps
from spc.screening.question import odds
from spc.screening.variation import TOGETHER, level_ranges
from tests.bench import screening as bench
from tests.datasets.truth import EVENTS, FAULTS, LOG, SLIPS, lines
from tests.made import made_readings

CHECKS = starter().checks
N = 400
START = datetime(2025, 1, 6, 6, tzinfo=UTC)


def stream(
    check: str, values, *, position: str = "tank", step: float | None = None, hours: float = 8.0, **columns
) -> StreamResult:
    """Return a stream of a built-in check, rounded to `step`."""
    x = np.asarray(values, dtype=np.float64)
    x = x if step is None else np.round(np.round(x / step) * step, 6)
    times = columns.pop("times", [START + timedelta(hours=hours * n) for n in range(len(x))])
    readings = made_readings(x.tolist(), key=StreamKey("Line A", check, position), times=times, **columns)
    return monitor_stream(readings, (), replace(CHECKS[check], early_warning=False))


def noise(seed: int, n: int = N) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(n)


def lamp(seed: int, level: float = 4000.0, position: str = "lamp 1", n: int = N) -> np.ndarray:
    return level * (1 + 0.02 * noise(seed, n))


def bath(seed: int, n: int = N) -> np.ndarray:
    return 0.2 + 0.015 * noise(seed, n)


def kinds(questions) -> list[str]:
    return [question.kind for question in questions]


# -- sound readings ----------------------------------------------------------------------------------------------------


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


# -- slips and exchanges -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("check", "values", "step", "factor", "text"),
    [
        ("uva_irradiance", lamp(50), 10, 0.001, "written in mW/cm2"),
        ("uva_irradiance", lamp(51), 10, 0.01, "written in W/m2"),
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

    assert "written in degF" in question.sentence
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


# -- what a question says ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("chance", "text"),
    [
        (0.02, "about 1 in 50"),
        (3.4e-4, "about 1 in 3,000"),
        (1e-9, "less than 1 in a million"),
        (0.0, "less than 1 in a million"),
    ],
)
def test_a_chance_is_said_as_odds(chance, text):
    assert odds(chance) == text


@pytest.fixture(scope="module")
def demo():
    result = scan(LOG, events=EVENTS, zone=ZoneInfo(DEMO_ZONE))
    return screen(result.streams, zone=ZoneInfo(DEMO_ZONE))


COPIED = [name for name, fault in FAULTS.items() if fault["effect"] in ("copied", "step")]
SLIPPED = [name for name, slip in SLIPS.items() if slip["outcome"] == "accepted" and slip["column"] == "value"]


@pytest.mark.parametrize("name", COPIED)
def test_the_demo_line_s_copied_readings_and_wrong_tube_are_asked(demo, name):
    fault, log = FAULTS[name], lines()

    asked = [q for q in demo if (q.keys[0].line, q.keys[0].check) == (fault["line"], fault["check"])]

    within = [q for q in asked if all(fault["from"] <= log[row - 1][0] < fault["to"] for row in q.rows)]
    assert within
    assert {q.kind for q in within} <= {"copied", "coarser_steps"}


@pytest.mark.parametrize("name", SLIPPED)
def test_the_demo_line_s_unit_slips_are_asked(demo, name):
    slip = SLIPS[name]

    asked = {row for q in demo if q.kind == "unit_slip" for row in q.rows}

    assert set(slip["rows"]) <= asked


def test_the_demo_line_is_asked_nothing_but_what_was_planted(demo):
    log = lines()
    planted = {row for name in SLIPPED for row in SLIPS[name]["rows"]}

    for question in demo:
        in_fault = any(
            (question.keys[0].line, question.keys[0].check) == (fault["line"], fault["check"])
            and fault["from"] <= log[question.rows[0] - 1][0] < (fault["to"] or "9")
            for fault in (FAULTS[name] for name in COPIED)
        )
        assert in_fault or set(question.rows) <= planted, question.sentence


def test_every_sentence_asks_names_its_rows_and_its_chance_and_accuses_nobody(demo):
    for question in demo:
        assert question.sentence.endswith("?")
        assert "by luck" in question.sentence
        assert "row" in question.sentence
        assert question.keys[0].line in question.sentence
        for word in ("fake", "false", "invented", "cheat", "fraud", "technician", "made up"):
            assert word not in question.sentence.lower()


def test_questions_are_in_order_of_time_and_their_evidence_is_plain_numbers(demo):
    assert [q.first for q in demo] == sorted(q.first for q in demo)
    for question in demo:
        assert 0 <= question.chance < FALSE_RATE
        assert question.first <= question.last
        json.dumps(dict(question.evidence), allow_nan=False)


def test_a_brace_in_a_name_is_a_brace():
    values = bath(80)
    values[100:130] = 0.2
    result = stream("bath_concentration", values, position="tank {0} {", step=0.01)

    (question,) = screen([result])

    assert "tank {0} {" in question.sentence


# -- the measurement ---------------------------------------------------------------------------------------------------


def test_a_clean_tidy_line_of_the_measurement_is_asked_nothing():
    logs = bench.clean_line(2_000, rough=False)

    assert len(logs) == 40
    assert screen([bench.result_of(log) for log in logs]) == ()


def test_the_measurement_counts_what_it_plants():
    logs = bench.clean_line(2_001, rough=False)
    rng = np.random.default_rng(81)

    planted = bench.planted_line(rng, logs, 0)
    questions = screen([bench.result_of(log) for each in planted for log in each.logs])

    hits = [bench.found(each, questions) for each in planted]
    assert len(planted) > 30
    assert 0.2 < np.mean(hits) < 1.0
    assert not any(bench.found(each, ()) for each in planted)


def test_the_two_halves_of_the_measurement_share_no_line():
    assert not set(bench.HALVES["tune"]) & set(bench.HALVES["report"])


def test_a_share_has_the_range_of_wilson():
    # Newcombe (1998), Statistics in Medicine 17, 857-872, method 3: 81 of 263 gives 0.2553 to 0.3662 (from memory).
    assert bench.with_range(81, 263) == " 30.8 %  (26 to 37 %, 81 of 263)"
