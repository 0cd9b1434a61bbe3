"""The drift room: one stream in depth. Its sentence and its chart first, then one part at a time below it."""

from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update

from dashboard.ids import Drift, Shell, Stream
from dashboard.pages import chart_settings, drift_forms
from dashboard.pages.chart_settings import settings, settings_stamp
from dashboard.pages.choices import choices
from dashboard.pages.drift_forms import forms, forms_stamp
from dashboard.pages.drift_parts import figure_box, part
from dashboard.parts import (
    aria,
    chart_place,
    facts,
    in_browser,
    kept,
    link,
    margin_bar,
    named_list,
    page_name,
    reading,
    state_mark,
)
from dashboard.queries import Queries
from dashboard.urls import BOARD, STREAMS, StreamView
from dashboard.views import StreamPage

CHART: Any = {"displayModeBar": False, "displaylogo": False, "scrollZoom": False, "doubleClick": False}

QUIET = ("calm", "judged", "idle")
"""States that the mark says whole."""

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
    ("note", "a note"),
)
KEY_OF_VERDICTS = (("stroke", "acceptable"), ("failed", "not acceptable"), *KEY[-4:])


def at(queries: Queries, search: str) -> html.Div:
    """Return the page of the stream that the address names."""
    view = StreamView.from_search(search)
    return layout(queries, view, queries.stream(view), queries.stamp(view))


def layout(queries: Queries, view: StreamView, page: StreamPage, stamp: str) -> html.Div:
    """Return the page; `stamp` tells which state of the stream it shows."""
    if not page.found:
        ways = html.P([link("To the board", BOARD, "button"), " ", link("All streams", STREAMS, "button")])
        return html.Div([page_name(page.title), html.P(page.notice), ways], className="stream stream-missing")
    return html.Div(
        [
            html.Div(head(page), id=Stream.HEAD, className="stream-head"),
            html.Div(
                [
                    html.Div(views(page), id=Stream.VIEWS, className="views-row"),
                    html.Div(settings(page.settings), id=Stream.SETTINGS, className="settings-row"),
                    html.Div(
                        chart_place(Stream.FIGURE, CHART),
                        id=Stream.CHART,
                        className="chart chart-judged" if page.judged else "chart",
                        role="img",
                        **aria(label=f"Chart of {page.title}. The tables on this page say the same in words."),
                    ),
                    html.Div(ranges(page), id=Stream.RANGES, className="ranges"),
                    key(page),
                ],
                className="stream-chart",
            ),
            html.Div(
                [
                    html.Aside(state(page), id=Stream.STATE, className="stream-state", **aria(label="State")),
                    html.Section(behind(page), id=Stream.LIMITS, className="stream-limits", **aria(label="Limits")),
                ],
                className="stream-side",
            ),
            html.Div(
                [
                    html.Div(choices(page.parts, "More about this stream", "tabs"), id=Drift.PARTS),
                    html.Div(part(queries, view, page), id=Drift.PART, className="part"),
                    figure_box(CHART),
                    html.Div(forms(queries, view), id=Drift.FORMS, className="forms"),
                    html.P("", id=Drift.SAID, className="said", role="status"),
                ],
                className="stream-parts",
            ),
            dcc.Store(id=Stream.TOLD, data=stamp),
            dcc.Store(id=Stream.STATE_TOLD),
            dcc.Store(id=Stream.DRAWN),
            dcc.Store(id=Stream.FIGURE_TOLD),
            dcc.Store(id=Drift.DRAWN),
            dcc.Store(id=Drift.FIGURE_TOLD),
            dcc.Store(id=Drift.FORMS_TOLD, data=forms_stamp(view, 0)),
            dcc.Store(id=Stream.SETTINGS_TOLD, data=settings_stamp(view)),
            dcc.Store(id=Drift.WROTE, data=0),
        ],
        className="stream",
    )


