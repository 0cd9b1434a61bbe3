"""What every printed result is made of: plain tables, headings, notes."""

from collections.abc import Iterable, Sequence

from rich.table import Table
from rich.text import Text


def heading(text: str) -> Text:
    """Return a heading."""
    return Text(text, style="bold underline")


def note(text: str) -> Text:
    """Return words that belong below a table."""
    return Text(text, style="dim")


def plain_table(columns: Sequence[str], rows: Iterable[Sequence[str]], *, words: int = 1) -> Table:
    """Return a table without frame: the first `words` columns hold words, the others numbers."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for place, column in enumerate(columns):
        table.add_column(column, justify="left" if place < words else "right", overflow="fold")
    for row in rows:
        table.add_row(*row)
    return table
