"""Who asks, and what they may do. Every callback and route that changes something calls `need`, on the server.

`guard` puts the gate before all of it: nobody gets in without a session once the store holds an account, no request of
another site's page is taken, and a change of the store in a request that did not call `need` is refused.
"""

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from ipaddress import ip_address
from typing import Any

from flask import Flask, Response, g, has_request_context, jsonify, request
from werkzeug.http import parse_cookie

from dashboard.attempts import Attempts
from dashboard.pages.sign_in import sign_in_page
from dashboard.queries import Queries, Right, may
from dashboard.queries.accounts import AccountBook, holders_of, standing_in
from dashboard.queries.known import forbid_changes
from dashboard.requests import LONGEST_PATH
from dashboard.sessions import Session, Sessions
from dashboard.urls import SIGN_IN, SIGN_OUT

COOKIE = "board_session"
HERE = "here"
"""What the address of `/live` carries when somebody touched the screen since the last time it was asked."""

OPEN = frozenset({"sign_in", "health", "_dash_assets.static", "dash_assets.static", "/_favicon.ico", "plotly_bundle"})
"""Endpoints that anyone gets: the way in, whether the board is well, files of the program: nothing of the line."""

FROM_HERE = "board.from_here"
"""What the server notes of a request that a program on this very machine made, no proxy in between."""

OPEN_SUITES = "/_dash-component-suites/"

WRONG = "Name and password do not fit, or the account is switched off. Whoever manages accounts can set a new password."
LARGEST = 20_000


log = logging.getLogger(__name__)


class NoRight(Exception):
    """Whoever asks may not do this."""


@dataclass(frozen=True, slots=True)
class Person:
    """Who asks. Without accounts, on this machine alone, nobody is named and everything is allowed."""

    name: str = ""  # "": not known; a form that writes asks for a name then
    role: str = "administrator"
    wall: bool = False  # a wall screen that this person signed in: it may see, and nothing else

    def may(self, right: Right) -> bool:
        """Return whether this person may do something."""
        return may(self.role, right) and (right is Right.SEE or not self.wall)


def person() -> Person:
    """Return who asks."""
    known = g.get("person") if has_request_context() else None
    return known if isinstance(known, Person) else Person()


def need(right: Right) -> Person:
    """Return who asks, and let this request change what that right allows.

    Raises:
        NoRight: they may not do this.
    """
    who = person()
    if not who.may(right):
        if who.wall:
            raise NoRight(f"this is a wall screen, which may see alone; to {right.value}, sign in on it as a person")
        raise NoRight(f"{who.name or 'whoever asks'} ({who.role}) may not {right.value}; {holders_of(right)} may")
    if has_request_context():
        g.asked = (*g.get("asked", ()), right)
    return who


@dataclass(frozen=True, slots=True)
class OwnSession:
    """One screen at which whoever asks is signed in."""

    since: datetime
    seen: datetime
    wall: bool
    here: bool  # this very one


class Gate:
    """What stands before every route of a board."""

    def __init__(self, queries: Queries, sessions: Sessions, clock: Callable[[], datetime]) -> None:
        self.book, self.sessions, self.clock = AccountBook(queries), sessions, clock
        self.attempts = Attempts()
        self.title = queries.settings.title

    def before(self) -> Response | None:
        """Let a request in, or answer it: 403 for another site's page, 401 for who is not signed in."""
        if request.method not in ("GET", "HEAD", "OPTIONS") and not of_this_site(request.environ):
            return refused("Only a page of this board may ask for this.", 403)
        if request.endpoint in OPEN or request.path.startswith(OPEN_SUITES):
            return None
        if request.endpoint == "metrics" and request.environ.get(FROM_HERE):
            return None
        if not self.book.accounts():
            return None
        token = request.cookies.get(COOKIE, "")
        session = self.session(token)
        if session is None:
            return self.sign_in_first()
        if HERE in request.args:
            self.sessions.touched(token, self.clock())
        g.person, g.account = self.person_of(session), session.account
        return None

    def lets_in(self, environ: Mapping[str, Any]) -> bool:
        """Return whether a request may see the board, as the accounts stood a moment ago, and nothing is to be noted.

        Where not, `before` decides: it asks the store itself.
        """
        if environ.get("REQUEST_METHOD") != "GET" and not of_this_site(environ):
            return False
        accounts = self.book.lately()
        if not accounts:
            return True
        token = parse_cookie(str(environ.get("HTTP_COOKIE", ""))).get(COOKIE, "")
        found = self.sessions.find(token, self.clock()) if token else None
        return found is not None and standing_in(accounts, found.name, found.account) is not None

    def session(self, token: str) -> Session | None:
        """Return the session that a token stands for, its account being as it was when it began."""
        found = self.sessions.find(token, self.clock()) if token else None
        if found is not None and self.book.standing(found.name, found.account) is None:
            self.sessions.end(token, self.clock())
            return None
        return found

    def person_of(self, session: Session) -> Person:
        """Return whose session it is."""
        kept = self.book.standing(session.name, session.account)
        return Person(session.name, kept.account.role if kept else "", session.wall)

    def sign_in_first(self) -> Response:
        """Answer who is not signed in: with the page to do so where a page was asked for."""
        if request.method == "GET" and "text/html" in request.headers.get("Accept", ""):
            return page(self.title, 401)
        return refused("Sign in first.", 401)

    def sign_in(self) -> Response:
        """Give a session to whoever knows a name and its password."""
        if request.method == "GET":
            return page(self.title, 200)
        sent = sent_json() if (request.content_length or 0) <= LARGEST else None
        name, password = (str(sent.get(key) or "") if isinstance(sent, dict) else "" for key in ("name", "password"))
        wall = isinstance(sent, dict) and sent.get("wall") is True
        if not self.book.accounts():
            return refused("This board has no accounts; it is open to whoever sits at this machine.", 409)
        now, key, address = self.clock(), " ".join(name.split()).casefold()[:100], place_of(request.remote_addr)
        left = self.attempts.begin(key, address, now)
        if left > 0:
            note("sign-in refused: too many tries")
            answer = refused(f"Too many tries. Try again in {int(left) + 1} s.", 429)
            answer.headers["Retry-After"] = str(int(left) + 1)
            return answer
        kept = self.book.fitting(name, password)
        if kept is None:
            note("sign-in refused: name and password do not fit", self.book.number_of(name))
            return refused(WRONG, 401)
        self.attempts.passed(key, address)
        note("signed in on a wall screen" if wall else "signed in", kept.sequence)
        account, before = kept.account, request.cookies.get(COOKIE, "")
        token = self.sessions.start(account.name, kept.sequence, now, wall=wall, instead_of=before)
        answer = jsonify({"name": account.name, "role": account.role, "wall": wall})
        life = round(self.sessions.lasting.wall.total_seconds()) if wall else None  # None: until the browser ends
        answer.set_cookie(COOKIE, token, max_age=life, httponly=True, samesite="Strict", secure=request.is_secure)
        return answer

    def sign_out(self) -> Response:
        """End the session of whoever asks."""
        note("signed out", g.get("account"))
        self.sessions.end(request.cookies.get(COOKIE, ""), self.clock())
        answer = Response(status=204)
        answer.delete_cookie(COOKIE, httponly=True, samesite="Strict", secure=request.is_secure)
        return answer

    def own_sessions(self) -> tuple[OwnSession, ...]:
        """Return where whoever asks is signed in, oldest first."""
        here = self.sessions.find(request.cookies.get(COOKIE, ""), self.clock())
        found = self.sessions.of(person().name, self.clock()) if here is not None else ()
        return tuple(OwnSession(each.since, each.seen, each.wall, each is here) for each in found)

    def end_others(self) -> int:
        """End every session of whoever asks but this one; return how many there were."""
        note("signed out everywhere else", g.get("account"))
        return self.sessions.end_others(person().name, request.cookies.get(COOKIE, ""), self.clock())


