"""One answer for all screens that ask alike: made once, never too old, never for whoever may not have it."""

import json
import threading
from datetime import timedelta

import pytest
from flask import Flask
from hypothesis import given
from hypothesis import strategies as st

from dashboard import shared_answers
from dashboard.app import create_app
from dashboard.ids import Board, Shell, Stream
from dashboard.pages import board
from dashboard.queries import accounts
from dashboard.shared_answers import OF_A_STREAM, asked_in
from dashboard.urls import LIVE, STREAM
from spc.store.accounts import set_active
from tests.dashboard.made_gate import NOW
from tests.dashboard.made_line import BATH, LAMP, add_row, asked, watched, write_line
from tests.dashboard.test_app import NEW_ROW, search_of
from tests.soak.people import CALLBACK, Callbacks, stores

BODIES = [
    b"{", b"}", b"[]", b"null", b'{"output": "a.b"}', b'{"output": 1, "changedPropIds": ["live.data"], "inputs": []}',
    b'{"output": "a.b", "changedPropIds": ["live.data"], "inputs": [{"id": {"a": 1}, "property": "data"}]}',
    b'{"output": "a.b", "changedPropIds": ["live.data"], "inputs": [{"id": "live", "property": "data"}]}',
    b'{"output": "a.b", "changedPropIds": ["live.data"], "inputs": 3}', b"[" * 30_000, b"\xff",
]  # fmt: skip


@pytest.fixture
def line(tmp_path):
    settings = write_line(tmp_path)
    source = watched(settings)
    queries = asked(settings, source)
    made: list[int] = []
    ask = queries.board
    queries.board = lambda: made.append(1) or ask()  # type: ignore[method-assign,func-returns-value]
    return settings, source, create_app(queries), made


class OneScreen:
    def __init__(self, app):
        self.client = app.server.test_client()
        self.callbacks = Callbacks(self.client.get("/_dash-dependencies").get_json())

    def post(self, output, values):
        body = json.dumps(self.callbacks.body(output, values))  # in the order in which a browser writes it
        return self.client.post(CALLBACK, data=body, content_type="application/json")


def asks(told, version):
    return {f"{Shell.LIVE}.data": {"version": version}, f"{Board.TOLD}.data": told}


def first_told(screen):
    page = screen.post(f"{Shell.PAGE}.children", {f"{Shell.URL}.pathname": "/", f"{Shell.URL}.search": ""}).get_json()
    return dict(stores(page))[Board.TOLD]


def test_what_many_ask_alike_is_made_once_and_anew_after_a_change(line):
    settings, source, app, made = line
    screens = [OneScreen(app) for _ in range(3)]
    told = first_told(screens[0])
    add_row(settings, NEW_ROW)
    source.poll()
    made.clear()
    answers = [screen.post(f"{Board.TOLD}.data", asks(told, 2)) for screen in screens]
    once = len(made)
    add_row(settings, NEW_ROW.replace("T15:00", "T15:20").replace("0.05", "0.21"))
    source.poll()
    later = screens[0].post(f"{Board.TOLD}.data", asks(told, 2))

    assert once == 1
    assert answers[0].data == answers[1].data == answers[2].data
    assert [answer.status_code for answer in answers] == [200] * 3
    assert all("Content-Security-Policy" in answer.headers for answer in answers)
    assert len(made) == 2
    assert later.data != answers[0].data


def test_who_was_told_something_else_gets_another_answer(line):
    settings, source, app, _ = line
    one = OneScreen(app)
    told = first_told(one)
    add_row(settings, NEW_ROW)
    source.poll()
    now = one.post(f"{Board.TOLD}.data", asks(told, 2)).get_json()["response"][Board.TOLD]["data"]

    assert (
        one.post(f"{Board.TOLD}.data", asks(now, 2)).get_json()
        != one.post(f"{Board.TOLD}.data", asks(told, 2)).get_json()
    )


def test_the_header_is_shared(line):
    _, _, app, _ = line
    one = OneScreen(app)
    header = [one.post(f"{Shell.CLOCK}.children", {f"{Shell.LIVE}.data": {"version": 1}}) for _ in range(2)]

    assert header[0].data == header[1].data
    assert "accepted" in header[0].text


class OnePage(OneScreen):
    """A screen on the page of one stream."""

    def __init__(self, app, key):
        super().__init__(app)
        self.key = key
        self.values = {f"{Shell.URL}.pathname": STREAM, f"{Shell.URL}.search": search_of(key)}
        page = self.post(f"{Shell.PAGE}.children", self.values).get_json()
        self.values |= {f"{name}.data": data for name, data in stores(page)}
        self.parts = {Stream.HEAD: None, Stream.STATE: None}
        self.parts |= {name: data for name, data in children(page) if name in self.parts}

    def follow(self, version, minute=0):
        """Ask what there is to tell; return what of the page was."""
        told = set()
        for output in OF_A_STREAM[:2]:
            live = {f"{Shell.LIVE}.data": {"version": version, "minute": minute}}
            response = self.post(f"{output}.data", self.values | live).get_json()["response"]
            told |= response.keys()
            self.values |= {f"{name}.{kind}": data for name, kinds in response.items() for kind, data in kinds.items()}
            self.parts |= {name: response[name]["children"] for name in self.parts if name in response}
        return told


