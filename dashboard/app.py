"""The dashboard: `create_app(queries)` builds all of it; nothing is read at import."""

from dataclasses import dataclass
from functools import cache
from typing import Any, Protocol

from dash import Dash, Input, Output, State, dcc, html
from flask import Response, abort, jsonify, request
from werkzeug.exceptions import HTTPException

from dashboard.auth import guard, person
from dashboard.callback_body import hold_to_form
from dashboard.delivery import bundle_address, deliver
from dashboard.health import add_health
from dashboard.ids import Shell
from dashboard.pages import (
    accounts,
    board,
    entry,
    fleet,
    record,
    record_window,
    review,
    rows,
    setup_sample,
    stream,
    streams,
    study,
)
from dashboard.pages.sign_in import problem_page
from dashboard.parts import aria, kept, link, page_name, standing_cautions
from dashboard.queries import Queries
from dashboard.requests import Measures
from dashboard.sessions import Sessions
from dashboard.shared_answers import SharedAnswers
from dashboard.urls import (
    ACCOUNTS,
    BOARD,
    FLEET,
    LIVE,
    RECORD,
    REVIEW,
    ROWS,
    SETUP,
    STREAM,
    STREAM_CSV,
    STREAMS,
    STUDY,
    WINDOW,
    WRITE,
    StreamView,
)
from dashboard.views import Header

INDEX = """<!DOCTYPE html>
<html lang="en">
    <head>
        {%metas%}
        <title>{%title%}</title>
        {%favicon%}
        {%css%}
    </head>
    <body>
        <noscript>This board needs JavaScript, all of it from this server alone.</noscript>
        {%app_entry%}
        {%config%}
        {%scripts%}
        {%renderer%}
    </body>
</html>"""

BYTE_ORDER_MARK = "\N{ZERO WIDTH NO-BREAK SPACE}"
"""Leads a file so that spreadsheets read it as UTF-8."""

EVERY_OTHER_PATH = "/<path:path>"
"""Dash answers every path it does not know with its page, and with 200."""


class Page(Protocol):
    """A page: a module of dashboard/pages."""

    def at(self, queries: Queries, search: str) -> html.Div:
        """Return the page at an address; `search` is what stands after and with "?"."""
        ...

    def register(self, app: Dash, queries: Queries) -> None:
        """Add its callbacks."""
        ...


@dataclass(frozen=True, slots=True)
class Room:
    """A page and the way to it."""

    path: str
    page: Page
    name: str = ""  # in the way to every room; "": reached from another page


ROOMS: tuple[Room, ...] = (
    Room(BOARD, board, "Board"),
    Room(WRITE, entry, "Write down"),
    Room(SETUP, setup_sample, "Set-up sample"),
    Room(STREAMS, streams, "Drift room"),
    Room(STREAM, stream),
    Room(RECORD, record, "Record"),
    Room(WINDOW, record_window),
    Room(REVIEW, review, "Review"),
    Room(STUDY, study, "Study"),
    Room(FLEET, fleet, "Fleet"),
    Room(ROWS, rows),
    Room(ACCOUNTS, accounts),
)
"""All pages, in the order of the ways to them."""

LOOKS = (("auto", "As this device"), ("dark", "Dark booth"), ("light", "Daylight"))


def create_app(queries: Queries, sessions: Sessions | None = None, measures: Measures | None = None) -> Dash:
    """Return the dashboard on `queries`; without `sessions` they last as long as it runs."""
    app = Dash(
        __name__,
        title=queries.header().title,
        update_title="",
        index_string=INDEX,
        serve_locally=True,
        suppress_callback_exceptions=True,
        add_log_handler=False,
        enable_mcp=False,
        meta_tags=[
            {"name": "viewport", "content": "width=device-width, initial-scale=1"},
            {"name": "color-scheme", "content": "light dark"},
            {"name": "charts", "content": bundle_address()},
        ],
    )
    app.layout = lambda: shell(queries.header())
    deliver(app.server)
    gate = guard(app.server, queries, sessions or Sessions(), queries.clock)
    shared = SharedAnswers(app.server.wsgi_app, queries, gate)
    app.server.wsgi_app = as_the_site_writes(shared, queries)
    register(app, queries)
    for room in ROOMS:
        room.page.register(app, queries)
    add_routes(app, queries)
    hold_to_form(app)
    add_health(app.server, queries, measures or Measures())
    return app


