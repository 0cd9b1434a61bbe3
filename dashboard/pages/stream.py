"""One stream: its chart, what the chart says in words, and what stands behind it."""

from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard.ids import Shell, Stream
from dashboard.parts import (
    aria,
    facts,
    in_browser,
    kept,
    link,
    margin_bar,
    named_list,
    page_name,
    reading,
    state_mark,
    table,
)
from dashboard.queries import Queries
from dashboard.urls import BOARD, StreamView
from dashboard.views import Explained, Row, StreamPage

CHART: Any = {"displayModeBar": False, "displaylogo": False, "scrollZoom": False, "doubleClick": False}

QUIET = ("calm", "judged", "idle")
"""States that the mark says whole."""

OPEN = 5
"""Signals shown unfolded."""

KEY = (
    ("reading", "reading"),
    ("bound", "only a bound was written"),
    ("moving", "early warning, or a rule that warns"),
    ("rule", "run rule, drawn only"),
    ("failed", "outside the acceptance limits"),
    ("start", "most likely start of what moves"),
    ("forecast", "where it leads: 8 chances in 10"),
    ("acceptance", "acceptance limit"),
    ("control", "control limit"),
    ("provisional", "provisional: the baseline is incomplete"),
    ("centre", "centre line"),
    ("baseline", "baseline"),
    ("idle", "not in operation"),
    ("reset", "starts a new segment"),
    ("explains", "may explain a reading"),
)
KEY_OF_VERDICTS = (("stroke", "acceptable"), ("failed", "not acceptable"), *KEY[-3:])


def at(queries: Queries, search: str) -> html.Div:
    """Return the page of the stream that the address names."""
    view = StreamView.from_search(search)
    return layout(queries.stream(view), queries.stamp(view))


def layout(page: StreamPage, stamp: str) -> html.Div:
    """Return the page; `stamp` tells which state of the stream it shows."""
    if not page.found:
        return html.Div(
            [page_name(page.title), html.P(page.notice), html.P(link("To the board", BOARD, "button"))],
            className="stream stream-missing",
        )
    return html.Div(
        [
            html.Div(head(page), id=Stream.HEAD, className="stream-head"),
            html.Div(
                [
                    html.Div(ranges(page), id=Stream.RANGES, className="ranges"),
                    html.Div(
                        dcc.Graph(id=Stream.FIGURE, config=CHART, responsive=False, className="graph"),
                        id=Stream.CHART,
                        className="chart chart-judged" if page.judged else "chart",
                        role="img",
                        **aria(label=f"Chart of {page.title}. The tables on this page say the same in words."),
                    ),
                    key(page),
                ],
                className="stream-chart",
            ),
            html.Aside(state(page), id=Stream.STATE, className="stream-state", **aria(label="State")),
            html.Section(signals(page), id=Stream.SIGNALS, className="stream-signals", **aria(label="Signals")),
            html.Section(behind(page), id=Stream.LIMITS, className="stream-limits", **aria(label="Limits")),
            html.Section(readings(page), id=Stream.READINGS, className="stream-readings", **aria(label="Readings")),
            dcc.Store(id=Stream.TOLD, data=stamp),
            dcc.Store(id=Stream.STATE_TOLD),
            dcc.Store(id=Stream.DRAWN),
            dcc.Store(id=Stream.FIGURE_TOLD),
        ],
        className="stream",
    )


def head(page: StreamPage) -> list[Any]:
    """Return the name of the stream and the way to its neighbours."""
    return kept(
        html.Nav(
            kept(
                link("Board", BOARD, "button"),
                neighbour(page.previous, "previous", "\N{LEFTWARDS ARROW}", "Shift and left arrow"),
                neighbour(page.following, "next", "\N{RIGHTWARDS ARROW}", "Shift and right arrow"),
            ),
            className="neighbours",
            **aria(label="Streams"),
        ),
        html.Div([html.P(page.line, className="whose"), page_name(page.subject, title=page.title)]),
        html.P(page.notice, className="notice", role="status") if page.notice else None,
    )


def neighbour(where: tuple[str, str] | None, which: str, arrow: str, keys: str) -> Any:
    """Return the link to the stream before or after; a greyed one at either end."""
    words = f"{arrow} Previous" if which == "previous" else f"Next {arrow}"
    if where is None:
        return html.Span(words, className="button button-off")
    href, name = where
    return link(words, href, f"button go-{which}", title=f"{name} ({keys})")


