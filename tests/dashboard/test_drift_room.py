"""The drift room without a browser: what it shows of one stream, and what people write down in it."""

from datetime import UTC, datetime

import pytest

from dashboard.app import create_app
from dashboard.auth import Person
from dashboard.ids import Drift
from dashboard.pages.drift_forms import keep
from dashboard.queries import Queries, Right, watch
from dashboard.queries.drift import Room
from dashboard.queries.drift_writes import WRITINGS
from dashboard.urls import PARTS, StreamView
from spc.store.entries import Answer, Baseline, Correction, Note, Reaction
from spc.store.store import Store
from tests.dashboard.made_line import AMMETER, BATH, KEYS, LAMP, NOW, SHIM, TIMER, add_row, asked, write_line

SCREEN: dict[str, object] = {"theme": "light", "width": 900, "scale": 1}


def view_of(key, **more) -> StreamView:
    return StreamView(key.line, key.check, key.position, **more)


@pytest.fixture(scope="module")
def bare(tmp_path_factory):
    return asked(write_line(tmp_path_factory.mktemp("line")))


def stored(folder) -> Queries:
    from dataclasses import replace

    settings = replace(write_line(folder), store=str(folder / "line.db"))
    return Queries(watch(settings), settings, clock=lambda: NOW)


@pytest.fixture
def room(tmp_path):
    queries = stored(tmp_path)
    yield queries
    store_of(queries).close()


def in_depth(queries: Queries, view: StreamView) -> Room:
    found = queries.room(view)
    assert found is not None
    return found


def store_of(queries: Queries) -> Store:
    assert queries.store is not None
    return queries.store


def kept(queries, kind):
    return [entry.record for entry in store_of(queries).records(kind)]


# what is shown


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize("key", KEYS, ids=str)
def test_every_part_of_every_stream_opens(bare, key, part):
    app = create_app(bare)
    show = next(c for c in app._callback_list if c["output"] == "page.children")
    body = {
        "output": "page.children",
        "outputs": {"id": "page", "property": "children"},
        "changedPropIds": ["url.pathname"],
        "inputs": [{**show["inputs"][0], "value": "/stream"}],
        "state": [{**show["state"][0], "value": view_of(key, part=part).to_search()}],
    }
    answer = app.server.test_client().post("/_dash-update-component", json=body)

    assert answer.status_code == 200
    assert Drift.PART in answer.text
    assert "No such stream" not in answer.text


@pytest.mark.parametrize("chart", ["", "ewma", "cusum", "trend", "residuals", "skewed"])
@pytest.mark.parametrize("key", [BATH, LAMP, AMMETER, TIMER], ids=str)
def test_every_view_can_be_drawn_with_its_unit(bare, key, chart):
    figure = bare.figure(view_of(key, chart=chart, show="all"), SCREEN)
    unit = {BATH: "mL/100 mL", LAMP: "µW/cm²", AMMETER: "%", TIMER: "s"}[key]

    assert ("sigma" if chart == "cusum" else unit) in figure.layout.yaxis.title.text.replace("<br>", " ")
    assert figure.layout.xaxis.range[0][:10] == "2026-03-01"


@pytest.mark.parametrize("chart", ["fraction_failed", "passes_between"])
def test_a_judged_check_has_views_of_its_own(bare, chart):
    page = bare.stream(view_of(SHIM, chart=chart))

    assert page.chart == chart
    assert [choice.words for choice in page.charts] == ["Verdicts", "Fraction failed", "Passes between failures"]
    assert bare.figure(view_of(SHIM, chart=chart), SCREEN) is not None


def test_a_view_that_a_stream_does_not_have_is_the_usual_one(bare):
    assert bare.stream(view_of(BATH, chart="passes_between")).chart == "individuals"


def test_the_views_say_which_suits_the_readings(bare):
    page = bare.stream(view_of(LAMP))
    suits = {choice.words for choice in page.charts if choice.note}

    assert "Trend" in suits
    assert not page.suits
    assert "fall" in page.fit


def test_the_address_keeps_every_choice():
    view = view_of(
        LAMP,
        show="all",
        chart="ewma",
        part="line",
        beside=("timer@head", "ammeter"),
        by="shift",
        about="x 1",
        against=("2",),
    )

    assert StreamView.from_search(view.to_search()) == view
    assert view.moved(show="last").chart == "ewma"


def test_links_of_the_page_keep_the_view(bare):
    page = bare.stream(view_of(LAMP, chart="ewma", part="splits", beside=("timer",)))
    for href in [*(href for _, href, _ in page.ranges), page.earlier, *(part.href for part in page.parts)]:
        if href:
            found = StreamView.from_search(href.partition("?")[2])

            assert (found.chart, found.beside) == ("ewma", ("timer",))


