"""Small parts of pages: states, bars, lists, tables."""

from collections.abc import Iterable, Sequence
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html

from dashboard.views import STATE_WORDS

CAUTIONS = (
    "This board analyses numbers that people entered. It accepts or rejects no part, qualifies no line and changes no "
    "check interval. The written procedure, the customer's documents, local codes and the responsible Level 3 decide.",
    "UV-A: do not look into a lamp; wear sleeves, gloves that do not fluoresce and UV-absorbing clear spectacles. "
    "A lamp with a cracked or missing filter goes out of service.",
)

Children = list[Any]


def aria(**attributes: str) -> dict[str, Any]:
    """Return attributes for who hears the page instead of seeing it: `aria(label="State")`."""
    return {f"aria-{name}": words for name, words in attributes.items()}


def in_browser(app: Dash, function: str, output: Output, *asks: Input | State, of: str = "booth") -> None:
    """Let the browser itself work out `output`, by a function `of` one of the assets; "booth" is live.js."""
    call: Any = app.clientside_callback  # it comes without types
    call(ClientsideFunction(of, function), output, *asks)


def chart_place(element_id: str, config: Any) -> dcc.Graph:
    """Return where a chart will stand: empty, with no axes that could be taken for readings, until it is drawn."""
    axis = {"visible": False}
    clear = "rgba(0,0,0,0)"
    layout = {"xaxis": axis, "yaxis": axis, "paper_bgcolor": clear, "plot_bgcolor": clear}
    empty = {"data": [], "layout": layout}
    return dcc.Graph(id=element_id, figure=empty, config=config, responsive=False, className="graph")


def page_name(words: str, *, title: str = "", class_name: str = "") -> html.H1:
    """Return the heading of a page; `title`, where it is not the same, is what the browser's tab says."""
    return html.H1(words, className=class_name, **_data(title=title or words))


def _data(**attributes: str) -> dict[str, Any]:
    return {f"data-{name}": words for name, words in attributes.items()}


def state_mark(state: str, words: str = "") -> html.Span:
    """Return a state as shape and word, or as shape and `words`."""
    said = html.Span(words or STATE_WORDS[state], className="state-word")
    return html.Span(
        [html.Span(className=f"shape shape-{state}", **aria(hidden="true")), said],
        className=f"state state-{state}",
    )


def margin_bar(fraction: float | None) -> html.Span | None:
    """Return how far a reading is from its acceptance limit, the limit being at the left end; None where none is."""
    if fraction is None:
        return None
    near = " bar-near" if fraction < 0.25 else ""
    return html.Span(
        html.Span(className="bar-fill", style={"--margin": f"{100 * fraction:.0f}%"}),
        className=f"bar{near}",
        **aria(hidden="true"),
    )


def reading(value: str, unit: str, class_name: str = "reading") -> html.P:
    """Return a reading large, its unit small."""
    return html.P([html.Span(value, className="value"), " ", html.Span(unit, className="unit")], className=class_name)


def named_list(heading: str, items: Sequence[str], class_name: str, level: type = html.H3) -> html.Div | None:
    """Return a short list under its own heading; None when it is empty."""
    if not items:
        return None
    return html.Div([level(heading), html.Ol([html.Li(item) for item in items])], className=class_name)


def facts(pairs: Iterable[tuple[str, str]]) -> html.Table:
    """Return named facts as a table of two columns."""
    rows = [html.Tr([html.Th(name, scope="row"), html.Td(value)]) for name, value in pairs]
    return html.Table(html.Tbody(rows), className="facts")


def table(caption: str, heads: Sequence[str], rows: Sequence[html.Tr], class_name: str = "") -> html.Div:
    """Return a table that scrolls sideways, and by keyboard, when the screen is narrower than it is."""
    return html.Div(
        html.Table(
            [
                html.Caption(caption),
                html.Thead(html.Tr([html.Th(head, scope="col") for head in heads])),
                html.Tbody(list(rows)),
            ]
        ),
        className=f"table {class_name}".strip(),
        role="region",
        tabIndex=0,
        **aria(label=caption),
    )


def kept(*parts: Any) -> Children:
    """Return the parts that are there."""
    return [part for part in parts if part is not None]


def link(words: Any, href: str, class_name: str = "", **more: Any) -> dcc.Link:
    """Return a link to another view, which opens without loading the page anew."""
    return dcc.Link(words, href=href, className=class_name, **more)


def standing_cautions(look: Any) -> html.Footer:
    """Return what has to be said on every page, and the choice of look."""
    return html.Footer([html.Div([html.P(words) for words in CAUTIONS]), look], className="cautions")
