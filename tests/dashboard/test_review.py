"""The capability review's page: what it says is what the review says, and each number leads to its evidence."""

import csv
import io
import json
import zipfile
from datetime import date

import pytest

from dashboard.app import create_app
from dashboard.pages.review import asked, body
from dashboard.queries.audited import audited
from dashboard.queries.review import PACE, review_page, review_waiting, reviewed
from dashboard.queries.words import view_of
from dashboard.urls import ReviewView
from spc.errors import SetupError
from spc.failure_book import window_at, write_step
from spc.failures import FailureStep
from spc.printed.schedule import duration_text
from spc.review import Period, review
from spc.store.entries import Reaction
from spc.times import from_microseconds
from tests.dashboard.made_entry import TODAY, stored_queries, stored_settings
from tests.dashboard.made_line import AMMETER, LAMP, ZONE, write_line
from tests.dashboard.made_line import asked as bare

MARCH = ReviewView("2026-03-20", "2026-04-10")


@pytest.fixture
def queries(tmp_path):
    return stored_queries(stored_settings(tmp_path))


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    return bare(write_line(tmp_path_factory.mktemp("review")))


def page(queries, view=MARCH):
    return review_page(queries, queries.memory, view)


def row(shown, name):
    return next(each for each in shown.rows if each.name.startswith(name))


def test_the_page_says_what_the_review_of_the_library_says(log):
    shown, found = page(log), audited(log, log.memory)
    period = Period(date.fromisoformat(MARCH.start), date.fromisoformat(MARCH.end), ZONE)
    seen = review(found.results, found.audit.ledger, found.windows, found.instruments.due, period)

    assert (shown.period, shown.before) == (seen.period.words, seen.before.words)
    assert [item.words for group in shown.groups for item in group.items] == [each.words for each in seen.findings]
    assert len(shown.rows) == len(seen.streams)
    lamp = seen.of(LAMP)
    assert lamp.indices is not None
    assert row(shown, "UV-A irradiance").why == lamp.indices.words
    assert row(shown, "UV-A irradiance").movement == lamp.movement == "moving"
    assert row(shown, "Ammeter").failures == str(len(seen.of(AMMETER).failures)) == "1"
    assert shown.changes == seen.changes


def test_ready_periods_are_links_whose_address_says_the_days(log):
    shown = page(log, ReviewView("2026-03-01", "2026-03-31", "Line 2"))

    found = {words: (href, on) for words, href, on in shown.months}
    assert found["Last month"] == ("/review?from=2026-03-01&to=2026-03-31&line=Line+2", True)
    assert found["This year so far"] == ("/review?from=2026-01-01&to=2026-04-10&line=Line+2", False)
    assert [words for words, _, _ in shown.months if words.startswith("Last")][-1] == "Last year"


def test_checks_on_time_lead_to_the_ledger_of_the_period(log):
    shown = page(log)
    site = next(each for each in shown.numbers if each.name == "Checks made on time")

    assert site.href == "/record?part=ledger&from=2026-03-20&to=2026-04-10"
    assert row(shown, "Ammeter").on_time_href == (
        "/record?part=ledger&line=Line+2&check=ammeter&position=head&from=2026-03-20&to=2026-04-10"
    )


def test_a_failed_check_stands_first_and_leads_to_its_reading(log):
    first = page(log).groups[0]

    assert first.kind == "failing"
    assert first.items[0].words.startswith("Line 2, Ammeter deviation, head read")
    failure = log.result(view_of(AMMETER)).failures[-1]
    assert f"row={failure.row}" in first.items[0].href
    assert "check=ammeter" in first.items[0].href


def test_every_check_leads_to_the_drift_room_at_this_stretch(log):
    for each in page(log).rows:
        assert each.href.startswith("/stream?")
        assert "from=2026-03-20T00%3A00" in each.href
        assert "to=2026-04-11T00%3A00" in each.href


