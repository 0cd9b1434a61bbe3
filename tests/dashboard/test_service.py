"""The board under a service manager: starts, reads its files anew, tells how it is, ends; and what its log holds."""

import io
import json
import logging
import os
import signal
import socket
import subprocess
import sys
import time
from configparser import ConfigParser
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from urllib.error import HTTPError
from urllib.request import Request, urlopen

import pytest
from flask import request

from dashboard import notify, requests, server
from dashboard.app import create_app
from dashboard.auth import FROM_HERE
from dashboard.queries import SetupError
from dashboard.requests import BUCKETS, JsonLines, Measures, PlainLines, kind_of, measured
from dashboard.settings import Settings
from dashboard.urls import HEALTH, LIVE, METRICS, SIGN_IN
from spc.store.accounts import add_account
from spc.store.store import Store
from tests.dashboard.made_entry import CATALOGUE, TODAY, stored_queries, stored_settings
from tests.dashboard.made_line import asked, write_line

ROOT = Path(__file__).parent.parent.parent
WAITS = 60.0

pytestmark = pytest.mark.skipif(os.name == "nt", reason="Windows has no such signals and no such managers")


@contextmanager
def manager(tmp_path):
    """Give what a service manager listens on, and a way to wait for what it is told."""
    where = str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind(where)
        heard.settimeout(WAITS)

        def told(word: str) -> str:
            while True:
                said = heard.recv(4096).decode()
                if word in said.splitlines() or any(line.startswith(word) for line in said.splitlines()):
                    return said

        yield where, told


@contextmanager
def board(tmp_path, *options: str, notify_socket: str = ""):
    """Give a running `spc serve` and its address, which is known once the manager was told; ended if a test fails."""
    command = [sys.executable, "-m", "spc", "serve", "--port", "0", *options]
    env = {**os.environ, "NOTIFY_SOCKET": notify_socket, "XDG_DATA_HOME": str(tmp_path / "data")}
    with (tmp_path / "errors").open("w") as errors:
        process = subprocess.Popen(command, cwd=ROOT, env=env, stdout=subprocess.PIPE, stderr=errors, text=True)
    try:
        yield process
    finally:
        process.kill()
        process.wait()
        assert process.stdout is not None
        process.stdout.close()


def get(address: str, path: str, **headers: str):
    try:
        with urlopen(Request(address + path, headers=headers), timeout=WAITS) as answer:
            return answer.status, answer.read().decode()
    except HTTPError as error:
        return error.code, error.read().decode()


def test_a_service_starts_reads_its_catalogue_anew_tells_how_it_is_and_ends(tmp_path):
    settings = stored_settings(tmp_path, calendar=False)
    catalogue = Path(str(settings.catalogue))
    options = ["--store", str(settings.store), "--catalogue", str(catalogue), "--log-format", "json"]
    with manager(tmp_path) as (where, told), board(tmp_path, *options, notify_socket=where) as process:
        address = told("READY=1").split("STATUS=The board is at ")[1].rstrip("/")
        health, figures = get(address, HEALTH), get(address, METRICS)

        catalogue.write_text("[check.bath_concentration]\ncolour = 1\n", encoding="utf-8")
        process.send_signal(signal.SIGHUP)
        told("RELOADING=1")
        told("READY=1")
        bad = json.loads(get(address, LIVE)[1])
        ill = get(address, HEALTH)

        catalogue.write_text(CATALOGUE.replace("Procedure 12, 4.1", "Procedure 13"), encoding="utf-8")
        process.send_signal(signal.SIGHUP)
        told("RELOADING=1")
        told("READY=1")
        good = json.loads(get(address, LIVE)[1])

        get(address, "/nowhere?token=secret-of-the-query", Cookie="board_session=secret-of-the-cookie")
        process.send_signal(signal.SIGTERM)
        told("STOPPING=1")
        ended = time.monotonic()
        assert process.wait(timeout=WAITS) == 0
        assert time.monotonic() - ended < 30
    lines = [json.loads(line) for line in (tmp_path / "errors").read_text().splitlines()]

    assert health[0] == 200
    assert json.loads(health[1])["board"] == "ok"
    assert figures[0] == 200
    assert "catalogue was not taken" in bad["problem"]
    assert "the one before goes on" in bad["problem"]
    assert ill[0] == 503
    assert good["problem"] is None
    assert good["version"] > bad["version"]
    assert any("was not taken" in line["says"] and line["level"] == "error" for line in lines)
    nowhere = next(line for line in lines if line.get("path") == "/nowhere")
    assert (nowhere["method"], nowhere["status"]) == ("GET", 404)
    assert nowhere["ms"] > 0
    assert len(nowhere["request"]) == 16
    assert "secret-of-the" not in (tmp_path / "errors").read_text()
    assert not Path(f"{settings.store}-wal").exists()  # the store was closed


