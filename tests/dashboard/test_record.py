"""The record's page answers what the library answers, on a store and on a bare log."""

from datetime import timedelta

import pytest

from dashboard.pages.record import layout
from dashboard.queries.audited import audited
from dashboard.queries.record import NO_STORE, record_page
from dashboard.urls import FAILED, LEDGER, LIMITS, METERS, RECORD_PARTS, TRAIL, RecordView
from spc.catalogue.load import load_catalogue
from spc.failure_book import window_at, write_step
from spc.failures import FailureStep
from spc.printed.schedule import gap_rows
from spc.store.limits import decisions_of
from tests.dashboard.made_entry import TODAY, stored_queries, stored_settings
from tests.dashboard.made_line import AMMETER, ZONE, write_line
from tests.dashboard.made_line import asked as bare


@pytest.fixture
def queries(tmp_path):
    return stored_queries(stored_settings(tmp_path))


def page(queries, part, **more):
    return record_page(queries, queries.memory, RecordView(part, **more))


def of(key):
    return {"line": key.line, "check": key.check, "position": key.position}


def test_an_address_and_its_view_are_the_same():
    view = RecordView(LEDGER, "Line 2", "ammeter", "head", "2026-03-01", "2026-04-01")
    assert RecordView.from_search(view.href.partition("?")[2]) == view
    assert RecordView.from_search("?part=none") == RecordView.from_search(None) == RecordView()


def test_failed_checks_carry_their_window_and_what_was_written(queries):
    found = audited(queries, queries.memory)
    window = next(each for each in found.windows if each.key == AMMETER)
    step = FailureStep("told", TODAY, "Level 3 on duty", "shift lead told")
    write_step(queries.store, found.book, window_at(found.book, AMMETER, window.failed_at), step, who="K", now=TODAY)
    queries.source.poll()
    (shown,) = page(queries, FAILED, **of(AMMETER)).failed

    assert shown.state == "open"
    assert shown.obliges == window.obliges
    assert dict(shown.facts)["Read"] == f"{window.failed}, row {window.failed_row}"
    assert len(shown.steps) == 1
    assert shown.steps[0].endswith("Level 3 on duty: told: shift lead told")
    assert "who was told" not in shown.lacks
    assert "what was found" in shown.lacks


def test_the_ledger_lists_the_gaps_of_the_library_latest_first(queries):
    kept = audited(queries, queries.memory).audit.ledger
    last = TODAY.astimezone(ZONE).date()
    first = last - timedelta(days=20)
    expected = list(gap_rows(kept.streams, kept, first, last))
    (table,) = page(queries, LEDGER, start=str(first), end=str(last)).tables

    assert expected
    assert [tuple(words for words, _ in row) for row in table.rows] == expected[::-1][:200]


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
    assert {row[2][0] for row in shown.tables[0].rows} == {"importer"}


def test_a_bare_log_answers_what_it_can(tmp_path):
    log = bare(write_line(tmp_path))
    assert page(log, FAILED).failed
    assert NO_STORE in page(log, FAILED).notice
    assert page(log, LIMITS).tables
    assert page(log, METERS).tables
    assert page(log, TRAIL).notice == NO_STORE
    assert not page(log, TRAIL).tables


@pytest.mark.parametrize("part", RECORD_PARTS)
def test_an_unknown_stream_is_said_and_the_page_still_shows(queries, part):
    shown = page(queries, part, line="Line 99")
    assert "No stream" in shown.notice
    assert layout(shown).children
