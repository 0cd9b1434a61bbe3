"""The board: what needs doing now, then every stream of every line. For a wall screen and a tablet."""

from collections.abc import Iterator, Sequence
from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update, set_props

from dashboard.ids import Board, Shell
from dashboard.parts import aria, kept, link, margin_bar, named_list, page_name, state_mark
from dashboard.queries import Queries
from dashboard.urls import STREAMS, WRITE
from dashboard.views import STATE_WORDS, BoardPage, Line, Tile, Todo

LATE_SHOWN = 5
"""Overdue checks of a line that are named among what needs doing; each has its tile too."""


def at(queries: Queries, search: str) -> html.Div:
    """Return the page as of now."""
    return layout(queries.board())


def layout(page: BoardPage) -> html.Div:
    """Return the page."""
    return html.Div(
        [
            page_name("Board", class_name="unseen"),
            dcc.Store(id=Board.TOLD, data=fingerprints(page)),
            *([jumps(page)] if len(page.lines) > 1 else []),
            html.Section(
                [
                    html.H2("To do now"),
                    html.Div(todos(page), id=Board.TODO),
                    html.P("", id=Board.BELOW, className="todo-below", hidden=True, **aria(hidden="true")),
                    html.Div(next_checks(page), id=Board.NEXT, className="next"),
                ],
                className="todo",
                **aria(label="To do now"),
            ),
            html.Div([line_section(line, place) for place, line in enumerate(page.lines)], className="lines"),
        ],
        id=Board.ALL,
        className=board_class(page),
    )


def board_class(page: BoardPage) -> str:
    """Return how the board looks: one with nothing to do gives the room to its streams."""
    return "board" if page.todos else "board board-calm"


def next_checks(page: BoardPage) -> list[Any]:
    """Return the checks that are due within about a shift, the soonest first."""
    if not page.due:
        return []
    more = page.due_in_all - len(page.due)
    return kept(
        html.H3("Next checks"),
        html.Ol(
            [
                html.Li(
                    [
                        html.Span([html.Strong(each.by), html.Span(f" {each.left}", className="age")], className="by"),
                        link([each.name, html.Span(f" {each.line}", className="whose")], each.href),
                    ]
                )
                for each in page.due
            ],
            className="dues",
        ),
        html.P(f"and {more} more within about a shift", className="more") if more > 0 else None,
    )


def jumps(page: BoardPage) -> html.Nav:
    """Return the ways down to each line, for a screen that shows one column."""
    links = [
        html.A(line.name, href=f"#{Board.line(place)}", className="button") for place, line in enumerate(page.lines)
    ]
    return html.Nav(links, className="jumps", **aria(label="Lines"))


def todos(page: BoardPage) -> Any:
    """Return what needs a person, failed checks first."""
    if not page.tiles:
        return html.P("No reading in this log yet. The first row that arrives shows here.", className="nothing")
    if not page.todos:
        return html.P("Nothing. No failed check, none overdue, nothing moving.", className="nothing")
    counted = [state_mark(state, f"{n} {STATE_WORDS[state]}") for state, n in page.counted]
    return kept(
        html.P(counted, className="todo-counts") if len(page.todos) > 1 else None,
        html.Ul([todo(*group) for group in grouped(page.todos)], className="todos"),
    )


def grouped(todos: Sequence[Todo]) -> Iterator[tuple[Todo, ...]]:
    """Yield what needs a person, in its order: checks of a line of which all is said by being overdue stand as one."""
    late: dict[str, list[Todo]] = {}
    for item in todos:
        if item.late:
            late.setdefault(item.line, []).append(item)
    for item in todos:
        own = late.get(item.line, ()) if item.late else ()
        if len(own) < 2:
            yield (item,)
        elif item is own[0]:
            yield tuple(own)


def todo(item: Todo, *alike: Todo) -> html.Li:
    """Return one thing to do, or several overdue checks of a line as one."""
    if alike:
        return overdue((item, *alike))
    looked_into = ("Look at it", item.href if item.state in ("moving", "ahead") else "")
    offered = (("Write the check down", item.write), ("What is in doubt", item.window), looked_into)
    ways = [link(words, href, "button") for words, href in offered if href]
    return html.Li(
        kept(
            html.P([state_mark(item.state), html.Span(item.line, className="whose")], className="todo-top"),
            html.H3(link(item.headline, item.href)),
            *(look_first(item) if item.state == "moving" else what_failed(item)),
            html.P(item.said, className="said-last") if item.said else None,
            html.P(ways, className="todo-write") if ways else None,
        ),
        className=f"todo-item todo-{item.state}",
    )


def overdue(items: Sequence[Todo]) -> html.Li:
    """Return the overdue checks of a line, each with the way to write it down; the first ones, and how many more."""
    more = len(items) - LATE_SHOWN
    shown = items if more <= 1 else items[:LATE_SHOWN]
    rows = [
        html.Li(
            link([html.Strong(item.late), " ", html.Span(item.since, className="age")], item.write or item.href),
        )
        for item in shown
    ]
    rest = link(f"and {more} more", WRITE if items[0].write else STREAMS) if len(shown) < len(items) else None
    return html.Li(
        kept(
            html.P(
                [state_mark("overdue"), html.Span(items[0].line, className="whose")],
                className="todo-top",
            ),
            html.H3(f"{len(items)} checks to write down" if items[0].write else f"{len(items)} checks to make"),
            html.Ul(rows, className="late"),
            html.P(rest, className="late-more") if rest is not None else None,
        ),
        className="todo-item todo-overdue todo-late",
    )


