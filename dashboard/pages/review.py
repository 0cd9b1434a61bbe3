"""The capability review of a period: what to decide first, then each check with its evidence one click away."""

from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update
from flask import Response, abort, request

from dashboard.auth import need
from dashboard.ids import Reviewed, Shell
from dashboard.parts import aria, in_browser, kept, link, page_name, table
from dashboard.queries import Queries, Right, SetupError, SpcError
from dashboard.queries.review import days_typed, review_file, review_kept, review_page, review_waiting
from dashboard.queries.review_report import FORMS, review_report
from dashboard.urls import REVIEW, REVIEW_FILE, ReviewView
from dashboard.views.review import CheckRow, DecideGroup, MeterRow, ReviewPage, ToDecide, Told, WindowRow

STANDING = (
    "Evidence for those who decide. Capability, intervals and what becomes of parts are for the written procedure, the "
    "customer and the responsible Level 3; nothing here accepts or rejects a part."
)
BEFORE = "review review-before"
MEANWHILE = "Below, until then: the review before."
KINDS = {"csv": "text/csv", **FORMS}
"""Kinds of the files, by their ending."""

SHAPES = {
    "moving": "moving", "moved": "learning", "stable": "calm", "learning": "learning", "judged": "judged",
    "no readings": "idle",
}  # fmt: skip
"""Shape of the mark beside each word of movement."""

HOW = (
    "Stable: no signal in the period. Moved: signals, none of which goes on. Moving: one goes on at the end.",
    "An index is given for a stable stretch alone; it is capable where the lower confidence limit of Ppk reaches the "
    "mark. Otherwise the reason stands there in its place.",
    "Outside: the share of readings outside the acceptance limits, counted, with its 95 % confidence limits.",
)


def at(queries: Queries, search: str) -> html.Div:
    """Return the page: the review that was last worked out for the address, or what is worked out now.

    One that no longer holds is marked as the review before, and the browser asks for the new one.
    """
    view = ReviewView.from_search(search)
    page, holds = review_kept(queries, queries.memory, view) or (None, False)
    words = "" if holds else review_waiting(queries, queries.memory, view)
    wait = f"{words} {MEANWHILE}" if page and not holds else words
    return html.Div(
        [
            html.P(wait, id=Reviewed.WAIT, className="review-wait", role="status", hidden=holds),
            html.Div(
                body(page) if page else page_name("Capability review"),
                id=Reviewed.PAGE,
                className=BEFORE if page and not holds else "review",
                **aria(busy=str(not holds).lower()),
            ),
            dcc.Store(id=Reviewed.SHOWN, data=search if holds else None),
            dcc.Store(id=Reviewed.ASKED),
        ]
    )


def asked(queries: Queries, search: str | None) -> ReviewPage:
    """Return the review of the period that an address names."""
    return review_page(queries, queries.memory, ReviewView.from_search(search))


def body(page: ReviewPage) -> list[Any]:
    """Return what is on the page."""
    if not page.period:
        return [page_name(page.title), html.P(page.notice, className="nothing")]
    as_of = f", beside {page.before}. As of {page.as_of}."
    return kept(
        html.Div(
            [
                page_name(page.title, title=f"{page.title}: {page.period}"),
                html.P([html.Strong(page.period), as_of], className="review-period"),
            ],
            className="review-head",
        ),
        choose(page),
        html.P(page.notice, className="review-notice", role="alert") if page.notice else None,
        html.Div([decide(page), figures(page)], className="review-first"),
        checks(page),
        changes(page),
        failed(page),
        meters(page),
        html.Ul([html.Li(words) for words in page.notes], className="review-notes") if page.notes else None,
        files(page),
        html.P(STANDING, className="note"),
    )


def choose(page: ReviewPage) -> html.Section:
    """Return the choice of period and line."""
    days = html.Div(
        [
            day(Reviewed.START, "First day", page.start),
            day(Reviewed.END, "Last day", page.end),
            html.Button("Review these days", id=Reviewed.SHOW, type="button", className="button", n_clicks=0),
        ],
        className="review-days",
    )
    return html.Section(
        kept(
            html.Nav(buttons(page.months), className="buttons", **aria(label="Months and years")),
            html.Nav(
                [html.Span("Up to the last reading: ", className="review-up-to"), *buttons(page.lengths)],
                className="buttons",
                **aria(label="Length of the period"),
            ),
            days,
            html.Nav(buttons(page.lines), className="buttons", **aria(label="Line")) if len(page.lines) > 2 else None,
        ),
        className="review-choose",
        **aria(label="Period and line"),
    )


def files(page: ReviewPage) -> html.Nav:
    """Return the files of this review."""
    links = [html.A(words, href=href, className="button", download="") for words, href in page.files]
    return html.Nav(links, className="buttons", **aria(label="Files of this review"))


