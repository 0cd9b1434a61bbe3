"""What people write down in the drift room, and who may."""

from datetime import UTC, datetime

import plotly.graph_objects as go  # type: ignore[import-untyped]  # it comes without types
import pytest

from dashboard.auth import Person
from dashboard.pages.drift_forms import keep
from dashboard.queries import Queries, Right
from dashboard.queries.drift_writes import WRITINGS
from dashboard.urls import StreamView
from dashboard.views import StreamPage
from spc.store.entries import Answer, Baseline, Correction, Note, Reaction
from tests.dashboard.made_line import AMMETER, BATH, LAMP, add_row
from tests.dashboard.made_room import in_depth, kept, store_of, stored, view_of

SCREEN: dict[str, object] = {"theme": "light", "width": 900, "scale": 1}


@pytest.fixture
def room(tmp_path):
    queries = stored(tmp_path)
    yield queries
    store_of(queries).close()


def test_a_signal_is_seen_explained_acted_on_and_closed(room):
    view = view_of(LAMP)
    for what, words in (
        ("acknowledged", ""),
        ("cause", "filter dirty"),
        ("action", "cleaned"),
        ("closed", "reads 3000"),
    ):
        assert room.write(view, what, {"words": words, "who": "kim"}, "").startswith("Kept")
    steps = kept(room, Reaction)
    page = room.stream(view)

    assert [step.step for step in steps] == ["acknowledged", "cause", "action", "closed"]
    assert {(step.by, step.key, step.rule) for step in steps} == {("kim", LAMP, "drift")}
    assert [step.what for step in page.explained[0].life] == ["seen", "cause", "done", "closed"]
    assert page.explained[0].closed
    assert "Closed: reads 3000 (kim" in room.board().todos[1].said


@pytest.mark.parametrize("step", ["closed", "acknowledged"])
def test_an_old_page_neither_closes_a_signal_twice_nor_opens_it_again(room, step):
    view = view_of(LAMP)
    room.write(view, "closed", {"words": "reads 3000", "who": "kim"}, "")

    said, how, _ = keep(room, view, step, {"words": "mine", "who": "ann"}, 0)

    assert said.startswith("Not kept. kim closed this signal, ")
    assert '"reads 3000"' in said
    assert how == "said said-refused"
    assert [each.by for each in kept(room, Reaction)] == ["kim"]
    assert room.write(view, "action", {"words": "cleaned again", "who": "ann"}, "").startswith("Kept")


def test_a_cause_without_words_is_asked_for(room):
    said, how, _ = keep(room, view_of(LAMP), "cause", {"words": " ", "who": "kim"}, 0)

    assert said == "Not kept. Write the cause first."
    assert how == "said said-refused"
    assert kept(room, Reaction) == []


def test_without_accounts_a_name_is_asked_for(room):
    said, _, _ = keep(room, view_of(LAMP, part="readings"), "note", {"words": "x", "at": "2026-04-01T10:00"}, 0)

    assert "Write your name" in said


def test_a_note_is_kept_and_stands_on_the_chart_and_in_the_list(room):
    view = view_of(LAMP, part="readings", show="all")
    room.write(view, "note", {"words": "<b>new</b> sleeve", "at": "2026-04-01T10:00", "who": "kim"}, "")
    note = kept(room, Note)[0]
    figure = go.Figure(room.figure(view, SCREEN))
    marks = next(trace for trace in figure.data if trace.name == "note")

    assert (note.at, note.by, note.row) == (datetime(2026, 4, 1, 8, tzinfo=UTC), "kim", None)
    assert "&lt;b&gt;new&lt;/b&gt; sleeve" in marks.hovertext[0]
    assert in_depth(room, view).note_rows()[0].words == "<b>new</b> sleeve"
    assert any(
        trace["name"] == "note" for trace in room.figure(view_of(LAMP, chart="ewma", show="all"), SCREEN)["data"]
    )


