"""What the page for writing checks down shows: cards, questions, and what is said of a reading at once."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class InstrumentChoice:
    """An instrument that readings of a check are made with."""

    name: str
    warning: str = ""  # that its calibration is overdue, or that it was found wrong


@dataclass(frozen=True, slots=True)
class SignalAsked:
    """Something that moves, for which no reaction is written down yet."""

    sentence: str
    look_first: tuple[str, ...]
    at: int  # with `rule` what names it: microseconds since 1970-01-01 UTC
    rule: str
    raised: bool  # by the reading that was just kept
    reacted: str  # what was last written down about it; "" for nothing


@dataclass(frozen=True, slots=True)
class Card:
    """One check on one place, ready to be written down: all that the tablet needs, with or without the server."""

    id: str
    line: str
    check: str
    title: str
    position: str
    kind: str  # "measured", "judged"
    when: str  # "overdue", "due now", "this shift", "later", "resting"
    due: str  # in words
    unit: str
    unit_code: str  # as logs write it: sent along, so that an entry says what it was typed in
    step: float | None  # smallest one that a reading can be written in
    places: int  # decimals of a reading
    signed: bool  # whether it can lie below 0
    possible: tuple[float | None, float | None]
    usual: tuple[float, float] | None  # in the chart unit; beyond it a question is asked
    tube: bool  # whether it is read off a settling tube
    deviation: bool  # whether it is charted as its deviation from the reference, in %
    asks_reference: bool
    references: tuple[float, ...]  # those used before or asked for, the last used first
    reference_name: str
    words: tuple[str, ...]  # of a judged check, the good ones first
    asked: str  # the acceptance limits in words
    confirmed: bool
    last_age: str
    moves: str  # what moves or has failed, in a sentence
    instruments: tuple[InstrumentChoice, ...]  # the last used first
    cautions: tuple[str, ...]
    href: str  # of its page


@dataclass(frozen=True, slots=True)
class OtherCheck:
    """A check of the catalogue that may be written down at a place of one's own."""

    check: str
    title: str
    card: Card


@dataclass(frozen=True, slots=True)
class EntryPage:
    """All checks that can be written down."""

    cards: tuple[Card, ...]  # in the order in which they are to be done
    lines: tuple[str, ...]
    others: tuple[OtherCheck, ...]
    people: tuple[str, ...]
    person: str  # who is signed in; "" where nobody is
    shifts: tuple[str, ...]  # names to choose from where no calendar says which it is
    now: str  # local time of the site, to the minute
    zone: str
    decimal: str  # the sign before decimals that this site writes
    why_not: str  # why nothing can be written down; "" where it can
    following: str  # which of the checks due later is the first, and when; "" where the clock sets none


@dataclass(frozen=True, slots=True)
class KeptReading:
    """A reading that was kept, and what is said of it."""

    entry: str
    stream: str
    title: str
    value: str
    at: str
    who: str
    before: bool  # whether this entry, or the same reading, stood there already
    word: str  # "pass", "fail", "inside", "outside", "undecided", "no limit", "not run"
    verdict: str
    margin: str
    obliges: tuple[str, ...]
    exposed: str  # what a failed check puts in question, in a sentence
    exposed_href: str
    signal: SignalAsked | None
    course: dict[str, str]
    course_words: str
    href: str