def buttons(found: tuple[tuple[str, str, bool], ...]) -> list[Any]:
    """Return links of which one is shown."""
    return [
        link([words, html.Span(", shown", className="unseen")] if on else words, href, f"button{' button-on' * on}")
        for words, href, on in found
    ]


def day(own: str, label: str, value: str) -> html.Div:
    """Return a field for a day, which shows how days are typed here."""
    field = dcc.Input(
        id=own,
        type="text",
        value=value,
        placeholder=value,
        maxLength=10,
        autoComplete="off",
        className="review-input",
    )
    return html.Div([html.Label(label, htmlFor=own), field], className="review-day")


def decide(page: ReviewPage) -> html.Section:
    """Return what to decide, first things first."""
    found: list[Any] = [group(each) for each in page.groups]
    return html.Section(
        [
            html.H2("To decide, first things first"),
            *(found or [html.P("Nothing needs a decision.", className="nothing")]),
        ],
        className="review-decide",
    )


def group(each: DecideGroup) -> Any:
    """Return what there is to decide of one kind."""
    items = html.Ol([html.Li(item(one)) for one in each.items])
    name = each.title if len(each.items) == 1 else f"{each.title} ({len(each.items)})"
    class_name = f"review-group review-{each.kind.replace(' ', '-')}"
    if each.folded:
        return html.Details([html.Summary(html.H3(name)), items], className=class_name)
    return html.Div([html.H3(name), items], className=class_name)


def item(one: ToDecide) -> list[Any]:
    """Return one thing to decide, with where to look first."""
    words = link(one.words, one.href) if one.href else one.words
    look = f"Look first: {'; '.join(one.look_first)}." if one.look_first else ""
    return kept(html.P(words), html.P(look, className="review-look") if look else None)


def figures(page: ReviewPage) -> html.Section:
    """Return the numbers of the period beside those of the period before."""
    return html.Section(
        [html.H2("In numbers"), html.Dl([told(each) for each in page.numbers], className="review-numbers")],
        className="review-figures",
    )


def told(each: Told) -> html.Div:
    """Return one number."""
    return html.Div(
        [
            html.Dt(html.A(each.name, href=each.href) if each.href.startswith("#") else link(each.name, each.href)),
            html.Dd([html.Strong(each.value), html.Span(f" before: {each.before}", className="review-before")]),
        ]
    )


def checks(page: ReviewPage) -> html.Section:
    """Return every check of the review."""
    heads = ("Check", "Stability", "Capability", "Outside", "On time", "Failed", "Windows", "Limits")
    several = len({row.line for row in page.rows}) > 1
    rows = [check(row, several=several) for row in page.rows]
    return html.Section(
        [
            html.H2("Every check", id=Reviewed.CHECKS),
            table(f"Every check, {page.period}; the period before in small letters", heads, rows, "review-table"),
            html.Details([html.Summary("What the words mean"), html.Ul([html.Li(words) for words in HOW])]),
        ]
    )


def check(row: CheckRow, *, several: bool) -> html.Tr:
    """Return one check."""
    name = f"{row.line}: {row.name}" if several else row.name
    mark = html.Span(className=f"shape shape-{SHAPES[row.movement]}", **aria(hidden="true"))
    capability = row.capability or "judged by words"
    word = html.Span(capability, className=f"capable capable-{capability.replace(' ', '-')}")
    return html.Tr(
        [
            html.Th([link(name, row.href), small(row.n)], scope="row"),
            html.Td([mark, " ", row.movement_words], className=f"review-moves review-moves-{row.movement[:4]}"),
            html.Td(kept(word, small(row.index or row.why) if row.index or row.why else None)),
            html.Td(row.outside),
            html.Td([link(row.on_time, row.on_time_href), small(f"before: {row.on_time_before}")]),
            html.Td([to_windows(row.failures), small(f"before: {row.failures_before}")]),
            html.Td(to_windows(row.windows)),
            html.Td(small(row.limits)),
        ]
    )


def to_windows(words: str) -> Any:
    """Return a count of failed checks as the way to their list; a count of none as it is."""
    return html.A(words, href=f"#{Reviewed.WINDOWS}") if words[:1] in "123456789" else words


def small(words: str) -> html.Span:
    """Return words below others."""
    return html.Span(words, className="review-small")


def changes(page: ReviewPage) -> html.Section:
    """Return what is different from the period before."""
    said: Any = html.P("Nothing to tell.", className="nothing")
    if page.changes:
        said = html.Ul([html.Li(words) for words in page.changes], className="review-changes")
    return html.Section([html.H2(f"Changed since {page.before}"), said])


