"""What is asked of the demo line, and how questions speak."""

import json
from zoneinfo import ZoneInfo

import pytest

from spc.demo import DEMO_ZONE
from spc.scan import scan
from spc.screening import FALSE_RATE, screen
from spc.screening.question import odds
from tests.datasets.truth import EVENTS, FAULTS, LOG, SLIPS, lines
from tests.screening.streams import bath, stream


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