def as_the_site_writes(inner: Any, queries: Queries) -> Any:
    """Return a server that answers every request in the formats of the site."""

    def answer(environ: Any, start: Any) -> Any:
        with queries.in_formats():
            return inner(environ, start)

    return answer


def shell(header: Header) -> html.Div:
    """Return what stays while pages change."""
    return html.Div(
        [
            dcc.Location(id=Shell.URL, refresh=False),
            dcc.Store(id=Shell.LIVE),
            dcc.Store(id=Shell.SCREEN),
            html.A("To the page", href=f"#{Shell.PAGE}", className="skip"),
            html.Header(
                [
                    html.P(link(header.title, BOARD), className="site"),
                    html.P(clock(header), id=Shell.CLOCK, className="clock"),
                    html.P(
                        [html.Span(className="pulse", **aria(hidden="true")), html.Span("", id=Shell.LINK_WORDS)],
                        id=Shell.LINK,
                        className="link",
                        role="status",
                    ),
                    html.P(counts(header), id=Shell.ROWS, className="counts"),
                    *signed_in(),
                ],
                className="top",
            ),
            ways(header),
            html.Main(id=Shell.PAGE, tabIndex=-1),
            standing_cautions(look()),
            html.P("", id=Shell.SAID, className="unseen", **aria(live="polite")),
        ],
        className="shell",
    )


def signed_in() -> list[Any]:
    """Return who is signed in, and the ways to change that; nothing where nobody needs to be."""
    who = person()
    if not who.name:
        return []
    role = "wall screen" if who.wall else who.role
    ways_out = [("change", "Change person"), ("out", "Sign out")]
    return [
        html.Div(
            [
                html.P(link(f"{who.name} ({role})", ACCOUNTS, id=Shell.PERSON)),
                *[html.Button(words, className="button", type="button", **session(what)) for what, words in ways_out],
            ],
            className="person",
        )
    ]


def session(what: str) -> dict[str, Any]:
    """Return what the browser needs to know of a button that changes who is signed in."""
    return {"data-session": what}


def ways(header: Header) -> html.Nav:
    """Return the ways to every room; the browser marks the one that is open."""
    named = [room for room in ROOMS if room.name and (header.fleet or room.path != FLEET)]
    links = [link(room.name, room.path, "way") for room in named]
    return html.Nav(links, id=Shell.WAYS, className="ways", **aria(label="Rooms"))


def clock(header: Header) -> list[Any]:
    """Return when the last reading was taken, and by which clock."""
    return kept(
        "Last reading ",
        html.Strong(header.last_reading),
        html.Span(f" {header.zone}", className="zone"),
        html.Span(f" \N{MIDDLE DOT} {header.clock}", className="demo-clock") if header.clock else None,
        html.Span(f" \N{MIDDLE DOT} {header.formats}", className="formats") if header.formats else None,
    )


def counts(header: Header) -> list[Any]:
    """Return where every row of the log ended."""
    quarantined = f"{header.quarantined} quarantined"
    return kept(
        link(
            [
                html.Span(f"{header.read} rows: {header.accepted} accepted, {header.duplicate} duplicate, "),
                html.Strong(quarantined) if header.any_quarantined else html.Span(quarantined),
                *([html.Strong(f", {header.events_quarantined} of events")] if header.events_quarantined else []),
            ],
            ROWS,
        ),
        html.Span(
            [
                f" · limits of {header.unconfirmed} streams not confirmed",
                html.Span(" for this site", className="for-this-site"),
            ],
            className="unconfirmed",
        )
        if header.unconfirmed
        else None,
    )


