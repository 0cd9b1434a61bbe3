"""What one stream's page asks."""

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta, tzinfo
from typing import TYPE_CHECKING

import numpy as np

from dashboard.queries.words import count, unconfirmed, value_and_unit, view_of
from dashboard.urls import ALL, LAST, OFF, ON, RULE_SETS, SEGMENT, SHOWS, StreamView
from dashboard.views import Explained, FailedCheck, Row, RuleRow, StreamPage
from spc.errors import InputError
from spc.failed_reading import failed_text
from spc.figures import Screen, Window, all_readings, around, last_readings, last_segment, places_drawn, with_forecast
from spc.records import StreamKey
from spc.results import StreamResult
from spc.rule_choice.in_view import rule_notes, rules_in_view
from spc.signals import Episode, episodes, subject
from spc.standing import Standing
from spc.state import stream_state
from spc.stream_facts import acceptance_facts, baseline_facts, charted_text, forecast_words, written_text
from spc.times import from_microseconds
from spc.wording import in_figures, time_text

if TYPE_CHECKING:
    from dashboard.queries.drift import Room

READINGS_SHOWN = 50
SIGNALS_SHOWN = 30
FAILURES_SHOWN = 10
CLOSER = 2.0
"""How much shorter or longer a stretch gets by one step."""

SHORTEST = timedelta(minutes=30)
"""A stretch that is shown is no shorter: addresses tell minutes."""

USUAL = 60
"""Readings in view when the address asks for no other stretch."""


class StreamAnswer:
    """What one stream's page shows."""

    def __init__(self, room: "Room", stands: Standing) -> None:
        self.room, self.result, self.view, self.zone = room, room.result, room.view, room.zone
        view, zone = self.view, self.zone
        self.keys = [other.key for other in stands.streams]
        self.state = stream_state(self.result, zone, stands.now, stands.due.get(self.result.key))
        self.window, notice = window_of(self.result, view, zone)
        self.notice = " ".join(filter(None, (notice, dated_ahead(self.result.key, stands, zone))))

    def now(self) -> StreamPage:
        """Return what the page says of now: what changes with the clock."""
        result, state = self.result, self.state
        value, unit = value_and_unit(result, state.last_text)
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
            forecast=forecast_words(result.forecast, self.zone) if result.check.kind == "measured" else (),
        )

    def page(self) -> StreamPage:
        """Return the whole page."""
        result = self.result
        before, after = self._neighbours()
        earlier, later = self._moved()
        found = episodes(result, self.zone)
        fit, other = self.room.fits().get(self.room.chart()), self.room.other()
        return replace(
            self.now(),
            previous=before,
            following=after,
            ranges=self._ranges(),
            earlier=earlier,
            later=later,
            shown=f"{time_text(self.window.first, self.zone)} to {time_text(self.window.last, self.zone)}",
            drawn=self._drawn(),
            judged=not len(result.charted.x),
            rules=self._rules_button(),
            rule_rows=tuple(self._rule_rows()) if self.room.part() == RULE_SETS else (),
            rule_notes=self._rule_notes() if self.room.part() == RULE_SETS else (),
            explained=tuple(self._explained(episode) for episode in reversed(found[-SIGNALS_SHOWN:])),
            explained_in_all=len(found),
            failures=tuple(self._failures()),
            failures_in_all=len(result.failures),
            limits=acceptance_facts(result),
            unconfirmed=unconfirmed(result),
            baseline=baseline_facts(result, self.zone),
            rows=tuple(self._rows()),
            rows_in_view=self.window.places(result).stop - self.window.places(result).start,
            csv_href=self.view.csv_href,
            pinned=self._pinned(),
            charts=self.room.charts(),
            chart=self.room.chart(),
            suits=fit.suits if fit else True,
            fit=fit.sentence if fit else "",
            missing=other.missing if other else (),
            settings=self.room.settings(),
            closer=self._zoomed(1 / CLOSER),
            wider=self._zoomed(CLOSER),
            parts=self.room.parts(),
            part=self.room.part(),
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
            yield RuleRow(rule.words, count(rule.hits), rate)

    def _rule_notes(self) -> tuple[str, ...]:
        """Return how the rules and the early warning are to be taken."""
        return rule_notes(self.result)

    def _neighbours(self) -> tuple[tuple[str, str] | None, tuple[str, str] | None]:
        place = self.keys.index(self.result.key)

        def named(which: int) -> tuple[str, str] | None:
            if not 0 <= which < len(self.keys):
                return None
            chosen = replace(view_of(self.keys[which]), part=self.view.part)
            return chosen.href, str(self.keys[which]).replace("_", " ")

        return named(place - 1), named(place + 1)

    def _ranges(self) -> tuple[tuple[str, str, bool], ...]:
        shown = "" if self.view.start or self.view.end else self.view.show
        named = {LAST: f"Last {USUAL} readings", SEGMENT: "This segment", ALL: "All readings"}
        if not self.result.segments:
            del named[SEGMENT]
        return tuple((words, self.view.moved(show=show).href, show == shown) for show, words in named.items())

    def _moved(self) -> tuple[str | None, str | None]:
        """Return the addresses of the stretches just before and just after this one; None where no reading is there."""
        length, readings = self.window.last - self.window.first, self.result.readings
        view = self.window.places(self.result)
        step = length * 0.8

        def address(by: int) -> str:
            return self._around(Window(self.window.first + by * step, self.window.last + by * step))

        return address(-1) if view.start > 0 else None, address(1) if view.stop < len(readings) else None

    def _zoomed(self, by: float) -> str | None:
        """Return the address of a stretch `by` times as long around the same middle; None beyond what can be shown."""
        length, readings = self.window.last - self.window.first, self.result.readings
        whole = from_microseconds(int(readings.taken_at[-1])) - from_microseconds(int(readings.taken_at[0]))
        if (by > 1 and length >= whole) or length * by < SHORTEST:
            return None
        middle, half = self.window.first + length / 2, length * by / 2
        return self._around(Window(middle - half, middle + half))

    def _around(self, window: Window, row: int | None = None) -> str:
        start, end = (_local(at, self.zone) for at in (window.first, window.last))
        return self.view.moved(start=start, end=end, row=str(row or "")).href

    def _pinned(self) -> str:
        """Return the address of what is shown now, which shows the same stretch when more readings have come."""
        if self.view.start or self.view.end:
            return self.view.href
        end = self.window.last + timedelta(minutes=1)  # addresses tell whole minutes
        return self.view.moved(
            start=_local(self.window.first, self.zone), end=_local(end, self.zone), row=self.view.row
        ).href

    def _at(self, index: int) -> str:
        """Return the address that points at reading `index`."""
        return self._around(around(self.result, index, USUAL), int(self.result.readings.row[index]))

    def _drawn(self) -> str:
        view = self.window.charted_places(self.result)
        places, n = places_drawn(self.result, self.window, rules=self.view.rules == ON), max(0, view.stop - view.start)
        drawn = int(((places >= view.start) & (places < view.stop)).sum())
        if drawn == n:
            return ""
        return f"{count(drawn)} of {count(n)} readings are drawn, the highest and lowest of every stretch among them."

    def _explained(self, episode: Episode) -> Explained:
        first, last = (
            time_text(from_microseconds(signal.taken_at), self.zone) for signal in (episode.first, episode.last)
        )
        life = self.room.life(episode.first.taken_at, episode.last.taken_at)
        closed = bool(life) and life[-1].what == "closed"
        return Explained(
            href=self._at(int(self.result.charted.index[episode.last.position])),
            sentence=episode.sentence,
            look_first=episode.look_first if episode.open else (),
            events=tuple(
                f"{event.kind.replace('_', ' ')}, {time_text(event.at, self.zone)}" for event in episode.explained_by
            ),
            span=first if first == last else f"{first} to {last}",
            count=len({signal.position for signal in episode.signals}),
            open=episode.open and not closed,
            life=life,
            closed=closed,
        )

    def _failures(self) -> Iterator[FailedCheck]:
        for failure in reversed(self.result.failures[-FAILURES_SHOWN:]):
            taken = time_text(from_microseconds(failure.taken_at), self.zone)
            yield FailedCheck(self._at(failure.index), failed_text(failure, self.result), taken)

    def _rows(self) -> Iterator[Row]:
        result, readings = self.result, self.result.readings
        failed = {failure.index for failure in result.failures}
        signalled = {int(result.charted.index[signal.position]) for signal in result.signals}
        view = self.window.places(result)
        first = max(view.start, view.stop - READINGS_SHOWN)
        shown = slice(*np.searchsorted(result.charted.index, [first, view.stop]).tolist())
        charted = {int(result.charted.index[place]): place for place in range(shown.start, shown.stop)}
        for i in reversed(range(first, view.stop)):
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
                chosen=self.view.row == str(readings.row[i]),
            )


