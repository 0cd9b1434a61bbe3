"""The gate: every route and callback, who is signed in and who is not, sessions and their ends, wrong passwords."""

import io
import json
import logging
import threading
from typing import Any

import pytest
from flask.testing import FlaskClient

from dashboard.app import ROOMS, create_app
from dashboard.auth import COOKIE, gate_of
from dashboard.ids import Accounts
from dashboard.queries import Queries, watch
from dashboard.requests import JsonLines
from dashboard.sessions import Sessions
from dashboard.settings import Settings
from spc.accounts import ROLES
from spc.store.accounts import add_account, set_active, set_password, set_role
from spc.store.entries import Account
from tests.dashboard.made_gate import GOOD, NOW, Site, callback_bodies, routes, sign_in
from tests.dashboard.made_line import write_line

HTML = {"Accept": "text/html,application/xhtml+xml"}
WRONG = "Name and password do not fit, or the account is switched off. Whoever manages accounts can set a new password."


# who is not signed in


def test_every_route_but_the_way_in_refuses_who_is_not_signed_in(site):
    client = site.client()
    tried = routes(site)
    answers = {(method, address): client.open(address, method=method).status_code for method, address in tried}

    assert {"/", "/live", "/stream.csv", "/_dash-layout", "/_dash-dependencies", "/sign-out"} <= {
        one for _, one in tried
    }
    assert [room.path for room in ROOMS if not room.path.startswith("/")] == []
    assert {status for status in answers.values()} == {401}, {key: each for key, each in answers.items() if each != 401}


def test_every_room_shows_the_page_to_sign_in_and_nothing_of_the_line(site):
    for room in ROOMS:
        answer = site.client().get(room.path, headers=HTML)
        assert answer.status_code == 401
        assert "/assets/session.js" in answer.text
        assert "Line 1" not in answer.text


def test_every_callback_refuses_who_is_not_signed_in(site):
    bodies = callback_bodies(site.app)
    client = site.client()

    assert len(bodies) > 10
    assert {client.post("/_dash-update-component", json=body).status_code for body in bodies} == {401}


def test_what_is_open_says_nothing_of_the_line(site):
    client = site.client()
    for address in ("/assets/session.js", "/assets/dashboard.css", "/sign-in"):
        with client.get(address) as answer:
            assert answer.status_code == 200
    assert client.get("/assets/%2e%2e/live").status_code in (401, 404)
    assert client.get("//live").status_code in (308, 401, 404)


def test_a_board_without_accounts_is_open(tmp_path):
    source = watch(Settings(log=write_line(tmp_path).log, store=str(tmp_path / "none.db")))
    client = create_app(Queries(source, Settings(store=str(tmp_path / "none.db")))).server.test_client()

    assert client.get("/live").status_code == 200
    assert sign_in(client, "lead").status_code == 409
    assert source.store is not None
    add_account(source.store, "Anna", "administrator", GOOD, who="setup", now=NOW)
    assert client.get("/live").status_code == 401


# what each role may do


def change(site: Site, client: FlaskClient, output: str, **values: Any) -> Any:
    body = next(body for body in callback_bodies(site.app) if output in body["output"])
    for one in (*body["inputs"], *body["state"]):
        one["value"] = values.get(one["id"])
    if "accounts-change" in str(body["inputs"]):  # one of several buttons, as a browser tells of it
        pressed = Accounts.change("role")
        body["inputs"] = [[{"id": pressed, "property": "n_clicks", "value": 1}]]
        body["changedPropIds"] = [json.dumps(pressed, separators=(",", ":")) + ".n_clicks"]
    return client.post("/_dash-update-component", json=body)


ADDED = {Accounts.NEW_NAME: "Eva", Accounts.NEW_ROLE: "lead", Accounts.NEW_PASSWORD: GOOD, Accounts.ADD: 1}
CHANGED = {Accounts.NAME: "lead", Accounts.ROLE: "administrator"}


@pytest.mark.parametrize("role", ["lead", "engineer", "manager"])
def test_who_may_not_manage_accounts_is_refused_with_who_may(site, role):
    client, before = site.client(role), site.store.sequence()
    refused = [
        change(site, client, f"{Accounts.NEW_PASSWORD}.value", **ADDED),
        change(site, client, f"{Accounts.PASSWORD}.value", **CHANGED),
    ]

    assert [answer.status_code for answer in refused] == [403, 403]
    assert all("administrator may" in answer.json["says"] for answer in refused)
    assert site.store.sequence() == before


