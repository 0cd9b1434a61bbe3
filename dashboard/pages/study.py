"""The measurement study: a plan drawn by lot to print, then what the filled-in sheet says."""

import secrets
from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update
from flask import Response, abort, request

from dashboard.auth import NoRight, need
from dashboard.ids import Shell, Stream, Study
from dashboard.parts import aria, facts, kept, page_name, table
from dashboard.queries import InputError, Queries, Right, SpcError
from dashboard.queries.study import LARGEST, plan_of, plan_page, refusal, study_figure, study_told, uploaded
from dashboard.urls import STUDY, STUDY_PLAN, study_search
from dashboard.views.study import PlanShown, StudyTold

CHART: Any = {"displayModeBar": False, "responsive": False}
LEAD = (
    "Before a chart or an index can be trusted: how much of what is read is the part, and how much the gauge and who "
    "reads it? Several people read the same parts several times, in an order drawn by lot."
)
STANDING = (
    "Nothing on this page is kept; keep the sheet with the record of the study. Whether a gauge is good enough is for "
    "the written procedure and the responsible Level 3."
)
EXAMPLE = "part,operator,value\ntube 1,A,0.20\n..."
SEEDS = 1_000_000


def at(queries: Queries, search: str) -> html.Div:
    """Return the page with the plan that the address names."""
    return html.Div(
        [
            page_name("Measurement study"),
            html.P(LEAD, className="lead"),
            plan_form(plan_page(search)),
            html.Div(plan(plan_page(search)), id=Study.PLAN, className="study-plan"),
            result_form(),
            html.P("", id=Study.SAID, className="study-said", role="alert"),
            html.Div([], id=Study.RESULT, className="study-result"),
            html.Div(html.Div([], id=Study.FIGURE), id=Stream.CHART, className="study-chart"),
            dcc.Store(id=Study.ASKED),
            html.P(STANDING, className="note"),
        ],
        className="study",
    )


def plan_form(shown: PlanShown) -> html.Section:
    """Return the form of the plan."""
    return html.Section(
        [
            html.H2("1. Plan"),
            html.Div(
                [
                    field(Study.PARTS, "Parts, tubes or places", shown.parts, hint="tube 1, tube 2"),
                    field(Study.OPERATORS, "Who reads", shown.operators, hint="A, B, C"),
                    field(Study.ROUNDS, "Readings of each part by each", shown.rounds, hint="2 or more"),
                    field(Study.SEED, "Number of the draw", shown.seed, hint="left empty: by lot"),
                ],
                className="study-form",
            ),
            html.Div(
                html.Button("Draw the order", id=Study.DRAW, type="button", className="button", n_clicks=0),
                className="buttons",
            ),
        ],
        className="study-step",
        **aria(label="Plan"),
    )


def field(own: str, label: str, value: str = "", *, hint: str = "", wide: bool = False) -> html.Div:
    """Return a field to type into."""
    words = kept(label, html.Span(f" {hint}", className="hint") if hint else None)
    return html.Div(
        [
            html.Label(words, htmlFor=own),
            dcc.Input(id=own, type="text", value=value, maxLength=4000, autoComplete="off", className="study-input"),
        ],
        className="study-field study-wide" if wide else "study-field",
    )


def plan(shown: PlanShown) -> list[Any]:
    """Return the plan, to be printed and filled in."""
    if shown.problem:
        return [html.P(shown.problem, className="review-notice", role="alert")]
    if not shown.rows:
        return []
    rows = [html.Tr([html.Td(words) for words in (*row, "")]) for row in shown.rows]
    heads = ("Order", "Round", "Part", "Who reads", "Value")
    return [
        html.P(
            [
                html.A("Plan as CSV, to fill in", href=STUDY_PLAN + shown.csv_href, className="button", download=""),
                html.Span(f" Print this page for a sheet on paper. Draw {shown.seed}."),
            ],
            className="study-ways",
        ),
        table(f"{len(rows)} readings, in this order; nobody sees the values of the others", heads, rows, "study-sheet"),
    ]


def result_form() -> html.Section:
    """Return the form for the readings."""
    return html.Section(
        [
            html.H2("2. Readings"),
            dcc.Upload(
                html.Span("Choose the filled-in CSV file", className="button upload", role="button", tabIndex=0),
                id=Study.FILE,
                max_size=LARGEST,
                accept=".csv,.txt,text/csv",
            ),
            html.Div(
                [
                    html.Label(
                        ["Or paste it", html.Span(" columns part, operator and value", className="hint")],
                        htmlFor=Study.TEXT,
                    ),
                    dcc.Textarea(id=Study.TEXT, value="", placeholder=EXAMPLE, maxLength=LARGEST, rows=8),
                ],
                className="study-field",
            ),
            html.Div(
                [
                    field(Study.WHAT, "What was read", hint="Bath concentration"),
                    field(Study.UNIT, "Unit", hint="mL/100 mL"),
                    field(Study.STEP, "Smallest step", hint="one division"),
                    field(Study.LOWER, "Lower acceptance limit", hint="if there is one"),
                    field(Study.UPPER, "Upper acceptance limit", hint="if there is one"),
                ],
                className="study-form",
            ),
            html.Div(
                html.Button("Work it out", id=Study.READ, type="button", className="button", n_clicks=0),
                className="buttons",
            ),
        ],
        className="study-step",
        **aria(label="Readings"),
    )


