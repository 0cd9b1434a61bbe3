"""The page of one failed check: what is in doubt, and what people write down about it, once."""

from concurrent.futures import ThreadPoolExecutor
from html import unescape

import pytest

from dashboard.app import create_app
from dashboard.auth import Person
from dashboard.pages.record_window import body, kept_or_refused
from dashboard.queries import Right, SpcError
from dashboard.queries.audited import audited
from dashboard.queries.entry import exposed_href
from dashboard.queries.record_windows import (
    NO_STORE,
    STEPS,
    right_of,
    step_form,
    window_figure,
    window_href,
    window_named,
    window_page,
    window_stamp,
    write_window_step,
)
from dashboard.urls import StreamView, WindowView
from spc.errors import SetupError
from spc.failure_book import window_at
from spc.failures import BEFORE_CLOSING, STEP_KINDS, FailureRecord, WrittenStep
from spc.times import from_microseconds
from tests.dashboard.made_entry import stored_queries, stored_settings
from tests.dashboard.made_line import AMMETER, SHIM, ZONE, add_row, asked, write_line


@pytest.fixture
def queries(tmp_path):
    found = stored_queries(stored_settings(tmp_path))
    store = found.store
    assert store is not None
    yield found
    store.close()


def window_of(queries, key):
    return next(each for each in audited(queries, queries.memory).windows if each.key == key)


def view_of(queries, key):
    at = window_of(queries, key).failed_at.astimezone(ZONE).isoformat(timespec="minutes")
    return WindowView(key.line, key.check, key.position, at)


def write(queries, view, kind, words="done", who="kim", seen=None):
    return write_window_step(queries, queries.memory, view, kind, words, who, seen)


def offered(queries, view, person):
    form = step_form(queries, queries.memory, view, person.name, person.may)
    assert form is not None
    return form


def steps(queries):
    return [entry.record.step for entry in queries.store.records(WrittenStep)]


def test_the_page_says_since_when_what_it_obliges_and_what_is_missing(queries):
    view, window = view_of(queries, AMMETER), window_of(queries, AMMETER)
    page = window_page(queries, queries.memory, view)
    facts = dict(page.facts)

    assert page.state_words == "Nothing is written down yet"
    assert page.doubt.startswith("Everything processed from ")
    assert page.doubt.endswith("The check has not passed since.")
    assert page.obliges == window.obliges
    assert facts["Read"] == f"{window.failed}, row {window.failed_row}"
    assert facts["Passed again"] == "not yet"
    assert facts["Lots and parts"].startswith("the log has no column")
    assert [each.href for each in page.ways][1].startswith("/write?")
    assert body(page)


def test_a_failed_check_is_written_up_and_closed_once_all_of_it_is_there(queries):
    view = view_of(queries, SHIM)  # it passed again at the next check
    with pytest.raises(SpcError, match="cannot be closed yet; still missing: who was told"):
        write(queries, view, "closed")
    for kind in BEFORE_CLOSING:
        assert write(queries, view, kind, f"words of {kind}").startswith("Kept: ")
    assert window_page(queries, queries.memory, view).lacks == ()
    write(queries, view, "closed", "all found good by the Level 3")
    page = window_page(queries, queries.memory, view)

    assert [each.kind for each in steps(queries)] == [*BEFORE_CLOSING, "closed"]
    assert {each.by for each in steps(queries)} == {"kim"}
    assert page.steps[0].words == "words of told"
    assert (page.state, page.state_words, page.closed) == ("calm", "Closed", True)
    with pytest.raises(SpcError, match="closed; open it again"):
        write(queries, view, "found", "one more")
    write(queries, view, "reopened", "a lot was missed")
    assert window_page(queries, queries.memory, view).state_words == "Written up; nothing is held yet"


@pytest.mark.parametrize("kind", ["closed", "decided", "found"])
def test_nobody_decides_over_what_others_wrote_since_their_page_was_drawn(queries, kind):
    view = view_of(queries, SHIM)
    for step in BEFORE_CLOSING:
        write(queries, view, step, f"words of {step}")
    seen = len(steps(queries))
    write(queries, view, "closed" if kind == "found" else "found", "a lot more", who="ann", seen=seen)
    before = len(steps(queries))

    with create_app(queries).server.test_request_context("/"):
        said, how, shown, form = kept_or_refused(queries, view, kind, "my words", "kim", seen)

    assert said.startswith("Not kept. Since this page was drawn ann wrote, ")
    assert '"a lot more"' in said
    assert how == "said said-refused"
    assert "a lot more" in str(shown)
    assert "my words" in str(form)
    assert len(steps(queries)) == before


def test_who_wrote_last_themselves_goes_on_and_plain_steps_of_two_stand_beside_each_other(queries):
    view = view_of(queries, SHIM)
    for step in BEFORE_CLOSING:
        write(queries, view, step, f"words of {step}", seen=0)
    write(queries, view, "corrected", "another pump", who="ann", seen=0)

    assert write(queries, view, "closed", seen=len(steps(queries))).startswith("Kept: ")


