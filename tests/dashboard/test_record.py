"""The record's page answers what the library answers, on a store and on a bare log."""

from datetime import datetime, timedelta

import pytest

from dashboard.pages.record import body
from dashboard.queries.audited import audited
from dashboard.queries.record import MOST, record_figure, record_page
from dashboard.queries.record_windows import NO_STORE, window_href
from dashboard.queries.words import view_of
from dashboard.urls import DUE, FAILED, LEDGER, LIMITS, METERS, RECORD_PARTS, TRAIL, RecordView, WindowView
from spc.audit import looked_back
from spc.catalogue.acceptance import Acceptance
from spc.catalogue.load import load_catalogue
from spc.failure_book import window_at, write_step
from spc.failures import FailureStep
from spc.look_back import AsFound
from spc.printed.schedule import gap_rows
from spc.store.entries import KINDS, Answer, LimitDecision, Note, Reaction
from spc.store.history import KIND_WORDS, history
from spc.store.limits import decisions_of
from tests.dashboard.made_entry import TODAY, stored_queries, stored_settings
from tests.dashboard.made_line import AMMETER, BATH, KEYS, ZONE, add_row, write_line
from tests.dashboard.made_line import asked as bare


@pytest.fixture
def queries(tmp_path):
    return stored_queries(stored_settings(tmp_path))


def page(queries, part, **more):
    return record_page(queries, queries.memory, RecordView(part, **more))


def of(key):
    return {"line": key.line, "check": key.check, "position": key.position}


def test_an_address_and_its_view_are_the_same():
    view = RecordView(LEDGER, "Line 2", "ammeter", "head", "2026-03-01", "2026-04-01", "x", "r-1", "-1", "2", "a", "b")
    assert RecordView.from_search(view.href.partition("?")[2]) == view
    window = WindowView("Line 2", "ammeter", "head", "2026-04-10T14:10+02:00")
    assert WindowView.from_search(window.href.partition("?")[2]) == window
    assert RecordView.from_search("?part=none") == RecordView.from_search(None) == RecordView()


def test_failed_checks_lead_to_their_window_with_how_far_the_record_is(queries):
    found = audited(queries, queries.memory)
    window = next(each for each in found.windows if each.key == AMMETER)
    step = FailureStep("held", TODAY, "kim", "2 lots")
    write_step(queries.store, found.book, window_at(found.book, AMMETER, window.failed_at), step, who="K", now=TODAY)
    queries.source.poll()
    shown = page(queries, FAILED)
    cells = {row[0][0]: row for row in shown.tables[0].rows}
    row = cells["Line 2 · Ammeter deviation, head"]

    assert row[0][1] == window_href(AMMETER, window.failed_at, ZONE)
    assert row[2][0] == window.failed
    assert row[-1][0] == "Held; not decided yet"
    assert len(shown.tables[0].rows) == len(found.windows)
    assert {each[-1][0] for name, each in cells.items() if name != row[0][0]} == {"Nothing is written down yet"}


def test_failed_checks_and_windows_are_told_apart(tmp_path):
    settings = write_line(tmp_path)
    add_row(settings, "2026-04-10T15:00,Line 2,ammeter,head,860,1000,A,shunt-1,m1,A,")
    log = bare(settings)
    told = page(log, FAILED, **of(AMMETER)).notice

    assert told.startswith("2 failed checks in 1 exposure window (checks that fail one after the other")
    assert "1 has not passed again" in told


def test_what_is_due_is_what_the_ledger_says_most_urgent_first(queries):
    kept = audited(queries, queries.memory).audit.ledger
    (table,) = page(queries, DUE).tables
    urgency = [row[3][0] for row in table.rows]
    overdue = [each for each in kept.streams if each.next is not None and each.next.status == "overdue"]

    assert len(table.rows) == len(kept.streams)
    assert overdue
    assert [words.startswith("OVERDUE") for words in urgency] == sorted(
        (words.startswith("OVERDUE") for words in urgency), reverse=True
    )
    assert sum(words.startswith("OVERDUE") for words in urgency) == len(overdue)
    assert table.rows[0][0][1].startswith("/write?")


def test_the_ledger_lists_the_gaps_of_the_library_latest_first(queries):
    kept = audited(queries, queries.memory).audit.ledger
    last = TODAY.astimezone(ZONE).date()
    first = last - timedelta(days=20)
    expected = list(gap_rows(kept.streams, kept, first, last))
    (table,) = page(queries, LEDGER, start=str(first), end=str(last)).tables

    assert expected
    assert [tuple(words for words, _ in row) for row in table.rows] == expected[::-1][:200]
    assert all("_" not in row[0][0] for row in table.rows)


@pytest.mark.parametrize("part", [FAILED, LEDGER])
def test_figures_are_drawn_of_the_streams_asked_for(queries, part):
    screen = {"theme": "dark", "width": 800, "scale": 1}
    drawn = record_figure(queries, queries.memory, RecordView(part), screen)
    one = record_figure(queries, queries.memory, RecordView(part, **of(AMMETER)), screen)

    assert len(drawn.layout.yaxis.ticktext) > len(one.layout.yaxis.ticktext) == 1
    assert record_figure(queries, queries.memory, RecordView(TRAIL), screen) is None


