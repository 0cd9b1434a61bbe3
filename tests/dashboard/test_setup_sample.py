"""The set-up sample: what is kept, what is refused in words, where to look when it shows too little."""

from datetime import timedelta

import pytest
from flask import g

from dashboard.app import create_app
from dashboard.auth import Person
from dashboard.pages.setup_sample import kept_or_refused, line_of
from dashboard.queries.setup_sample import circuits_asked, keep_sample, runs_figure, setup_page
from spc.errors import InputError
from spc.run_start import Circuit, KnownDefectPart, NotchedShim, RingHoles, SetupSample, Technique
from tests.dashboard.made_entry import TODAY, stored_queries, stored_settings
from tests.dashboard.made_line import add_row, asked, write_line

SHIM = {
    "part": "bracket", "technique": "direct contact", "circuit-1": "head", "amperes-1": "1500", "continuous": "yes",
    "reference": "shim", "shim-kind": "CX4-230", "shim-where": "web", "shim-seen": "shown", "who": "ktl",
}  # fmt: skip
RING = {"reference": "ring", "ring-kind": "AS5282", "ring-amperes": "1000", "ring-seen": "5"}
PART = {"reference": "part", "part-name": "gear 3", "part-seen": "2", "part-expected": "3"}


@pytest.fixture
def queries(tmp_path):
    return stored_queries(stored_settings(tmp_path))


def kept(queries) -> list[SetupSample]:
    return [entry.record for entry in queries.store.records(SetupSample)]


def test_a_shim_that_shows_is_kept_and_leads_nowhere(queries):
    told = keep_sample(queries, "Line 1", SHIM, "")

    assert (told.result, told.factors, told.sentence) == ("shown", (), "")
    (sample,) = kept(queries)
    assert sample.technique == Technique("direct contact", (Circuit("head", 1500.0),), continuous=True)
    assert sample.reference == NotchedShim("CX4-230", "web", "shown")
    assert (sample.by, sample.line, sample.at) == ("ktl", "Line 1", TODAY)


@pytest.mark.parametrize(("seen", "result"), [("partly", "weak"), ("not shown", "missing")])
def test_too_little_opens_the_look_at_all_factors_by_what_the_line_says_now(queries, seen, result):
    told = keep_sample(queries, "Line 1", {**SHIM, "shim-seen": seen}, "")

    assert told.result == result
    assert len(told.factors) == 6
    (first,) = [factor for factor in told.factors if factor.first]
    assert first.title == "UV-A and white light"
    assert first.word == "moving"
    assert "UV-A irradiance, lamp 1" in first.evidence[0][0]
    assert first.evidence[0][1].startswith("/stream?")


@pytest.mark.parametrize(
    ("more", "reference"),
    [
        (RING, RingHoles("AS5282", 1000.0, 5, 5)),  # the catalogue asks for 5 holes at 1000 A
        ({**RING, "ring-amperes": "1400", "ring-minimum": "3"}, RingHoles("AS5282", 1400.0, 5, 3)),
        (PART, KnownDefectPart("gear 3", 2, 3)),
    ],
)
def test_each_reference_is_kept_as_it_was_seen(queries, more, reference):
    keep_sample(queries, "Line 2", {**SHIM, **more}, "")

    assert kept(queries)[0].reference == reference


def test_several_circuits_are_for_multidirectional_alone(queries):
    both = {**SHIM, "circuit-2": "coil", "amperes-2": "800,5"}
    keep_sample(queries, "Line 1", both, "")
    keep_sample(queries, "Line 1", {**both, "technique": "multidirectional"}, "")

    assert [len(sample.technique.circuits) for sample in kept(queries)] == [1, 2]
    assert kept(queries)[1].technique.circuits[1] == Circuit("coil", 800.5)


def test_a_circuit_without_amperes_is_not_used(queries):
    third = {"circuit-2": "coil", "amperes-2": "800", "circuit-3": "yoke", "amperes-3": ""}
    keep_sample(queries, "Line 1", {**SHIM, **third, "technique": "multidirectional"}, "")

    assert [circuit.name for circuit in kept(queries)[0].technique.circuits] == ["head", "coil"]