def test_a_check_that_has_not_passed_again_is_not_closed(queries):
    view = view_of(queries, AMMETER)
    for kind in BEFORE_CLOSING:
        write(queries, view, kind)
    assert window_page(queries, queries.memory, view).lacks == ("the check has to pass again",)
    with pytest.raises(SpcError, match="has to pass again"):
        write(queries, view, "closed")


def test_a_step_tapped_twice_is_kept_once(queries):
    view = view_of(queries, SHIM)
    assert write(queries, view, "told", "shift lead", seen=0).startswith("Kept: ")
    assert write(queries, view, "told", " shift lead ", seen=0).startswith("Kept once")
    assert len(steps(queries)) == 1
    assert len(list(queries.store.records(FailureRecord))) == 1
    write(queries, view, "told", "shift lead", seen=1)  # on purpose, from a form drawn since
    assert len(steps(queries)) == 2


def test_taps_at_one_moment_are_kept_once(queries):
    view = view_of(queries, SHIM)
    with ThreadPoolExecutor(4) as pool:
        said = list(pool.map(lambda _: write(queries, view, "held", "lot 7", seen=0), range(4)))
    assert sorted(words.startswith("Kept once") for words in said) == [False, True, True, True]
    assert len(steps(queries)) == 1
    assert queries.store.verify().misfit is None


@pytest.mark.parametrize(
    ("kind", "words", "who", "says"),
    [
        ("told", "  ", "kim", "Write in words: who was told"),
        ("told", "x", " ", "Write your name"),
        ("", "x", "kim", "Choose first"),
        ("deleted", "x", "kim", "Choose first"),
        ("told", "x" * 2001, "kim", "2000 are kept"),
    ],
)
def test_a_form_that_lacks_something_says_what(queries, kind, words, who, says):
    said, how, *_ = kept_or_refused(queries, view_of(queries, SHIM), kind, words, who, 0)
    assert said.startswith("Not kept. ")
    assert says in said
    assert how == "said said-refused"
    assert steps(queries) == []


def test_what_is_kept_draws_page_and_form_anew(queries):
    view = view_of(queries, SHIM)
    before = window_stamp(queries, queries.memory, view)
    said, how, shown, form = kept_or_refused(queries, view, "told", "Level 3", "kim", 0)
    assert (said, how) == ("Kept: who was told, by kim.", "said said-kept")
    assert shown
    assert form
    assert window_stamp(queries, queries.memory, view) != before
    assert offered(queries, view, Person()).chosen == "held"
    decided, *_ = kept_or_refused(queries, view, "decided", "hold them", "kim", 1)
    assert decided == "Kept: what the responsible Level 3 and the customer decided, by kim."


def test_every_step_takes_a_right_and_decisions_take_that_to_decide():
    assert set(STEPS) == set(STEP_KINDS)
    assert {kind for kind in STEPS if right_of(kind) is Right.DECIDE} == {"retired", "decided", "closed", "reopened"}
    assert {right_of(kind) for kind in STEPS} == {Right.DECIDE, Right.WRITE}


def test_the_form_offers_what_a_role_may_write(queries):
    view = view_of(queries, SHIM)
    kinds = {}
    for role in ("lead", "engineer", "manager"):
        form = offered(queries, view, Person("kim", role))
        kinds[role] = [kind for kind, _ in form.kinds]
        assert not form.asks_name
    assert kinds["lead"] == kinds["engineer"] == ["told", "held", "found", "corrected"]
    assert kinds["manager"] == [kind for kind in STEPS if kind != "reopened"]
    wall = offered(queries, view, Person("kim", "manager", wall=True))
    assert wall.kinds == ()
    assert "may not write down" in wall.why_not


def test_an_address_that_names_a_later_failure_of_the_window_opens_it(tmp_path):
    settings = write_line(tmp_path)
    add_row(settings, "2026-04-10T15:00,Line 2,ammeter,head,860,1000,A,shunt-1,m1,A,")
    queries = asked(settings)
    window = window_of(queries, AMMETER)
    result = next(each for each in queries.standing().streams if each.key == AMMETER)
    later = from_microseconds(result.failures[-1].taken_at)
    href = exposed_href(AMMETER, later, ZONE)
    found = window_named(audited(queries, queries.memory).windows, WindowView.from_search(href.partition("?")[2]), ZONE)

    assert later > window.failed_at
    assert found == window
    assert dict(window_page(queries, queries.memory, view_of(queries, AMMETER)).facts)["Failed in a row"] == "2 checks"