def test_an_instrument_out_of_tolerance_is_looked_back_on_as_the_library_does(queries):
    found = audited(queries, queries.memory)
    back = looked_back(
        found.audit, found.instruments, "rad-1", AsFound(relative=1.5),
        found_at=datetime(2026, 4, 10, 7, tzinfo=ZONE), since=None,
    )  # fmt: skip
    asked = {"instrument": "rad-1", "error": "150", "found": "2026-04-10T07:00"}
    shown = page(queries, METERS, **asked)
    rows = [[words for words, _ in row] for row in shown.tables[1].rows]

    assert shown.look_back.refused == ""
    assert [(row[2], row[3]) for row in rows] == [(str(e.readings), str(e.would_have_failed)) for e in back.streams]
    assert any(row[3] != "0" for row in rows)


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"error": ""}, "Write the error"),
        ({"error": "much"}, "no number"),
        ({"error": "nan"}, "out of every range"),
        ({"error": "-100"}, "leaves no reading"),
        ({"error": "-5", "found": "soon"}, "no time"),
        ({"error": "-5"}, "No calibration"),
        ({"instrument": "<b>none", "error": "-5", "found": "2026-04-10T07:00"}, "none"),
    ],
)
def test_a_look_back_that_cannot_be_is_refused_in_words(queries, asked, says):
    shown = page(queries, METERS, **({"instrument": "rad-1"} | asked))

    assert says in shown.look_back.refused
    assert len(shown.tables) == 1


@pytest.mark.parametrize(
    ("days", "says"),
    [({"start": "soon"}, "no days"), ({"start": "2026-04-02", "end": "2026-04-01"}, "before the first")],
)
def test_days_that_are_none_are_said(queries, days, says):
    shown = page(queries, LEDGER, **days)
    assert says in shown.notice
    assert not shown.tables


def test_a_decided_limit_is_told_with_document_person_and_reason(queries):
    new = decisions_of(
        load_catalogue(queries.settings.catalogue), [], valid_from=TODAY, confirmed_by="Level 3 A", why="revision B"
    )
    queries.store.append(*new, who="K", now=TODAY)
    queries.source.poll()
    _, decided = page(queries, LIMITS).tables
    cells = [[words for words, _ in row] for row in decided.rows]

    assert len(cells) == len(new)
    assert any(row[2:5] == ["Procedure 12, 5, B", "Level 3 A", "revision B"] for row in cells)


def test_the_trail_tells_who_wrote_and_that_the_record_stands(queries):
    shown = page(queries, TRAIL)
    assert shown.notice.startswith("The record is as it was written")
    assert queries.store.verify().digest[:12] in shown.notice
    changed, came = shown.tables
    assert {row[2][0] for row in (*changed.rows, *came.rows)} == {"importer"}
    assert any("bath changed" in row[-1][0] for row in changed.rows)
    assert any("readings added" in row[-1][0] for row in came.rows)
    assert not any("readings added" in row[-1][0] for row in changed.rows)
    assert len(changed.rows) + len(came.rows) == len(history(queries.store, load_catalogue(None), zone=ZONE))


def test_the_trail_speaks_as_people_do(queries):
    store, at = queries.store, TODAY
    book = audited(queries, queries.memory)
    window = next(each for each in book.windows if each.key == AMMETER)
    limits = Acceptance("fixed", 0.1, 0.4, document="Procedure 12, 4.1", revision="C")
    write_step(store, book.book, window, FailureStep("held", TODAY, "kim", "lot 12"), who="kim", now=TODAY)
    store.append(
        LimitDecision(BATH.check, "", "", limits, at, "Level 3"),
        Reaction(BATH, at, "drift", "cause", "kim", "agitator off"),
        Answer(BATH, "copied", at, at, "the tube stood still", "kim"),
        who="kim",
        now=TODAY,
    )
    queries.source.poll()
    changed, came = page(queries, TRAIL).tables
    told = {tuple(cell for cell, _ in row[3:]) for row in changed.rows}
    kinds = {row[3][0] for row in (*changed.rows, *came.rows)}
    about = {row[4][0] for row in (*changed.rows, *came.rows)}
    titles = {key: f"{key.line} · {queries.result(view_of(key)).check.title} · {key.position}" for key in KEYS}

    assert ("Failed check", titles[AMMETER]) in {row[:2] for row in told}
    assert any("what was stopped and held: lot 12" in words for *_, words in told)
    assert any(words.endswith("(drift), its cause: agitator off") for *_, words in told)
    assert any("at least 0.1 and at most 0.4 mL/100 mL, Procedure 12" in words for *_, words in told)
    assert {"Acceptance limits", "Signal", "Question", "Readings added"} <= kinds
    assert titles[BATH] in about
    keys = {key.check for key in KEYS if "_" in key.check}
    assert not [words for row in told for words in row for key in keys if key in words]
    assert not kinds & {"limit", "reaction", "answer", "failure", "failure step"}


def test_a_long_trail_is_cut_to_what_a_browser_lays_out_at_once(queries):
    notes = [Note(BATH, TODAY, f"note {place}", "kim") for place in range(MOST + 5)]
    queries.store.append(*notes, who="kim", now=TODAY)
    queries.source.poll()
    changed, _ = page(queries, TRAIL).tables

    assert len(changed.rows) == MOST
    assert changed.rows[0][-1][0].endswith(f"note {MOST + 4}")
    assert changed.caption.endswith(f"the latest {MOST} here; choose a stream for the others")


def test_every_kind_of_entry_has_its_word():
    assert {*KINDS, "readings", "quarantined", "imported"} == set(KIND_WORDS)


def test_a_bare_log_answers_what_it_can(tmp_path):
    log = bare(write_line(tmp_path))
    assert page(log, FAILED).tables
    assert NO_STORE in page(log, FAILED).notes[0]
    assert page(log, DUE).tables
    assert page(log, LIMITS).tables
    assert page(log, METERS).tables
    assert page(log, TRAIL).notice == NO_STORE
    assert not page(log, TRAIL).tables


@pytest.mark.parametrize("part", RECORD_PARTS)
def test_an_unknown_stream_is_said_and_the_page_still_shows(queries, part):
    shown = page(queries, part, line="Line 99")
    assert "No stream" in shown.notice
    assert body(shown)
