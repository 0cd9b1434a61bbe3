"""What the record's page shows, in words and numbers ready for people."""

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
class FailedCheck:
    """One failed check: what it leaves open and what was done about it."""

    title: str
    href: str  # the failed reading on its chart
    state: str  # of the written record
    facts: tuple[tuple[str, str], ...]
    obliges: tuple[str, ...]
    steps: tuple[str, ...]
    lacks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RecordPage:
    """One part of the record."""

    parts: tuple[Choice, ...]
    streams: tuple[Choice, ...]
    heading: str
    lead: str
    notice: str = ""
    tables: tuple[RecordTable, ...] = ()
    failed: tuple[FailedCheck, ...] = ()
    notes: tuple[str, ...] = ()
