"""Writing a check down. The page is a frame: the tablet itself fills it, so that it works while the server is away."""

from dataclasses import asdict
from typing import Any

from dash import Dash, html
from flask import Response, jsonify, request

from dashboard.auth import NoRight, need, person, sent_json
from dashboard.ids import Write
from dashboard.parts import aria, page_name
from dashboard.queries import Queries, Right, SpcError
from dashboard.queries.entry import Sent, correct, keep, react, sent
from dashboard.queries.entry_cards import entry_page
from dashboard.urls import WRITE_CARDS, WRITE_CORRECT, WRITE_KEEP, WRITE_REACT

LARGEST_BODY = 8_000
"""Bytes of an entry."""


def at(queries: Queries, search: str) -> html.Div:
    """Return the page; which check is open stands in its address and is read by the tablet."""
    who = person()
    return html.Div(
        [
            page_name("Write down", class_name="unseen"),
            html.Div(
                html.P("Loading the checks of this site.", className="entry-loading"),
                id=Write.ROOT,
                className="entry",
                **data(may="yes" if who.may(Right.WRITE) else "no", role=who.role),
            ),
            html.P("", id=Write.SAID, className="unseen", role="status", **aria(live="polite")),
        ]
    )


def data(**attributes: str) -> dict[str, Any]:
    """Return attributes for the scripts of the page."""
    return {f"data-{name}": words for name, words in attributes.items()}


def register(app: Dash, queries: Queries) -> None:
    """Add what the tablet asks and sends."""

    def cards() -> Response:
        return answered(asdict(entry_page(queries, person().name)))

    def kept() -> Response:
        return taken(lambda body, who: told_of(queries, body, who))

    def reacted() -> Response:
        return taken(lambda body, who: {"state": "kept", "says": react(queries, body, who)})

    def corrected() -> Response:
        return taken(lambda body, who: {"state": "kept", "says": correct(queries, body, who)})

    app.server.add_url_rule(WRITE_CARDS, "write_cards", cards)
    for path, name, do in (
        (WRITE_KEEP, "write_keep", kept),
        (WRITE_REACT, "write_react", reacted),
        (WRITE_CORRECT, "write_correct", corrected),
    ):
        app.server.add_url_rule(path, name, do, methods=["POST"])


def told_of(queries: Queries, body: Sent, who: str) -> dict[str, Any]:
    """Keep an entry; return what the tablet is told of it."""
    reading, asks = keep(queries, body, who)
    if reading is None:
        return {"state": "asks", "asks": list(asks)}
    return {"state": "kept", "reading": asdict(reading)}


def taken(do: Any) -> Response:
    """Answer a POST, which the gate let in: who may do this, on the server; then what was sent, in its form."""
    try:
        who = need(Right.WRITE)
    except NoRight as error:
        return answered({"state": "no right", "says": f"Not kept: {error}. Sign in as somebody who may."}, 403)
    request.max_content_length = LARGEST_BODY  # for a body that does not tell its length
    if request.mimetype != "application/json" or (request.content_length or 0) > LARGEST_BODY:
        return answered({"state": "refused", "says": "This is no entry: too large, or of another form."}, 413)
    try:
        return answered(do(sent(sent_json()), who.name))
    except SpcError as error:
        return answered({"state": "refused", "says": str(error)}, 422)


def answered(body: dict[str, Any], status: int = 200) -> Response:
    """Return an answer that nobody keeps a copy of."""
    answer = jsonify(body)
    answer.status_code = status
    answer.headers["Cache-Control"] = "no-store"
    return answer
