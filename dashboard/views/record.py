"""What the record's pages show, in words and numbers ready for people."""

from dataclasses import dataclass

from dashboard.views.choices import Choice


@dataclass(frozen=True, slots=True)
class RecordTable:
    """A table; a cell is its words and the address of its evidence, "" where it leads nowhere."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[tuple[str, str], ...], ...]
    nothing: str  # said where there is no row


@dataclass(frozen=True, slots=True)
class LookBackForm:
    """What is asked about an instrument that came back out of tolerance, as the address has it."""

    names: tuple[str, ...]  # instruments of the log
    name: str
    error: str  # percent of true
    offset: str  # in the unit of the check
    found: str
    since: str
    unit: str = ""  # of `offset`, as shown; "": no instrument is named, or it reads in several
    refused: str = ""  # why there is no answer


@dataclass(frozen=True, slots=True)
class RecordPage:
    """One part of the record."""

    parts: tuple[Choice, ...]
    streams: tuple[Choice, ...]
    heading: str
    lead: str
    as_of: str
    notice: str = ""
    spans: tuple[Choice, ...] = ()  # lengths of time to choose from
    figure: str = ""  # what the figure above the tables shows, in words; "": there is none
    tables: tuple[RecordTable, ...] = ()
    look_back: LookBackForm | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class StepRow:
    """One step of the record of a failed check."""

    at: str
    by: str
    what: str
    words: str


@dataclass(frozen=True, slots=True)
class StepForm:
    """What can be written down about a failed check by whoever asks."""

    kinds: tuple[tuple[str, str], ...]  # step and its words; none: nothing can be written
    chosen: str
    asks_name: bool
    seen: int  # steps written when the form was drawn
    says: str = ""  # what needs another's right, or goes with it
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class WindowPage:
    """One failed check: what it leaves in doubt, and what was done about it."""

    found: bool
    title: str
    notice: str = ""
    whose: str = ""  # line and stream
    back: str = ""
    state: str = ""  # "failed", "learning" or "calm": the shape beside `state_words`
    state_words: str = ""
    doubt: str = ""  # since when parts may be affected, in a sentence
    facts: tuple[tuple[str, str], ...] = ()
    obliges: tuple[str, ...] = ()
    steps: tuple[StepRow, ...] = ()
    lacks: tuple[str, ...] = ()
    closed: bool = False
    figure: str = ""  # what the figure shows, in words; "": there is none
    ways: tuple[Choice, ...] = ()  # to the evidence
    files: tuple[tuple[str, str], ...] = ()  # words, address