def head(page: StreamPage) -> list[Any]:
    """Return the name of the stream and the way to its neighbours."""
    return kept(
        html.Nav(
            kept(
                neighbour(page.previous, "previous", "\N{LEFTWARDS ARROW}", "Shift and left arrow"),
                neighbour(page.following, "next", "\N{RIGHTWARDS ARROW}", "Shift and right arrow"),
            ),
            className="neighbours",
            **aria(label="Streams"),
        ),
        html.Div([html.P(page.line, className="whose"), page_name(page.subject, title=page.title)]),
        html.P(
            [state_mark(page.state), html.Span(page.headline, className="headline")]
            if page.state not in QUIET
            else [state_mark(page.state), html.Span(calm(page), className="headline")],
            className="sentence",
        ),
        html.P(page.notice, className="notice", role="status") if page.notice else None,
    )


def calm(page: StreamPage) -> str:
    """Return what is said of a stream that needs nobody."""
    return ", ".join(filter(None, (f"{page.value} {page.unit}".strip(), page.margin)))


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
        named_list("Look first at", page.look_first, "first"),
        named_list("This obliges", page.obliges, "obliges"),
        html.Div([html.H3("What comes next, if nothing is done"), *[html.P(words) for words in page.forecast]])
        if page.forecast
        else None,
    )


def views(page: StreamPage) -> list[Any]:
    """Return the views of the same readings, and whether the one that is shown suits them."""
    return kept(
        choices(page.charts, "Views of the same readings", "buttons views") if len(page.charts) > 1 else None,
        html.P(
            [html.Span("Suits: " if page.suits else "Take with care: ", className="suits"), page.fit], className="fit"
        )
        if page.fit
        else None,
        *[html.P(words, className="fit") for words in page.missing],
    )


def ranges(page: StreamPage) -> list[Any]:
    """Return the ways to another stretch of time, and out of the page."""
    return kept(
        html.Nav(
            [
                *[stretch(words, href, shown) for words, href, shown in page.ranges],
                moved("\N{LEFTWARDS ARROW} Earlier", page.earlier),
                moved("Later \N{RIGHTWARDS ARROW}", page.later),
                moved("Closer", page.closer),
                moved("Wider", page.wider),
                *([pressed(*page.rules)] if page.rules and page.chart == "individuals" else []),
            ],
            className="buttons",
            **aria(label="Stretch of time"),
        ),
        html.P(
            [
                page.shown,
                html.A("Readings as CSV", href=page.csv_href, download="", className="download"),
                copy_button(page.pinned),
                html.Span("", id=Drift.COPIED, role="status"),
            ]
        ),
        html.P(page.drawn, className="drawn") if page.drawn else None,
    )


def copy_button(address: str) -> html.Button:
    """Return the button that hands over an address which stays on what is shown now."""
    handed: dict[str, Any] = {"data-href": address}
    return html.Button("Copy link", id=Drift.COPY, type="button", className="button copy", **handed)


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


def key(page: StreamPage) -> html.Details:
    """Return what the marks on the chart mean, folded away."""
    marks = KEY_OF_VERDICTS if page.judged else KEY
    return html.Details(
        [
            html.Summary("What the marks mean", className="fold"),
            html.Ul(
                [
                    html.Li([html.Span(className=f"key key-{mark}", **aria(hidden="true")), words])
                    for mark, words in marks
                ],
                className="keys",
            ),
        ]
    )


def behind(page: StreamPage) -> list[Any]:
    """Return the limits and where they come from, the baseline, and the cautions of this check."""
    return kept(
        html.H2("Acceptance limits"),
        html.P("Not confirmed for this site: its catalogue names no document and revision.", className="unconfirmed")
        if page.unconfirmed
        else None,
        facts(page.limits),
        named_list("Cautions", page.cautions, "check-cautions", html.H2),
    )


