"""The numbers that EWMA and CUSUM are drawn with: fields beside the views, and an address that carries them."""

from typing import Any

from dash import ALL, Dash, Input, Output, State, dcc, html, no_update

from dashboard.ids import Shell, Stream
from dashboard.pages.drift_forms import dom_id
from dashboard.parts import aria, kept, link
from dashboard.queries import Queries
from dashboard.urls import SETTINGS, StreamView
from dashboard.views.choices import Setting, Settings


def settings(shown: Settings) -> list[Any]:
    """Return the numbers that the chart is drawn with, to be changed; nothing where it has none."""
    if not shown.fields:
        return []
    return kept(
        html.Div(
            kept(
                *[setting(each) for each in shown.fields],
                html.Button("Draw it so", id=Stream.SET, type="button", className="button", n_clicks=0),
                link("Usual numbers", shown.usual, "button") if shown.usual else None,
            ),
            className="settings",
            role="group",
            **aria(label="Numbers that the chart is drawn with"),
        ),
        html.P(shown.refused, className="notice", role="alert") if shown.refused else None,
        html.P(shown.says, className="fit"),
    )


def setting(each: Setting) -> html.Div:
    """Return one number with its label."""
    own = Stream.setting(each.name)
    label = html.Label([each.label, html.Span(f" {each.hint}", className="hint")], htmlFor=dom_id(own))
    decimal: Any = {"inputMode": "decimal"}  # a browser's own word, which the types of dash lack
    field = dcc.Input(id=own, value=each.value, type="text", **decimal, autoComplete="off", className="text")
    return html.Div([label, field], className="field")


def settings_stamp(view: StreamView) -> str:
    """Return a text that changes when the settings do: a new reading leaves what is half typed alone."""
    return "|".join((view.line, view.check, view.position, view.chart, *(getattr(view, name) for name in SETTINGS)))


def register(app: Dash, queries: Queries) -> None:
    """Write what was typed into the address."""

    @app.callback(
        Output(Shell.URL, "search", allow_duplicate=True),
        Input(Stream.SET, "n_clicks"),
        Input({"part": "stream-setting", "name": ALL}, "n_submit"),
        State({"part": "stream-setting", "name": ALL}, "value"),
        State({"part": "stream-setting", "name": ALL}, "id"),
        State(Shell.URL, "search"),
        prevent_initial_call=True,
    )
    def set_numbers(
        clicks: int | None,
        submits: list[int | None],
        values: list[str | None],
        names: list[dict[str, str]],
        search: str,
    ) -> Any:
        if not clicks and not any(submits):
            return no_update
        fields = {name["name"]: str(value or "") for name, value in zip(names, values, strict=True)}
        return queries.with_settings(StreamView.from_search(search), fields).to_search()
