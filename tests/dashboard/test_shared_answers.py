"""One answer for all screens that ask alike: made once, never too old, never for whoever may not have it."""

import json
import threading

import pytest

from dashboard import shared_answers
from dashboard.app import create_app
from dashboard.ids import Board, Shell, Stream
from dashboard.pages import board
from tests.dashboard.made_line import add_row, asked, watched, write_line
from tests.dashboard.test_app import NEW_ROW
from tests.soak.people import CALLBACK, Callbacks, stores


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


def test_the_header_is_shared_and_a_page_of_a_stream_is_not(line):
    _, _, app, _ = line
    one = OneScreen(app)
    header = [one.post(f"{Shell.CLOCK}.children", {f"{Shell.LIVE}.data": {"version": 1}}) for _ in range(2)]
    stream = one.post(f"{Stream.STATE_TOLD}.data", {f"{Shell.URL}.search": ""})

    assert header[0].data == header[1].data
    assert "accepted" in header[0].text
    assert stream.status_code in (200, 204)


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
