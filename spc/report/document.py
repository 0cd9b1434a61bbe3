"""A report as a list of sections made of words, tables and pictures: whatever form it takes, it says the same."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from spc.wording import short

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]  # it comes without types

Value = str | int | float | None
"""What a cell holds: words, a count, a number, or nothing. Numbers stay numbers in a spreadsheet."""


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph."""

    text: str
    kind: str = "plain"  # plain, note (small), caution (framed), lead (large)


@dataclass(frozen=True, slots=True)
class Points:
    """A list of sentences, each with what belongs under it."""

    items: tuple[tuple[str, tuple[str, ...]], ...]
    numbered: bool = False
    columns: bool = False  # whether short ones stand in two columns


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known, a line each."""

    rows: tuple[tuple[str, str], ...]
    name: str = ""  # of its file, where tables are written out; "": not written out


@dataclass(frozen=True, slots=True)
class Table:
    """A table with a name that its file has, too."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]
    caption: str = ""
    wide: tuple[int, ...] = ()  # columns of long words


@dataclass(frozen=True, slots=True)
class Picture:
    """A figure, made when it is needed."""

    name: str
    title: str  # what it shows, for those who hear it
    draw: "Callable[[], go.Figure]"
    caption: str = ""
    size: str = "whole"  # whole or most of the width of the page


@dataclass(frozen=True, slots=True)
class Counts:
    """A strip of figures that say most: a number and its words each."""

    items: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Signatures:
    """Lines to sign on."""

    roles: tuple[str, ...]


Block = Words | Points | Facts | Table | Picture | Counts | Signatures


@dataclass(frozen=True, slots=True)
class Section:
    """A heading with what stands under it."""

    title: str
    blocks: tuple[Block, ...]
    level: int = 1  # 1: a chapter, 2: a page within it
    new_page: bool = True


@dataclass(frozen=True, slots=True)
class Document:
    """A report."""

    title: str
    site: str
    period: str
    made: str  # when, as people read it
    made_iso: str  # the same for machines
    opening: Section  # the page that decides
    sections: tuple[Section, ...]

    @property
    def all_sections(self) -> tuple[Section, ...]:
        """The opening page and all that follows."""
        return self.opening, *self.sections

    def tables(self) -> Iterator[Table]:
        """Yield every table, in order."""
        for block in self._blocks():
            if isinstance(block, Table):
                yield block

    def pictures(self) -> Iterator[Picture]:
        """Yield every picture, in order."""
        for block in self._blocks():
            if isinstance(block, Picture):
                yield block

    def _blocks(self) -> Iterator[Block]:
        for section in self.all_sections:
            yield from section.blocks


def cell_text(value: Value) -> str:
    """Return a cell as people read it."""
    if value is None:
        return ""
    if isinstance(value, float):
        return short(value, 4)
    return f"{value:,}" if isinstance(value, int) else value


def file_name(*parts: str) -> str:
    """Return a name that any file system takes: small letters, digits and hyphens."""
    text = "-".join(part for part in parts if part).casefold()
    kept = "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in text)
    return "-".join(filter(None, kept.split("-"))) or "part"


def names_apart(names: Sequence[str]) -> tuple[str, ...]:
    """Return the names with a number behind those that stand there already."""
    seen: dict[str, int] = {}
    found = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        found.append(name if seen[name] == 1 else f"{name}-{seen[name]}")
    return tuple(found)
