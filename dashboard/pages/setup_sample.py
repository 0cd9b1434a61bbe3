"""The set-up sample before a run: a form, what it shows, and the look at the factors where that is too little."""

import json
from typing import Any
from urllib.parse import parse_qs, urlencode

from dash import ALL, Dash, Input, Output, State, dcc, html, no_update

from dashboard.auth import NoRight, need, person
from dashboard.ids import Setup, Shell, Stream
from dashboard.parts import aria, chart_place, facts, kept, link, page_name, table
from dashboard.queries import Queries, Right, SpcError
from dashboard.queries.setup_sample import circuits_asked, keep_sample, runs_figure, setup_page
from dashboard.urls import SETUP
from dashboard.views.setup_sample import CircuitAsked, FactorSeen, SampleRow, SampleTold, SetupPage

CHART: Any = {"displayModeBar": False, "responsive": False}
REFERENCES = (("shim", "Notched shim"), ("ring", "Ring"), ("part", "Part with known defects"))
STANDING = (
    "A sample that shows what it should proves the set-up at that moment, and accepts no part. One that does not stops "
    "the run until the cause is found and a new sample shows it; the written procedure and the responsible Level 3 "
    "decide."
)
CAUTIONS = (
    "Clamp before the current flows, contacts clean, face protection: an arc burns people and parts.",
    "Persons with pacemakers, pumps or metal implants keep away from the fields.",
    "Do not look into a UV-A lamp; UV-absorbing clear spectacles. Adhesives and their removers: gloves, ventilation.",
)


def at(queries: Queries, search: str) -> html.Div:
    """Return the page for the line that the address names."""
    return layout(setup_page(queries, line_of(search), person().name), may_write=person().may(Right.WRITE))


def line_of(search: str | None) -> str:
    """Return the line that an address names; "" for none."""
    return parse_qs((search or "").removeprefix("?")).get("line", [""])[0]


def layout(page: SetupPage, *, may_write: bool) -> html.Div:
    """Return the page."""
    return html.Div(
        kept(
            html.Div([page_name("Set-up sample"), lines(page)], className="setup-head"),
            html.P(page.why_not, className="nothing") if page.why_not else None,
            html.P("You may look, not write; line leads and engineers write samples down.", className="nothing")
            if not may_write
            else None,
            html.Div(form(page), className="setup-form", id=Setup.FORM) if may_write and not page.why_not else None,
            html.P("", id=Setup.SAID, className="setup-said", role="alert"),
            html.Div([], id=Setup.DONE),
            html.Div(past(page), id=Setup.PAST, className="setup-past"),
            html.Div(
                chart_place(Setup.FIGURE, CHART),
                id=Stream.CHART if page.months > 1 else Setup.NO_CHART,
                className="setup-chart",
                hidden=page.months < 2,
                role="img",
                **aria(label="Share of samples that showed too little, month by month; the table above says the same."),
            ),
            html.P(STANDING, className="note"),
        ),
        className="setup",
    )


def lines(page: SetupPage) -> html.Nav:
    """Return the ways to the other lines."""
    made = [
        link(name, f"{SETUP}?{urlencode({'line': name})}", "button button-on" if name == page.line else "button")
        for name in page.lines
    ]
    return html.Nav(made, className="buttons", **aria(label="Lines"))


def form(page: SetupPage) -> list[Any]:
    """Return the form in three steps."""
    return [
        html.Section(
            kept(
                html.H2("1. Part and technique"),
                text("part", "Shape of the part", hint="gear, shaft with flange", offered=page.parts),
                choice("technique", "Technique", [(one, one) for one in page.techniques], page.techniques[0]),
                html.Div(circuits(page.circuits), id=Setup.CIRCUITS, className="setup-circuits"),
                choice("continuous", "Bath on the part while the current flows", [("yes", "Yes"), ("no", "No")], "yes"),
            ),
            **aria(label="Part and technique"),
        ),
        html.Section(
            [
                html.H2("2. Reference and what it shows"),
                choice("reference", "Reference", list(REFERENCES), "shim"),
                html.Div(reference("shim", page), id=Setup.SEEN, className="setup-reference"),
            ],
            **aria(label="Reference and what it shows"),
        ),
        html.Section(
            kept(
                html.H2("3. Keep it"),
                text("note", "Note"),
                text("photo", "Picture", hint="where it is kept, if one was taken"),
                None if page.person else text("who", "Your name", hint="remembered on this device"),
                html.Button(
                    "Keep this sample", id=Setup.KEEP, type="button", className="button setup-keep", n_clicks=0
                ),
                html.Ul([html.Li(words) for words in CAUTIONS], className="setup-cautions"),
            ),
            **aria(label="Keep it"),
        ),
    ]


