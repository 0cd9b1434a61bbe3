"""What an audit asks of the log that the board shows: its ledger, exposure windows, instruments, failure records."""

from dataclasses import dataclass

from dashboard.queries.known import Known
from dashboard.queries.remembered import Remembered
from spc.as_of import events_until
from spc.audit import NO_INSTRUMENTS, Audit, Instruments, instruments, instruments_of
from spc.containment import ExposureWindow, windows_of
from spc.failure_book import FailureBook, failure_book
from spc.formats import AS_IT_CAME, formats_of
from spc.results import StreamResult
from spc.schedule.ledger import ledger
from spc.shown import windows_shown
from spc.standing import Standing

AUDITED = "audited"
"""Name under which it is remembered."""


@dataclass(frozen=True, slots=True)
class Audited:
    """The log of the board as an audit sees it, at one moment."""

    results: tuple[StreamResult, ...]  # with readings, in order
    audit: Audit
    windows: tuple[ExposureWindow, ...]  # in time order, as kept
    shown: tuple[ExposureWindow, ...]  # the same in the units that the site wants shown: to read, never to keep
    instruments: Instruments
    book: FailureBook  # without records where there is no store


def audited(known: Known, memory: Remembered) -> Audited:
    """Return it as of this minute."""
    stands = known.standing()

    def ask() -> Audited:
        return _audited(known, stands)

    return memory.once(AUDITED, (known.snapshot.version, stands), ask)


def is_audited(known: Known, memory: Remembered) -> bool:
    """Return whether `audited` knows without looking anything up."""
    return memory.holds(AUDITED, (known.snapshot.version, known.standing()))


def _audited(known: Known, stands: Standing) -> Audited:
    scan, store, now = known.snapshot.scan, known.store, stands.now
    results = tuple(result for result in stands.streams if len(result.readings))
    happened = events_until(scan.events.events if scan.events else (), now)
    streams = {result.key: result.readings for result in results}
    kept = ledger(
        streams, happened, scan.catalogue, calendar=known.calendar, zone=scan.zone, now=now.astimezone(scan.zone)
    )
    holds = NO_INSTRUMENTS if store is None else instruments_of(store)
    audit = Audit(streams, happened, scan.catalogue, kept, holds)
    with formats_of(AS_IT_CAME):  # what is written down about them is kept as it came
        windows = windows_of(results, streams, kept.operations, now=now)
    book = FailureBook({(each.key, each.failed_at): each for each in windows}, {})
    return Audited(
        results=results,
        audit=audit,
        windows=windows,
        shown=windows_shown(windows, results, known.formats),
        instruments=instruments(audit, None),
        book=book if store is None else failure_book(store, windows),
    )