def test_failures_of_one_minute_have_an_address_each(tmp_path):
    settings = write_line(tmp_path)
    for moment, amperes in ((10, 1000), (20, 860), (30, 1000), (40, 850), (50, 1000)):
        add_row(settings, f"2026-04-10T15:00:{moment},Line 2,ammeter,head,{amperes},1000,A,shunt-1,m1,A,")
    queries = asked(settings)
    found = audited(queries, queries.memory)
    first, second = [each for each in found.windows if each.key == AMMETER][-2:]
    views = [
        WindowView.from_search(window_href(AMMETER, each.failed_at, ZONE).partition("?")[2]) for each in (first, second)
    ]
    of_minute = WindowView(AMMETER.line, AMMETER.check, AMMETER.position, "2026-04-10T15:00+02:00")

    assert [window_named(found.windows, view, ZONE) for view in views] == [first, second]
    assert window_named(found.windows, of_minute, ZONE) == first  # as addresses once were
    assert window_at(found.book, AMMETER, second.failed_at) == second
    with pytest.raises(SpcError, match="give the seconds, too"):
        window_at(found.book, AMMETER, first.failed_at.replace(second=0))


def test_the_evidence_is_a_file_with_the_same_facts_and_steps(queries):
    view = view_of(queries, SHIM)
    write(queries, view, "told", "Level 3 <told>")
    page = window_page(queries, queries.memory, view)
    client = create_app(queries).server.test_client()
    files = {words: client.get(href) for words, href in page.files}
    report = files["Evidence as HTML"]
    text = unescape(report.text)

    assert report.headers["Content-Disposition"].startswith(
        'attachment; filename="failed-line-1-notched-shim-hub-2026-'
    )
    for words in (page.doubt, *(value for _, value in page.facts), *page.obliges, *page.lacks, "Level 3 <told>", "kim"):
        assert words in text
    assert "Level 3 <told>" not in report.text
    assert queries.store.verify().digest in text
    assert files["Evidence as PDF"].data.startswith(b"%PDF-")


def test_the_evidence_of_a_bare_log_says_that_it_keeps_no_record(tmp_path):
    queries = asked(write_line(tmp_path))
    client = create_app(queries).server.test_client()
    answer = client.get(view_of(queries, AMMETER).file_href("html"))

    assert "Nothing is written down about this failed check" in answer.text
    assert "A log, not a store" in answer.text
    assert client.get(WindowView("Line 9", "x").file_href("html")).status_code == 404


def test_evidence_that_cannot_be_made_here_says_how(queries, monkeypatch):
    def lacking(html):
        raise SetupError("a PDF cannot be made here; install it")

    monkeypatch.setattr("spc.report.pdf.pdf_of", lacking)
    answer = create_app(queries).server.test_client().get(view_of(queries, SHIM).file_href("pdf"))

    assert answer.status_code == 503
    assert "install it" in answer.text


@pytest.mark.parametrize("at", ["", "soon", "2026-04-10T14:11", "9999-12-31T23:59", "0001-01-01T00:00"])
def test_an_address_of_no_failed_check_is_said(queries, at):
    view = WindowView(SHIM.line, SHIM.check, SHIM.position, at)
    page = window_page(queries, queries.memory, view)
    assert not page.found
    assert page.notice
    assert body(page)
    assert step_form(queries, queries.memory, view, "", Person().may) is None
    assert window_figure(queries, queries.memory, view, {"theme": "light", "width": 800, "scale": 1}) is None
    with pytest.raises(SpcError, match="No check of this stream failed then"):
        write(queries, view, "told")


def test_a_record_outlives_the_reading_it_was_opened_for(queries):
    view, window = view_of(queries, SHIM), window_of(queries, SHIM)
    write(queries, view, "told", "Level 3")
    result = next(each for each in queries.standing().streams if each.key == SHIM)
    place = result.failures[0].index
    assert from_microseconds(int(result.readings.taken_at[place])) == window.failed_at
    row = StreamView(SHIM.line, SHIM.check, SHIM.position, part="readings", row=str(int(result.readings.row[place])))
    queries.write(row, "corrected", {"value": "shown", "why": "written on the wrong line"}, "kim")
    page = window_page(queries, queries.memory, view)

    assert page.found
    assert "corrected since" in page.notice
    assert [each.words for each in page.steps] == ["Level 3"]
    assert step_form(queries, queries.memory, view, "", Person().may) is None


def test_a_bare_log_shows_the_window_and_writes_nothing(tmp_path):
    queries = asked(write_line(tmp_path))
    view = view_of(queries, AMMETER)
    page = window_page(queries, queries.memory, view)
    assert page.found
    assert page.notice == NO_STORE
    assert step_form(queries, queries.memory, view, "", Person().may) is None
    with pytest.raises(SpcError, match="bare log"):
        write(queries, view, "told")


def test_the_board_leads_to_what_is_in_doubt(queries):
    todos = queries.board().todos
    failed = [each for each in todos if each.state == "failed"]
    assert failed
    for each in failed:
        view = WindowView.from_search(each.window.partition("?")[2])
        assert window_page(queries, queries.memory, view).found
    assert {each.window for each in todos if each.state != "failed"} <= {""}