def failed(page: ReviewPage) -> html.Section:
    """Return the failed checks with what they leave open."""
    heads = ("Check", "Failed", "Read", "Last good check", "In operation between", "Passed again", "Record")
    said: Any = html.P("No check failed in this period.", className="nothing")
    if page.windows:
        said = table(f"Failed checks, {page.period}, latest first", heads, [window(each) for each in page.windows])
    share = "An exposure window runs from the last good check to the failed one. Checks that fail one after the other, "
    share += "before one passes, share a window, so windows may be fewer than failed checks."
    heading = html.H2("Failed checks and exposure windows", id=Reviewed.WINDOWS)
    return html.Section([heading, html.P(share, className="note"), said] if page.windows else [heading, said])


def window(each: WindowRow) -> html.Tr:
    """Return one failed check."""
    record = html.Td(each.record, className="" if each.settled else "review-open")
    cells = (each.failed_at, each.failed, each.last_good, each.exposed, each.passed)
    return html.Tr([html.Th(link(each.name, each.href), scope="row"), *(html.Td(words) for words in cells), record])


def meters(page: ReviewPage) -> html.Section:
    """Return the instruments with their calibrations."""
    heads = ("Instrument", "State", "Last calibration", "Due", "Used for")
    said: Any = html.P("No instrument is named in this log.", className="nothing")
    if page.meters:
        said = table("Instruments and calibrations, as of now", heads, [meter(each) for each in page.meters])
    return html.Section([html.H2("Instruments", id=Reviewed.METERS), said])


def meter(each: MeterRow) -> html.Tr:
    """Return one instrument."""
    state = html.Td(each.state, className="review-open" if each.state == "overdue" else "")
    return html.Tr([html.Th(each.name, scope="row"), state, html.Td(each.last), html.Td(each.due), html.Td(each.used)])


def register(app: Dash, queries: Queries) -> None:
    """Follow the days that are written, and hand out the table."""

    in_browser(
        app,
        "asked",
        Output(Reviewed.ASKED, "data"),
        Input(Shell.URL, "search"),
        State(Reviewed.SHOWN, "data"),
        of="review",
    )

    @app.callback(
        Output(Reviewed.PAGE, "children"),
        Output(Reviewed.SHOWN, "data"),
        Input(Reviewed.ASKED, "data"),
        State(Shell.URL, "pathname"),
        running=[
            (Output(Reviewed.WAIT, "hidden"), False, True),
            (Output(Reviewed.PAGE, "className"), BEFORE, "review"),
            (Output(Reviewed.PAGE, "aria-busy"), "true", "false"),
        ],
        prevent_initial_call=True,
    )
    def follow(search: str | None, pathname: str) -> Any:
        there = pathname == REVIEW and search is not None
        return (body(asked(queries, search)), search) if there else (no_update, no_update)

    @app.callback(
        Output(Reviewed.WAIT, "children"),
        Input(Shell.URL, "search"),
        State(Shell.URL, "pathname"),
        prevent_initial_call=True,
    )
    def wait(search: str, pathname: str) -> Any:
        view = ReviewView.from_search(search)
        return f"{review_waiting(queries, queries.memory, view)} {MEANWHILE}" if pathname == REVIEW else no_update

    @app.callback(
        Output(Shell.URL, "search", allow_duplicate=True),
        Input(Reviewed.SHOW, "n_clicks"),
        State(Reviewed.START, "value"),
        State(Reviewed.END, "value"),
        State(Shell.URL, "search"),
        prevent_initial_call=True,
    )
    def show(clicks: int | None, start: str | None, end: str | None, search: str) -> Any:
        view = days_typed(ReviewView.from_search(search), start or "", end or "")
        return view.to_search() if clicks else no_update

    def file(ending: str) -> Response:
        need(Right.SEE)
        view = ReviewView.from_search(request.query_string.decode("utf-8", "replace"))
        try:
            made = content_of(queries, view, ending)
        except SpcError as refused:
            abort(503 if isinstance(refused, SetupError) else 404, str(refused))
        if made is None:
            abort(404, "There is nothing to review in this log.")
        name, content = made
        return Response(
            content,
            mimetype=KINDS[ending],
            headers={"Content-Disposition": f'attachment; filename="{name}"'},
        )

    app.server.add_url_rule(f"{REVIEW_FILE}<any({', '.join(KINDS)}):ending>", "review_file", file)


def content_of(queries: Queries, view: ReviewView, ending: str) -> tuple[str, bytes] | None:
    """Return name and content of a file of the review; None where there is nothing to review."""
    if ending != "csv":
        return review_report(queries, queries.memory, view, ending)
    made = review_file(queries, queries.memory, view)
    return None if made is None else (made[0], made[1].encode("utf-8-sig"))
