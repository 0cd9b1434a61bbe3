"""The list that leads into the drift room: streams that need a person first, then all by line."""

from dataclasses import replace

from dashboard.views import BoardPage, Tile, Todo
from dashboard.views.drift import StreamRow, StreamsPage


def streams_page(board: BoardPage) -> StreamsPage:
    """Return every stream of the board as a list."""
    todos = {todo.href: todo for todo in board.todos}
    rows = {tile.href: _row(tile, todos.get(tile.href)) for tile in board.tiles}
    urgent = tuple(replace(rows[todo.href], line=todo.line) for todo in board.todos if todo.href in rows)
    return StreamsPage(
        urgent=tuple(dict.fromkeys(urgent)),
        lines=tuple((line.name, tuple(rows[tile.href] for tile in line.tiles)) for line in board.lines),
    )


def _row(tile: Tile, todo: Todo | None) -> StreamRow:
    return StreamRow(
        href=tile.href,
        title=tile.title,
        position=tile.position,
        state=tile.state,
        line="",
        value=tile.value,
        unit=tile.unit,
        says=f"{todo.headline}." if todo else tile.margin,
        taken=tile.taken,
        age=tile.age,
    )