def state(page: StreamPage) -> list[Any]:
    """Return where the stream stands now and what to do."""
    return kept(
        html.H2("Now"),
        html.P(state_mark(page.state), className="state-now"),
        reading(page.value, page.unit, "reading reading-large"),
        margin_bar(page.margin_fraction),
        html.P(page.margin, className="margin") if page.margin else None,
        html.P([page.taken, html.Span(f" · {page.age}", className="age")], className="taken"),
        html.P(page.due, className="due") if page.due else None,
        html.P(page.headline, className="because") if page.state not in QUIET else None,
        named_list("Look first at", page.look_first, "first"),
        named_list("This obliges", page.obliges, "obliges"),
        html.Div([html.H3("What comes next, if nothing is done"), *[html.P(words) for words in page.forecast]])
        if page.forecast
        else None,
    )


def ranges(page: StreamPage) -> list[Any]:
    """Return the ways to another stretch of time."""
    return kept(
        html.Nav(
            [
                *[stretch(words, href, shown) for words, href, shown in page.ranges],
                moved("\N{LEFTWARDS ARROW} Earlier", page.earlier),
                moved("Later \N{RIGHTWARDS ARROW}", page.later),
                *([pressed(*page.rules)] if page.rules else []),
            ],
            className="buttons",
            **aria(label="Stretch of time"),
        ),
        html.P([page.shown, html.A("Readings as CSV", href=page.csv_href, download="", className="download")]),
        html.P(page.drawn, className="drawn") if page.drawn else None,
    )


def stretch(words: str, href: str, shown: bool) -> Any:
    """Return the link to a stretch of time; no link when it is on the screen."""
    if shown:
        return html.Span(words, className="button button-on", **aria(current="true"))
    return link(words, href, "button")


def pressed(words: str, href: str, on: bool) -> Any:
    """Return a link that switches something on or off."""
    mark = "\N{CHECK MARK} " if on else ""
    return link(f"{mark}{words}", href, "button button-on" if on else "button")


def moved(words: str, href: str | None) -> Any:
    """Return the link to the stretch before or after; greyed where no reading is."""
    return link(words, href, "button") if href else html.Span(words, className="button button-off")


def key(page: StreamPage) -> html.Ul:
    """Return what the marks on the chart mean."""
    marks = KEY_OF_VERDICTS if page.judged else KEY
    return html.Ul(
        [html.Li([html.Span(className=f"key key-{mark}", **aria(hidden="true")), words]) for mark, words in marks],
        className="keys",
        **aria(label="What the marks mean"),
    )


def signals(page: StreamPage) -> list[Any]:
    """Return what moved, newest first; each opens the chart where it was."""
    if page.judged:
        return [html.H2("Verdicts that did not pass"), *failures(page)]
    nothing = html.P("No signal in this log.", className="nothing")
    return kept(
        html.H2("Signals, newest first"),
        html.Ol([explained(one) for one in page.explained[:OPEN]], className="signals") if page.explained else nothing,
        earlier(page),
        html.H2("Failed checks"),
        *failures(page),
        *run_rules(page),
    )


def run_rules(page: StreamPage) -> list[Any]:
    """Return each run rule of the chart in words, with its hits and what it costs in control."""
    if not page.rule_rows:
        return []
    rows = [
        html.Tr(
            [html.Td(rule.words), html.Td(rule.hits, className="number"), html.Td(rule.per_1000, className="number")]
        )
        for rule in page.rule_rows
    ]
    return [
        html.H2("Run rules on this chart"),
        table("Run rules", ("Rule", "Hits in view", "False alarms in 1000 readings in control"), rows, "rules"),
        *[html.P(words, className="note") for words in page.rule_notes],
    ]


def earlier(page: StreamPage) -> html.Details | None:
    """Return the older signals, folded away; None when there are none."""
    older = page.explained[OPEN:]
    if not older:
        return None
    beyond = page.explained_in_all - len(page.explained)
    return html.Details(
        kept(
            html.Summary(f"{len(older)} earlier", className="button"),
            html.Ol([explained(one) for one in older], className="signals"),
            html.P(f"and {beyond} before these; “spc scan” lists every one.", className="more") if beyond else None,
        )
    )


def explained(one: Explained) -> html.Li:
    """Return one cause in plain words."""
    count = f"{one.count} signalled readings" if one.count > 1 else "1 signalled reading"
    return html.Li(
        kept(
            html.P(
                [
                    html.Span(className="shape shape-moving", **aria(hidden="true")),
                    link(f"{one.span} · {count}", one.href),
                ],
                className="when",
            ),
            html.P(one.sentence),
            named_list("Look first at", one.look_first, "first"),
            html.P("Perhaps explained by: " + "; ".join(one.events), className="events") if one.events else None,
        ),
        className="signal signal-open" if one.open else "signal",
    )


