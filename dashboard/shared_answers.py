"""What many screens ask alike is answered once; what asks whether anything changed is answered before all else.

A screen asks several times a second whether anything changed, and at a change all of them ask the same. Three kinds of
requests are therefore answered here, before the rest of the program sees them:

- whether anything changed (`LIVE`);
- callbacks whose answer hangs on what the board knows and on what the screen was told before, never on who asks
  (`SHARED`): made once a version and minute, those who come meanwhile wait for it;
- callbacks of a page of one stream (`OF_A_STREAM`) that had nothing to tell the last time they were asked alike, and of
  whose stream nothing has changed since.

An answer goes only to whom the gate would let in; everything else goes on to the gate itself.
"""

import json
from collections import OrderedDict
from collections.abc import Callable, Iterable
from hashlib import sha256
from io import BytesIO
from threading import Condition
from typing import Any

from dashboard.auth import Gate
from dashboard.ids import Board, Drift, Shell, Stream
from dashboard.queries import Queries
from dashboard.requests import CALLBACK, Application
from dashboard.urls import LIVE, StreamView

SHARED = (f"{Board.TOLD}.data", f"..{Shell.CLOCK}.children...{Shell.ROWS}.children..")
"""Outputs of callbacks whose answers are the same for all who ask alike."""

OF_A_STREAM = (Stream.TOLD, Stream.STATE_TOLD, Stream.FIGURE_TOLD, Drift.FIGURE_TOLD)
"""What a page of one stream was told: each is an output of the callback that tells it."""

MOST_KEPT = 64
MOST_QUIET = 1_000
"""Questions kept that had no answer: four of each page of a stream."""

LARGEST = 100_000
WAITS_SECONDS = 2.0
"""How long a request waits for an answer that another one is making; then it makes its own."""

NOTHING = (b'{"multi":true,"response":{}}', b'{"multi": true, "response": {}}')
"""The answer of a callback of several outputs none of which changes."""

Answer = tuple[str, list[tuple[str, str]], bytes]
"""Status, headers and body."""


