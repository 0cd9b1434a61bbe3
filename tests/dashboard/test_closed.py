"""Every address and callback there is, found by asking the board: who gets in, from where, what goes out with it."""

import http.client
import json
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

import pytest

from dashboard import server
from dashboard.app import ROOMS
from dashboard.auth import COOKIE, OPEN, OPEN_SUITES
from dashboard.requests import LARGEST_BODY
from dashboard.settings import Settings
from dashboard.urls import HEALTH, METRICS, SIGN_IN, SIGN_OUT
from spc.accounts import ROLES
from tests.dashboard.made_gate import Site, callback_bodies, routes, sign_in

HTML = {"Accept": "text/html"}
UPDATE = "/_dash-update-component"
CHANGES_NOTHING = {UPDATE, SIGN_IN, SIGN_OUT}
"""Addresses to post to that are no change of the record themselves: a callback asks for its own right."""

FILLER = ["x", "1", "2026-04-01", True, ["x"], {"n": 1}]
POISON = ["../../../etc/passwd", "..\\..\\boot.ini", "x\r\nX-Planted: 1", "\0", "<script>alert(1)</script>", "é" * 500]


def filled(body: dict[str, Any], value: Any) -> dict[str, Any]:
    """Return what a callback is asked, one value in all of it, each button pressed."""
    part = json.loads(json.dumps(body))
    for one in (*part["inputs"], *part["state"]):
        one["value"] = 1 if one["property"] == "n_clicks" else value
    return dict(part)


def getting(site: Site) -> list[str]:
    return [address for method, address in routes(site) if method == "GET"]


def posting(site: Site) -> list[str]:
    return sorted({address for method, address in routes(site) if method == "POST"} - CHANGES_NOTHING)


# who


@pytest.mark.parametrize("token", ["", "x" * 43, "0" * 64, "../sessions", "e30.e30.e30"])
def test_no_address_and_no_callback_takes_a_forged_session(site, token):
    client = site.client()
    client.set_cookie(COOKIE, token)
    answers = {(method, address): client.open(address, method=method).status_code for method, address in routes(site)}
    asked = {body["output"]: client.post(UPDATE, json=body).status_code for body in callback_bodies(site.app)}
    open_to_all = {("GET", HEALTH), ("GET", METRICS)}  # they say nothing of a reading; METRICS from this machine alone

    assert {key for key, status in answers.items() if status != 401} <= open_to_all
    assert len(asked) > 30
    assert set(asked.values()) == {401}


def test_a_session_chosen_by_somebody_else_does_not_become_one(site):
    """Whoever plants a cookie before the sign-in knows no session after it (fixation)."""
    client, thief = site.client(), site.client()
    for browser in (client, thief):
        browser.set_cookie(COOKIE, "a" * 43)
    assert sign_in(client, "lead").status_code == 200

    assert client.get("/live").status_code == 200
    assert thief.get("/live").status_code == 401


def test_every_address_that_changes_something_refuses_who_may_see_alone(site):
    client, before = site.client("administrator", wall=True), site.store.sequence()
    answers = {address: client.post(address, json={}).status_code for address in posting(site)}

    assert len(answers) >= 3
    assert set(answers.values()) == {403}, answers
    assert site.store.sequence() == before


@pytest.mark.parametrize("value", FILLER, ids=repr)
def test_no_callback_changes_anything_for_who_may_see_alone(site, value):
    site.server.config["PROPAGATE_EXCEPTIONS"] = False
    client, before = site.client("administrator", wall=True), site.store.sequence()
    for body in callback_bodies(site.app):
        client.post(UPDATE, json=filled(body, value))

    assert site.store.sequence() == before


@pytest.mark.parametrize("role", [role for role in ROLES if role != "administrator"])
def test_no_callback_lets_a_role_make_accounts(site, role):
    site.server.config["PROPAGATE_EXCEPTIONS"] = False
    client = site.client(role)
    kept = [entry.record for entry in site.store.since(0) if entry.kind == "account"]
    for body in callback_bodies(site.app):
        client.post(UPDATE, json=filled(body, "administrator"))

    assert [entry.record for entry in site.store.since(0) if entry.kind == "account"] == kept


def test_what_is_only_asked_for_changes_nothing(site):
    client, before = site.client("administrator"), site.store.sequence()
    for address in [*getting(site), *(room.path for room in ROOMS)]:
        client.get(address)
        client.head(address)

    assert site.store.sequence() == before


# from where


def test_every_post_of_another_sites_page_is_refused(site):
    client = site.client("administrator")
    tried = [*posting(site), *CHANGES_NOTHING]
    for headers in ({"Origin": "https://elsewhere.example"}, {"Sec-Fetch-Site": "cross-site"}, {"Origin": "null"}):
        answers = {address: client.post(address, json={}, headers=headers).status_code for address in tried}
        assert set(answers.values()) == {403}, answers
        asked = {client.post(UPDATE, json=body, headers=headers).status_code for body in callback_bodies(site.app)}
        assert asked == {403}
    assert client.get("/live").status_code == 200  # nor was anyone signed out


def test_no_answer_lets_another_site_read_it(site):
    client = site.client("administrator")
    for address in getting(site):
        answer = client.get(address, headers={"Origin": "https://elsewhere.example"})
        assert not [name for name, _ in answer.headers if name.lower().startswith("access-control-")]