# what a manager is told


def test_without_a_manager_nothing_is_told(monkeypatch):
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    assert not notify.tell("READY=1")
    monkeypatch.setenv("NOTIFY_SOCKET", "/nowhere/notify")
    assert not notify.tell("READY=1")


def test_the_unit_starts_reloads_and_ends_the_board_as_it_says():
    text = (ROOT / "packaging" / "mt-process-control.service").read_text(encoding="utf-8")
    unit = ConfigParser(strict=False, interpolation=None)
    unit.optionxform = str  # type: ignore[assignment,method-assign]  # systemd's names keep their case
    unit.read_string(text)
    service = unit["Service"]
    words = service["ExecStart"].split()

    assert service["Type"] == "notify"
    assert words[1:2] == ["serve"]
    assert service["ExecReload"] == "/bin/kill -HUP $MAINPID"
    assert service["NoNewPrivileges"] == "yes"
    with (ROOT / "README.md").open(encoding="utf-8") as readme:
        assert text in readme.read()
    help_text = subprocess.run(
        [sys.executable, "-m", "spc", "serve", "--help"], cwd=ROOT, capture_output=True, text=True, check=True,
        env={**os.environ, "COLUMNS": "200"}, timeout=WAITS,
    ).stdout  # fmt: skip
    assert all(word in help_text for word in words if word.startswith("--"))


# health and figures


@pytest.fixture
def queries(tmp_path):
    return asked(write_line(tmp_path))


def test_health_says_nothing_of_the_line(queries):
    answer = create_app(queries).server.test_client().get(HEALTH)

    assert answer.headers["Cache-Control"] == "no-store"
    assert set(answer.get_json()) == {"board", "store", "files", "clock"}
    assert not any(key.line in answer.text for key in queries.snapshot.scan.log.streams)


def test_a_store_that_is_gone_is_no_health(tmp_path, monkeypatch):
    settings = stored_settings(tmp_path)
    queries = stored_queries(settings)
    client = create_app(queries).server.test_client()
    assert client.get(HEALTH).get_json()["store"] == "ok"
    assert "board_trail_entries " in client.get(METRICS).text
    assert queries.store is not None
    assert queries.store is not None
    queries.store.close()
    Path(str(settings.store)).unlink()
    Path(str(settings.store)).mkdir()
    answer = client.get(HEALTH)

    assert answer.status_code == 503
    assert answer.get_json()["store"] == "not ok"
    assert "board_trail_entries" not in client.get(METRICS).text


def test_figures_are_in_the_text_form_and_add_up(queries):
    measures = Measures()
    client = create_app(queries, measures=measures).server.test_client()
    for seconds in (0.004, 0.15, 0.2, 99.0):
        measures.add("callback", 200, seconds)
    measures.add("entry", 422, 0.01)
    answer = client.get(METRICS)
    lines = answer.text.splitlines()
    values = dict(line.rsplit(" ", 1) for line in lines if not line.startswith("#"))

    assert answer.headers["Content-Type"] == "text/plain; version=0.0.4; charset=utf-8"
    assert answer.text.endswith("\n")
    assert values['board_requests_total{kind="entry",status="4xx"}'] == "1"
    assert values['board_request_seconds_bucket{kind="callback",le="0.15"}'] == "2"
    assert values['board_request_seconds_bucket{kind="callback",le="0.3"}'] == "3"
    assert values['board_request_seconds_bucket{kind="callback",le="+Inf"}'] == "4"
    assert values['board_request_seconds_count{kind="callback"}'] == "4"
    rows = queries.snapshot.scan.log.rows
    assert int(values['board_rows{outcome="accepted"}']) == rows.accepted
    assert int(values['board_rows{outcome="quarantined"}']) == rows.quarantined > 0
    streams = [int(value) for name, value in values.items() if name.startswith("board_streams{")]
    assert sum(streams) == len(queries.board().tiles)
    typed = {line.split()[2] for line in lines if line.startswith("# TYPE")}
    assert all(any(name.startswith(kind) for kind in typed) for name in values)
    assert len(BUCKETS) + 1 == sum(name.startswith('board_request_seconds_bucket{kind="entry"') for name in values)