def register(app: Dash, queries: Queries) -> None:
    """Follow the address and the growing log."""

    @app.callback(
        Output(Stream.HEAD, "children"),
        Output(Stream.VIEWS, "children"),
        Output(Stream.RANGES, "children"),
        Output(Stream.LIMITS, "children"),
        Output(Drift.PARTS, "children"),
        Output(Drift.PART, "children"),
        Output(Drift.FORMS, "children"),
        Output(Drift.FORMS_TOLD, "data"),
        Output(Stream.SETTINGS, "children"),
        Output(Stream.SETTINGS_TOLD, "data"),
        Output(Stream.TOLD, "data"),
        Input(Shell.URL, "search"),
        Input(Shell.LIVE, "data"),
        Input(Drift.WROTE, "data"),
        State(Stream.TOLD, "data"),
        State(Drift.FORMS_TOLD, "data"),
        State(Stream.SETTINGS_TOLD, "data"),
        prevent_initial_call=True,
    )
    def tell(
        search: str,
        live: dict[str, int] | None,
        wrote: int | None,
        told: str | None,
        forms_told: str | None,
        settings_told: str | None,
    ) -> Any:
        view, stamp = StreamView.from_search(search), queries.stamp(StreamView.from_search(search))
        if stamp == told:
            return (no_update,) * 11
        forms_now = forms_stamp(view, wrote)
        offered = (no_update, no_update) if forms_now == forms_told else (forms(queries, view), forms_now)
        return (*telling(queries, view), *offered, *setting_now(queries, view, settings_told), stamp)

    @app.callback(
        Output(Stream.STATE, "children"),
        Output(Stream.STATE_TOLD, "data"),
        Input(Shell.URL, "search"),
        Input(Shell.LIVE, "data"),
        State(Stream.STATE_TOLD, "data"),
        prevent_initial_call=True,
    )
    def tell_state(search: str, live: dict[str, int] | None, told: str | None) -> Any:
        view = StreamView.from_search(search)
        page = queries.stream_state(view)
        stamp = f"{queries.stamp(view)} {page.title} {page.headline} {page.taken} {page.age} {page.value} {page.due}"
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

    @app.callback(
        Output(Drift.DRAWN, "data"),
        Output(Drift.FIGURE_TOLD, "data"),
        Input(Shell.URL, "search"),
        Input(Shell.LIVE, "data"),
        Input(Shell.SCREEN, "data"),
        State(Drift.FIGURE_TOLD, "data"),
    )
    def draw_part(search: str, live: dict[str, int] | None, screen: dict[str, Any] | None, told: str | None) -> Any:
        view = StreamView.from_search(search)
        stamp = f"{queries.part_stamp(view)} {screen}"
        fresh = screen is not None and stamp != told
        return (queries.part_figure(view, screen or {}, search), stamp) if fresh else (no_update, no_update)

    in_browser(app, "draw", Output(Stream.FIGURE, "figure"), Input(Stream.DRAWN, "data"))
    in_browser(app, "zoomed", Output(Shell.URL, "search"), Input(Stream.FIGURE, "relayoutData"))
    drift_forms.register(app, queries)
    chart_settings.register(app, queries)
    drift_in_browser(app)


def drift_in_browser(app: Dash) -> None:
    """Let the browser draw the figure of a part, and follow a zoom in it."""
    call: Any = app.clientside_callback  # it comes without types
    call(
        ClientsideFunction("drift", "draw"),
        Output(Drift.FIGURE, "figure"),
        Output(Drift.FIGURE_BOX, "hidden"),
        Input(Drift.DRAWN, "data"),
    )
    call(
        ClientsideFunction("drift", "zoomed"),
        Output(Shell.URL, "search", allow_duplicate=True),
        Input(Drift.FIGURE, "relayoutData"),
        prevent_initial_call=True,
    )


def setting_now(queries: Queries, view: StreamView, told: str | None) -> tuple[Any, Any]:
    """Return the settings of the chart where they are others than those told."""
    stamp = settings_stamp(view)
    return (no_update, no_update) if stamp == told else (settings(queries.stream(view).settings), stamp)


def telling(queries: Queries, view: StreamView) -> tuple[Any, ...]:
    """Return the parts that change with the stream and the stretch of time."""
    page = queries.stream(view)
    if not page.found:
        return (no_update,) * 6
    tabs = choices(page.parts, "More about this stream", "tabs")
    return head(page), views(page), ranges(page), behind(page), tabs, part(queries, view, page)
