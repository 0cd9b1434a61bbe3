"""What the board knows now: the latest snapshot, how it stands this minute, the store behind it."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace
from datetime import UTC, datetime, tzinfo
from threading import RLock
from typing import TYPE_CHECKING, Any, Protocol

from dashboard.queries.words import count, key_of, unconfirmed
from dashboard.settings import Settings
from dashboard.urls import StreamView
from dashboard.views import Header
from spc.catalogue.load import load_catalogue
from spc.errors import SetupError, SpcError
from spc.formats import Formats, formats_of
from spc.results import StreamResult
from spc.schedule.site_calendar import AROUND_THE_CLOCK, SiteCalendar, load_calendar
from spc.shown import shown_in
from spc.standing import Standing, newest, standing
from spc.state import due_text
from spc.watch import Snapshot, Watch
from spc.wording import time_text

if TYPE_CHECKING:
    from spc.store.store import Store


class Source(Protocol):
    """Whatever holds the latest snapshot of a log."""

    snapshot: Snapshot

    @property
    def store(self) -> "Store | None":
        """The store that is watched; None where it is a bare log."""
        ...

    def poll(self) -> bool:
        """Look once; return whether anything changed."""
        ...

    def reload(self) -> str | None:
        """Read the catalogue anew; return why it is not taken, in which case the one before stays."""
        ...


def watch(settings: Settings) -> Source:
    """Return a watch on the store of `settings`, else on its log, read once.

    Raises:
        SpcError: a file is refused as a whole.
    """
    if settings.store is not None:
        from spc.store.watch import StoreWatch

        return StoreWatch(
            settings.store,
            follow=settings.log,
            events=settings.events,
            catalogue=settings.catalogue,
            zone=settings.zone,
            dates=settings.dates,
        )
    if settings.log is None:
        raise SetupError("there is neither a log nor a store to show; name one")
    return Watch(
        settings.log,
        events=settings.events,
        catalogue=settings.catalogue,
        zone=settings.zone,
        dates=settings.dates,
    )


def utc_now() -> datetime:
    """Return the time."""
    return datetime.now(UTC)


def site_calendar(settings: Settings) -> SiteCalendar:
    """Return when the site works.

    Raises:
        SpcError: the calendar or the catalogue is refused.
    """
    if settings.calendar is None:
        return AROUND_THE_CLOCK
    return load_calendar(settings.calendar, load_catalogue(settings.catalogue))


class Known:
    """What the board knows now. Any thread may ask."""

    def __init__(self, source: Source, settings: Settings, clock: Callable[[], datetime] = utc_now) -> None:
        self.source, self.settings, self.clock = source, settings, clock
        self.calendar = site_calendar(settings)
        self._one_asks = RLock()
        self._stands: tuple[tuple[int, int], Standing] | None = None
        self._seen: tuple[Standing, Standing] | None = None

    def reload(self) -> str | None:
        """Read catalogue and calendar anew; return why one of them is not taken, in which case the one before stays."""
        said = self.source.reload()
        try:
            self.calendar = site_calendar(self.settings)
        except SpcError as error:
            said = said or f"The calendar was not taken ({error}); the one before goes on"
        self._stands = None
        return said

    # what is known now

    @property
    def snapshot(self) -> Snapshot:
        """The latest snapshot."""
        return self.source.snapshot

    @property
    def zone(self) -> tzinfo:
        """The zone of the site."""
        return self.source.snapshot.scan.zone

    @property
    def store(self) -> "Store | None":
        """The store behind the board; None where a bare log is shown, which nothing can be written into."""
        return self.source.store

    def now(self) -> datetime:
        """Return the time by the clock that the board goes by, which is the log's own in a demonstration."""
        return self.now_of(self.source.snapshot)

    def now_of(self, snapshot: Snapshot) -> datetime:
        """Return the time by the clock that the board goes by."""
        log_time = newest(snapshot.scan) if self.settings.clock == "log" else None
        return log_time or self.clock()

    def standing(self, snapshot: Snapshot | None = None) -> Standing:
        """Return how the log stands this minute."""
        snapshot = snapshot or self.source.snapshot
        now = self.now_of(snapshot)
        stamp = (snapshot.version, int(now.timestamp() // 60))
        kept = self._stands
        if kept is None or kept[0] != stamp:
            with self._one_asks:  # all screens ask at once when something changes
                kept = self._stands
                if kept is None or kept[0] != stamp:
                    kept = self._stands = (stamp, standing(snapshot.scan, self.calendar, now))
        return kept[1]

    @property
    def formats(self) -> Formats:
        """How the site writes numbers and times, and the units it wants shown."""
        return self.source.snapshot.scan.catalogue.formats

    def in_formats(self) -> AbstractContextManager[None]:
        """Let the site's formats hold for the words that are made within."""
        return formats_of(self.formats)

    def seen(self, snapshot: Snapshot | None = None) -> Standing:
        """Return how the log stands this minute, in the units that the site wants shown: to read, never to keep."""
        stands, formats = self.standing(snapshot), (snapshot or self.source.snapshot).scan.catalogue.formats
        kept = self._seen
        if kept is None or kept[0] is not stands:
            shown = tuple(shown_in(result, formats) for result in stands.streams)
            same = all(one is other for one, other in zip(shown, stands.streams, strict=True))
            kept = self._seen = (stands, stands if same else replace(stands, streams=shown))
        return kept[1]

    def shown(self, view: StreamView) -> StreamResult | None:
        """Return the stream of `view` in the units that the site wants shown; None where there is none."""
        return next((result for result in self.seen().streams if result.key == key_of(view)), None)

    def result(self, view: StreamView) -> StreamResult | None:
        """Return the stream of `view`; None where there is none."""
        streams = self.standing().streams
        return next((result for result in streams if result.key == key_of(view)), None)

    # what the pages ask while they stay open

    def live(self) -> dict[str, object]:
        """Return what an open page asks several times a second."""
        snapshot, now = self.source.snapshot, self.clock()
        return {
            "version": snapshot.version,
            "minute": int(self.now_of(snapshot).timestamp() // 60),
            "follows": self.settings.follow,
            "looked": round((now - snapshot.read_at).total_seconds(), 1),
            "looked_at": time_text(snapshot.read_at, snapshot.scan.zone),
            "problem": snapshot.problem,
            "lost": snapshot.lost,
        }

    def stamp(self, view: StreamView) -> str:
        """Return a text that changes when the stream of `view`, what is due of it, or the view itself does."""
        snapshot, stands, result = self.source.snapshot, self.standing(), self.result(view)
        due = stands.due.get(key_of(view))
        said = f"{due.word} {due_text(due, snapshot.scan.zone, stands.now)}" if due is not None else ""
        changed = snapshot.changed.get(key_of(view), 0)
        return f"{changed} {len(result.readings) if result else 0} {said} {view.to_search()}"

    def minute_stamp(self, view: StreamView) -> str:
        """Return a text that changes with the minute, and with what is due of the stream of `view`."""
        stands = self.standing()
        return f"{int(stands.now.timestamp() // 60)} {stands.due.get(key_of(view))}"

    def header(self) -> Header:
        """Return what stands above every page."""
        snapshot = self.source.snapshot
        scan, last = snapshot.scan, self.standing(snapshot).last_reading
        rows, events = scan.log.rows, scan.events.rows.quarantined if scan.events else 0
        return Header(
            title=self.settings.title,
            last_reading=time_text(last, scan.zone) if last is not None else "no reading yet",
            zone=str(scan.zone),
            formats=self.formats.said,
            clock="demo clock" if self.settings.clock == "log" else "",
            read=count(rows.read),
            accepted=count(rows.accepted),
            duplicate=count(rows.duplicate),
            quarantined=count(rows.quarantined),
            any_quarantined=rows.quarantined > 0,
            events_quarantined=count(events) if events else "",
            unconfirmed=sum(unconfirmed(result) for result in scan.streams),
            fleet=self.settings.fleet is not None,
        )


def forbid_changes(store: "Store", refuse: Callable[[], None]) -> None:
    """Let `refuse` say no, by raising, before anything in the store is changed."""
    from sqlalchemy import event

    from spc.store.engine import WRITES

    def before(connection: Any) -> None:
        if connection.get_execution_options().get(WRITES, False):
            refuse()

    event.listen(store.engine, "begin", before, insert=True)