def test_a_board_with_accounts_gives_figures_to_who_is_signed_in_or_sits_here(tmp_path):
    settings = stored_settings(tmp_path)
    with Store.open(settings.store) as store:
        add_account(store, "Kim", "administrator", "a long pass phrase", who="Kim", now=TODAY)

    client = create_app(stored_queries(settings)).server.test_client()
    assert client.get(METRICS).status_code == 401
    assert client.get(HEALTH).status_code == 200
    assert client.get(METRICS, environ_overrides={FROM_HERE: True}).status_code == 200


@pytest.mark.parametrize(
    ("peer", "forwarded", "behind", "here"),
    [
        ("127.0.0.1", "", None, True),
        ("192.0.2.7", "", None, False),
        ("127.0.0.1", "192.0.2.7", None, False),
        ("127.0.0.1", "192.0.2.7", "board.example", False),
        ("127.0.0.1", "127.0.0.1", "board.example", False),
        ("127.0.0.1", "", "board.example", True),
    ],
)
def test_what_comes_through_a_proxy_is_not_from_here(peer, forwarded, behind, here):
    seen = {}

    def inner(environ, start):
        seen.update(environ)
        start("200 OK", [])
        return [b""]

    settings = replace(Settings(log=Path("log.csv")), behind_proxy=behind)
    environ = {"REMOTE_ADDR": peer, "HTTP_HOST": "localhost", "REQUEST_METHOD": "GET", "PATH_INFO": METRICS}
    environ |= {"HTTP_X_FORWARDED_FOR": forwarded} if forwarded else {}
    server.layers(inner, settings, Measures())(environ, lambda line, headers, *more: None)

    assert seen.get(FROM_HERE, False) is here
    assert ("HTTP_X_FORWARDED_FOR" in seen) == bool(forwarded and behind)


def test_behind_a_proxy_its_name_and_its_word_on_who_asks_count(tmp_path):
    settings = replace(write_line(tmp_path), behind_proxy="board.example")
    app = create_app(asked(settings))
    app.server.wsgi_app = server.layers(app.server.wsgi_app, settings, Measures())
    client = app.server.test_client()
    through = {"X-Forwarded-For": "203.0.113.9", "X-Forwarded-Proto": "https", "X-Forwarded-Host": "board.example"}

    assert client.get(LIVE, headers=through).status_code == 200
    assert client.get(LIVE, headers={**through, "X-Forwarded-Host": "rebound.example"}).status_code == 421
    seen = []
    app.server._got_first_request = False  # one more look at requests may be added, as a test may
    app.server.before_request(lambda: seen.append((request.remote_addr, request.is_secure, request.host)))
    client.get(HEALTH, headers=through)
    assert seen == [("203.0.113.9", True, "board.example")]


@pytest.mark.parametrize("missing", ["X-Forwarded-For", "X-Forwarded-Proto", "all"])
def test_a_proxy_that_does_not_tell_who_asks_gets_no_page_and_no_figure_of_the_line(tmp_path, missing):
    settings = replace(stored_settings(tmp_path), behind_proxy="board.example")
    with Store.open(settings.store) as store:
        add_account(store, "Kim", "administrator", "a long pass phrase", who="Kim", now=TODAY)
    app = create_app(stored_queries(settings))
    app.server.wsgi_app = server.layers(app.server.wsgi_app, settings, Measures())
    client = app.server.test_client()
    said = {"X-Forwarded-For": "203.0.113.9", "X-Forwarded-Proto": "https", "X-Forwarded-Host": "board.example"}
    sent = {} if missing == "all" else {name: each for name, each in said.items() if name != missing}
    answers = [client.get(path, headers={"Host": "board.example", **sent}) for path in ("/", SIGN_IN, LIVE, HEALTH)]

    assert [answer.status_code for answer in answers] == [421, 421, 401, 200]
    assert "its proxy does not tell who asks. Let it send X-Forwarded-For, X-Forwarded-Proto" in answers[0].text
    assert client.get(SIGN_IN, headers=said).status_code == 200
    assert client.get(METRICS, headers=said).status_code == 401  # through the proxy: a session
    assert client.get(METRICS).status_code == 200  # a program on this machine