def circuits(asked: tuple[CircuitAsked, ...]) -> list[Any]:
    """Return the fields of the circuits that a technique uses."""
    several = len(asked) > 1
    left = [html.P("A circuit without amperes counts as not used.", className="hint")] if several else []
    return [*[pair(one, several=several) for one in asked], *left]


def pair(one: CircuitAsked, *, several: bool) -> html.Div:
    """Return the fields of one circuit; its number is told where there are several."""
    which = f" {one.place}" if several else ""
    return html.Div(
        [
            text(f"circuit-{one.place}", f"Circuit{which}", value=one.name, offered=one.offered),
            text(f"amperes-{one.place}", f"Amperes{which}", number=True),
        ],
        className="setup-pair",
    )


def reference(kind: str, page: SetupPage) -> list[Any]:
    """Return the fields of one kind of reference."""
    match kind:
        case "ring":
            asked = f"left empty: {page.ring_currents}" if page.ring_currents else "from your procedure"
            return [
                text("ring-kind", "Type of the ring", hint="as engraved: the two types have different minima"),
                text("ring-amperes", "Current through the ring, A", number=True),
                text("ring-seen", "Holes seen", number=True),
                text("ring-minimum", "Least holes asked", hint=asked, number=True),
            ]
        case "part":
            return [
                text("part-name", "Name of the part"),
                text("part-seen", "Indications seen", number=True),
                text("part-expected", "Indications expected", number=True),
            ]
    return [
        text("shim-kind", "Type of the shim", hint="as engraved"),
        text("shim-where", "Where on the part it sits"),
        choice("shim-seen", "It is", [(word, word) for word in ("shown", "partly", "not shown")], None),
    ]


def text(
    name: str, label: str, *, hint: str = "", value: str = "", number: bool = False, offered: tuple[str, ...] = ()
) -> html.Div:
    """Return a field to type into."""
    own = Setup.field(name)
    more: Any = {"inputMode": "numeric"} if number else {}
    more |= {"persistence": True, "persistence_type": "local"} if name == "who" else {}
    offers = f"setup-list-{name}"
    more |= {"list": offers} if offered else {}
    more |= {"value": value} if value else {}
    suggestions = html.Datalist([html.Option(value=one) for one in offered], id=offers)
    return html.Div(
        kept(
            html.Label(kept(label, html.Span(f" {hint}", className="hint") if hint else None), htmlFor=dom_id(own)),
            dcc.Input(
                id=own,
                type="text",
                autoComplete="off",
                maxLength=300,
                className="setup-text",
                **more,
            ),
            suggestions if offered else None,
        ),
        className="setup-field setup-number" if number else "setup-field",
    )


def choice(name: str, label: str, options: list[tuple[str, str]], value: str | None) -> html.Div:
    """Return a choice of one among a few; the tablet follows the taps."""
    buttons = [
        html.Button(words, type="button", className="button setup-choice", **tapped(name, one, pressed=one == value))
        for one, words in options
    ]
    own = dcc.Input(id=Setup.field(name), type="hidden", value=value, className="setup-hidden")
    return html.Div(
        [
            html.P(label, className="setup-label", **aria(hidden="true")),
            html.Div(buttons, className="setup-choices", role="group", **aria(label=label)),
            html.Div(own, hidden=True),
        ],
        className="setup-field",
    )


def tapped(name: str, value: str, *, pressed: bool) -> dict[str, Any]:
    """Return what the tablet needs to know of a button of a choice."""
    return {"data-setup": name, "data-value": value, "aria-pressed": "true" if pressed else "false"}


def dom_id(name: dict[str, str]) -> str:
    """Return an id of several parts as the page writes it."""
    return json.dumps(name, sort_keys=True, separators=(",", ":"))


