"""Everything the pages ask. The one place where the dashboard reaches spc: records in, words and figures out."""

import math
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any, Protocol

from dashboard.settings import Settings
from dashboard.urls import ALL, LAST, OFF, ON, ROWS, SEGMENT, SHOWS, StreamView
from dashboard.views import (
    STATE_WORDS,
    BoardPage,
    Explained,
    FailedCheck,
    Header,
    Line,
    Row,
    RowsPage,
    RuleRow,
    StreamPage,
    Tile,
    Todo,
)
from spc.as_of import RowsAhead
from spc.catalogue.load import load_catalogue
from spc.errors import InputError
from spc.errors import SetupError as SetupError
from spc.errors import SpcError as SpcError
from spc.figures import (
    Screen,
    Window,
    all_readings,
    around,
    course,
    last_readings,
    last_segment,
    places_drawn,
    stream_figure,
    with_forecast,
)
from spc.records import Event, StreamKey
from spc.results import StreamResult
from spc.rules_in_view import rule_notes, rules_in_view
from spc.schedule.site_calendar import AROUND_THE_CLOCK, SiteCalendar, load_calendar
from spc.signals import Episode, StreamState, episodes, failed_text, stream_state, subject
from spc.standing import Standing, newest, standing
from spc.stream_csv import stream_csv
from spc.stream_facts import acceptance_facts, baseline_facts, charted_text, forecast_words, written_text
from spc.times import from_microseconds
from spc.watch import Snapshot as Snapshot
from spc.watch import Watch
from spc.wording import NOT_CONFIRMED as NOT_CONFIRMED
from spc.wording import chart_name, in_figures, time_text

READINGS_SHOWN = 50
SIGNALS_SHOWN = 30
FAILURES_SHOWN = 10
USUAL = 60
"""Readings in view when the address asks for no other stretch."""

UNCONFIRMED_LIMITS = f"limits {NOT_CONFIRMED}"


class Source(Protocol):
    """Whatever holds the latest snapshot of a log."""

    snapshot: Snapshot

    def poll(self) -> bool:
        """Look once; return whether anything changed."""
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


