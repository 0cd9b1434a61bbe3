"""What the fleet's page shows, in words and numbers ready for people."""

from dataclasses import dataclass

from dashboard.views.choices import Choice


@dataclass(frozen=True, slots=True)
class Head:
    """The head of a column; the address sorts by it."""

    words: str
    href: str = ""  # "": not to be sorted by
    order: str = ""  # "ascending" or "descending" where the table is sorted by it
    number: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell: its words, and the address of what they rest on, "" where that is nothing more."""

    words: str
    href: str = ""
    bar: float | None = None  # share of the largest in its column


@dataclass(frozen=True, slots=True)
class FleetPage:
    """Some rows of a fleet's results."""

    problem: str = ""  # why there is nothing to show
    summary: str = ""
    unread: Choice | None = None  # partitions that gave nothing
    parts: tuple[Choice, ...] = ()
    narrowed: tuple[Choice, ...] = ()  # each leads to the page without it
    find: str = ""
    caption: str = ""
    heads: tuple[Head, ...] = ()
    rows: tuple[tuple[Cell, ...], ...] = ()
    names: int = 1  # columns at the left that name a row
    nothing: str = ""  # said where there is no row
    before: str = ""  # address of the page of rows before; "" where there is none
    after: str = ""
    notes: tuple[str, ...] = ()