def test_a_note_at_a_reading_names_its_row(room):
    row = int(room.result(view_of(LAMP)).readings.row[-1])
    view = view_of(LAMP, part="readings", row=str(row))
    at = next(field.value for field in room.forms(view, "kim", lambda right: True)[0].fields if field.name == "at")
    room.write(view, "note", {"words": "after cleaning", "at": at}, "kim")

    assert kept(room, Note)[0].row == row


@pytest.mark.parametrize(("at", "says"), [("yesterday", "is none"), ("", "is none")])
def test_a_note_needs_a_time(room, at, says):
    said, _, _ = keep(room, view_of(LAMP, part="readings"), "note", {"words": "x", "at": at, "who": "kim"}, 0)

    assert says in said


def test_a_reading_is_corrected_and_corrected_again(room):
    readings = room.result(view_of(AMMETER)).readings
    view = view_of(AMMETER, part="readings", row=str(int(readings.row[-1])))
    assert room.board().todos[0].state == "failed"
    room.write(view, "corrected", {"value": "980", "why": "display misread"}, "kim")

    assert room.result(view).readings.value[-1] == 980
    assert room.result(view).failures == ()
    room.write(view, "corrected", {"value": "990", "why": "display misread twice"}, "kim")
    first, second = kept(room, Correction)
    assert (first.replaces, second.replaces) == (0, 1)
    assert first.reading == second.reading
    assert first.reading.value == 870
    assert room.result(view).readings.value[-1] == 990
    assert room.result(view).readings.reference[-1] == 1000
    again, once = in_depth(room, view).correction_rows()
    assert (again.words, again.who) == ("870 A, as first written; now 990 A: display misread twice", "kim")
    assert once.words == "870 A, as first written; now 980 A: display misread"


def test_a_reading_that_was_never_taken_is_taken_out(room):
    readings = room.result(view_of(AMMETER)).readings
    view = view_of(AMMETER, part="readings", row=str(int(readings.row[-1])))
    room.write(view, "taken out", {"why": "written for the other unit"}, "kim")

    assert len(room.result(view).readings) == len(readings) - 1
    (gone,) = in_depth(room, view).correction_rows()
    assert gone.words == "870 A, as first written; taken out: written for the other unit"


@pytest.mark.parametrize(
    ("value", "why", "says"),
    [
        ("", "x", "Write what the reading should say"),
        ("abc", "x", "can say; write a number or not run."),
        ("-5", "x", "is nothing that"),
        ("nan", "x", "no finite number"),
        ("0.2", "", "Write why first"),
    ],
)
def test_a_correction_that_cannot_be_is_refused(room, value, why, says):
    row = int(room.result(view_of(BATH)).readings.row[-1])
    said, _, _ = keep(
        room, view_of(BATH, part="readings", row=str(row)), "corrected", {"value": value, "why": why, "who": "k"}, 0
    )

    assert says in said
    assert kept(room, Correction) == []


def test_no_reading_is_corrected_unless_one_was_chosen(room):
    forms = room.forms(view_of(BATH, part="readings"), "kim", lambda right: True)

    assert "Choose a reading" in forms[1].why_not
    said, _, _ = keep(room, view_of(BATH, part="readings", row="999999"), "taken out", {"why": "x", "who": "k"}, 0)
    assert "Choose a reading" in said


def test_a_baseline_is_proposed_reviewed_signed_off_and_withdrawn(room):
    view = view_of(BATH, part="baseline")
    room.write(view, "proposed", {"words": "after the bath change"}, "kim")
    said, _, _ = keep(room, view, "signed off", {"words": "sound", "who": "lee"}, 0)
    assert said.startswith("Not kept.")
    assert "reviewed" in said
    for what in ("reviewed", "signed off"):
        assert room.write(view, what, {"words": "looked through"}, "lee").startswith("Kept")
    part = in_depth(room, view).baseline()

    assert [step.what for step in part.versions[0].steps] == ["proposed", "reviewed", "signed off"]
    assert part.versions[0].in_use
    room.write(view, "withdrawn", {"words": "wrong powder"}, "lee")
    assert not in_depth(room, view).baseline().versions[0].in_use
    assert [record.step for record in kept(room, Baseline)] == ["proposed", "reviewed", "signed off", "withdrawn"]