def test_an_administrator_makes_and_changes_accounts_in_the_trail(site):
    client = site.client("administrator")
    assert change(site, client, f"{Accounts.NEW_PASSWORD}.value", **ADDED).status_code == 200
    assert change(site, client, f"{Accounts.PASSWORD}.value", **CHANGED).status_code == 200
    made, changed = site.store.records(Account)[-2:]

    assert (made.who, made.record.name, made.record.role) == ("administrator", "Eva", "lead")
    assert (changed.who, changed.record.name, changed.record.role) == ("administrator", "lead", "administrator")


def test_a_wall_screen_sees_and_changes_nothing(site):
    client, before = site.client("administrator", wall=True), site.store.sequence()

    assert client.get("/live").status_code == 200
    for output, values in ((Accounts.NEW_PASSWORD, ADDED), (Accounts.PASSWORD, CHANGED), (Accounts.OWN_SAID, {})):
        answer = change(site, client, f"{output}.", **values)
        assert answer.status_code == 403
        assert "wall screen" in answer.json["says"]
    for path in ("/write/keep", "/write/react", "/write/correct"):
        assert client.post(path, json={}).status_code == 403
    assert site.store.sequence() == before


def test_no_callback_with_nothing_in_it_changes_the_store_for_who_may_see_alone(site):
    client, before = site.client("administrator", wall=True), site.store.sequence()
    site.server.config["PROPAGATE_EXCEPTIONS"] = False
    for body in callback_bodies(site.app):
        assert client.post("/_dash-update-component", json=body).status_code != 401

    assert site.store.sequence() == before


def test_a_change_that_asked_for_no_right_is_refused_for_everyone(site):
    def forgetful() -> str:
        site.store.append(Account("x", "lead", "-"), who="x", now=NOW)
        return "done"

    site.server._got_first_request = False  # a page that is added later, as a test may
    site.server.add_url_rule("/forgetful", "forgetful", forgetful, methods=["POST"])
    client, before = site.client("administrator"), site.store.sequence()
    answer = client.post("/forgetful")

    assert answer.status_code == 403
    assert "did not say what right it needs" in answer.json["says"]
    assert site.store.sequence() == before


# other sites' pages


@pytest.mark.parametrize(
    ("headers", "taken"),
    [
        ({}, True),
        ({"Origin": "http://localhost"}, True),
        ({"Origin": "http://localhost", "Host": "localhost:80"}, True),
        ({"Origin": "https://localhost", "Host": "localhost:443"}, True),
        ({"Origin": "http://localhost:8050"}, False),
        ({"Origin": "http://["}, False),
        ({"Sec-Fetch-Site": "same-origin"}, True),
        ({"Origin": "http://elsewhere.example"}, False),
        ({"Origin": "null"}, False),
        ({"Sec-Fetch-Site": "cross-site"}, False),
        ({"Sec-Fetch-Site": "same-site"}, False),
    ],
)
def test_a_post_of_another_sites_page_is_refused(site, headers, taken):
    body = callback_bodies(site.app)[0]
    client = site.client("lead")
    answers = [
        client.post("/_dash-update-component", json=body, headers=headers),
        client.post("/sign-in", json={"name": "lead", "password": GOOD}, headers=headers),
        client.post("/sign-out", headers=headers),
    ]

    assert [answer.status_code == 403 for answer in answers] == [not taken] * 3


def test_the_cookie_is_for_this_board_alone(site):
    client = site.client()
    (plain,) = sign_in(client, "lead").headers.getlist("Set-Cookie")
    (safe,) = client.post(
        "/sign-in", json={"name": "lead", "password": GOOD}, base_url="https://localhost"
    ).headers.getlist("Set-Cookie")

    assert "HttpOnly" in plain
    assert "SameSite=Strict" in plain
    assert "Secure" not in plain
    assert "Secure" in safe
    assert "lead" not in plain


# sessions


def token_of(client: FlaskClient) -> str:
    cookie = client.get_cookie(COOKIE)
    assert cookie is not None
    return str(cookie.value)