def look() -> html.Div:
    """Return the choice between the dark and the light screen; the browser remembers it."""
    buttons = [html.Button(words, type="button", className="button", **look_named(name)) for name, words in LOOKS]
    return html.Div(buttons, id=Shell.LOOK, className="looks", role="group", **aria(label="Look of the screen"))


def look_named(name: str) -> dict[str, Any]:
    """Return what the browser needs to know of a button of the choice."""
    return {"data-look": name, "aria-pressed": "false"}


def register(app: Dash, queries: Queries) -> None:
    """Follow the address and the log from every page."""

    @app.callback(
        Output(Shell.PAGE, "children"),
        Input(Shell.URL, "pathname"),
        State(Shell.URL, "search"),
    )
    def show(pathname: str, search: str) -> Any:
        return page_at(queries, pathname, search)

    @app.callback(
        Output(Shell.CLOCK, "children"),
        Output(Shell.ROWS, "children"),
        Input(Shell.LIVE, "data"),
        prevent_initial_call=True,
    )
    def tell(live: dict[str, int] | None) -> tuple[Any, Any]:
        header = queries.header()
        return clock(header), counts(header)


def page_at(queries: Queries, pathname: str, search: str) -> html.Div:
    """Return the page at an address."""
    room = next((room for room in ROOMS if room.path == pathname), None)
    if room is not None:
        return room.page.at(queries, search)
    words = "Nothing of this board stands at this address; it may be of an earlier version, or cut short when copied."
    missing = [page_name("No such page"), html.P(words), html.P(link("To the board", BOARD, "button"))]
    return html.Div(missing, className="missing")


def add_routes(app: Dash, queries: Queries) -> None:
    """Add what is asked without a page: the state of the log, and files."""

    def live() -> Response:
        answer = jsonify(queries.live())
        answer.headers["Cache-Control"] = "no-store"
        return answer

    def stream_file() -> Response:
        return stream_download(queries, StreamView.from_search(request.query_string.decode("utf-8", "replace")))

    @cache
    def rule() -> str:
        return policy(app)

    def problem(error: HTTPException) -> Any:
        if "text/html" not in request.headers.get("Accept", ""):
            return error
        page = problem_page(queries.header().title, error.description or error.name)
        return Response(page, error.code, mimetype="text/html")

    def finish(answer: Response) -> Response:
        if (
            request.endpoint == EVERY_OTHER_PATH
            and request.path not in {room.path for room in ROOMS}
            and answer.status_code == 200
        ):
            answer.status_code = 404
        answer.headers["X-Content-Type-Options"] = "nosniff"
        answer.headers["Referrer-Policy"] = "same-origin"
        answer.headers["Content-Security-Policy"] = rule()
        return answer

    app.server.add_url_rule(LIVE, "live", live)
    app.server.add_url_rule(STREAM_CSV, "stream_file", stream_file)
    app.server.register_error_handler(HTTPException, problem)
    app.server.after_request(finish)


def stream_download(queries: Queries, view: StreamView) -> Response:
    """Return the readings in view as a file; 404 where there is no such stream."""
    text = queries.csv(view)
    if text is None:
        abort(404, "There is no such stream in this log.")
    words = "-".join(part for part in (view.line, view.check, view.position) if part).lower()
    name = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in words)
    return Response(
        BYTE_ORDER_MARK + text,
        mimetype="text/csv",
        headers={"Content-Disposition": f'attachment; filename="{name.strip("-") or "stream"}.csv"'},
    )


def policy(app: Dash) -> str:
    """Return the rule that keeps every page from asking another host for anything."""
    scripts = " ".join(f"'{digest}'" if not digest.startswith("'") else digest for digest in app.csp_hashes())
    return (
        f"default-src 'self'; script-src 'self' {scripts}; style-src 'self' 'unsafe-inline'; "
        "img-src 'self' data: blob:; object-src 'none'; base-uri 'self'; frame-ancestors 'self'"
    )
