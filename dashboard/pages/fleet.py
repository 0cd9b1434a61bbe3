"""The fleet: what moves where among the lines of many sites, each number a way to what it rests on."""

from dataclasses import replace
from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard.ids import Fleet, Shell
from dashboard.pages.choices import choices
from dashboard.parts import aria, kept, link, page_name
from dashboard.queries import Queries
from dashboard.urls import FLEET, FleetView
from dashboard.views.fleet import Cell, FleetPage, Head

ARROWS = {"ascending": " \N{UPWARDS ARROW}", "descending": " \N{DOWNWARDS ARROW}", "": ""}


def at(queries: Queries, search: str) -> html.Div:
    """Return the page at an address."""
    page = queries.fleet(FleetView.from_search(search))
    return html.Div(
        kept(
            page_name("Fleet"),
            html.P("What moves where: the same monitor over the lines of every site.", className="lead"),
            finder(page.find) if not page.problem else None,
            html.Div(body(page), id=Fleet.BODY, className="fleet-body"),
        ),
        className="fleet-page",
    )


def finder(words: str) -> html.Div:
    """Return where a name is looked for."""
    return html.Div(
        [
            html.Label("Site, line, check or position", htmlFor=Fleet.FIND, className="label"),
            dcc.Input(id=Fleet.FIND, type="text", value=words, maxLength=200, autoComplete="off", className="text"),
            html.Button("Find", id=Fleet.FINDER, type="button", className="button", n_clicks=0),
        ],
        role="search",
        className="field fleet-finder",
    )


def body(page: FleetPage) -> list[Any]:
    """Return what an address changes."""
    if page.problem:
        return [html.P(page.problem, className="fleet-problem", role="status")]
    return kept(
        html.P(page.summary, className="fleet-summary"),
        html.P(link(page.unread.words, page.unread.href), className="notice") if page.unread else None,
        choices(page.parts, "Parts of the fleet"),
        narrowed(page) if page.narrowed else None,
        table(page) if page.rows else html.P(page.nothing, className="nothing", role="status"),
        turning(page) if page.before or page.after else None,
        html.Ul([html.Li(words) for words in page.notes], className="fleet-notes"),
    )


def narrowed(page: FleetPage) -> html.Nav:
    """Return what the page is narrowed to; each is a way to take it away."""
    taken = [
        link(
            [
                each.words,
                html.Span(" \N{MULTIPLICATION SIGN}", **aria(hidden="true")),
                html.Span(", take away", className="unseen"),
            ],
            each.href,
            "button",
        )
        for each in page.narrowed
    ]
    return html.Nav([html.Span("Only "), *taken], className="buttons", **aria(label="Narrowed to"))


def table(page: FleetPage) -> html.Div:
    """Return the rows; the table scrolls sideways, and by keyboard, where the screen is narrower."""
    numbers = [head.number for head in page.heads]
    rows = [html.Tr([cell(each, i < page.names, numbers[i]) for i, each in enumerate(row)]) for row in page.rows]
    return html.Div(
        html.Table(
            [html.Caption(page.caption), html.Thead(html.Tr([head(each) for each in page.heads])), html.Tbody(rows)]
        ),
        className="table fleet-table",
        role="region",
        tabIndex=0,
        **aria(label=page.caption),
    )


def head(each: Head) -> html.Th:
    """Return the head of a column, by which the rows can be sorted."""
    said = [each.words, html.Span(ARROWS[each.order], **aria(hidden="true"))]
    return html.Th(
        link(said, each.href) if each.href else each.words,
        scope="col",
        className="number" if each.number else "",
        **(aria(sort=each.order) if each.order else {}),
    )


def cell(each: Cell, names: bool, number: bool) -> Any:
    """Return a cell: its words lead to what they rest on, and a bar beside them shows how much of the largest it is."""
    words: Any = link(each.words, each.href) if each.href else each.words
    said = kept(
        words,
        html.Span(className="fleet-bar", style={"--share": f"{100 * each.bar:.0f}%"}, **aria(hidden="true"))
        if each.bar is not None
        else None,
    )
    of = "number" if number else ""
    return html.Th(said, scope="row", className=of) if names else html.Td(said, className=of)


def turning(page: FleetPage) -> html.Nav:
    """Return the ways to the rows before and after."""
    return html.Nav(
        kept(
            link("Rows before", page.before, "button") if page.before else None,
            link("More rows", page.after, "button") if page.after else None,
        ),
        className="buttons",
        **aria(label="Pages of rows"),
    )


def register(app: Dash, queries: Queries) -> None:
    """Follow the address; find a name."""

    @app.callback(
        Output(Fleet.BODY, "children"),
        Input(Shell.URL, "search"),
        State(Shell.URL, "pathname"),
        prevent_initial_call=True,
    )
    def follow(search: str, pathname: str) -> Any:
        return body(queries.fleet(FleetView.from_search(search))) if pathname == FLEET else no_update

    @app.callback(
        Output(Shell.URL, "search", allow_duplicate=True),
        Input(Fleet.FINDER, "n_clicks"),
        Input(Fleet.FIND, "n_submit"),
        State(Fleet.FIND, "value"),
        State(Shell.URL, "search"),
        prevent_initial_call=True,
    )
    def find(clicks: int | None, entered: int | None, words: str | None, search: str) -> Any:
        if not clicks and not entered:
            return no_update
        return replace(FleetView.from_search(search), find=(words or "").strip(), page=1).to_search()