class SharedAnswers:
    """Stands before an application."""

    def __init__(self, inner: Application, queries: Queries, gate: Gate) -> None:
        self._inner, self._queries, self._gate = inner, queries, gate
        self._kept: OrderedDict[tuple[object, ...], Answer] = OrderedDict()
        self._quiet: OrderedDict[bytes, tuple[str, Answer]] = OrderedDict()
        self._live: list[tuple[str, str]] | None = None  # headers of an answer to LIVE
        self._making: set[tuple[object, ...]] = set()
        self._turn = Condition()

    def __call__(self, environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        """Answer a request, or let the application do it."""
        method, path = environ.get("REQUEST_METHOD"), environ.get("PATH_INFO")
        if method == "GET" and path == LIVE and not environ.get("QUERY_STRING"):
            return self._whether_changed(environ, start)
        if method == "POST" and path == CALLBACK:
            body = body_of(environ)
            asked = asked_in(body) if body else None
            if asked is not None and self._gate.lets_in(environ):
                output = asked["output"]
                if output in SHARED:
                    return self._shared(environ, start, body)
                if any(f"{told}.data" in output for told in OF_A_STREAM):
                    return self._of_a_stream(environ, start, asked)
        return self._inner(environ, start)

    def _whether_changed(self, environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        if not self._gate.lets_in(environ):
            return self._inner(environ, start)
        if self._live is None:  # the application says once what goes with it
            answer = self._made(environ)
            if answer[0].startswith("200"):
                self._live = [(name, value) for name, value in answer[1] if name.lower() != "content-length"]
            return told(answer, start)
        body = json.dumps(self._queries.live()).encode()
        return told(("200 OK", [*self._live, ("Content-Length", str(len(body)))], body), start)

    def _shared(self, environ: dict[str, Any], start: Callable[..., Any], body: bytes) -> Iterable[bytes]:
        snapshot = self._queries.snapshot
        minute = int(self._queries.now_of(snapshot).timestamp() // 60)
        key = (sha256(body).digest(), environ.get("HTTP_ACCEPT_ENCODING", ""), snapshot.version, minute)
        with self._turn:
            self._turn.wait_for(lambda: key not in self._making, WAITS_SECONDS)
            found = self._kept.get(key)
            if found is None:
                self._making.add(key)
        if found is not None:
            return told(found, start)
        try:
            answer = self._made(environ)
            if may_be_kept(answer):
                with self._turn:
                    self._kept[key] = answer
                    while len(self._kept) > MOST_KEPT:
                        self._kept.popitem(last=False)
        finally:
            with self._turn:
                self._making.discard(key)
                self._turn.notify_all()
        return told(answer, start)

    def _of_a_stream(
        self, environ: dict[str, Any], start: Callable[..., Any], asked: dict[str, Any]
    ) -> Iterable[bytes]:
        """Answer that there is nothing to tell, where there was nothing when it was asked alike before."""
        sent = {f"{each['id']}.{each['property']}": each.get("value") for each in asked["places"]}
        view = StreamView.from_search(str(sent.get(f"{Shell.URL}.search") or ""))
        stamp = stamp_of(self._queries, view, asked["output"])
        del sent[f"{Shell.LIVE}.data"]  # asks, and says nothing
        question = sha256(json.dumps([asked["output"], asked["moved"], sent]).encode()).digest()
        found = self._quiet.get(question)
        if found is not None and found[0] == stamp:
            return told(found[1], start)
        answer = self._made(environ)
        if tells_nothing(answer) and may_be_kept(answer):
            with self._turn:
                self._quiet.pop(question, None)
                self._quiet[question] = stamp, answer
                while len(self._quiet) > MOST_QUIET:
                    self._quiet.popitem(last=False)
        return told(answer, start)

    def _made(self, environ: dict[str, Any]) -> Answer:
        """Return what the application answers."""
        said: list[tuple[str, list[tuple[str, str]]]] = []
        written: list[bytes] = []

        def begin(status: str, headers: list[tuple[str, str]], *more: Any) -> Callable[[bytes], Any]:
            said.append((status, headers))
            return written.append

        parts = self._inner(environ, begin)
        try:
            written += parts
        finally:
            if hasattr(parts, "close"):
                parts.close()
        return *said[-1], b"".join(written)


def told(answer: Answer, start: Callable[..., Any]) -> Iterable[bytes]:
    """Give an answer to the server."""
    status, headers, body = answer
    start(status, list(headers))
    return [body]


def tells_nothing(answer: Answer) -> bool:
    """Return whether the answer of a callback changes nothing on the screen."""
    status, _, body = answer
    return status[:3] == "204" or (status[:3] == "200" and body.strip() in NOTHING)


def may_be_kept(answer: Answer) -> bool:
    """Return whether an answer is one for all: what a browser is to remember is for one alone."""
    return answer[0][:3] in ("200", "204") and not any(name.lower() == "set-cookie" for name, _ in answer[1])


def body_of(environ: dict[str, Any]) -> bytes:
    """Return the body of a request, which can be read again after; b"" where it is none of a page that follows."""
    try:
        length = int(environ.get("CONTENT_LENGTH") or 0)
    except ValueError:
        return b""
    if not 0 < length < LARGEST or "json" not in environ.get("CONTENT_TYPE", ""):
        return b""
    body: bytes = environ["wsgi.input"].read(length)
    environ["wsgi.input"] = BytesIO(body)
    return body


def asked_in(body: bytes) -> dict[str, Any] | None:
    """Return what a body asks for at a change of `Shell.LIVE`; None where it is of another form, or asks otherwise."""
    try:
        sent = json.loads(body)
        output, moved = sent["output"], sent["changedPropIds"]
        places = [*sent["inputs"], *sent.get("state", ())]
        names = {(each["id"], each["property"]) for each in places}
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    if not isinstance(output, str) or moved != [f"{Shell.LIVE}.data"] or (Shell.LIVE, "data") not in names:
        return None
    return {"output": output, "moved": moved, "places": places}


def stamp_of(queries: Queries, view: StreamView, output: str) -> str:
    """Return a text that changes when what a callback of a page of one stream tells may have changed."""
    if f"{Drift.FIGURE_TOLD}.data" in output:
        return queries.part_stamp(view)
    if f"{Stream.STATE_TOLD}.data" in output:
        return f"{queries.stamp(view)} {queries.minute_stamp(view)}"
    return queries.stamp(view)
