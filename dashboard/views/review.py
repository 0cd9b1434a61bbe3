"""What the page of the capability review shows: words and numbers ready for people."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Told:
    """A number of the period beside that of the period before."""

    name: str
    value: str
    before: str
    href: str = ""  # where its evidence stands


@dataclass(frozen=True, slots=True)
class ToDecide:
    """One thing to do, with the way to its evidence."""

    words: str
    href: str
    look_first: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DecideGroup:
    """What there is to do of one kind."""

    kind: str
    title: str
    items: tuple[ToDecide, ...]
    folded: bool  # many of a kind that can wait


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One stream of the review."""

    name: str
    href: str  # the drift room at this stretch
    line: str
    movement: str  # moving, moved, stable, learning, judged, no readings
    movement_words: str
    capability: str  # the word, "" for a judged check
    index: str  # Ppk with its limits, or ""
    why: str  # the verdict, or why there is none, in a sentence
    outside: str
    on_time: str
    on_time_href: str  # the ledger of this check over the period
    on_time_before: str
    failures: str
    failures_before: str
    windows: str
    limits: str  # what was asked and by which document
    n: str


@dataclass(frozen=True, slots=True)
class WindowRow:
    """A failed check of the period."""

    href: str
    name: str
    failed_at: str
    failed: str
    last_good: str
    exposed: str
    passed: str
    record: str
    settled: bool


@dataclass(frozen=True, slots=True)
class MeterRow:
    """An instrument and its calibration."""

    name: str
    state: str
    last: str
    due: str
    used: str


@dataclass(frozen=True, slots=True)
class ReviewPage:
    """The review of a period."""

    title: str
    period: str  # in words; "" where there is nothing to review
    before: str
    as_of: str
    notice: str
    start: str  # as the form shows them
    end: str
    line: str
    months: tuple[tuple[str, str, bool], ...] = ()  # of the calendar: words, address, whether it is shown
    lengths: tuple[tuple[str, str, bool], ...] = ()  # up to the last reading
    lines: tuple[tuple[str, str, bool], ...] = ()
    numbers: tuple[Told, ...] = ()
    groups: tuple[DecideGroup, ...] = ()
    rows: tuple[CheckRow, ...] = ()
    changes: tuple[str, ...] = ()
    windows: tuple[WindowRow, ...] = ()
    meters: tuple[MeterRow, ...] = ()
    notes: tuple[str, ...] = ()
    files: tuple[tuple[str, str], ...] = ()  # words, address