# what goes with it


def test_every_answer_is_held_to_this_host_and_framed_by_nobody(site):
    for client in (site.client(), site.client("administrator")):
        for address in [*getting(site), *(room.path for room in ROOMS), "/assets/dashboard.css", SIGN_IN]:
            with client.get(address, headers=HTML) as answer:
                policy = answer.headers["Content-Security-Policy"]
                scripts = next(part for part in policy.split(";") if "script-src" in part)
                assert "unsafe" not in scripts
                assert "*" not in scripts
                assert "object-src 'none'" in policy
                assert "base-uri 'self'" in policy
                assert "frame-ancestors 'self'" in policy
                assert answer.headers["X-Content-Type-Options"] == "nosniff"
                assert answer.headers["Referrer-Policy"] == "same-origin"
                assert "Server" not in answer.headers


def test_what_says_something_of_the_line_is_kept_by_no_browser(site):
    client = site.client("administrator")
    for address in [*getting(site), *(room.path for room in ROOMS)]:
        if address.startswith(("/assets", OPEN_SUITES)):
            continue
        with client.get(address) as answer:
            if answer.status_code == 200:
                assert answer.headers["Cache-Control"] == "no-store", address


def test_what_is_open_to_all_is_this_and_no_more():
    files = {"_dash_assets.static", "dash_assets.static", "/_favicon.ico", "plotly_bundle"}

    assert files | {"sign_in", "health"} >= OPEN


# files


OUTSIDE = ("../app.py", "..%2fapp.py", "%2e%2e/app.py", "..%5capp.py", "....//app.py", "/etc/passwd", "%2fetc%2fpasswd")


def test_no_address_names_a_file_outside(site):
    client = site.client("administrator")
    for folder in ("/assets/", "/_dash-component-suites/dash/", "/review.", "/"):
        for path in (*OUTSIDE, "a%00"):
            with client.get(folder + path) as answer:
                assert "root:" not in answer.text
                assert "def create_app" not in answer.text


def test_no_parameter_of_an_address_names_a_file_or_plants_a_header(site):
    site.server.config["PROPAGATE_EXCEPTIONS"] = False
    client = site.client("administrator")
    names = ("line", "check", "position", "from", "to", "row", "part", "instrument", "at", "seed", "chart", "about")
    for value in POISON:
        for address in [*getting(site), *(room.path for room in ROOMS)]:
            with client.get(address, query_string=dict.fromkeys(names, value)) as answer:
                assert answer.status_code < 500, (address, value[:20], answer.status_code)
                assert "X-Planted" not in answer.headers
                name = answer.headers.get("Content-Disposition", "")
                assert not any(sign in name for sign in ("..", "\\", "\r", "\n", "\0", "<"))
                assert "<script>alert" not in answer.text


# slow and large


@pytest.fixture
def address(site, monkeypatch) -> Iterator[tuple[str, int]]:
    """Serve the board as `spc serve` does, with little patience."""
    monkeypatch.setattr(server, "IDLE_SECONDS", 1)
    listener = server.bound(Settings(port=0))
    running = server.create_server(listener, site.server)
    running.adj.cleanup_interval = 1
    thread = threading.Thread(target=running.run, daemon=True)
    thread.start()
    yield ("127.0.0.1", running.effective_port)
    running.task_dispatcher.shutdown(timeout=1)
    for channel in list(running.active_channels.values()):
        channel.handle_close()
    running.close()
    thread.join(timeout=5)


def test_a_client_that_says_nothing_is_let_go_and_others_are_served(address):
    slow = [socket.create_connection(address, timeout=60) for _ in range(20)]
    for one in slow:
        one.sendall(b"POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 100\r\n\r\n{")
    other = http.client.HTTPConnection(address[0], address[1], timeout=60)
    other.request("GET", SIGN_IN, headers={"Connection": "close"})
    with other.getresponse() as answer:
        answer.read()
        assert answer.status == 200
    other.close()
    until = time.monotonic() + 60
    for one in slow:  # each ends, with an answer or without
        one.settimeout(max(0.1, until - time.monotonic()))
        while one.recv(4096):
            pass
        one.close()


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        (b"GET / HTTP/1.1\r\nHost: x\r\nX-Long: " + b"x" * (server.LARGEST_HEADER + 1000), b"431"),
        (b"POST /sign-in HTTP/1.1\r\nHost: x\r\nContent-Length: %d\r\n\r\n" % (LARGEST_BODY + 1), b"413"),
        (b"POST /sign-in HTTP/1.1\r\nHost: x\r\nContent-Length: -5\r\n\r\n", b"400"),
        (b"POST /sign-in HTTP/1.1\r\nHost: x\r\nContent-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n", b"400"),
        (b"GET / HTTP/1.1\r\nHost: x\r\nno colon here\r\n\r\n", b"400"),
    ],
    ids=["header", "body", "negative", "two lengths", "no header"],
)
def test_what_is_too_large_or_no_request_is_refused(address, sent, status):
    with socket.create_connection(address, timeout=60) as client:
        with suppress(OSError):  # refused before all of it was sent
            client.sendall(sent)
        answer = client.recv(65536)

    assert answer.split(b" ")[1] == status