def what_failed(item: Todo) -> list[Any]:
    """Return what a failed, an overdue or a misdated check obliges, all of it, and the first thing to look at."""
    return kept(
        html.P(item.because, className="because") if item.because else None,
        named_list("This obliges", item.obliges, "obliges", html.H4),
        *look_first(item),
    )


def look_first(item: Todo) -> list[Any]:
    """Return the first thing to look at; the page of the stream has the rest."""
    if not item.look_first:
        return []
    return [html.P([html.Span("Look first at: ", className="because"), item.look_first[0]], className="first")]


def line_section(line: Line, place: int) -> html.Section:
    """Return one line with its streams; `place` counts the lines from 0."""
    return html.Section(
        [
            html.Div(
                [html.H2(line.name), html.P(summary(line), id=Board.line_summary(line.name))],
                className="line-head",
            ),
            html.Ul(
                [
                    html.Li(
                        [
                            html.H3(
                                link([tile.title, html.Span(f" {tile.position}", className="position")], tile.href)
                            ),
                            html.Div(tile_body(tile), id=Board.tile_body(tile.stream), className="tile-body"),
                        ],
                        id=Board.tile(tile.stream),
                        className=tile_class(tile),
                    )
                    for tile in line.tiles
                ],
                className="tiles",
            ),
        ],
        id=Board.line(place),
        className="line",
        **aria(label=line.name),
    )


def summary(line: Line) -> list[Any]:
    """Return how many streams of a line are in which state, each with its shape, and what is said of all of them."""
    parts = [
        html.Span([state_mark(state, f"{n} {STATE_WORDS[state]}")], className="counted") for state, n in line.states
    ]
    return [*parts, *([html.Span(line.summary)] if line.summary else [])]


def tile_class(tile: Tile) -> str:
    """Return how a tile looks: a calm one calm."""
    return f"tile tile-{tile.state}"


def tile_body(tile: Tile) -> list[Any]:
    """Return what of a tile changes.

    A quiet state is its shape alone to the eye, and a word to who hears the page; the row of the line says it in words.
    """
    pictures = [
        html.Span(className=f"course-{layer}", style={"--picture": picture}) for layer, picture in tile.course.items()
    ]
    return kept(
        html.P(state_mark(tile.state), className="tile-state"),
        html.Div(
            [
                html.P(tile.value, className="value"),
                html.P(
                    kept(
                        html.Span(tile.unit, className="unit") if tile.unit else None,
                        html.Span(tile.age, className="age", title=tile.taken),
                    ),
                    className="beside",
                ),
            ],
            className="tile-reading",
        ),
        html.Div(
            [
                html.Span(pictures, className="course", role="img", **aria(label=tile.course_words or "no course")),
                html.Div(
                    kept(
                        margin_bar(tile.margin_fraction),
                        html.P(margin_words(tile), className="margin") if tile.margin or tile.unconfirmed else None,
                    ),
                    className="tile-margin",
                ),
            ],
            className="tile-course",
        ),
        html.P(tile.due, className="due") if tile.due else None,
    )


def margin_words(tile: Tile) -> list[Any]:
    """Return how far the reading is from its acceptance limit, and whether this site confirmed that limit."""
    note = [
        html.Span("limits ", className="unseen") if tile.margin else "limits ",
        "not confirmed",
        html.Span(" for this site", className="unseen"),
    ]
    return kept(
        f"{tile.margin}, " if tile.margin and tile.unconfirmed else tile.margin or None,
        html.Span(note, className="unconfirmed") if tile.unconfirmed else None,
    )


def register(app: Dash, queries: Queries) -> None:
    """Keep an open board up to date: only what changed is sent."""

    @app.callback(
        Output(Board.TOLD, "data"),
        Input(Shell.LIVE, "data"),
        State(Board.TOLD, "data"),
        prevent_initial_call=True,
    )
    def tell(live: dict[str, int] | None, told: dict[str, str] | None) -> Any:
        return changes(queries.board(), told or {})


def changes(page: BoardPage, told: dict[str, str]) -> Any:
    """Send every part of the board that differs from what was told before; return what is told now."""
    now = fingerprints(page)
    if now == told:
        return no_update
    if told.keys() != now.keys() or told[Board.SHAPE] != now[Board.SHAPE]:
        set_props(Shell.PAGE, {"children": layout(page)})
        return no_update
    if told[Board.TODO] != now[Board.TODO]:
        set_props(Board.TODO, {"children": todos(page)})
    if told[Board.NEXT] != now[Board.NEXT]:
        set_props(Board.NEXT, {"children": next_checks(page)})
        set_props(Board.ALL, {"className": board_class(page)})
    if told[Shell.SAID] != now[Shell.SAID]:
        set_props(Shell.SAID, {"children": f"Streams: {page.said}."})
    for line in page.lines:
        if any(told[tile.stream] != now[tile.stream] for tile in line.tiles):
            set_props(Board.line_summary(line.name), {"children": summary(line)})
        for tile in line.tiles:
            if told[tile.stream] != now[tile.stream]:
                set_props(Board.tile_body(tile.stream), {"children": tile_body(tile)})
                set_props(Board.tile(tile.stream), {"className": tile_class(tile)})
    return now


def fingerprints(page: BoardPage) -> dict[str, str]:
    """Return for each part of the board a short text that differs when the part does."""
    from hashlib import blake2b

    def short(part: object) -> str:
        return blake2b(repr(part).encode(), digest_size=8).hexdigest()

    own = {
        Board.SHAPE: short(page.shape),
        Board.TODO: short(page.todos),
        Board.NEXT: short((page.due, bool(page.todos))),
        Shell.SAID: page.said,
    }
    return own | {tile.stream: short(tile) for tile in page.tiles}