def alive(client: FlaskClient, address: str = "/live") -> bool:
    status = client.get(address).status_code
    assert status in (200, 401)
    return status == 200


def test_one_sees_where_one_is_signed_in_and_ends_all_of_it_but_this(site):
    there, wall, other = site.client("lead"), site.client("lead", wall=True), site.client("engineer")
    site.clock.on(minutes=3)
    here = site.client("lead")

    answer = change(site, here, f"{Accounts.SCREENS}.", **{Accounts.ELSEWHERE: 1})

    assert answer.status_code == 200
    assert answer.json["response"][Accounts.ELSEWHERE_SAID]["children"] == "Signed out at 2 other screens."
    listed = json.dumps(answer.json["response"][Accounts.SCREENS])
    assert ("This screen" in listed, "Another screen" in listed, "Wall screen" in listed) == (True, False, False)
    assert [alive(client) for client in (there, wall, here, other)] == [False, False, True, True]
    wall = site.client("lead", wall=True)
    assert change(site, wall, f"{Accounts.SCREENS}.", **{Accounts.ELSEWHERE: 1}).status_code == 403


def test_the_page_of_accounts_lists_ones_own_screens_alone(site):
    site.client("lead", wall=True)
    site.client("engineer")
    here = site.client("lead")
    kept = here.get_cookie(COOKIE)
    assert kept is not None
    with site.server.test_request_context("/accounts", headers={"Cookie": f"{COOKIE}={kept.value}"}):
        assert site.server.preprocess_request() is None
        listed = gate_of(site.server).own_sessions()

    assert [(each.wall, each.here) for each in listed] == [(True, False), (False, True)]


def test_the_log_tells_who_came_and_who_was_refused_by_the_entry_of_their_account(site):
    stream, handler = io.StringIO(), logging.StreamHandler()
    handler.setStream(stream)
    handler.setFormatter(JsonLines())
    logger = logging.getLogger("dashboard.auth")
    logger.addHandler(handler)
    logger.setLevel(logging.INFO)
    try:
        client = site.client("lead")
        change(site, client, f"{Accounts.NEW_PASSWORD}.value", **ADDED)
        sign_in(client, "lead", "not the password")
        sign_in(client, "secret typed as a name", "x")
        client.post("/sign-out")
    finally:
        logger.removeHandler(handler)
        logger.setLevel(logging.NOTSET)
    lines = [json.loads(line) for line in stream.getvalue().splitlines()]
    own = next(entry.sequence for entry in site.store.records(Account) if entry.record.name == "lead")

    assert [(line["says"], line.get("account")) for line in lines] == [
        ("signed in", own),
        ("refused: no right", own),
        ("sign-in refused: name and password do not fit", own),
        ("sign-in refused: name and password do not fit", None),
        ("signed out", own),
    ]
    assert {line["address"] for line in lines} == {"127.0.0.1"}
    assert not any(word in stream.getvalue() for word in ("lead", "secret", "not the password", GOOD))


def test_a_screen_that_nobody_touches_asks_again(site):
    client = site.client("lead")
    site.clock.on(minutes=14)
    assert alive(client)  # asking is no touch
    site.clock.on(minutes=2)

    assert not alive(client)
    assert not alive(client, "/live?here")


def test_a_touch_keeps_a_session_until_its_day_is_over(site):
    client = site.client("lead")
    for _ in range(11 * 6):
        site.clock.on(minutes=10)
        assert alive(client, "/live?here")
    site.clock.on(minutes=61)

    assert not alive(client)


def test_a_wall_screen_lasts_without_a_touch_and_not_for_ever(site):
    client = site.client("lead", wall=True)
    site.clock.on(days=29)
    assert alive(client)
    site.clock.on(days=2)

    assert not alive(client)


@pytest.mark.parametrize(
    "changed",
    [
        lambda store: set_role(store, "engineer", "lead", who="x", now=NOW),
        lambda store: set_password(store, "engineer", "five other words by far", who="x", now=NOW),
        lambda store: set_active(store, "engineer", False, who="x", now=NOW),
    ],
    ids=["role", "password", "off"],
)
def test_a_change_of_the_account_ends_its_sessions_at_once(site, changed):
    client, other = site.client("engineer"), site.client("lead")
    changed(site.store)

    assert not alive(client)
    assert alive(other)