class Queries:
    """Answers for the pages, from the latest snapshot. Any thread may ask."""

    def __init__(self, source: Source, settings: Settings, clock: Callable[[], datetime] = utc_now) -> None:
        self._source, self._settings, self._clock = source, settings, clock
        self._calendar = site_calendar(settings)
        self._stands: tuple[tuple[int, int], Standing] | None = None
        self._board: tuple[Standing, BoardPage] | None = None

    # what is known now

    def _now(self, snapshot: Snapshot) -> datetime:
        """Return the time by the clock that the board goes by."""
        log_time = newest(snapshot.scan) if self._settings.clock == "log" else None
        return log_time or self._clock()

    def _standing(self, snapshot: Snapshot) -> Standing:
        """Return how the log stands this minute."""
        now = self._now(snapshot)
        stamp = (snapshot.version, int(now.timestamp() // 60))
        kept = self._stands
        if kept is None or kept[0] != stamp:
            kept = self._stands = (stamp, standing(snapshot.scan, self._calendar, now))
        return kept[1]

    def _result(self, view: StreamView) -> StreamResult | None:
        """Return the stream of `view`; None where there is none."""
        streams = self._standing(self._source.snapshot).streams
        return next((result for result in streams if result.key == _key(view)), None)

    # what the pages ask while they stay open

    def live(self) -> dict[str, object]:
        """Return what an open page asks several times a second."""
        snapshot, now = self._source.snapshot, self._clock()
        return {
            "version": snapshot.version,
            "minute": int(self._now(snapshot).timestamp() // 60),
            "follows": self._settings.follow,
            "looked": round((now - snapshot.read_at).total_seconds(), 1),
            "looked_at": time_text(snapshot.read_at, snapshot.scan.zone),
            "problem": snapshot.problem,
            "lost": snapshot.lost,
        }

    def stamp(self, view: StreamView) -> str:
        """Return a text that changes when the stream of `view` or the view itself does."""
        snapshot, result = self._source.snapshot, self._result(view)
        return f"{snapshot.changed.get(_key(view), 0)} {len(result.readings) if result else 0} {view.to_search()}"

    # pages

    def header(self) -> Header:
        """Return what stands above every page."""
        snapshot = self._source.snapshot
        scan, last = snapshot.scan, self._standing(snapshot).last_reading
        rows, events = scan.log.rows, scan.events.rows.quarantined if scan.events else 0
        return Header(
            title=self._settings.title,
            last_reading=time_text(last, scan.zone) if last is not None else "no reading yet",
            zone=str(scan.zone),
            clock="demo clock" if self._settings.clock == "log" else "",
            read=_count(rows.read),
            accepted=_count(rows.accepted),
            duplicate=_count(rows.duplicate),
            quarantined=_count(rows.quarantined),
            any_quarantined=rows.quarantined > 0,
            events_quarantined=_count(events) if events else "",
            unconfirmed=sum(_unconfirmed(result) for result in scan.streams),
        )

    def board(self) -> BoardPage:
        """Return the board as of this minute."""
        snapshot = self._source.snapshot
        stands, kept = self._standing(snapshot), self._board
        if kept is None or kept[0] is not stands:
            kept = self._board = (stands, _board(stands, snapshot.scan.zone))
        return kept[1]

    def stream(self, view: StreamView) -> StreamPage:
        """Return one stream; a page that says so when there is none."""
        snapshot = self._source.snapshot
        stands, zone = self._standing(snapshot), snapshot.scan.zone
        result = next((result for result in stands.streams if result.key == _key(view)), None)
        if result is None:
            return _no_stream(view)
        if not len(result.readings):
            title = f"{result.key.line}: {subject(result)}"
            return StreamPage(found=False, title=title, notice=_dated_ahead(result.key, stands, zone))
        return _StreamAnswer(result, stands, view, zone).page()

    def figure(self, view: StreamView, screen: dict[str, object], search: str = "") -> Any:
        """Return the chart of one stream for a screen (theme, width, scale); None if there is no such stream.

        It carries `search`, the address as the browser wrote it, so that the browser knows what was asked.
        """
        scan, result = self._source.snapshot.scan, self._result(view)
        if result is None or not len(result.readings):
            return None
        window, _ = _window(result, view, scan.zone)
        figure = stream_figure(
            result,
            zone=scan.zone,
            window=window,
            screen=_screen(screen),
            focus_row=_whole(view.row),
            rules=view.rules == ON,
        )
        return figure.update_layout(meta={"search": search, "stream": _stream_id(result.key)})

    def csv(self, view: StreamView) -> str | None:
        """Return the readings in view as a CSV file; None when there is no such stream."""
        scan, result = self._source.snapshot.scan, self._result(view)
        if result is None or not len(result.readings):
            return None
        window, _ = _window(result, view, scan.zone)
        return stream_csv(result, window.places(result), scan.zone)

    def rows(self) -> RowsPage:
        """Return the rows that could not be read, and what was decided in reading."""
        scan = self._source.snapshot.scan
        bad = (*scan.log.quarantine, *(scan.events.quarantine if scan.events else ()))
        rows = scan.log.rows
        return RowsPage(
            file=str(scan.log.file),
            rows=tuple((Path(row.file).name, str(row.row), row.column, row.text, row.reason) for row in reversed(bad)),
            notes=(
                *scan.log.notes,
                *(scan.events.notes if scan.events else ()),
                *scan.notes_of_names,
                *scan.notes_of_catalogue,
                *scan.notes_of_events,
                *((self._source.snapshot.lost,) if self._source.snapshot.lost else ()),
            ),
            counted=f"{_count(rows.read)} rows read: {_count(rows.accepted)} accepted, {_count(rows.duplicate)} "
            f"duplicate, {_count(rows.quarantined)} quarantined.",
        )


# the board


URGENT = ("failed", "overdue", "moving")
"""States that need a person, in order."""


def _board(stands: Standing, zone: tzinfo) -> BoardPage:
    states = [(result, stream_state(result, zone, stands.now, stands.due.get(result.key))) for result in stands.streams]
    urgent = [pair for pair in states if pair[1].word in URGENT]
    urgent.sort(key=lambda pair: _urgency(*pair))
    names = list(dict.fromkeys(result.key.line for result in stands.streams))
    lines = []
    for name in names:
        own = [(result, state) for result, state in states if result.key.line == name]
        year = stands.now.astimezone(zone).year
        dues = {result.key: stands.due.get(result.key) for result, _ in own}
        resting = {key for key, due in dues.items() if due is not None and due.word == "not in operation"}
        since = next((state.due_text for result, state in own if result.key in resting), "")
        tiles = tuple(_tile(*pair, year, pair[0].key in resting) for pair in own)
        lines.append(Line(name, _summary([state for _, state in own], since), tiles))
    return BoardPage(
        todos=(
            *(_todo(*pair) for pair in urgent),
            *(_todo_ahead(rows, stands, zone) for rows in stands.ahead),
            *(_todo_event_ahead(event, zone) for event in stands.events_ahead),
        ),
        lines=tuple(lines),
        said=_counted(state for _, state in states),
    )


def _urgency(result: StreamResult, state: StreamState) -> tuple[int, float, int]:
    """Return the order of what needs a person: failed checks, the latest first; overdue ones, the longest first; then
    what is nearest to its limit.
    """
    place, last = URGENT.index(state.word), int(result.readings.taken_at[-1])
    match state.word:
        case "failed":
            return place, 0.0, -result.failures[-1].taken_at
        case "overdue":
            return place, 0.0, last
    return place, 1.0 if state.margin_fraction is None else state.margin_fraction, -last


def _todo_ahead(rows: RowsAhead, stands: Standing, zone: tzinfo) -> Todo:
    """Return that rows of a stream are dated ahead of the clock."""
    name = next(subject(result) for result in stands.streams if result.key == rows.key)
    return _todo_date(rows.key.line, f"{name}: {rows.words} dated {time_text(rows.first, zone)}", _view(rows.key).href)


def _todo_event_ahead(event: Event, zone: tzinfo) -> Todo:
    """Return that an event is dated ahead of the clock."""
    what = event.kind.replace("_", " ")
    return _todo_date(event.line, f"Event {what}: row {event.row} of the event file dated {time_text(event.at, zone)}")


def _todo_date(line: str, headline: str, href: str = ROWS) -> Todo:
    return Todo(
        state="ahead",
        line=line,
        href=href,
        headline=headline,
        because="Left out of every state until that time. Correct the time in the file if it is wrong.",
        look_first=(),
        obliges=(),
        margin="",
    )


def _counted(states: Iterator[StreamState]) -> str:
    """Return how many streams are in which state: "1 failed, 4 moving, 17 calm"."""
    found: Counter[str] = Counter(state.word for state in states)
    return ", ".join(f"{found[word]} {said}" for word, said in STATE_WORDS.items() if found[word])


def _todo(result: StreamResult, state: StreamState) -> Todo:
    return Todo(
        state=state.word,
        line=result.key.line,
        href=_view(result.key).href,
        headline=state.gist.rstrip("."),
        because=state.because.rstrip("."),
        look_first=state.look_first,
        obliges=state.obliges,
        margin=state.margin_text,
    )


def _summary(states: list[StreamState], resting: str) -> str:
    """Return how many streams of a line are in which state, and since when it stands still, said once for all."""
    return "; ".join(filter(None, (_counted(iter(states)), resting)))


def _tile(result: StreamResult, state: StreamState, year: int, resting: bool) -> Tile:
    value, unit = _parted(result, state.last_text)
    drawn = course(result)
    return Tile(
        stream=_stream_id(result.key),
        href=_view(result.key).href,
        title=chart_name(result.check),
        position=result.key.position,
        state=state.word,
        value=value,
        unit=unit,
        margin=state.margin_text,
        margin_fraction=state.margin_fraction,
        taken=_short(state.taken_text, year),
        age=state.age_text,
        due="" if resting else state.due_text,
        course={"course": drawn.course, "limits": drawn.limits, "marks": drawn.marks} if drawn else {},
        course_words=drawn.words if drawn else "",
        unconfirmed=_unconfirmed(result),
    )


def _short(taken: str, year: int) -> str:
    """Return a time without its weekday, and without its year when that is this one."""
    return taken.partition(" ")[2].replace(f" {year} ", " ") or taken


def _unconfirmed(result: StreamResult) -> bool:
    acceptance = result.check.acceptance
    return acceptance.rule != "none" and not acceptance.confirmed


def _parted(result: StreamResult, last: str) -> tuple[str, str]:
    """Return a reading and its unit."""
    if result.check.kind == "judged" or not last:
        return last or "\N{EN DASH}", ""
    value, _, unit = last.partition(" ")
    return value, unit


# one stream


class _StreamAnswer:
    """What one stream's page shows."""

    def __init__(self, result: StreamResult, stands: Standing, view: StreamView, zone: tzinfo) -> None:
        self.result, self.view, self.zone = result, view, zone
        self.keys = [other.key for other in stands.streams]
        self.state = stream_state(self.result, zone, stands.now, stands.due.get(self.result.key))
        self.window, notice = _window(self.result, view, zone)
        self.notice = " ".join(filter(None, (notice, _dated_ahead(self.result.key, stands, zone))))

    def page(self) -> StreamPage:
        """Return the whole page."""
        result, state = self.result, self.state
        value, unit = _parted(result, state.last_text)
        before, after = self._neighbours()
        earlier, later = self._moved()
        found = episodes(result, self.zone)
        return StreamPage(
            found=True,
            title=f"{result.key.line}: {subject(result)}",
            subject=subject(result),
            line=result.key.line,
            headline=state.headline,
            due=state.due_text,
            state=state.word,
            value=value,
            unit=unit,
            margin=state.margin_text,
            margin_fraction=state.margin_fraction,
            taken=state.taken_text,
            age=state.age_text,
            look_first=state.look_first,
            obliges=state.obliges,
            cautions=result.check.cautions,
            notice=self.notice,
            previous=before,
            following=after,
            ranges=self._ranges(),
            earlier=earlier,
            later=later,
            shown=f"{time_text(self.window.first, self.zone)} to {time_text(self.window.last, self.zone)}",
            drawn=self._drawn(),
            judged=not len(result.charted.x),
            rules=self._rules_button(),
            rule_rows=tuple(self._rule_rows()),
            rule_notes=self._rule_notes(),
            explained=tuple(self._explained(episode) for episode in reversed(found[-SIGNALS_SHOWN:])),
            explained_in_all=len(found),
            failures=tuple(self._failures()),
            failures_in_all=len(result.failures),
            limits=acceptance_facts(result),
            unconfirmed=_unconfirmed(result),
            baseline=baseline_facts(result, self.zone),
            forecast=forecast_words(result.forecast, self.zone) if result.check.kind == "measured" else (),
            rows=tuple(self._rows()),
            rows_in_view=self.window.places(result).stop - self.window.places(result).start,
            csv_href=self.view.csv_href,
        )

    def _rules_button(self) -> tuple[str, str, bool] | None:
        """Return the button that draws the run rules or leaves them out; None where the chart has none."""
        if not (self.result.check.rules or self.result.check.moving_range) or not self.result.segments:
            return None
        on = self.view.rules == ON
        href = replace(self.view, rules=OFF if on else ON).href
        return "Run rules on the chart", href, on

    def _rule_rows(self) -> Iterator[RuleRow]:
        view = self.window.charted_places(self.result)
        for rule in rules_in_view(self.result, view.start, view.stop):
            rate = "" if rule.per_1000 is None else in_figures(rule.per_1000, 2)
            yield RuleRow(rule.words, _count(rule.hits), rate)

    def _rule_notes(self) -> tuple[str, ...]:
        """Return how the rules and the early warning are to be taken."""
        return rule_notes(self.result)

    def _neighbours(self) -> tuple[tuple[str, str] | None, tuple[str, str] | None]:
        place = self.keys.index(self.result.key)

        def named(which: int) -> tuple[str, str] | None:
            if not 0 <= which < len(self.keys):
                return None
            return _view(self.keys[which]).href, str(self.keys[which]).replace("_", " ")

        return named(place - 1), named(place + 1)

    def _ranges(self) -> tuple[tuple[str, str, bool], ...]:
        shown = "" if self.view.start or self.view.end else self.view.show
        named = {LAST: f"Last {USUAL} readings", SEGMENT: "This segment", ALL: "All readings"}
        if not self.result.segments:
            del named[SEGMENT]
        rules = self.view.rules
        return tuple(
            (words, _view(self.result.key, show=show, rules=rules).href, show == shown) for show, words in named.items()
        )

    def _moved(self) -> tuple[str | None, str | None]:
        """Return the addresses of the stretches just before and just after this one; None where no reading is there."""
        length, readings = self.window.last - self.window.first, self.result.readings
        view = self.window.places(self.result)
        step = length * 0.8

        def address(by: int) -> str:
            return self._around(Window(self.window.first + by * step, self.window.last + by * step))

        return address(-1) if view.start > 0 else None, address(1) if view.stop < len(readings) else None

    def _around(self, window: Window, row: int | None = None) -> str:
        start, end = (_local(at, self.zone) for at in (window.first, window.last))
        return _view(self.result.key, start=start, end=end, row=str(row or ""), rules=self.view.rules).href

    def _at(self, index: int) -> str:
        """Return the address that points at reading `index`."""
        return self._around(around(self.result, index, USUAL), int(self.result.readings.row[index]))

    def _drawn(self) -> str:
        view = self.window.charted_places(self.result)
        places, n = places_drawn(self.result, self.window), max(0, view.stop - view.start)
        drawn = int(((places >= view.start) & (places < view.stop)).sum())
        if drawn == n:
            return ""
        return f"{_count(drawn)} of {_count(n)} readings are drawn; every signalled and every failed one is."

    def _explained(self, episode: Episode) -> Explained:
        first, last = (
            time_text(from_microseconds(signal.taken_at), self.zone) for signal in (episode.first, episode.last)
        )
        return Explained(
            href=self._at(int(self.result.charted.index[episode.last.position])),
            sentence=episode.sentence,
            look_first=episode.look_first if episode.open else (),
            events=tuple(
                f"{event.kind.replace('_', ' ')}, {time_text(event.at, self.zone)}" for event in episode.explained_by
            ),
            span=first if first == last else f"{first} to {last}",
            count=len({signal.position for signal in episode.signals}),
            open=episode.open,
        )

    def _failures(self) -> Iterator[FailedCheck]:
        for failure in reversed(self.result.failures[-FAILURES_SHOWN:]):
            taken = time_text(from_microseconds(failure.taken_at), self.zone)
            yield FailedCheck(self._at(failure.index), failed_text(failure, self.result), taken)

    def _rows(self) -> Iterator[Row]:
        result, readings = self.result, self.result.readings
        failed = {failure.index for failure in result.failures}
        signalled = {int(result.charted.index[signal.position]) for signal in result.signals}
        charted = {int(index): place for place, index in enumerate(result.charted.index)}
        view = self.window.places(result)
        for i in reversed(range(max(view.start, view.stop - READINGS_SHOWN), view.stop)):
            deviates = result.check.charted == "deviation" and i in charted
            yield Row(
                row=str(readings.row[i]),
                taken=time_text(from_microseconds(int(readings.taken_at[i])), self.zone),
                value=written_text(result, i),
                charted=charted_text(result, charted[i]) if deviates else "",
                state="failed" if i in failed else "moving" if i in signalled else "",
                technician=str(readings.technician[i]),
                instrument=str(readings.instrument[i]),
                note=str(readings.note[i]),
                href=self._at(i),
            )


def _dated_ahead(key: StreamKey, stands: Standing, zone: tzinfo) -> str:
    """Return which rows of a stream are left out because they are dated ahead of the clock, "" where none is."""
    rows = next((rows for rows in stands.ahead if rows.key == key), None)
    if rows is None:
        return ""
    return (
        f"{rows.words.capitalize()}: dated {time_text(rows.first, zone)}, ahead of the clock, and left out here until "
        "then. Correct the time in the log if it is wrong."
    )


def _no_stream(view: StreamView) -> StreamPage:
    name = " · ".join(part for part in (view.line, view.check, view.position) if part)
    notice = f"There is no stream “{name}” in this log." if name else "This address names no stream."
    return StreamPage(found=False, title="No such stream", notice=f"{notice} The board lists every stream there is.")


def _window(result: StreamResult, view: StreamView, zone: tzinfo) -> tuple[Window, str]:
    """Return the stretch that the address asks for, and what of it could not be followed."""
    usual = with_forecast(result, last_readings(result, USUAL), zone)
    if view.start or view.end:
        try:
            return Window(_site_time(view.start, zone), _site_time(view.end, zone)), ""
        except InputError as error:
            return usual, f"The stretch in this address cannot be shown ({error}); the last {USUAL} readings are."
    if view.show not in SHOWS:
        return usual, f"This address asks to show “{view.show}”; the last {USUAL} readings are shown instead."
    return {LAST: usual, SEGMENT: last_segment(result), ALL: all_readings(result)}[view.show], ""


def _site_time(text: str, zone: tzinfo) -> datetime:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(f"“{text}” is no time") from None
    try:
        return (at if at.tzinfo else at.replace(tzinfo=zone)).astimezone(UTC)
    except OverflowError:
        raise InputError(f"“{text}” lies outside the calendar") from None


def _local(at: datetime, zone: tzinfo) -> str:
    return at.astimezone(zone).replace(tzinfo=None).isoformat(timespec="minutes")


def _screen(asked: dict[str, object]) -> Screen:
    """Return the screen a browser describes, within what a chart can be drawn for."""
    theme = "dark" if asked.get("theme") == "dark" else "light"
    width, scale = _within(asked.get("width"), 240, 4000, 960), _within(asked.get("scale"), 0.75, 3.0, 1.0)
    return Screen(theme, round(width), scale)


def _within(number: object, low: float, high: float, default: float) -> float:
    if isinstance(number, bool) or not isinstance(number, int | float) or not math.isfinite(number):
        return default
    return min(high, max(low, float(number)))


def _whole(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None


def _key(view: StreamView) -> StreamKey:
    return StreamKey(view.line, view.check, view.position)


def _view(
    key: StreamKey, *, show: str = LAST, start: str = "", end: str = "", row: str = "", rules: str = OFF
) -> StreamView:
    return StreamView(key.line, key.check, key.position, show, start, end, row, rules)


def _stream_id(key: StreamKey) -> str:
    return _view(key).to_search()


def _count(n: int) -> str:
    """Return a whole number with thin spaces between thousands."""
    return f"{n:,}".replace(",", "\N{NARROW NO-BREAK SPACE}")