def test_a_proxy_needs_accounts_and_this_machine(tmp_path):
    settings = replace(stored_settings(tmp_path), behind_proxy="board.example", port=0)
    with pytest.raises(SetupError, match=r"--behind-proxy board\.example would let anyone on the network in"):
        server.serve(settings)
    with pytest.raises(SetupError, match="let the proxy run on this machine"):
        server.serve(replace(settings, host="0.0.0.0"))


# the log


def heard(form):
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(form)
    logger = logging.getLogger("dashboard.requests")
    logger.addHandler(handler)
    logger.setLevel(logging.INFO)

    def end() -> None:
        logger.removeHandler(handler)
        logger.setLevel(logging.NOTSET)

    return stream, end


SECRETS = {"query": "q-secret", "cookie": "c-secret", "password": "p-secret", "token": "t-secret"}


@pytest.mark.parametrize("form", [JsonLines(), PlainLines()])
def test_no_secret_is_in_a_line(tmp_path, form):
    app = create_app(asked(write_line(tmp_path)))
    app.server.wsgi_app = measured(app.server.wsgi_app, Measures())
    client = app.server.test_client()
    stream, end = heard(form)
    try:
        client.get(f"/stream.csv?line={SECRETS['query']}", headers={"Authorization": SECRETS["token"]})
        client.set_cookie("board_session", SECRETS["cookie"])
        client.post(SIGN_IN, json={"name": "kim-by-name", "password": SECRETS["password"]})
    finally:
        end()

    assert "/stream.csv" in stream.getvalue()
    assert SIGN_IN in stream.getvalue()
    assert not any(secret in stream.getvalue() for secret in (*SECRETS.values(), "kim-by-name"))


@pytest.mark.parametrize("form", [JsonLines(), PlainLines()])
def test_a_path_cannot_forge_a_line(form):
    def inner(environ, start):
        start("404 NOT FOUND", [])
        return [b""]

    stream, end = heard(form)
    try:
        path = "/a\n2026-01-01 error: forged\x1b[2J" + "x" * 5000
        measured(inner, Measures())({"REQUEST_METHOD": "GET", "PATH_INFO": path}, lambda line, headers, *more: None)
    finally:
        end()

    assert stream.getvalue().count("\n") == 1
    assert "\x1b" not in stream.getvalue()
    assert len(stream.getvalue()) < 1000


def test_what_is_asked_several_times_a_second_is_logged_only_when_it_goes_wrong():
    answers = iter(["200 OK", "503 SERVICE UNAVAILABLE"])

    def inner(environ, start):
        start(next(answers), [])
        return [b""]

    stream, end = heard(JsonLines())
    measures, asks = Measures(), {"REQUEST_METHOD": "GET", "PATH_INFO": LIVE}
    try:
        for _ in range(2):
            measured(inner, measures)(dict(asks), lambda line, headers, *more: None)
    finally:
        end()

    assert [json.loads(line)["status"] for line in stream.getvalue().splitlines()] == [503]
    assert 'board_requests_total{kind="live",status="2xx"} 1' in measures.lines()


def test_an_application_that_breaks_is_counted_and_named():
    def inner(environ, start):
        requests.log.warning("on the way")
        raise RuntimeError("broke")

    stream, end = heard(JsonLines())
    measures = Measures()
    try:
        with pytest.raises(RuntimeError):
            measured(inner, measures)({"REQUEST_METHOD": "GET", "PATH_INFO": "/"}, lambda *words: None)
    finally:
        end()
    first, last = (json.loads(line) for line in stream.getvalue().splitlines())

    assert last["status"] == 500
    assert first["request"] == last["request"]
    assert requests.asked_as.get() == ""


@pytest.mark.parametrize(
    ("method", "path", "kind"),
    [
        ("GET", "/live", "live"),
        ("GET", "/healthz", "probe"),
        ("POST", "/_dash-update-component", "callback"),
        ("GET", "/assets/board.css", "file"),
        ("POST", "/write/keep", "entry"),
        ("GET", "/write/cards", "page"),
        ("GET", "/anything/at/all", "page"),
    ],
)
def test_requests_are_of_few_kinds(method, path, kind):
    assert kind_of(method, path) == kind