def test_other_streams_of_the_line_share_the_time_axis(bare):
    view = view_of(LAMP, part="line", beside=("bath_concentration@tank", "notched_shim@hub", "no_such"))
    part, figure = in_depth(bare, view).line(), bare.part_figure(view, SCREEN)

    assert [choice.words for choice in part.choices if choice.on] == ["Bath concentration, tank", "Notched shim, hub"]
    assert sum(name.startswith("yaxis") for name in figure.layout.to_plotly_json()) == 3
    assert list(figure.layout.xaxis.range) == list(bare.figure(view, SCREEN).layout.xaxis.range)
    bath_changed = [
        shape
        for shape in bare.part_figure(
            view_of(LAMP, part="line", show="all", beside=("bath_concentration@tank",)), SCREEN
        ).layout.shapes
        if shape.name == "bath changed"
    ]
    assert len(bath_changed) == 1


def test_no_more_than_six_streams_stand_beside_one(bare):
    view = view_of(LAMP, part="line", beside=tuple(f"none-{i}" for i in range(9)))

    assert in_depth(bare, view).line().shown == 0
    assert bare.part_figure(view, SCREEN) is None


def test_the_readings_in_view_are_split(bare):
    view = view_of(LAMP, part="splits", by="technician", show="all")
    part = in_depth(bare, view).splits()

    assert [row.name for row in part.groups] == ["m1", "m2", "m3"]
    assert sum(int(row.n) for row in part.groups) == 80
    assert bare.part_figure(view, SCREEN) is not None


def test_rule_sets_are_compared_on_this_history(bare):
    part = in_depth(bare, view_of(AMMETER, part="rule-sets")).rule_sets()

    assert part.rows[0].title == "Early warning"
    assert all("of 1" in row.caught for row in part.rows)
    assert "judged readings" in part.history


def test_a_bare_log_says_why_nothing_can_be_written(bare):
    for part in ("signals", "baseline", "readings"):
        forms = bare.forms(view_of(LAMP, part=part), "", lambda right: True)

        assert "bare log" in forms[0].why_not
        assert "spc serve --store FILE" in forms[0].why_not
        assert forms[0].buttons == ()
    said, _, _ = keep(bare, view_of(LAMP), "note", {"words": "x", "who": "k"}, 0)
    assert said.startswith("Not kept. This board shows a bare log")


# what is written down


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
    figure = room.figure(view, SCREEN)
    marks = next(trace for trace in figure.data if trace.name == "note")

    assert (note.at, note.by, note.row) == (datetime(2026, 4, 1, 8, tzinfo=UTC), "kim", None)
    assert "&lt;b&gt;new&lt;/b&gt; sleeve" in marks.hovertext[0]
    assert in_depth(room, view).note_rows()[0].words == "<b>new</b> sleeve"
    assert any(trace.name == "note" for trace in room.figure(view_of(LAMP, chart="ewma", show="all"), SCREEN).data)


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


def test_a_reading_that_was_never_taken_is_taken_out(room):
    readings = room.result(view_of(AMMETER)).readings
    view = view_of(AMMETER, part="readings", row=str(int(readings.row[-1])))
    room.write(view, "taken out", {"why": "written for the other unit"}, "kim")

    assert len(room.result(view).readings) == len(readings) - 1


@pytest.mark.parametrize(
    ("value", "why", "says"),
    [
        ("", "x", "Write what the reading should say"),
        ("abc", "x", "is nothing that"),
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
    figure = room.figure(view, SCREEN)
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
    later.write(view, "answer", {"words": "the meter stood still"}, "kim")

    assert in_depth(later, view).asked().asked[0].answers[0].words == "the meter stood still"
    assert kept(later, Answer)[0].key == LAMP
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


# the board and the list


def test_the_list_of_streams_stands_in_order_of_need(bare):
    page = bare.streams()

    assert [row.state for row in page.urgent] == ["failed", "moving"]
    assert [name for name, _ in page.lines] == ["Line 1", "Line 2"]
    assert sum(len(rows) for _, rows in page.lines) == len(KEYS)


def test_next_checks_are_named_soonest_first_and_lead_to_where_they_are_written(room, bare):
    stored_board, bare_board = room.board(), bare.board()

    assert stored_board.due
    assert all(due.href.startswith("/write?line=") for due in stored_board.due)
    assert all(due.href.startswith("/stream?") for due in bare_board.due)
