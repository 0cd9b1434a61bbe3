"""From a log or a store to the review of a period: everything is read once and judged once."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from spc.audit import Audit, Wanted, instruments
from spc.containment import windows_of
from spc.errors import InputError
from spc.failures import FailureRecord
from spc.formats import formats_now
from spc.records import StreamKey
from spc.results import StreamResult
from spc.review import CAPABLE, Period, Review, SignalStep, review
from spc.review.period import USUAL_DAYS
from spc.review.whole import usual_period
from spc.shown import shown_in, windows_shown

if TYPE_CHECKING:
    from spc.store.store import Store


@dataclass(frozen=True, slots=True)
class Asked:
    """What a review is asked for."""

    wanted: Wanted
    first: date | None = None  # None: a quarter up to `last`
    last: date | None = None  # None: the day of the last reading
    mark: float = CAPABLE
    confidence: float = 0.95
    instruments: Path | None = None  # the site's instruments and calibrations (TOML)


def review_of(
    audit: Audit,
    asked: Asked,
    *,
    steps: Sequence[SignalStep] = (),
    records: Sequence[FailureRecord] | None = None,
    progress: Callable[[StreamKey], None] | None = None,
    results: Sequence[StreamResult] | None = None,
) -> Review:
    """Return the review of a log or a store.

    Args:
        audit: the log or the store, read once.
        asked: for which streams and period.
        steps: what was done about signals, where it is known.
        records: of failed checks; None where none are kept, as beside a bare log.
        progress: called with each stream once it is done.
        results: the streams as already monitored up to the audit's `now`; None: they are monitored here.

    Raises:
        InputError: no stream or no period as asked for.
        CatalogueError: the instruments' file is refused.
    """
    ledger = audit.ledger
    order = [stream.key for stream in ledger.streams]
    keys = [key for key in order if asked.wanted.holds(key) and key in audit.streams and len(audit.streams[key])]
    monitored = audit.monitored(keys) if results is None else [each for each in results if each.key in set(keys)]
    ordered = sorted(monitored, key=lambda result: order.index(result.key))
    windows = windows_of(ordered, audit.streams, ledger.operations, now=ledger.now)
    windows = windows_shown(windows, ordered, formats_now())
    ordered = [shown_in(result, formats_now()) for result in ordered]
    known = instruments(audit, asked.instruments)
    return review(
        ordered,
        ledger,
        windows,
        known.due,
        period_of(asked, ordered, audit),
        calibrations=known.calibrations,
        records=records,
        steps=steps,
        mark=asked.mark,
        confidence=asked.confidence,
        progress=progress,
    )


def period_of(asked: Asked, results: Sequence[StreamResult], audit: Audit) -> Period:
    """Return the period asked for; a quarter up to the last reading where nothing is said.

    Raises:
        InputError: its last day is before its first.
    """
    usual = usual_period(results, audit.ledger, USUAL_DAYS)
    if asked.first is None and asked.last is None:
        return usual
    last = asked.last or max(usual.last, asked.first or usual.last)
    if asked.first is None:
        return Period(last - timedelta(days=USUAL_DAYS - 1), last, audit.ledger.zone)
    if last < asked.first:
        raise InputError(f"the period ends on {last}, before its first day {asked.first}; swap or correct them")
    return Period(asked.first, last, audit.ledger.zone)


def steps_of(store: "Store") -> tuple[SignalStep, ...]:
    """Return what a store holds of what was done about signals, in the order in which it was written."""
    from spc.store.entries import Reaction

    return tuple(
        SignalStep(
            entry.record.key,
            entry.record.signal_at,
            entry.record.rule,
            entry.record.step,
            entry.record.by,
            entry.at,
            entry.record.words,
        )
        for entry in store.records(Reaction)
    )


def records_of(store: "Store", audit: Audit) -> tuple[FailureRecord, ...]:
    """Return the records of failed checks that a store holds."""
    from spc.audit import exposed
    from spc.failure_book import failure_book

    return tuple(failure_book(store, exposed(audit, Wanted())).records.values())
