"""The address of a page is its state: a copied link opens exactly what was on the screen."""

from dataclasses import dataclass
from urllib.parse import parse_qs, urlencode

BOARD, STREAM, ROWS = "/", "/stream", "/rows"
STREAM_CSV, LIVE = "/stream.csv", "/live"
WRITE = "/write"
WRITE_CARDS, WRITE_KEEP = "/write/cards", "/write/keep"
WRITE_REACT, WRITE_CORRECT = "/write/react", "/write/correct"

LAST, SEGMENT, ALL = "last", "segment", "all"
SHOWS = (LAST, SEGMENT, ALL)
ON, OFF = "on", "off"


@dataclass(frozen=True, slots=True)
class StreamView:
    """Which stream, and which stretch of it. Texts are kept as they stand in the address; queries read them."""

    line: str = ""
    check: str = ""
    position: str = ""
    show: str = LAST
    start: str = ""  # local time of the site, ISO 8601; with `end` it goes before `show`
    end: str = ""
    row: str = ""  # row of the reading to point at
    rules: str = OFF  # "on": hits of run rules that do not warn are drawn too

    @classmethod
    def from_search(cls, search: str | None) -> "StreamView":
        """Read the part of an address after "?"; what it does not know is left out."""
        found = parse_qs((search or "").removeprefix("?"), keep_blank_values=True)

        def first(name: str, default: str = "") -> str:
            return found.get(name, [default])[0]

        return cls(
            line=first("line"),
            check=first("check"),
            position=first("position"),
            show=first("show", LAST),
            start=first("from"),
            end=first("to"),
            row=first("row"),
            rules=first("rules", OFF),
        )

    def to_search(self) -> str:
        """Return the part of the address after and with "?"."""
        pairs = [("line", self.line), ("check", self.check), ("position", self.position)]
        pairs += [("show", self.show)] if self.show != LAST else []
        optional = (("from", self.start), ("to", self.end), ("row", self.row))
        pairs += [(name, text) for name, text in optional if text]
        return "?" + urlencode([*pairs, *([("rules", self.rules)] if self.rules != OFF else [])])

    @property
    def href(self) -> str:
        """The address of the page."""
        return STREAM + self.to_search()

    @property
    def csv_href(self) -> str:
        """The address of its readings as a file."""
        return STREAM_CSV + self.to_search()