def test_circuits_are_called_as_the_ammeter_checks_of_the_line_call_them(tmp_path):
    settings = write_line(tmp_path)
    for where in ("coil 1", "head", "coil 2", "vertical"):
        add_row(settings, f"2026-03-02T06:20,Line 1,ammeter,{where},1010,1000,A,shunt-1,m1,A,")
    queries = asked(settings)

    def circuits(technique, line="Line 1"):
        return [(one.place, one.name) for one in circuits_asked(queries, line, technique)]

    assert circuits("direct contact") == circuits("central conductor") == [("1", "head")]
    assert circuits("coil") == [("1", "coil 1")]
    assert circuits("multidirectional") == [("1", "coil 1"), ("2", "coil 2"), ("3", "head"), ("4", "vertical")]
    assert circuits("multidirectional", "Line 2") == [("1", "head"), ("2", ""), ("3", "")]
    assert circuits("coil", "Line 2") == [("1", "")]
    assert [one.name for one in circuits_asked(queries, "Line 9", "multidirectional")] == ["", "", ""]
    assert circuits_asked(queries, "Line 1", "coil")[0].offered == ("coil 1", "coil 2", "head", "vertical")


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"who": ""}, "Write your name"),
        ({"part": " "}, "shape of the part"),
        ({"technique": ""}, "Choose the technique"),
        ({"technique": "spin"}, "there is no technique"),
        ({"technique": "multidirectional"}, "at least two circuits"),
        ({"amperes-1": ""}, "amperes of head"),
        ({"amperes-1": "0"}, "amperes above 0"),
        ({"amperes-1": "1e9"}, "is no number"),
        ({"reference": ""}, "Choose the reference"),
        ({"shim-seen": ""}, "what the shim shows"),
        ({"shim-where": ""}, "where on the part"),
        ({**RING, "ring-amperes": "1400"}, "asks for no number of holes at 1400 A"),
        ({**RING, "ring-seen": "five"}, "no whole number"),
        ({**RING, "ring-seen": "13"}, "0 to 12 holes"),
        ({**PART, "part-seen": "4"}, "no more seen than that"),
    ],
)
def test_what_is_missing_or_impossible_is_said_and_nothing_is_kept(queries, more, says):
    with pytest.raises(InputError, match=says):
        keep_sample(queries, "Line 1", {**SHIM, **more}, "")
    assert kept(queries) == []


def test_who_has_no_right_keeps_nothing(queries):
    server = create_app(queries).server
    with server.test_request_context("/setup"):
        g.person = Person("eve", "visitor")
        said, done, past = kept_or_refused(queries, "?line=Line+1", SHIM)

    assert said.startswith("Not kept. eve (visitor) may not write down")
    assert done == []
    assert kept(queries) == []
    assert past is not None


def test_the_page_tells_how_often_samples_showed_too_little(queries):
    for day in range(0, 90, 3):
        seen = "partly" if day % 30 == 0 else "shown"
        keep_sample(queries, "Line 1", {**SHIM, "shim-seen": seen}, "")
        sample = kept(queries)[-1]
        assert sample.result == ("weak" if seen == "partly" else "shown")
    page = setup_page(queries, "Line 1", "")

    assert page.rows_in_all == 30
    assert page.told.startswith("3 of 30 samples of Line 1 showed too little. Usually ")
    assert page.parts == ("bracket",)
    assert page.months == 1
    assert runs_figure(queries, "Line 1", {"theme": "light", "width": 800, "scale": 1}) is None
    assert setup_page(queries, "Line 2", "").told == ""


def test_the_chart_has_the_share_of_each_month(tmp_path):
    settings = stored_settings(tmp_path)
    for days, seen in ((0, "shown"), (1, "partly"), (40, "shown"), (41, "shown")):
        keep_sample(stored_queries(settings, TODAY + timedelta(days=days)), "Line 1", {**SHIM, "shim-seen": seen}, "")
    figure = runs_figure(stored_queries(settings), "Line 1", {"theme": "dark", "width": 800, "scale": 1})

    shares = [list(trace.y) for trace in figure.data if trace.mode == "lines+markers"]
    assert shares == [[0.5, 0.0]]
    assert figure.layout.xaxis.title.text == "month"
    assert list(figure.layout.xaxis.tickvals) == [1.0, 2.0]
    assert [word.strip() for word in figure.layout.xaxis.ticktext] == ["Apr 2026", "May 2026"]


def test_a_bare_log_has_a_page_that_says_why_nothing_can_be_kept(tmp_path):
    queries = asked(write_line(tmp_path))

    assert "spc serve --store FILE" in setup_page(queries, "", "").why_not
    with pytest.raises(InputError, match="bare log"):
        keep_sample(queries, "Line 1", SHIM, "")


def test_the_line_stands_in_the_address(queries):
    assert line_of("?line=Line+2") == "Line 2"
    assert line_of("") == line_of(None) == ""
    assert setup_page(queries, "no such line", "").line == "Line 1"
