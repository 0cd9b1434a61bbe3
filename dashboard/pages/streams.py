"""The way into the drift room: every stream, those that need a person first."""

from typing import Any

from dash import Dash, Input, Output, State, html, no_update
from dash.dcc import Store

from dashboard.ids import Shell, Streams
from dashboard.parts import kept, link, page_name, state_mark
from dashboard.queries import Queries
from dashboard.views.drift import StreamRow, StreamsPage


def at(queries: Queries, search: str) -> html.Div:
    """Return the page as of now."""
    page = queries.streams()
    return html.Div(
        [
            page_name("Drift room"),
            html.P("One stream in depth: choose it. Those that need a person stand first.", className="lead"),
            html.Div(lists(page), id=Streams.LIST),
            Store(id=Streams.TOLD, data=repr(page)),
        ],
        className="streams-page",
    )


def lists(page: StreamsPage) -> list[Any]:
    """Return the streams."""
    if not page.lines:
        return [html.P("No reading in this log yet. The first row that arrives shows here.", className="nothing")]
    return kept(
        html.Section([html.H2("Needs a person"), rows(page.urgent)]) if page.urgent else None,
        *[html.Section([html.H2(name), rows(own)]) for name, own in page.lines],
    )


def rows(found: tuple[StreamRow, ...]) -> html.Ul:
    """Return streams, each a link."""
    return html.Ul([html.Li(row(each), className=f"stream-row tile-{each.state}") for each in found], className="rows")


def row(each: StreamRow) -> list[Any]:
    """Return one stream: its state, its name, its last reading, what is so."""
    return [
        html.P(state_mark(each.state), className="row-state"),
        html.H3(
            link(kept(each.title, html.Span(f" {each.position}", className="position"), own_line(each)), each.href)
        ),
        html.P([html.Span(each.value, className="row-value"), html.Span(f" {each.unit}", className="unit")]),
        html.P(each.says, className="row-says"),
        html.P(f"{each.taken} · {each.age}", className="row-taken"),
    ]


def own_line(each: StreamRow) -> html.Span | None:
    """Return the line of a stream, where streams of several lines stand together."""
    return html.Span(f" · {each.line}", className="position") if each.line else None


def register(app: Dash, queries: Queries) -> None:
    """Follow the log."""

    @app.callback(
        Output(Streams.LIST, "children"),
        Output(Streams.TOLD, "data"),
        Input(Shell.LIVE, "data"),
        State(Streams.TOLD, "data"),
        prevent_initial_call=True,
    )
    def tell(live: dict[str, int] | None, told: str | None) -> Any:
        page = queries.streams()
        return (no_update, no_update) if repr(page) == told else (lists(page), repr(page))