def test_the_exposure_window_is_that_of_the_library(log):
    (window,) = [each for each in audited(log, log.memory).windows if each.key == AMMETER]
    shown = next(each for each in page(log).windows if "Ammeter" in each.name)

    assert shown.exposed == duration_text(window.in_operation)
    assert shown.passed == "not since"
    assert shown.record == "nothing written"


def test_without_an_address_the_quarter_to_the_last_reading_is_reviewed(log):
    shown = page(log, ReviewView())

    assert (shown.start, shown.end) == ("2026-01-10", "2026-04-10")
    assert [words for words, _, on in shown.lengths if on] == ["A quarter"]


def test_a_line_is_reviewed_alone(log):
    shown = page(log, ReviewView(MARCH.start, MARCH.end, "Line 2"))

    assert {each.line for each in shown.rows} == {"Line 2"}
    assert all("Line 1" not in each.name for each in shown.windows)


@pytest.mark.parametrize(
    ("view", "says"),
    [
        (ReviewView("yesterday", ""), "“yesterday” is none"),
        (ReviewView("2026-04-02", "2026-04-01"), "before its first day"),
        (ReviewView("0001-01-01", "2026-04-01"), "outside the years"),
        (ReviewView("2027-01-01", "2027-02-01"), "The period begins on 2027-01-01"),
        (ReviewView("2026-13-01", "<b>"), "“<b>” is none"),
    ],
)
def test_days_that_are_none_are_said_and_the_usual_period_is_shown(log, view, says):
    shown = page(log, view)

    assert says in shown.notice
    assert shown.notice.endswith("The usual period is shown instead.")
    assert shown.end == "2026-04-10"


def test_it_says_what_is_worked_out_and_about_how_long_going_by_the_last_one(tmp_path):
    log = bare(write_line(tmp_path))

    def said(view):
        return review_waiting(log, log.memory, view)

    first = said(MARCH)
    page(log)
    pace = log.memory.latest(PACE)
    log.memory.once(PACE, (object(),), lambda: 7.5)

    assert "20 Mar 2026 to 10 Apr 2026 and the period before it, 6 streams. That takes a second or two here" in first
    assert "as a guess" in first
    assert 0 < pace < 60
    assert "That takes about 45 seconds here, going by the last one." in said(MARCH)
    assert "the quarter up to the last reading" in said(ReviewView())
    assert "0 streams. That takes a second or two" in said(ReviewView("x", "2026-04-10", "Line 7"))
    assert "3 streams" in said(ReviewView(line="Line 1"))


def test_an_empty_log_has_nothing_to_review(tmp_path):
    settings = write_line(tmp_path)
    assert settings.log is not None
    settings.log.write_text("taken_at,line,check,position,value,unit\n", encoding="utf-8")
    queries = bare(settings)

    assert page(queries).notice.startswith("No reading in this log yet")
    assert "No reading in this log yet" in str(body(asked(queries, "")))
    assert create_app(queries).server.test_client().get("/review.csv").status_code == 404


def test_what_people_wrote_down_is_in_the_review(queries):
    found = audited(queries, queries.memory)
    (window,) = [each for each in found.windows if each.key == AMMETER]
    signal = queries.result(view_of(LAMP)).signals[-1]
    written = Reaction(LAMP, from_microseconds(signal.taken_at), signal.rule, "cause", "q1", "lamp ages")
    before = reviewed(
        queries, queries.memory, Period(date.fromisoformat(MARCH.start), date.fromisoformat(MARCH.end), ZONE), ""
    )
    step = FailureStep("held", TODAY, "q1", "lot 12 is held")
    write_step(queries.store, found.book, window_at(found.book, AMMETER, window.failed_at), step, who="q1", now=TODAY)
    queries.store.append(written, who="q1", now=TODAY)
    queries.source.poll()
    after = reviewed(queries, queries.memory, before.period, "")

    assert before.of(LAMP).unanswered - after.of(LAMP).unanswered == 1
    assert next(each for each in page(queries).windows if "Ammeter" in each.name).record == "contained"