def done(told: SampleTold) -> html.Section:
    """Return what a sample shows, and the look at the factors."""
    return html.Section(
        kept(
            html.H2(told.headline, className="setup-result"),
            facts(told.facts),
            html.P(told.sentence, className="setup-sentence") if told.sentence else None,
            html.Ol([factor(one) for one in told.factors], className="setup-factors") if told.factors else None,
        ),
        className=f"setup-done setup-{told.result}",
        **aria(label="This sample"),
    )


def factor(one: FactorSeen) -> html.Li:
    """Return one factor with what the line's checks say of it."""
    first = " \N{MIDDLE DOT} look here first" if one.first else ""
    says = [
        html.Li(kept(link(said, href), ", older than its interval" if old else None))
        for said, href, old in one.evidence
    ]
    return html.Li(
        kept(
            html.H3([one.title, html.Span(f": {one.word}{first}", className="setup-word")]),
            html.Ul(says, className="setup-evidence") if says else None,
            html.Ul([html.Li(ask) for ask in one.ask], className="setup-asks"),
            html.Ul([html.Li(caution) for caution in one.cautions], className="setup-cautions")
            if one.cautions
            else None,
        ),
        className="setup-factor setup-factor-first" if one.first else "setup-factor",
    )


def past(page: SetupPage) -> list[Any]:
    """Return the samples made before."""
    if not page.rows:
        return [html.H2("Samples made before"), html.P(f"No sample of {page.line or 'this site'} is kept yet.")]
    shown = f", the last {len(page.rows)} shown" if len(page.rows) < page.rows_in_all else ""
    heads = ("When", "Part", "Technique", "Reference", "Result", "By")
    return [
        html.H2("Samples made before"),
        html.P(page.told),
        table(f"Set-up samples of {page.line}{shown}", heads, [row(one) for one in page.rows]),
    ]


def row(one: SampleRow) -> html.Tr:
    """Return one sample of the past."""
    result = html.Td(one.result, className=f"setup-cell setup-cell-{one.result}")
    return html.Tr(
        [*(html.Td(words) for words in (one.at, one.part, one.technique, one.reference)), result, html.Td(one.by)]
    )


def register(app: Dash, queries: Queries) -> None:
    """Keep what the form says, and follow its choices."""

    @app.callback(
        Output(Setup.SEEN, "children"),
        Input(Setup.field("reference"), "value"),
        State(Shell.URL, "search"),
        prevent_initial_call=True,
    )
    def show_reference(kind: str, search: str) -> Any:
        return reference(kind, setup_page(queries, line_of(search), person().name))

    @app.callback(
        Output(Setup.CIRCUITS, "children"),
        Input(Setup.field("technique"), "value"),
        State(Shell.URL, "search"),
        prevent_initial_call=True,
    )
    def show_circuits(technique: str, search: str) -> Any:
        return circuits(circuits_asked(queries, line_of(search), technique))

    @app.callback(
        Output(Setup.SAID, "children"),
        Output(Setup.DONE, "children"),
        Output(Setup.PAST, "children"),
        Input(Setup.KEEP, "n_clicks"),
        State({"part": "setup-field", "name": ALL}, "value"),
        State({"part": "setup-field", "name": ALL}, "id"),
        State(Shell.URL, "search"),
        prevent_initial_call=True,
    )
    def keep(clicks: int | None, values: list[Any], names: list[dict[str, str]], search: str) -> Any:
        fields = {name["name"]: str(value or "") for name, value in zip(names, values, strict=True)}
        return kept_or_refused(queries, search, fields) if clicks else (no_update, no_update, no_update)

    @app.callback(
        Output(Setup.FIGURE, "figure"),
        Input(Shell.SCREEN, "data"),
        Input(Setup.PAST, "children"),
        State(Shell.URL, "search"),
    )
    def draw(screen: dict[str, object] | None, changed: Any, search: str) -> Any:
        line = setup_page(queries, line_of(search), "").line
        return (runs_figure(queries, line, screen) if screen else None) or no_update


def kept_or_refused(queries: Queries, search: str, fields: dict[str, str]) -> Any:
    """Keep a sample for whoever asks; return why it was refused, what it shows, and the samples made before."""
    try:
        who = need(Right.WRITE)
        line = setup_page(queries, line_of(search), who.name).line
        told = keep_sample(queries, line, fields, who.name)
    except (SpcError, NoRight) as refused:
        return f"Not kept. {refused}", [], no_update
    return "", done(told), past(setup_page(queries, line, who.name))