def failures(page: StreamPage) -> list[Any]:
    """Return the latest readings outside the acceptance limits."""
    if not page.failures:
        return [html.P("None in this log.", className="nothing")]
    more = page.failures_in_all - len(page.failures)
    items = [
        html.Li(
            [
                html.Span(className="shape shape-failed", **aria(hidden="true")),
                link(one.words, one.href),
                f" {one.taken}",
            ]
        )
        for one in page.failures
    ]
    return kept(
        html.Ul(items, className="failures"), html.P(f"and {more} earlier.", className="more") if more > 0 else None
    )


def behind(page: StreamPage) -> list[Any]:
    """Return the limits and where they come from, the baseline, and the cautions of this check."""
    return kept(
        html.H2("Acceptance limits"),
        html.P("Not confirmed for this site: its catalogue names no document and revision.", className="unconfirmed")
        if page.unconfirmed
        else None,
        facts(page.limits),
        html.H2("Baseline and control limits") if page.baseline else None,
        facts(page.baseline) if page.baseline else None,
        named_list("Cautions", page.cautions, "check-cautions", html.H2),
    )


def readings(page: StreamPage) -> list[Any]:
    """Return the latest readings in view as a table."""
    deviates = any(row.charted for row in page.rows)
    heads = ["Taken", "Reading", *(["Charted"] if deviates else []), "State", "Technician", "Instrument", "Note", "Row"]
    caption = (
        f"Readings in view, newest first: {len(page.rows)} of {page.rows_in_view}"
        if page.rows
        else "No reading in this stretch of time"
    )
    return [
        html.H2("Readings"),
        table(caption, heads, [reading_row(row, deviates) for row in page.rows], "readings"),
    ]


def reading_row(row: Row, deviates: bool) -> html.Tr:
    """Return one reading as written."""
    mark = html.Span(className=f"shape shape-{row.state}", title=row.state) if row.state else ""
    return html.Tr(
        [
            html.Td(link(row.taken, row.href)),
            html.Td(row.value, className="number"),
            *([html.Td(row.charted, className="number")] if deviates else []),
            html.Td([mark, html.Span(row.state, className="unseen")]),
            html.Td(row.technician),
            html.Td(row.instrument),
            html.Td(row.note, className="note"),
            html.Td(row.row, className="number"),
        ],
        className=f"row-{row.state}" if row.state else "",
    )


def register(app: Dash, queries: Queries) -> None:
    """Follow the address and the growing log."""

    @app.callback(
        Output(Stream.HEAD, "children"),
        Output(Stream.RANGES, "children"),
        Output(Stream.SIGNALS, "children"),
        Output(Stream.LIMITS, "children"),
        Output(Stream.READINGS, "children"),
        Output(Stream.TOLD, "data"),
        Input(Shell.URL, "search"),
        Input(Shell.LIVE, "data"),
        State(Stream.TOLD, "data"),
        prevent_initial_call=True,
    )
    def tell(search: str, live: dict[str, int] | None, told: str | None) -> Any:
        view, stamp = StreamView.from_search(search), queries.stamp(StreamView.from_search(search))
        return (no_update,) * 6 if stamp == told else (*telling(queries.stream(view)), stamp)

    @app.callback(
        Output(Stream.STATE, "children"),
        Output(Stream.STATE_TOLD, "data"),
        Input(Shell.URL, "search"),
        Input(Shell.LIVE, "data"),
        State(Stream.STATE_TOLD, "data"),
        prevent_initial_call=True,
    )
    def tell_state(search: str, live: dict[str, int] | None, told: str | None) -> Any:
        page = queries.stream(StreamView.from_search(search))
        stamp = f"{page.title} {page.headline} {page.taken} {page.age} {page.value} {page.due}"
        return (no_update, no_update) if stamp == told or not page.found else (state(page), stamp)

    @app.callback(
        Output(Stream.DRAWN, "data"),
        Output(Stream.FIGURE_TOLD, "data"),
        Input(Shell.URL, "search"),
        Input(Shell.LIVE, "data"),
        Input(Shell.SCREEN, "data"),
        State(Stream.FIGURE_TOLD, "data"),
    )
    def draw(search: str, live: dict[str, int] | None, screen: dict[str, Any] | None, told: str | None) -> Any:
        view = StreamView.from_search(search)
        stamp = f"{queries.stamp(view)} {screen}"
        fresh = screen is not None and stamp != told
        return (queries.figure(view, screen or {}, search), stamp) if fresh else (no_update, no_update)

    in_browser(app, "draw", Output(Stream.FIGURE, "figure"), Input(Stream.DRAWN, "data"))
    in_browser(app, "zoomed", Output(Shell.URL, "search"), Input(Stream.FIGURE, "relayoutData"))


def telling(page: StreamPage) -> tuple[Any, ...]:
    """Return the parts that change with the stream and the stretch of time."""
    return head(page), ranges(page), signals(page), behind(page), readings(page)
