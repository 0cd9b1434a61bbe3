"""One answer for all screens: what many ask alike at one moment is made once.

Only callbacks named here, whose answer hangs on what the board knows and on what the screen was told before, never on
who asks. The gate stands before it: an answer goes only to whoever might have asked for it.
"""

import hashlib
from collections import OrderedDict
from threading import Condition

from flask import Flask, Response, g, request

from dashboard.ids import Board, Shell
from dashboard.queries import Queries
from dashboard.requests import CALLBACK

SHARED = (f'"output":"{Board.TOLD}.data"', f'"output":"..{Shell.CLOCK}.children...{Shell.ROWS}.children.."')
"""How the body of such a callback begins, spaces left out."""

MOST_KEPT = 64
LARGEST = 100_000
WAITS_SECONDS = 2.0
"""How long a request waits for an answer that another one is making; then it makes its own."""


def share_answers(server: Flask, queries: Queries) -> None:
    """Let answers be shared; called after the gate, so that it is asked first."""
    kept: OrderedDict[tuple[object, ...], tuple[int, bytes, str]] = OrderedDict()
    making: set[tuple[object, ...]] = set()
    turn = Condition()

    def before() -> Response | None:
        if request.method != "POST" or request.path != CALLBACK or (request.content_length or LARGEST) >= LARGEST:
            return None
        body = request.get_data()
        if not body[:200].replace(b" ", b"").startswith(tuple(b"{" + each.encode() for each in SHARED)):
            return None
        snapshot = queries.snapshot
        key = (hashlib.sha256(body).digest(), snapshot.version, int(queries.now_of(snapshot).timestamp() // 60))
        with turn:
            turn.wait_for(lambda: key not in making, WAITS_SECONDS)
            found = kept.get(key)
            if found is None:
                making.add(key)
                g.shared_as = key
                return None
        return Response(found[1], found[0], mimetype=found[2])

    def after(answer: Response) -> Response:
        key = g.get("shared_as")
        if key is not None and answer.status_code in (200, 204) and not answer.is_streamed:
            with turn:
                kept[key] = answer.status_code, answer.get_data(), answer.mimetype or "application/json"
                while len(kept) > MOST_KEPT:
                    kept.popitem(last=False)
        return answer

    def made(error: BaseException | None) -> None:
        key = g.pop("shared_as", None)
        if key is not None:
            with turn:
                making.discard(key)
                turn.notify_all()

    server.before_request(before)
    server.after_request(after)
    server.teardown_request(made)
