"""The records of failed checks in a store: opened on an exposure window, added to step by step, read back."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from spc.containment import ExposureWindow
from spc.errors import InputError
from spc.failures import FailureRecord, FailureStep, WrittenStep, asked_text, open_record, with_step
from spc.formats import AS_IT_CAME, formats_of
from spc.records import StreamKey
from spc.store.store import Store

Place = tuple[StreamKey, datetime]
"""What names a failed check: the stream, and when it failed."""


@dataclass(frozen=True, slots=True)
class FailureBook:
    """All failed checks of a store, with the record of each that has one."""

    windows: Mapping[Place, ExposureWindow]  # of the readings as they stand
    records: Mapping[Place, FailureRecord]  # in the order in which they were opened

    @property
    def without_record(self) -> tuple[ExposureWindow, ...]:
        """The exposure windows that nobody has written up, in time order."""
        return tuple(window for place, window in self.windows.items() if place not in self.records)

    @property
    def unfinished(self) -> tuple[FailureRecord, ...]:
        """The records that are not closed."""
        return tuple(record for record in self.records.values() if record.state != "closed")


def failure_book(store: Store, windows: Iterable[ExposureWindow]) -> FailureBook:
    """Return the records of a store beside the exposure windows of its readings.

    When the check passed again is taken from the readings as they stand; a record whose failed reading was corrected
    since keeps what it said when it was opened.
    """
    found = {(window.key, window.failed_at): window for window in windows}
    steps: dict[Place, list[FailureStep]] = {}
    for entry in store.records(WrittenStep):
        steps.setdefault((entry.record.key, entry.record.failed_at), []).append(entry.record.step)
    records: dict[Place, FailureRecord] = {}
    for opened in store.records(FailureRecord):
        record = opened.record
        place = record.key, record.failed_at
        window = found.get(place)
        passed_at = window.passed_at if window is not None else record.passed_at
        records.setdefault(place, replace(record, passed_at=passed_at, steps=tuple(steps.get(place, ()))))
    return FailureBook(found, records)


def book_shown(book: FailureBook, shown: Iterable[ExposureWindow]) -> FailureBook:
    """Return a book to read: what was read and asked as in `shown`, its exposure windows in the site's units.

    A record that no longer says what the readings do was opened before a correction, and stays as it was opened.
    """
    windows = {(window.key, window.failed_at): window for window in shown}

    def told(place: Place, record: FailureRecord) -> FailureRecord:
        kept, seen = book.windows.get(place), windows.get(place)
        if kept is None or seen is None:
            return record
        with formats_of(AS_IT_CAME):
            same = (record.failed, record.asked) == (kept.failed, asked_text(kept))
        return replace(record, failed=seen.failed, asked=asked_text(seen)) if same else record

    return FailureBook(windows, {place: told(place, record) for place, record in book.records.items()})


def window_at(book: FailureBook, key: StreamKey, failed_at: datetime) -> ExposureWindow:
    """Return the window of the check of `key` that failed at `failed_at`, exactly or else within that minute.

    Raises:
        InputError: no check of this stream failed then, or several did; the message says which did.
    """
    own = [window for place, window in book.windows.items() if place[0] == key]
    of_minute = [
        window
        for window in own
        if window.failed_at.replace(second=0, microsecond=0) == failed_at.replace(second=0, microsecond=0)
    ]
    for window in of_minute:
        if window.failed_at == failed_at:
            return window
    if len(of_minute) == 1:
        return of_minute[0]
    if of_minute:
        moments = " and ".join(window.failed_at.isoformat() for window in of_minute)
        raise InputError(f"{key}: checks failed at {moments}; give the seconds, too")
    last = f"the latest failed at {own[-1].failed_at.isoformat()}" if own else "none of its checks failed"
    raise InputError(f"{key}: no check failed at {failed_at.isoformat()}; {last}")


def write_step(
    store: Store, book: FailureBook, window: ExposureWindow, step: FailureStep, *, who: str, now: datetime
) -> FailureRecord:
    """Add a step to the record of a failed check, opening the record where there is none; return it as it stands.

    Raises:
        InputError: the step cannot follow what stands there; nothing is written then.
        StoreError: the store refuses the change.
    """
    record = book.records.get((window.key, window.failed_at))
    opened: tuple[object, ...] = ()
    if record is None:
        record = open_record(window, at=step.at, by=step.by)
        opened = (record,)
    after = with_step(record, step)
    store.append(*opened, WrittenStep(window.key, window.failed_at, after.steps[-1]), who=who, now=now)
    return after
