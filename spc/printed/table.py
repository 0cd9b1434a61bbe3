"""What every printed result is made of: plain tables, headings, notes, and numbers of three figures."""

import math
from collections.abc import Iterable, Sequence

from rich.table import Table
from rich.text import Text

FIGURES = 3
SMALLEST, LARGEST = 1e-6, 1e12  # written without an exponent


def figures(x: float, digits: int = FIGURES) -> str:
    """Return `x` with that many figures: "0.00135", "12.4", "1,090", "2.4e-12"; "none" for NaN."""
    if math.isnan(x):
        return "none"
    if math.isinf(x):
        return "no end" if x > 0 else "\N{MINUS SIGN}no end"
    text = f"{x:.{digits - 1}e}"
    if x == 0 or SMALLEST <= abs(x) < LARGEST:
        places = digits - 1 - int(text.partition("e")[2]) if x else 0
        text = f"{round(x, places):,.{max(places, 0)}f}"
    return text.replace("-", "\N{MINUS SIGN}")


def short(x: float, digits: int = 4) -> str:
    """Return `x` with that many figures at most: "0.012", "1,096", "2"."""
    text = figures(x, digits)
    return text.rstrip("0").rstrip(".") if "." in text and "e" not in text else text


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