def result(told: StudyTold) -> list[Any]:
    """Return what a study says."""
    components = ("Component", "Standard deviation", told.confidence, "Of the variance")
    anova = ("Source", "Sum of squares", "df", "Mean square", "F", "p value")
    return kept(
        html.H2("3. What it says"),
        html.P(told.headline, className="study-headline"),
        facts(told.facts),
        table("Components of the variance", components, [row(each) for each in told.components]),
        html.Ul([html.Li(words) for words in told.statements], className="review-notes") if told.statements else None,
        html.Ul([html.Li(words) for words in told.notes], className="review-notes") if told.notes else None,
        table("Analysis of variance", anova, [row(each) for each in told.anova]),
        html.P(told.method, className="note"),
    )


def row(cells: tuple[str, ...]) -> html.Tr:
    """Return a row whose first cell names it."""
    return html.Tr([html.Th(cells[0], scope="row"), *(html.Td(words, className="number") for words in cells[1:])])


def register(app: Dash, queries: Queries) -> None:
    """Draw plans, read sheets."""
    register_plan(app)
    register_result(app)

    def file() -> Response:
        need(Right.SEE)
        try:
            made = plan_of(request.query_string.decode("utf-8", "replace"))
        except InputError as refused:
            abort(404, str(refused))
        headers = {"Content-Disposition": f'attachment; filename="study-plan-{made.seed}.csv"'}
        return Response("\N{ZERO WIDTH NO-BREAK SPACE}" + made.csv, mimetype="text/csv", headers=headers)

    app.server.add_url_rule(STUDY_PLAN, "study_plan", file)


def register_plan(app: Dash) -> None:
    """Draw a plan; the address names it, so that the link gives the same one again."""

    @app.callback(
        Output(Shell.URL, "search", allow_duplicate=True),
        Input(Study.DRAW, "n_clicks"),
        State(Study.PARTS, "value"),
        State(Study.OPERATORS, "value"),
        State(Study.ROUNDS, "value"),
        State(Study.SEED, "value"),
        prevent_initial_call=True,
    )
    def draw(clicks: int | None, parts: str | None, who: str | None, rounds: str | None, seed: str | None) -> Any:
        if not clicks:
            return no_update
        return study_search(parts or "", who or "", rounds or "", (seed or "").strip() or str(secrets.randbelow(SEEDS)))

    @app.callback(
        Output(Study.PLAN, "children"),
        Input(Shell.URL, "search"),
        State(Shell.URL, "pathname"),
        prevent_initial_call=True,
    )
    def follow(search: str, pathname: str) -> Any:
        return plan(plan_page(search)) if pathname == STUDY else no_update


def register_result(app: Dash) -> None:
    """Read a sheet and show what it says."""

    @app.callback(
        Output(Study.TEXT, "value"),
        Output(Study.SAID, "children", allow_duplicate=True),
        Input(Study.FILE, "contents"),
        State(Study.FILE, "filename"),
        prevent_initial_call=True,
    )
    def take(contents: str | None, name: str | None) -> Any:
        if not contents:
            return no_update, no_update
        try:
            need(Right.SEE)
            return uploaded(contents, name or "the file"), ""
        except (SpcError, NoRight) as refused:
            return no_update, f"Not read. {refused}"

    @app.callback(
        Output(Study.SAID, "children"),
        Output(Study.RESULT, "children"),
        Output(Study.ASKED, "data"),
        Input(Study.READ, "n_clicks"),
        *[State(own, "value") for own in (Study.TEXT, Study.WHAT, Study.UNIT, Study.LOWER, Study.UPPER, Study.STEP)],
        prevent_initial_call=True,
    )
    def work_out(clicks: int | None, *values: Any) -> Any:
        if not clicks:
            return no_update, no_update, no_update
        names = ("text", "what", "unit", "lower", "upper", "step")
        try:
            need(Right.SEE)
            told = study_told(dict(zip(names, values, strict=True)))
        except SpcError as refused:
            return refusal(refused), [], None
        except NoRight as refused:
            return f"{refused}.", [], None
        return "", result(told), told.asked

    @app.callback(
        Output(Study.FIGURE, "children"),
        Input(Study.ASKED, "data"),
        Input(Shell.SCREEN, "data"),
        prevent_initial_call=True,
    )
    def figure(asked: dict[str, Any] | None, screen: dict[str, object] | None) -> Any:
        if not asked:
            return []
        need(Right.SEE)
        words = "Components of the variance over the readings they come from; the table above says the same."
        drawn = dcc.Graph(figure=study_figure(asked, screen or {}), config=CHART, responsive=False, className="graph")
        return html.Div(drawn, role="img", **aria(label=words))
