"""The record: what an audit asks, answered one question at a time."""

from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard.ids import Record, Shell, Stream
from dashboard.pages.choices import choices
from dashboard.parts import aria, chart_place, kept, link, page_name, table
from dashboard.queries import Queries
from dashboard.queries.audited import is_audited
from dashboard.queries.record import record_figure, record_page
from dashboard.urls import METERS, RECORD, RecordView
from dashboard.views.record import LookBackForm, RecordPage, RecordTable

CHART: Any = {"displayModeBar": False, "responsive": False}


def at(queries: Queries, search: str | None) -> html.Div:
    """Return the page: the part that the address names, or what is said while it is looked up."""
    known = is_audited(queries, queries.memory)
    waiting = [page_name("Record"), html.P("Looking it up ...", className="nothing", role="status")]
    return html.Div(
        [
            html.Div(part(queries, search) if known else waiting, id=Record.PAGE, className="record-page"),
            dcc.Store(id=Record.PART, data=search if known else None),
        ]
    )


def part(queries: Queries, search: str | None) -> list[Any]:
    """Return the part of the record that an address names."""
    return body(record_page(queries, queries.memory, RecordView.from_search(search)))


def body(page: RecordPage) -> list[Any]:
    """Return what is on the page."""
    chosen = next((each.words for each in page.streams[1:] if each.on), "")
    return kept(
        page_name("Record", title=f"Record: {page.heading}"),
        choices(page.parts, "Questions"),
        html.H2(page.heading),
        html.P([page.lead, html.Span(f" As of {page.as_of}.", className="note")], className="lead"),
        streams(page, chosen) if page.streams else None,
        html.P(page.notice, className="record-notice") if page.notice else None,
        choices(page.spans, "Length of time") if page.spans else None,
        figure(Record.FIGURE, page.figure) if page.figure else None,
        *[shown(each) for each in page.tables[:1]],
        look_back(page.look_back) if page.look_back is not None else None,
        *[shown(each) for each in page.tables[1:]],
        html.Ul([html.Li(words) for words in page.notes], className="record-notes") if page.notes else None,
    )


def figure(element_id: str, words: str) -> html.Div:
    """Return where a figure of the record is drawn; `words` say what it shows."""
    place = chart_place(element_id, CHART)
    return html.Div(place, id=Stream.CHART, role="img", className="record-figure", **aria(label=words))


def streams(page: RecordPage, chosen: str) -> html.Details:
    """Return the choice of one stream."""
    words = f"Of {chosen} alone; choose another stream" if chosen else "Of every stream; choose one"
    return html.Details([html.Summary(words), choices(page.streams, "Streams")], className="record-streams")


def shown(each: RecordTable) -> Any:
    """Return a table, or what is so where it has no row."""
    if not each.rows:
        return html.P(f"{each.caption}: {each.nothing}.", className="nothing")
    return table(each.caption, each.heads, [row(cells) for cells in each.rows], "record-table")


def row(cells: tuple[tuple[str, str], ...]) -> html.Tr:
    """Return one row; its first cell names it."""
    said: list[Any] = [link(words, href) if href else words for words, href in cells]
    return html.Tr([html.Th(said[0], scope="row"), *[html.Td(each) for each in said[1:]]])


def look_back(form: LookBackForm) -> html.Section:
    """Return what is asked about an instrument that came back out of tolerance."""
    unit = form.unit or "the unit of its check, as shown here"
    fields = (
        (Record.ERROR, "Error found, % of true", "-12 showed 12 % too little", form.error),
        (Record.OFFSET, f"or error in {unit}", "such as -0.02", form.offset),
        (Record.FOUND, "When it was found", "such as 2026-03-04 06:10; if not at its last calibration", form.found),
        (Record.SINCE, "Its last good calibration", "if not the last one known as good", form.since),
    )
    return html.Section(
        kept(
            html.H2("An instrument came back out of tolerance"),
            html.P(
                "Every reading made with it since its last good calibration is corrected in two ways and judged again. "
                "Which to act on, and what becomes of parts, the written procedure and the responsible Level 3 decide.",
            ),
            html.Div(
                [
                    html.Div(
                        [
                            html.Label("Instrument", htmlFor=Record.NAME, className="label"),
                            dcc.Input(
                                id=Record.NAME,
                                value=form.name,
                                type="text",
                                list=f"{Record.NAME}-known",
                                className="text",
                                autoComplete="off",
                            ),
                            html.Datalist([html.Option(value=name) for name in form.names], id=f"{Record.NAME}-known"),
                        ],
                        className="field",
                    ),
                    *[field(*each) for each in fields],
                ],
                className="record-fields",
            ),
            html.P(form.refused, className="said said-refused", role="alert") if form.refused else None,
            html.Div(
                html.Button(
                    "Judge its readings again", id=Record.ASK, type="button", className="button button-do", n_clicks=0
                ),
                className="buttons",
            ),
        ),
        className="write",
    )


def field(own: str, label: str, hint: str, value: str) -> html.Div:
    """Return one field with its label."""
    words = html.Label([label, html.Span(f" {hint}", className="hint")], htmlFor=own, className="label")
    text = dcc.Input(id=own, value=value, type="text", className="text", autoComplete="off")
    return html.Div([words, text], className="field")


def register(app: Dash, queries: Queries) -> None:
    """Follow the address. Nothing here changes by itself: the page says as of when it is."""

    @app.callback(
        Output(Record.PAGE, "children"),
        Output(Record.PART, "data"),
        Input(Shell.URL, "search"),
        State(Shell.URL, "pathname"),
        State(Record.PART, "data"),
    )
    def show(search: str, pathname: str, shown: str | None) -> Any:
        stands = pathname != RECORD or search == shown
        return (no_update, no_update) if stands else (part(queries, search), search)

    @app.callback(
        Output(Record.FIGURE, "figure"),
        Input(Shell.SCREEN, "data"),
        State(Shell.URL, "search"),
    )
    def draw(screen: dict[str, object] | None, search: str) -> Any:
        view = RecordView.from_search(search)
        return (record_figure(queries, queries.memory, view, screen) if screen else None) or no_update

    @app.callback(
        Output(Shell.URL, "search", allow_duplicate=True),
        Input(Record.ASK, "n_clicks"),
        *[State(own, "value") for own in (Record.NAME, Record.ERROR, Record.OFFSET, Record.FOUND, Record.SINCE)],
        prevent_initial_call=True,
    )
    def ask(clicks: int | None, *values: str | None) -> Any:
        if not clicks:
            return no_update
        name, error, offset, found, since = (str(value or "").strip() for value in values)
        return RecordView(METERS, instrument=name, error=error, offset=offset, found=found, since=since).to_search()