def test_a_baseline_is_laid_over_the_chart(room):
    view = view_of(BATH, part="baseline", against=("proposed", "7"))
    figure = go.Figure(room.figure(view, SCREEN))
    limits = room.result(view).segments[-1].limits
    upper = next(trace for trace in figure.data if trace.name == "own readings: UCL")

    assert upper.y[0] == pytest.approx(limits.upper)
    assert figure.layout.yaxis.range[1] > limits.upper
    assert not [trace for trace in figure.data if "version 7" in (trace.name or "")]


def test_a_question_is_answered_and_the_answer_stays_beside_it(tmp_path):
    queries = stored(tmp_path)
    settings = queries.settings
    for day in range(11, 29):  # one number again and again
        add_row(settings, f"2026-04-{day}T06:00,Line 1,uva_irradiance,lamp 1,2000,,uW/cm2,rad-1,m1,A,")
    queries.source.poll()
    later = Queries(queries.source, settings, clock=lambda: datetime(2026, 4, 29, tzinfo=UTC))
    view = view_of(LAMP, part="questions")
    asked_before = in_depth(later, view).asked().asked
    assert asked_before
    elsewhere = in_depth(later, view_of(BATH, part="questions")).asked().elsewhere
    assert [(each.words, each.href) for each in elsewhere if "lamp" in each.words] == [
        (f"UV-A irradiance, lamp 1 ({len(asked_before)})", view.href)
    ]
    assert not [each for each in in_depth(later, view).asked().elsewhere if each.href == view.href]
    later.write(view, "answer", {"words": "the meter stood still"}, "kim")

    assert in_depth(later, view).asked().asked[0].answers[0].words == "the meter stood still"
    assert kept(later, Answer)[0].key == LAMP
    store_of(later).close()


def test_a_link_handed_over_shows_the_same_when_more_readings_have_come(tmp_path):
    queries = stored(tmp_path)
    view = view_of(BATH, chart="ewma", part="baseline")
    before = queries.stream(view)
    handed = StreamView.from_search(before.pinned.partition("?")[2])
    assert (handed.chart, handed.part) == ("ewma", "baseline")
    for day in range(11, 29):
        add_row(queries.settings, f"2026-04-{day}T06:00,Line 1,bath_concentration,tank,0.2,,mL/100mL,tube-3,m1,A,")
    queries.source.poll()
    later = Queries(queries.source, queries.settings, clock=lambda: datetime(2026, 4, 29, tzinfo=UTC))

    def first_shown(page: StreamPage) -> str:
        return page.shown.partition(" to ")[0]

    assert first_shown(later.stream(view)) != first_shown(before)
    assert first_shown(later.stream(handed)) == first_shown(before)
    assert later.stream(handed).pinned == handed.href
    store_of(later).close()


# who may


@pytest.mark.parametrize("what", WRITINGS)
def test_nothing_is_written_without_its_right(room, monkeypatch, what):
    before = store_of(room).sequence()
    monkeypatch.setattr("dashboard.auth.person", lambda: Person("eve", "nobody"))
    said, how, _ = keep(
        room, view_of(LAMP), what, {"words": "x", "why": "x", "value": "1", "at": "2026-04-01T10:00"}, 0
    )

    assert said.startswith("Not kept. eve (nobody) may not")
    assert how == "said said-refused"
    assert store_of(room).sequence() == before


def test_a_line_lead_reacts_but_signs_nothing(room):
    lead = Person("lou", "lead")
    signals = room.forms(view_of(LAMP), lead.name, lead.may)
    baseline = room.forms(view_of(LAMP, part="baseline"), lead.name, lead.may)

    assert signals[0].buttons
    assert "Written down as lou." in signals[0].says
    assert baseline[0].why_not == "lou may not review here; ask who may."
    assert WRITINGS["signed off"].right is Right.REVIEW


def test_what_does_not_exist_is_refused(room):
    assert keep(room, view_of(LAMP), "burn", {}, 0)[0] == "Not kept. Nothing is called “burn” here."
    assert "no such stream" in keep(room, StreamView("x", "y"), "note", {"who": "k"}, 0)[0]
