"""One failed check: what is in doubt since the last good one, what that obliges, what was done, and by whom."""

from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update
from flask import Response, abort, request

from dashboard.auth import NoRight, need, person
from dashboard.ids import Record, Shell
from dashboard.pages.record import figure
from dashboard.parts import aria, facts, kept, link, named_list, page_name, state_mark, table
from dashboard.queries import Queries, Right, SetupError, SpcError
from dashboard.queries.record_windows import (
    OvertakenError,
    right_of,
    step_form,
    steps_written,
    window_figure,
    window_page,
    window_stamp,
    write_window_step,
)
from dashboard.queries.window_report import WINDOW_FORMS, window_report
from dashboard.urls import WINDOW, WINDOW_FILE, WindowView
from dashboard.views.record import StepForm, StepRow, WindowPage

CAUTION = (
    "This page tells when, not which parts. It accepts and rejects nothing: which parts were affected, and what "
    "becomes of them, the responsible Level 3 and the customer decide by the written procedure."
)


def at(queries: Queries, search: str | None) -> html.Div:
    """Return the page while what the address names is looked up."""
    waiting = [page_name("Failed check"), html.P("Looking it up ...", className="nothing", role="status")]
    return html.Div(waiting, id=Record.WINDOW, className="record-page")


def whole(queries: Queries, view: WindowView) -> list[Any]:
    """Return all of the page."""
    page = window_page(queries, queries.memory, view)
    who = person()
    form = step_form(queries, queries.memory, view, who.name, who.may)
    return kept(
        html.P(link("\N{LEFTWARDS ARROW} All failed checks", page.back, "button"), className="record-back"),
        page_name(page.title),
        html.Div(body(page), id=Record.BODY, className="record-window"),
        html.Div(form_of(form), id=Record.FORM, className="on-screen") if form is not None else None,
        html.P("", id=Record.SAID, role="status", className="said"),
        dcc.Store(id=Record.REPLY),
        figure(Record.COURSE, page.figure) if page.figure else None,
        files(page),
        dcc.Store(id=Record.TOLD, data=window_stamp(queries, queries.memory, view)),
    )


def body(page: WindowPage) -> list[Any]:
    """Return what is known of the failed check, which changes as others write."""
    if not page.found:
        return [html.P(page.notice, className="nothing")]
    return kept(
        html.P([state_mark(page.state, page.state_words), html.Span(page.whose, className="whose")]),
        html.P(page.doubt, className="record-doubt") if page.doubt else None,
        html.P(page.notice, className="record-notice") if page.notice else None,
        html.P(CAUTION, className="note"),
        html.Div(
            kept(
                html.Section([html.H2("What is in doubt"), facts(page.facts)]),
                html.Section(
                    kept(
                        named_list("What it obliges", page.obliges, "record-list", html.H2),
                        named_list("Missing before it can be closed", page.lacks, "record-list", html.H2),
                    )
                )
                if page.obliges or page.lacks
                else None,
            ),
            className="record-two",
        ),
        written(page),
        html.Nav(
            [link(each.words, each.href, "button") for each in page.ways],
            className="buttons on-screen",
            **aria(label="Evidence"),
        )
        if page.ways
        else None,
    )


def files(page: WindowPage) -> html.Section | None:
    """Return the evidence of this failed check as files, for an auditor."""
    if not page.files:
        return None
    links = [html.A(words, href=href, className="button", download="") for words, href in page.files]
    says = "What failed, what is in doubt, the readings around it, and every step with who wrote it and when."
    return html.Section(
        [
            html.H2("For an auditor"),
            html.P(says),
            html.Nav(links, className="buttons", **aria(label="Evidence as a file")),
        ],
        className="on-screen",
    )


def written(page: WindowPage) -> html.Section:
    """Return what was written down."""
    said: Any = html.P("Nothing yet.", className="nothing")
    if page.steps:
        said = table(
            "Steps in the order written; none is ever changed",
            ("What", "In words", "By", "When"),
            [*map(step, page.steps)],
        )
    return html.Section([html.H2("Written down"), said])


def step(each: StepRow) -> html.Tr:
    """Return one step."""
    cells = [html.Td(words) for words in (each.words, each.by, each.at)]
    return html.Tr([html.Th(each.what, scope="row"), *cells])


def form_of(form: StepForm, words: str = "") -> html.Section:
    """Return what can be written down, or why nothing can be; `words` stand in it already."""
    heading = html.H2("Write down what was done")
    if form.why_not:
        return html.Section([heading, html.P(form.why_not, className="nothing")], className="write")
    remembered: Any = {"persistence": True, "persistence_type": "local"}
    return html.Section(
        kept(
            heading,
            html.Div(
                [
                    html.P("What it is", className="label", **aria(hidden="true")),
                    html.Div(
                        [html.Button(words, **pressed(kind, form.chosen)) for kind, words in form.kinds],
                        role="group",
                        className="record-kinds",
                        **aria(label="What it is"),
                    ),
                    dcc.Store(id=Record.KIND, data=form.chosen),
                ],
                className="field",
            ),
            html.Div(
                [
                    html.Label(
                        ["In words", html.Span(" who, what, how many; it cannot be changed later", className="hint")],
                        htmlFor=Record.WORDS,
                        className="label",
                    ),
                    dcc.Textarea(id=Record.WORDS, value=words, className="words", rows=3),
                ],
                className="field",
            ),
            html.Div(
                [
                    html.Label(
                        [
                            "Your name",
                            html.Span(" goes with what you write; remembered on this device", className="hint"),
                        ],
                        htmlFor=Record.WHO,
                        className="label",
                    ),
                    dcc.Input(id=Record.WHO, value="", type="text", className="text", autoComplete="off", **remembered),
                ],
                className="field",
                hidden=not form.asks_name,
            ),
            html.P(form.says, className="note") if form.says else None,
            html.Div(
                html.Button(
                    "Keep it in the record", id=Record.KEEP, type="button", className="button button-do", n_clicks=0
                ),
                className="buttons",
            ),
            dcc.Store(id=Record.SEEN, data=form.seen),
        ),
        className="write",
    )