def test_signing_in_again_gives_another_token_and_ends_the_one_before(site):
    client = site.client("lead")
    before = token_of(client)
    sign_in(client, "engineer")
    after = token_of(client)
    old = site.client()
    old.set_cookie(COOKIE, before)

    assert before != after
    assert alive(client)
    assert not alive(old)


def test_signing_out_ends_a_copied_cookie_too(site):
    client, thief = site.client("lead"), site.client()
    thief.set_cookie(COOKIE, token_of(client))
    assert alive(thief)
    assert client.post("/sign-out").status_code == 204

    assert client.get_cookie(COOKIE) is None
    assert not alive(thief)


@pytest.mark.parametrize("token", ["", "x", "0" * 64, "\udcff"])
def test_a_made_up_token_is_nobody(site, token):
    site.client("lead")
    client = site.client()
    client.set_cookie(COOKIE, token.encode("utf-8", "surrogateescape").decode("latin-1"))

    assert not alive(client)


def test_the_file_of_sessions_holds_no_token_and_outlives_a_restart(site):
    client = site.client("lead")
    kept = site.file.read_text(encoding="utf-8")
    again = Sessions(site.file)

    assert token_of(client) not in kept
    assert site.file.stat().st_mode & 0o077 == 0
    assert again.find(token_of(client), site.clock.now) is not None


def test_a_broken_file_of_sessions_costs_a_sign_in_and_nothing_else(tmp_path, caplog):
    file = tmp_path / "sessions.json"
    file.write_text('{"a": {"name": 1}}', encoding="utf-8")

    assert Sessions(file).find("a", NOW) is None
    assert "people sign in again" in caplog.text


def test_many_threads_sign_in_and_ask_at_once(site):
    found: list[bool] = []

    def come_and_go(role: str) -> None:
        client = site.client(role)
        found.append(alive(client))
        client.post("/sign-out")
        found.append(not alive(client))

    threads = [threading.Thread(target=come_and_go, args=(role,)) for role in ROLES]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert found == [True] * 2 * len(ROLES)


# wrong passwords


def test_a_wrong_password_and_a_name_without_account_are_told_alike(site):
    set_active(site.store, "manager", False, who="x", now=NOW)
    client = site.client()
    answers = [sign_in(client, "lead", "wrong"), sign_in(client, "nobody", "wrong"), sign_in(client, "manager", GOOD)]

    assert [(answer.status_code, answer.json) for answer in answers] == [(401, {"says": WRONG})] * 3


def test_a_name_without_account_costs_the_same_hashing(site, monkeypatch):
    asked: list[object] = []
    import dashboard.queries.accounts as accounts

    monkeypatch.setattr(accounts, "password_fits", lambda kept, password: asked.append(kept))
    sign_in(site.client(), "nobody")
    sign_in(site.client(), "lead")

    assert asked[0] is None
    assert str(asked[1]).startswith("$argon2id")


def test_wrong_passwords_wait_longer_and_longer_for_known_and_unknown_names(site):
    for name in ("lead", "nobody"):
        client = site.client()
        assert [sign_in(client, name, "wrong").status_code for _ in range(4)] == [401, 401, 401, 429]
        waits = []
        for _ in range(4):
            refused = sign_in(client, name, "wrong")
            waits.append(int(refused.headers["Retry-After"]))
            site.clock.on(seconds=waits[-1])
            assert sign_in(client, name, "wrong").status_code == 401
        assert waits == sorted(waits)
        assert waits[-1] >= 8
        site.clock.on(hours=1)


def test_while_it_waits_the_right_password_is_not_even_tried(site):
    client = site.client()
    for _ in range(3):
        sign_in(client, "lead", "wrong")

    assert sign_in(client, "lead").status_code == 429
    site.clock.on(seconds=61)
    assert sign_in(client, "lead").status_code == 200
    assert sign_in(client, "lead", "wrong").status_code == 401  # and starts anew


@pytest.mark.parametrize(
    "body", [b"", b"[]", b"null", b"{", b'{"name": ["lead"], "password": {"a": 1}}', b"x" * 30_000]
)
def test_a_body_that_is_no_sign_in_is_refused_like_a_wrong_password(site, body):
    answer = site.client().post("/sign-in", data=body, content_type="application/json")

    assert (answer.status_code, answer.json) == (401, {"says": WRONG})