def dated_ahead(key: StreamKey, stands: Standing, zone: tzinfo) -> str:
    """Return which rows of a stream are left out because they are dated ahead of the clock, "" where none is."""
    rows = next((rows for rows in stands.ahead if rows.key == key), None)
    if rows is None:
        return ""
    return (
        f"{rows.words.capitalize()}: dated {time_text(rows.first, zone)}, ahead of the clock, and left out here until "
        "then. Correct the time in the log if it is wrong."
    )


def no_stream(view: StreamView) -> StreamPage:
    """Return the page of an address that names no stream."""
    name = " · ".join(part for part in (view.line, view.check, view.position) if part)
    notice = f"There is no stream “{name}” in this log." if name else "This address names no stream."
    return StreamPage(found=False, title="No such stream", notice=f"{notice} The board lists every stream there is.")


def window_of(result: StreamResult, view: StreamView, zone: tzinfo) -> tuple[Window, str]:
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


def screen_of(asked: dict[str, object]) -> Screen:
    """Return the screen a browser describes, within what a chart can be drawn for."""
    theme = "dark" if asked.get("theme") == "dark" else "light"
    width, scale = _within(asked.get("width"), 240, 4000, 960), _within(asked.get("scale"), 0.75, 3.0, 1.0)
    return Screen(theme, round(width), scale)


def _within(number: object, low: float, high: float, default: float) -> float:
    if isinstance(number, bool) or not isinstance(number, int | float) or not math.isfinite(number):
        return default
    return min(high, max(low, float(number)))


def whole(text: str) -> int | None:
    """Return a row number as written in an address; None where it is none."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None
