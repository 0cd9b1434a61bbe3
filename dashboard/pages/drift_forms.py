"""What people write down in the drift room: its forms and the one callback that keeps what they say."""

import json
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard.auth import NoRight, need, person
from dashboard.ids import Drift, Shell
from dashboard.pages.choices import choices
from dashboard.parts import aria, kept
from dashboard.queries import Queries, SpcError
from dashboard.urls import StreamView
from dashboard.views.drift import Field, Form


def forms(queries: Queries, view: StreamView) -> list[Any]:
    """Return the forms of a part for whoever asks; one that cannot be used says why. A name is asked for once."""
    who = person()
    found = queries.forms(view, who.name, who.may)
    asks = not who.name and any(each.buttons for each in found)
    return [*([html.Div(field(queries.name_field()), className="who-writes")] if asks else []), *map(form, found)]


def form(each: Form) -> html.Section:
    """Return one form."""
    if each.why_not:
        return html.Section([html.H3(each.heading), html.P(each.why_not, className="nothing")], className="write")
    return html.Section(
        kept(
            html.H3(each.heading),
            choices(each.about, "What it is about", "about") if each.about else None,
            *[field(one) for one in each.fields],
            html.P(each.says, className="note") if each.says else None,
            html.Div(
                [
                    html.Button(words, id=Drift.do(what), type="button", className="button button-do", n_clicks=0)
                    for what, words in each.buttons
                ],
                className="buttons",
            ),
        ),
        className="write",
        **aria(label=each.heading),
    )


def field(one: Field) -> html.Div:
    """Return one field with its label."""
    name = Drift.field(one.name)
    label = html.Label(kept(one.label, hint(one)), htmlFor=dom_id(name), className="label")
    if one.kind == "words":
        words = dcc.Textarea(id=name, value=one.value, className="words", rows=2)
        return html.Div([label, words], className="field")
    remembered: Any = {"persistence": True, "persistence_type": "local"} if one.name == "who" else {}
    text = dcc.Input(id=name, value=one.value, type="text", className="text", autoComplete="off", **remembered)
    return html.Div([label, text], className="field")


def hint(one: Field) -> html.Span | None:
    """Return what a field wants to hear; None where its label says it."""
    return html.Span(f" {one.hint}", className="hint") if one.hint else None


def dom_id(name: dict[str, str]) -> str:
    """Return an id of several parts as the page writes it."""
    return json.dumps(name, sort_keys=True, separators=(",", ":"))


def forms_stamp(view: StreamView, wrote: int | None) -> str:
    """Return a text that changes when the forms are others: a new reading leaves what is half written alone."""
    return f"{view.line}|{view.check}|{view.position}|{view.part}|{view.row}|{view.about}|{wrote or 0}"


def register(app: Dash, queries: Queries) -> None:
    """Keep what people write down."""

    @app.callback(
        Output(Drift.SAID, "children"),
        Output(Drift.SAID, "className"),
        Output(Drift.WROTE, "data"),
        Input({"part": "drift-do", "what": ALL}, "n_clicks"),
        State({"part": "drift-field", "name": ALL}, "value"),
        State({"part": "drift-field", "name": ALL}, "id"),
        State(Shell.URL, "search"),
        State(Drift.WROTE, "data"),
        prevent_initial_call=True,
    )
    def write(
        clicks: list[int | None], values: list[str | None], names: list[dict[str, str]], search: str, wrote: int | None
    ) -> Any:
        if not any(clicks) or not isinstance(ctx.triggered_id, dict):
            return no_update, no_update, no_update
        fields = {name["name"]: str(value or "") for name, value in zip(names, values, strict=True)}
        return keep(queries, StreamView.from_search(search), ctx.triggered_id["what"], fields, wrote)


def keep(queries: Queries, view: StreamView, what: str, fields: dict[str, str], wrote: int | None) -> Any:
    """Write something down for whoever asks; return what to say, how, and how often something was written."""
    try:
        who = need(queries.right_for(what))
        return queries.write(view, what, fields, who.name), "said said-kept", (wrote or 0) + 1
    except (SpcError, NoRight) as refused:
        return f"Not kept. {refused}", "said said-refused", no_update
