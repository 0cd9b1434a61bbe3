"""The address of a page is its state: a copied link opens exactly what was on the screen."""

from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import parse_qs, urlencode

BOARD, STREAM, ROWS = "/", "/stream", "/rows"
STREAMS = "/streams"
WRITE = "/write"
STREAM_CSV, LIVE = "/stream.csv", "/live"
SETUP = "/setup"
REVIEW, REVIEW_FILE = "/review", "/review."  # and the ending of the file
RECORD, WINDOW, WINDOW_FILE = "/record", "/record/window", "/record/window."  # and the ending of the file
STUDY, STUDY_PLAN = "/study", "/study-plan.csv"
FLEET = "/fleet"
HEALTH, METRICS = "/healthz", "/metrics"  # for programs that watch over the board
ACCOUNTS, SIGN_IN, SIGN_OUT = "/accounts", "/sign-in", "/sign-out"
WRITE_CARDS, WRITE_KEEP = "/write/cards", "/write/keep"
WRITE_REACT, WRITE_CORRECT = "/write/react", "/write/correct"

LAST, SEGMENT, ALL = "last", "segment", "all"
SHOWS = (LAST, SEGMENT, ALL)
ON, OFF = "on", "off"

SIGNALS, BASELINE, LINE, SPLITS, RULE_SETS, QUESTIONS, READINGS = (
    "signals",
    "baseline",
    "line",
    "splits",
    "rule-sets",
    "questions",
    "readings",
)
PARTS = (SIGNALS, BASELINE, LINE, SPLITS, RULE_SETS, QUESTIONS, READINGS)
"""What stands below the chart of the drift room, one at a time."""

SETTINGS = ("lam", "width", "k", "h")
"""How EWMA and CUSUM are drawn, as a link carries it."""


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
    chart: str = ""  # another view of the same readings; "": the usual one
    lam: str = ""  # of the EWMA: weight of the newest reading; "": the usual one, so below
    width: str = ""  # of the EWMA: half-width of its limits, in sigmas
    k: str = ""  # of the CUSUM: slack, in sigmas
    h: str = ""  # of the CUSUM: the sum that signals, in sigmas
    part: str = SIGNALS  # what stands below the chart
    beside: tuple[str, ...] = ()  # other streams of the line on the same time axis: "check" or "check@position"
    by: str = ""  # how the readings are split; "": the first way there is
    about: str = ""  # the signal or question that a form is about; "": the newest
    against: tuple[str, ...] = ()  # baselines laid over the chart: versions, or "proposed"

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
            chart=first("chart"),
            lam=first("lam"),
            width=first("width"),
            k=first("k"),
            h=first("h"),
            part=first("part", SIGNALS),
            beside=tuple(dict.fromkeys(found.get("beside", ()))),
            by=first("by"),
            about=first("about"),
            against=tuple(dict.fromkeys(found.get("against", ()))),
        )

    def to_search(self) -> str:
        """Return the part of the address after and with "?"."""
        pairs = [("line", self.line), ("check", self.check), ("position", self.position)]
        pairs += [("show", self.show)] if self.show != LAST else []
        optional = (("from", self.start), ("to", self.end), ("row", self.row))
        pairs += [(name, text) for name, text in optional if text]
        pairs += [("rules", self.rules)] if self.rules != OFF else []
        pairs += [("chart", self.chart)] if self.chart else []
        pairs += [(name, text) for name in SETTINGS if (text := getattr(self, name))]
        pairs += [("part", self.part)] if self.part != SIGNALS else []
        pairs += [("beside", name) for name in self.beside]
        pairs += [("by", self.by)] if self.by else []
        pairs += [("about", self.about)] if self.about else []
        return "?" + urlencode([*pairs, *(("against", name) for name in self.against)])

    def moved(self, *, show: str = LAST, start: str = "", end: str = "", row: str = "") -> "StreamView":
        """Return the same look at another stretch of time."""
        return replace(self, show=show, start=start, end=end, row=row)

    @property
    def href(self) -> str:
        """The address of the page."""
        return STREAM + self.to_search()

    @property
    def csv_href(self) -> str:
        """The address of its readings as a file."""
        return STREAM_CSV + self.to_search()


@dataclass(frozen=True, slots=True)
class ReviewView:
    """Which period of which line is reviewed; texts as they stand in the address."""

    start: str = ""  # first day, ISO 8601; "": the usual period
    end: str = ""  # last day
    line: str = ""  # "": every line

    @classmethod
    def from_search(cls, search: str | None) -> "ReviewView":
        """Read the part of an address after "?"; what it does not know is left out."""
        found = parse_qs((search or "").removeprefix("?"))
        start, end, line = (found.get(name, [""])[0].strip() for name in ("from", "to", "line"))
        return cls(start, end, line)

    def to_search(self) -> str:
        """Return the part of the address after and with "?"; "" for the usual period of every line."""
        pairs = [(name, text) for name, text in (("from", self.start), ("to", self.end), ("line", self.line)) if text]
        return "?" + urlencode(pairs) if pairs else ""

    @property
    def href(self) -> str:
        """The address of the page."""
        return REVIEW + self.to_search()

    def file_href(self, ending: str) -> str:
        """Return the address of it as a file: "csv", "html", "pdf" or "zip"."""
        return REVIEW_FILE + ending + self.to_search()


