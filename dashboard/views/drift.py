"""What the drift room shows below the chart of one stream, part by part."""

from dataclasses import dataclass

from dashboard.views.choices import Choice, Step


@dataclass(frozen=True, slots=True)
class BaselineRow:
    """One version of a stream's baseline."""

    version: str
    state: str  # the last step it went through, in words
    readings: str
    centre_line: str
    limits: str
    steps: tuple[Step, ...]
    compare: Choice
    in_use: bool


@dataclass(frozen=True, slots=True)
class BaselinePart:
    """The baseline in use, what speaks against it, other versions."""

    facts: tuple[tuple[str, str], ...]
    review: tuple[str, ...]  # which readings might be left out, and why
    concerns: tuple[str, ...]  # what leaving them out would not cure
    followed: str  # what the limits would be without them, "" where nothing is proposed
    versions: tuple[BaselineRow, ...]
    proposed: Choice | None  # lays the limits of the current readings over the chart


@dataclass(frozen=True, slots=True)
class LinePart:
    """Other streams of the line on the same time axis."""

    choices: tuple[Choice, ...]
    shown: int


@dataclass(frozen=True, slots=True)
class GroupRow:
    """Readings that share something."""

    name: str
    n: str
    median: str
    middle: str  # where the middle half of them lies


@dataclass(frozen=True, slots=True)
class SplitPart:
    """The readings in view, parted one way."""

    ways: tuple[Choice, ...]
    groups: tuple[GroupRow, ...]
    heading: str
    question: str


@dataclass(frozen=True, slots=True)
class TriedRow:
    """One rule set on the history of the stream."""

    title: str
    remark: str
    alarms: str
    caught: str
    lead: str
    stated: str


@dataclass(frozen=True, slots=True)
class RuleSetPart:
    """Rule sets tried on this history."""

    rows: tuple[TriedRow, ...]
    history: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Asked:
    """A question about how readings were written down."""

    id: str
    sentence: str
    href: str
    evidence: str
    answers: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class QuestionPart:
    """The questions of the stream, and which other streams of its line have any."""

    asked: tuple[Asked, ...]
    elsewhere: tuple[Choice, ...] = ()


@dataclass(frozen=True, slots=True)
class NoteRow:
    """A note beside the chart."""

    href: str
    at: str
    words: str
    who: str
    written: str


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a form."""

    name: str
    label: str
    kind: str = "text"  # "text", "words"
    value: str = ""
    hint: str = ""


@dataclass(frozen=True, slots=True)
class Form:
    """Something to write down; `why_not` says why it cannot be, and then there are no fields."""

    heading: str
    about: tuple[Choice, ...] = ()  # what it can be about
    fields: tuple[Field, ...] = ()
    buttons: tuple[tuple[str, str], ...] = ()  # what it does and its words
    says: str = ""
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class StreamRow:
    """One stream in the list of all."""

    href: str
    title: str
    position: str
    state: str
    line: str  # where rows of several lines stand together; else ""
    value: str
    unit: str
    says: str  # what moves, in a sentence; else how far it is from its limit
    taken: str
    age: str


@dataclass(frozen=True, slots=True)
class StreamsPage:
    """Every stream: those that need a person first, then line by line."""

    urgent: tuple[StreamRow, ...]
    lines: tuple[tuple[str, tuple[StreamRow, ...]], ...]
