"""What the pages show, in words and numbers ready for people. Nothing here knows where they come from."""

from collections.abc import Mapping
from dataclasses import dataclass

from dashboard.views.choices import NO_SETTINGS, Choice, Settings, Step

STATE_WORDS: Mapping[str, str] = {
    "failed": "failed",
    "overdue": "overdue",
    "moving": "moving",
    "ahead": "ahead of the clock",
    "idle": "not in operation",
    "learning": "learning",
    "calm": "calm",
    "judged": "acceptable",
}
"""In order of what needs a person first."""


@dataclass(frozen=True, slots=True)
class Tile:
    """One stream on the board."""

    stream: str  # its id on the page
    href: str
    title: str
    position: str
    state: str  # a key of STATE_WORDS
    value: str
    unit: str
    margin: str
    margin_fraction: float | None
    taken: str
    age: str
    due: str  # that the check is overdue or due soon, or the line not in operation
    course: Mapping[str, str]  # pictures by layer
    course_words: str
    unconfirmed: bool


@dataclass(frozen=True, slots=True)
class Todo:
    """Something that needs a person."""

    state: str
    line: str
    href: str
    headline: str
    because: str
    look_first: tuple[str, ...]
    obliges: tuple[str, ...]
    margin: str
    said: str = ""  # the last thing that people wrote down about it
    write: str = ""  # where the check can be written down; "" where nothing can be
    window: str = ""  # what a failed check leaves in doubt; "" where none failed
    late: str = ""  # which check is overdue, where nothing else is to be said of it
    since: str = ""  # since when it is


@dataclass(frozen=True, slots=True)
class Due:
    """A check that is due within about a shift."""

    line: str
    name: str
    by: str  # the time of day, with the day where it is another
    left: str  # how long until then
    href: str


@dataclass(frozen=True, slots=True)
class Line:
    """One line on the board."""

    name: str
    summary: str  # what is said once for all of it: since when it stands still
    states: tuple[tuple[str, int], ...]  # how many streams are in which state, in the order of STATE_WORDS
    tiles: tuple[Tile, ...]


@dataclass(frozen=True, slots=True)
class BoardPage:
    """The board."""

    todos: tuple[Todo, ...]
    lines: tuple[Line, ...]
    due: tuple[Due, ...]  # the soonest first
    due_in_all: int
    said: str  # what a screen reader is told when it changes

    @property
    def counted(self) -> tuple[tuple[str, int], ...]:
        """How many things of each state need a person, in the order of STATE_WORDS."""
        found = [item.state for item in self.todos]
        return tuple((state, found.count(state)) for state in STATE_WORDS if state in found)

    @property
    def tiles(self) -> tuple[Tile, ...]:
        """All tiles of all lines."""
        return tuple(tile for line in self.lines for tile in line.tiles)

    @property
    def shape(self) -> str:
        """Which tiles there are: another shape needs the page drawn anew."""
        return "\n".join(tile.stream for tile in self.tiles)


@dataclass(frozen=True, slots=True)
class Header:
    """What stands above every page."""

    title: str
    last_reading: str
    zone: str
    formats: str  # how the site writes numbers and times, where that is not as they came
    clock: str  # whose clock it is, where it is not this machine's
    read: str
    accepted: str
    duplicate: str
    quarantined: str
    any_quarantined: bool
    events_quarantined: str  # "" where there is none
    unconfirmed: int
    fleet: bool = False  # whether it shows the results of a run over many lines


@dataclass(frozen=True, slots=True)
class Explained:
    """Signals of one cause, in words."""

    href: str  # the chart with it in view
    sentence: str
    look_first: tuple[str, ...]
    events: tuple[str, ...]
    span: str
    count: int
    open: bool
    life: tuple[Step, ...] = ()  # what people wrote down about it
    closed: bool = False


@dataclass(frozen=True, slots=True)
class FailedCheck:
    """A reading outside its acceptance limits."""

    href: str
    words: str
    taken: str


@dataclass(frozen=True, slots=True)
class RuleRow:
    """One run rule of the chart."""

    words: str
    hits: str
    per_1000: str


@dataclass(frozen=True, slots=True)
class Row:
    """One reading as written."""

    row: str
    taken: str
    value: str
    charted: str  # what the chart shows of it, where that is not the value
    state: str  # "failed", "moving" or ""
    technician: str
    instrument: str
    note: str
    href: str
    chosen: bool = False  # whether the address points at it


@dataclass(frozen=True, slots=True)
class StreamPage:
    """One stream."""

    found: bool
    title: str
    notice: str = ""  # what of the address could not be followed
    subject: str = ""
    line: str = ""
    headline: str = ""
    due: str = ""
    state: str = ""
    value: str = ""
    unit: str = ""
    margin: str = ""
    margin_fraction: float | None = None
    taken: str = ""
    age: str = ""
    look_first: tuple[str, ...] = ()
    obliges: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    previous: tuple[str, str] | None = None  # address and name
    following: tuple[str, str] | None = None
    ranges: tuple[tuple[str, str, bool], ...] = ()  # words, address, whether it is shown now
    earlier: str | None = None
    later: str | None = None
    closer: str | None = None  # half of the stretch
    wider: str | None = None  # twice the stretch
    shown: str = ""
    drawn: str = ""
    judged: bool = False
    rules: tuple[str, str, bool] | None = None  # words and address of the button, whether they are drawn now
    rule_rows: tuple[RuleRow, ...] = ()
    rule_notes: tuple[str, ...] = ()
    explained: tuple[Explained, ...] = ()
    explained_in_all: int = 0
    failures: tuple[FailedCheck, ...] = ()
    failures_in_all: int = 0
    limits: tuple[tuple[str, str], ...] = ()
    unconfirmed: bool = False
    baseline: tuple[tuple[str, str], ...] = ()
    forecast: tuple[str, ...] = ()
    rows: tuple[Row, ...] = ()
    rows_in_view: int = 0
    csv_href: str = ""
    pinned: str = ""  # the address to hand over
    charts: tuple[Choice, ...] = ()  # other views of the same readings; `note` says whether each suits them
    chart: str = ""  # the view that is shown
    suits: bool = True
    fit: str = ""  # why it suits the readings, or does not
    missing: tuple[str, ...] = ()  # what of this view could not be drawn
    settings: Settings = NO_SETTINGS
    parts: tuple[Choice, ...] = ()
    part: str = ""


@dataclass(frozen=True, slots=True)
class RowsPage:
    """The rows that could not be read, and what was decided in reading."""

    file: str
    rows: tuple[tuple[str, str, str, str, str], ...]  # file, row, column, text, reason
    notes: tuple[str, ...]
    counted: str