FAILED, DUE, LEDGER, METERS, LIMITS, TRAIL = "failed", "due", "ledger", "instruments", "limits", "trail"
RECORD_PARTS = (FAILED, DUE, LEDGER, METERS, LIMITS, TRAIL)
"""The questions that the record answers, one at a time."""

LOOK_BACK = ("instrument", "error", "offset", "found", "since")
"""What an instrument that came back out of tolerance is asked with, as `spc instruments` takes it."""


@dataclass(frozen=True, slots=True)
class RecordView:
    """Which part of the record, about which stream; texts as they stand in the address."""

    part: str = FAILED
    line: str = ""  # "": every one
    check: str = ""
    position: str = ""
    start: str = ""  # first day, ISO 8601
    end: str = ""  # last day
    at: str = ""  # the one reading that the trail is asked about; "": all of the stream
    instrument: str = ""  # that came back out of tolerance
    error: str = ""  # as found, percent of true
    offset: str = ""  # as found, in the unit of the check
    found: str = ""  # when
    since: str = ""  # its last good calibration

    @classmethod
    def from_search(cls, search: str | None) -> "RecordView":
        """Read the part of an address after "?"; what it does not know is left out."""
        found = parse_qs((search or "").removeprefix("?"))
        names = ("line", "check", "position", "from", "to", "at", *LOOK_BACK)
        part = found.get("part", [FAILED])[0]
        return cls(part if part in RECORD_PARTS else FAILED, *(found.get(name, [""])[0] for name in names))

    def to_search(self) -> str:
        """Return the part of the address after and with "?"."""
        asked = [("line", self.line), ("check", self.check), ("position", self.position), ("from", self.start)]
        asked += [("to", self.end), ("at", self.at), *((name, getattr(self, name)) for name in LOOK_BACK)]
        return "?" + urlencode([("part", self.part), *(pair for pair in asked if pair[1])])

    @property
    def href(self) -> str:
        """The address of the page."""
        return RECORD + self.to_search()


@dataclass(frozen=True, slots=True)
class WindowView:
    """Which failed check, with what it leaves in doubt; texts as they stand in the address."""

    line: str = ""
    check: str = ""
    position: str = ""
    at: str = ""  # when it failed, ISO 8601; without an offset in the zone of the site

    @classmethod
    def from_search(cls, search: str | None) -> "WindowView":
        """Read the part of an address after "?"; what it does not know is left out."""
        found = parse_qs((search or "").removeprefix("?"))
        return cls(*(found.get(name, [""])[0] for name in ("line", "check", "position", "at")))

    @property
    def href(self) -> str:
        """The address of the page."""
        return WINDOW + self.to_search()

    def to_search(self) -> str:
        """Return the part of the address after and with "?"."""
        pairs = (("line", self.line), ("check", self.check), ("position", self.position), ("at", self.at))
        return "?" + urlencode([pair for pair in pairs if pair[1]])

    def file_href(self, ending: str) -> str:
        """Return the address of its evidence as a file: "html" or "pdf"."""
        return WINDOW_FILE + ending + self.to_search()


MOVES, FLEET_STREAMS, FLEET_SIGNALS, UNREAD = "moves", "streams", "signals", "unread"
FLEET_PARTS = (MOVES, FLEET_STREAMS, FLEET_SIGNALS, UNREAD)
"""What the fleet's page shows, one at a time."""

NARROWED = ("site", "line", "check", "position", "rule")
"""What the fleet's page can be narrowed to."""


@dataclass(frozen=True, slots=True)
class FleetView:
    """Which rows of a fleet's results, and in which order; texts as they stand in the address."""

    part: str = MOVES
    site: str = ""  # "": every one; so below
    line: str = ""
    check: str = ""
    position: str = ""
    rule: str = ""  # of signals
    find: str = ""  # what a site, line, check or position has in it
    sort: str = ""  # name of a column; "": the part's own order
    down: bool = True  # the largest first
    page: int = 1

    @classmethod
    def from_search(cls, search: str | None) -> "FleetView":
        """Read the part of an address after "?"; what it does not know is left out."""
        found = parse_qs((search or "").removeprefix("?"))

        def first(name: str) -> str:
            return found.get(name, [""])[0]

        part, page = first("part"), first("page")
        return cls(
            part=part if part in FLEET_PARTS else MOVES,
            site=first("site"),
            line=first("line"),
            check=first("check"),
            position=first("position"),
            rule=first("rule"),
            find=first("find").strip(),
            sort=first("sort"),
            down=first("order") != "up",
            page=max(1, int(page)) if page.isascii() and page.isdecimal() and len(page) < 10 else 1,
        )

    def to_search(self) -> str:
        """Return the part of the address after and with "?"."""
        asked = [("part", self.part), *((name, getattr(self, name)) for name in NARROWED), ("find", self.find)]
        asked += [("sort", self.sort), ("order", "" if self.down else "up"), ("page", str(self.page))]
        return "?" + urlencode([pair for pair in asked if pair[1] and pair != ("page", "1")])

    @property
    def href(self) -> str:
        """The address of the page."""
        return FLEET + self.to_search()


def study_search(parts: str, operators: str, rounds: str, seed: str) -> str:
    """Return what stands in the address of a study's plan after and with "?"."""
    return "?" + urlencode([("parts", parts), ("operators", operators), ("rounds", rounds), ("seed", seed)])


def write_href(key: Any) -> str:
    """Return the address at which a check can be written down; `key` has a line, a check and a position."""
    return WRITE + "?" + urlencode([("line", key.line), ("check", key.check), ("position", key.position)])