def children(part):
    """Return name and children of every part of a page that has both."""
    if isinstance(part, dict):
        if "id" in part.get("props", ()):
            yield str(part["props"]["id"]), part["props"].get("children")
        for child in part.values():
            yield from children(child)
    elif isinstance(part, list):
        for child in part:
            yield from children(child)


def test_a_page_of_a_stream_is_asked_for_its_own_changes_alone(line, monkeypatch):
    settings, source, app, _ = line
    lamp, bath = OnePage(app, LAMP), OnePage(app, BATH)
    for version in (1, 1):
        lamp.follow(version), bath.follow(version)
    asked_for = []
    ask = Flask.dispatch_request

    def counted(server):
        asked_for.append(1)
        return ask(server)

    monkeypatch.setattr(Flask, "dispatch_request", counted)
    quiet = lamp.follow(1), bath.follow(1), len(asked_for)
    add_row(settings, NEW_ROW)
    source.poll()
    other, other_asked = lamp.follow(2), len(asked_for)
    own = bath.follow(2)

    assert quiet == (set(), set(), 0)
    assert (other, other_asked) == (set(), 0)
    assert {Stream.HEAD, Stream.STATE} <= own


def test_the_state_of_a_stream_is_told_anew_as_it_grows_old(tmp_path):
    settings = write_line(tmp_path)
    queries = asked(settings, watched(settings))
    page = OnePage(create_app(queries), BATH)
    page.follow(1), page.follow(1)
    before = page.follow(1)
    now = queries.clock()
    queries.clock = lambda: now + timedelta(days=1)

    assert before == set()
    assert Stream.STATE in page.follow(1)


def test_whether_anything_changed_is_answered_as_the_program_itself_would(line):
    settings, source, app, _ = line
    one = OneScreen(app)
    first, second = one.client.get(LIVE), one.client.get(LIVE)
    through = one.client.get(f"{LIVE}?here")
    add_row(settings, NEW_ROW)
    source.poll()

    said = [{name: value for name, value in answer.headers if name != "Content-Length"} for answer in (second, through)]
    assert said[0] == said[1]
    assert said[0] == {name: value for name, value in first.headers if name != "Content-Length"}
    assert int(second.headers["Content-Length"]) == len(second.data)
    assert second.get_json().keys() == through.get_json().keys()
    assert one.client.get(LIVE).get_json()["version"] == second.get_json()["version"] + 1


def test_nobody_follows_without_a_session(site, monkeypatch):
    monkeypatch.setattr(accounts, "LATELY", 0.0)
    one = site.client("lead")
    assert one.get(LIVE).status_code == one.get(LIVE).status_code == 200
    assert site.server.test_client().get(LIVE).status_code == 401

    set_active(site.store, "lead", False, who="setup", now=NOW)

    assert one.get(LIVE).status_code == 401


@given(st.lists(st.sampled_from(BODIES), min_size=1, max_size=3).map(b"".join))
def test_a_body_of_any_form_is_taken_apart_or_left_to_the_program(body):
    found = asked_in(body)

    assert found is None or found["moved"] == [f"{Shell.LIVE}.data"]


def test_a_request_that_only_looks_alike_is_not_answered_from_what_is_kept(line):
    _, _, app, _ = line
    one = OneScreen(app)
    one.post(f"{Shell.CLOCK}.children", {f"{Shell.LIVE}.data": {"version": 1}})
    body = one.callbacks.body(f"{Shell.CLOCK}.children", {f"{Shell.LIVE}.data": {"version": 1}})
    strange = one.client.post(
        CALLBACK, data=json.dumps(body), content_type="application/json", headers={"Origin": "https://other.example"}
    )

    assert strange.status_code == 403


def test_those_who_ask_while_an_answer_is_made_wait_for_it(line):
    settings, source, app, made = line
    screens = [OneScreen(app) for _ in range(6)]
    told = first_told(screens[0])
    add_row(settings, NEW_ROW)
    source.poll()
    made.clear()
    answers = []
    threads = [
        threading.Thread(target=lambda one=one: answers.append(one.post(f"{Board.TOLD}.data", asks(told, 2)).data))
        for one in screens
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert len(made) == 1
    assert len(answers) == 6
    assert len(set(answers)) == 1


def test_an_answer_that_could_not_be_made_keeps_nobody_waiting(line, monkeypatch):
    settings, source, app, made = line
    monkeypatch.setattr(shared_answers, "WAITS_SECONDS", 60.0)
    app.server.config["PROPAGATE_EXCEPTIONS"] = False
    one = OneScreen(app)
    told = first_told(one)
    add_row(settings, NEW_ROW)
    source.poll()
    made.clear()
    monkeypatch.setattr(board, "changes", lambda *words: 1 / 0)
    broken = one.post(f"{Board.TOLD}.data", asks(told, 2))
    monkeypatch.undo()

    assert broken.status_code == 500
    assert one.post(f"{Board.TOLD}.data", asks(told, 2)).status_code == 200