def test_a_failed_check_with_nothing_written_stands_to_decide_until_something_is(queries):
    def open_ones():
        return [item for group in page(queries).groups if group.kind == "unwritten" for item in group.items]

    found = audited(queries, queries.memory)
    (window,) = [each for each in found.windows if each.key == AMMETER]
    (before,) = [each for each in open_ones() if "Ammeter" in each.words]
    step = FailureStep("told", TODAY, "q1", "the responsible Level 3")
    write_step(queries.store, found.book, window, step, who="q1", now=TODAY)
    queries.source.poll()
    after = [each for each in open_ones() if "Ammeter" in each.words]

    assert before.href == next(each.href for each in page(queries).windows if "Ammeter" in each.name)
    assert "has not passed since; nobody wrote down who was told" in before.words
    assert after == []


def test_a_bare_log_which_keeps_no_record_asks_for_none(log):
    assert all(group.kind != "unwritten" for group in page(log).groups)


def test_the_table_is_a_file_with_the_same_numbers(log):
    client = create_app(log).server.test_client()
    answer = client.get("/review.csv" + MARCH.to_search())
    rows = list(csv.DictReader(io.StringIO(answer.text.lstrip("\ufeff"))))
    seen = reviewed(log, log.memory, Period(date.fromisoformat(MARCH.start), date.fromisoformat(MARCH.end), ZONE), "")

    assert answer.headers["Content-Disposition"] == 'attachment; filename="review-2026-03-20-2026-04-10.csv"'
    assert len(rows) == len(seen.streams)
    for each, stream in zip(rows, seen.streams, strict=True):
        assert (each["line"], each["check"], each["movement"]) == (stream.key.line, stream.key.check, stream.movement)
        assert int(each["readings"]) == stream.read
        assert int(each["missed"]) == stream.schedule.missed
        if stream.outside is not None:
            assert float(each["share_outside_upper"]) == stream.outside.upper
    assert client.get("/review.csv?from=never").status_code == 404


def test_the_page_draws_every_part(log):
    text = json.dumps([each.to_plotly_json() if hasattr(each, "to_plotly_json") else each for each in body(page(log))],
                      default=lambda each: each.to_plotly_json())  # fmt: skip

    for words in ("To decide, first things first", "In numbers", "Every check", "Failed checks and exposure windows",
                  "Instruments", "rad-1", "This table as CSV", "accepts or rejects a part"):  # fmt: skip
        assert words in text


def test_the_report_comes_as_html_and_as_tables(log):
    client = create_app(log).server.test_client()
    search = ReviewView("2026-03-20", "2026-04-10", "Line 2").to_search()
    report, tables = client.get("/review.html" + search), client.get("/review.zip" + search)
    with zipfile.ZipFile(io.BytesIO(tables.data)) as files:
        names = files.namelist()

    assert report.headers["Content-Disposition"] == 'attachment; filename="review-2026-03-20-2026-04-10.html"'
    assert "Hall 4" in report.text
    assert "20 Mar 2026 to 10 Apr 2026" in report.text
    assert {name.rpartition(".")[2] for name in names} == {"csv", "xlsx"}
    assert client.get("/review.exe").status_code == 404


def test_a_report_that_cannot_be_made_here_says_how(log, monkeypatch):
    def lacking(html):
        raise SetupError("a PDF cannot be made here; install it")

    monkeypatch.setattr("spc.report.pdf.pdf_of", lacking)
    answer = create_app(log).server.test_client().get("/review.pdf?line=Line+2")

    assert answer.status_code == 503
    assert "install it" in answer.text


@pytest.mark.parametrize(("library", "offered"), [(object(), True), (None, False)])
def test_a_pdf_is_offered_where_it_can_be_made(log, monkeypatch, library, offered):
    monkeypatch.setattr("dashboard.queries.review.find_spec", lambda name: library)
    endings = [href.partition("?")[0] for _, href in page(log).files]

    assert ("/review.pdf" in endings) is offered
    assert {"/review.html", "/review.zip", "/review.csv"} <= set(endings)
