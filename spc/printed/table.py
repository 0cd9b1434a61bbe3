"""What every printed result is made of: plain tables, headings, notes."""

from collections.abc import Iterable, Sequence

from rich.table import Table
from rich.text import Text

from spc.wording import in_figures, short, with_unit


def heading(text: str) -> Text:
    """Return a heading."""
    return Text(text, style="bold underline")


def note(text: str) -> Text:
    """Return words that belong below a table."""
    return Text(text, style="dim")


def unread_rows(log: int, events: int) -> list[str]:
    """Return what to say of rows of a log and of an event file that could not be read; nothing where there are none."""
    if not log + events:
        return []
    return [f"Rows that could not be read: {log} of the log, {events} of the event file; spc scan tells which and why."]


def plain_table(columns: Sequence[str], rows: Iterable[Sequence[str]], *, words: int = 1) -> Table:
    """Return a table without frame: the first `words` columns hold words, the others numbers."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for place, column in enumerate(columns):
        table.add_column(column, justify="left" if place < words else "right", overflow="fold")
    for row in rows:
        table.add_row(*row)
    return table


def facts(rows: Iterable[tuple[str, str]]) -> Table:
    """Return what is known, a line each: what it is, and its value."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), show_header=False)
    table.add_column(style="dim")
    table.add_column(overflow="fold")
    for what, value in rows:
        table.add_row(what, value)
    return table


def value(x: float | None, unit: str = "", digits: int = 4) -> str:
    """Return a number with its unit, "" where there is none."""
    return "" if x is None else with_unit(in_figures(x, digits), unit)


def between(low: float | None, high: float | None, unit: str = "", digits: int = 4) -> str:
    """Return a range: "0.1 to 0.4 mL", "from 0.1 mL", "up to 0.4 mL", "none"."""
    if low is None or high is None:
        ends = ((low, "from"), (high, "up to"))
        return next((f"{words} {value(end, unit, digits)}" for end, words in ends if end is not None), "none")
    return with_unit(f"{in_figures(low, digits)} to {in_figures(high, digits)}", unit)


def acceptance(lower: float | None, upper: float | None, unit: str = "") -> str:
    """Return acceptance limits as they are asked for: "at least 0.1 and at most 0.4 mL"."""
    sides = (("at least", lower), ("at most", upper))
    asked = " and ".join(f"{words} {short(limit)}" for words, limit in sides if limit is not None)
    return with_unit(asked, unit)


def percent(share: float, digits: int = 3) -> str:
    """Return a share in percent."""
    return f"{in_figures(100 * share, digits)} %"


def sure(confidence: float) -> str:
    """Return the heading of confidence limits."""
    return f"{100 * confidence:g} % limits"