def note(words: str, account: int | None = None) -> None:
    """Write to the log that somebody came, went, or was refused: from where, and by the entry that made the account."""
    told = {"account": account, "address": request.remote_addr, "path": request.path[:LONGEST_PATH]}
    log.info(words, extra={"told": {name: each for name, each in told.items() if each is not None}})


def gate_of(server: Any) -> Gate:
    """Return the gate that stands before a board."""
    found = server.extensions["board_gate"]
    assert isinstance(found, Gate)
    return found


def guard(server: Flask, queries: Queries, sessions: Sessions, clock: Callable[[], datetime]) -> Gate:
    """Put the gate before every route of `server`."""
    gate = Gate(queries, sessions, clock)
    server.extensions["board_gate"] = gate
    server.before_request(gate.before)
    server.register_error_handler(NoRight, no_right)
    server.add_url_rule(SIGN_IN, "sign_in", gate.sign_in, methods=["GET", "POST"])
    server.add_url_rule(SIGN_OUT, "sign_out", gate.sign_out, methods=["POST"])
    if queries.store is not None:
        forbid_changes(queries.store, changes_forbidden)
    return gate


def changes_forbidden() -> None:
    """Refuse a change of the store in a request that did not ask whether its person may make it.

    Raises:
        NoRight: so.
    """
    if has_request_context() and not g.get("asked"):
        raise NoRight("this request did not say what right it needs; nothing was changed")


def no_right(error: Any) -> Response:
    """Answer who may not do what they asked."""
    note("refused: no right", g.get("account"))
    return refused(f"{str(error)[:1].upper()}{str(error)[1:]}.", 403)


def sent_json() -> Any:
    """Return the JSON that was sent; None where it is none, or nested deeper than can be read."""
    try:
        return request.get_json(silent=True)
    except RecursionError:
        return None


def refused(words: str, status: int) -> Response:
    """Return a refusal in words, which nobody keeps a copy of."""
    answer = jsonify({"says": words})
    answer.status_code = status
    answer.headers["Cache-Control"] = "no-store"
    return answer


def page(title: str, status: int) -> Response:
    """Return the page to sign in on."""
    return Response(sign_in_page(title), status, mimetype="text/html", headers={"Cache-Control": "no-store"})


def of_this_site(environ: Mapping[str, Any]) -> bool:
    """Return whether a request comes from a page of this board, or from what is no browser and says nothing of it."""
    host = str(environ.get("HTTP_HOST", ""))
    own = (None, f"http://{host.removesuffix(':80')}", f"https://{host.removesuffix(':443')}")
    if environ.get("HTTP_ORIGIN") not in own:
        return False
    return environ.get("HTTP_SEC_FETCH_SITE", "same-origin") in ("same-origin", "none")


def place_of(address: str | None) -> str:
    """Return what counts as one address: of IPv6 the network, as one machine has many addresses in it."""
    try:
        known = ip_address(address or "")
    except ValueError:
        return address or ""
    return str(known) if known.version == 4 else known.exploded[:19]
