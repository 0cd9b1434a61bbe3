"""The rows that could not be read, each with its reason, and what was decided in reading the others."""

from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard.ids import Rows, Shell
from dashboard.parts import page_name, table
from dashboard.queries import Queries
from dashboard.views import RowsPage


def at(queries: Queries, search: str) -> html.Div:
    """Return the page as of now."""
    return layout(queries.rows())


def layout(page: RowsPage) -> html.Div:
    """Return the page."""
    return html.Div(
        [page_name("Rows read"), html.Div(body(page), id=Rows.TABLE), dcc.Store(id=Rows.TOLD, data=page.counted)],
        className="rows-page",
    )


def body(page: RowsPage) -> list[Any]:
    """Return what changes as rows arrive."""
    return [
        html.P(page.file, className="file"),
        html.P(page.counted),
        quarantine(page) if page.rows else html.P("Every row could be read.", className="nothing"),
        html.H2("Decided in reading"),
        html.Ul([html.Li(note) for note in page.notes]) if page.notes else html.P("Nothing was converted."),
    ]


def quarantine(page: RowsPage) -> html.Div:
    """Return the table of quarantined rows, the latest first."""
    rows = [
        html.Tr([html.Td(file), html.Td(row), html.Td(column), html.Td(html.Code(text)), html.Td(reason)])
        for file, row, column, text, reason in page.rows
    ]
    return table(
        "Quarantined rows: kept out of every chart until they are corrected in the log",
        ("File", "Row", "Column", "As written", "What is wrong and what to do"),
        rows,
        "quarantine",
    )


def register(app: Dash, queries: Queries) -> None:
    """Keep an open page up to date."""

    @app.callback(
        Output(Rows.TABLE, "children"),
        Output(Rows.TOLD, "data"),
        Input(Shell.LIVE, "data"),
        State(Rows.TOLD, "data"),
        prevent_initial_call=True,
    )
    def tell(live: dict[str, int] | None, told: str) -> Any:
        page = queries.rows()
        return (body(page), page.counted) if page.counted != told else (no_update, no_update)