def pressed(kind: str, chosen: str) -> dict[str, Any]:
    """Return what the browser needs to know of a button that says what is written down."""
    on = "true" if kind == chosen else "false"
    return {"type": "button", "className": "button record-kind", "data-step": kind, "aria-pressed": on}


def register(app: Dash, queries: Queries) -> None:
    """Follow the address, the log and what others write; keep what is written here."""

    @app.callback(
        Output(Record.WINDOW, "children"),
        Input(Shell.URL, "search"),
        State(Shell.URL, "pathname"),
    )
    def show(search: str, pathname: str) -> Any:
        return whole(queries, WindowView.from_search(search)) if pathname == WINDOW else no_update

    @app.callback(
        Output(Record.BODY, "children"),
        Output(Record.TOLD, "data"),
        Input(Shell.LIVE, "data"),
        State(Record.TOLD, "data"),
        State(Shell.URL, "search"),
        prevent_initial_call=True,
    )
    def follow(live: Any, told: str | None, search: str) -> Any:
        view = WindowView.from_search(search)
        stamp = window_stamp(queries, queries.memory, view)
        return (no_update, no_update) if stamp == told else (body(window_page(queries, queries.memory, view)), stamp)

    @app.callback(
        Output(Record.COURSE, "figure"),
        Input(Shell.SCREEN, "data"),
        Input(Record.TOLD, "data"),
        State(Shell.URL, "search"),
    )
    def draw(screen: dict[str, object] | None, told: Any, search: str) -> Any:
        view = WindowView.from_search(search)
        return (window_figure(queries, queries.memory, view, screen) if screen else None) or no_update

    @app.callback(
        Output(Record.REPLY, "data"),
        Input(Record.KEEP, "n_clicks"),
        State(Record.KIND, "data"),
        State(Record.WORDS, "value"),
        State(Record.WHO, "value"),
        State(Record.SEEN, "data"),
        State(Shell.URL, "search"),
        prevent_initial_call=True,
    )
    def keep(
        clicks: int | None, kind: str | None, words: str | None, who: str | None, seen: int | None, search: str
    ) -> Any:
        return reply(queries, search, str(kind or ""), str(words or ""), str(who or ""), seen) if clicks else no_update

    show_replies(app)

    def file(ending: str) -> Response:
        return file_of(queries, request.query_string.decode("utf-8", "replace"), ending)

    app.server.add_url_rule(f"{WINDOW_FILE}<any({', '.join(WINDOW_FORMS)}):ending>", "window_file", file)


def file_of(queries: Queries, search: str, ending: str) -> Response:
    """Return the evidence of a failed check as a file, for whoever may see it."""
    need(Right.SEE)
    try:
        made = window_report(queries, queries.memory, WindowView.from_search(search), ending)
    except SetupError as refused:
        abort(503, str(refused))
    if made is None:
        abort(404, "No check of this stream failed then.")
    name, content = made
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(content, mimetype=WINDOW_FORMS[ending], headers=headers)


def show_replies(app: Dash) -> None:
    """Let the browser say that a step is on its way, and show the reply; what was typed meanwhile stays."""
    call: Any = app.clientside_callback  # it comes without types
    said = Output(Record.SAID, "children", allow_duplicate=True), Output(Record.SAID, "className", allow_duplicate=True)
    call(ClientsideFunction("record", "underWay"), *said, Input(Record.KEEP, "n_clicks"), prevent_initial_call=True)
    call(
        ClientsideFunction("record", "replied"),
        *said,
        Output(Record.BODY, "children", allow_duplicate=True),
        Output(Record.FORM, "children"),
        Output(Record.SEEN, "data", allow_duplicate=True),
        Input(Record.REPLY, "data"),
        prevent_initial_call=True,
    )


def reply(queries: Queries, search: str, kind: str, words: str, who: str, seen: object) -> dict[str, Any]:
    """Keep a step for whoever asks; return what the browser shows of it, where that page is still open."""
    view = WindowView.from_search(search)
    said, how, page, form = kept_or_refused(queries, view, kind, words, who, seen)
    shown = (
        {} if page is no_update else {"body": page, "form": form, "seen": steps_written(queries, queries.memory, view)}
    )
    return {"of": search, "kind": kind, "sent": words, "said": said, "how": how, **shown}


def kept_or_refused(queries: Queries, view: WindowView, kind: str, words: str, who: str, seen: object) -> Any:
    """Keep a step for whoever asks; return what to say, how, and the page as it stands then."""
    number = max(seen, 0) if isinstance(seen, int) and not isinstance(seen, bool) else None
    try:
        asks = need(right_of(kind))
        said = write_window_step(queries, queries.memory, view, kind, words, asks.name or who, number)
        how, left = "kept", ""
    except OvertakenError as refused:
        said, how, left = f"Not kept. {refused}", "refused", words
    except (SpcError, NoRight) as refused:
        return f"Not kept. {str(refused)[:1].upper()}{str(refused)[1:]}", "said said-refused", no_update, no_update
    form = step_form(queries, queries.memory, view, asks.name, asks.may)
    page = window_page(queries, queries.memory, view)
    return said, f"said said-{how}", body(page), form_of(form, left) if form is not None else []
