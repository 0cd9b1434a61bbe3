"""What the board asks: what needs a person, then every stream of every line."""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from typing import Any

from dashboard.queries.record_windows import window_href
from dashboard.queries.words import stream_id, unconfirmed, value_and_unit, view_of
from dashboard.urls import ROWS, write_href
from dashboard.views import STATE_WORDS, BoardPage, Due, Line, Tile, Todo
from spc.as_of import RowsAhead
from spc.catalogue.check import Check
from spc.check_due import CheckDue, due_soon
from spc.figures import course
from spc.formats import formats_now
from spc.records import Event, StreamKey
from spc.results import StreamResult
from spc.signals import episodes, subject
from spc.standing import Standing
from spc.state import StreamState, at_moment, standing_state
from spc.times import from_microseconds, to_microseconds
from spc.wording import chart_name, time_text

URGENT = ("failed", "overdue", "moving")
"""States that need a person, in order."""

DUE_SHOWN = 6
"""Checks due within about a shift that are named, the soonest first."""

MARGIN = re.compile(r"(?P<by>\S+) (?P<way>(above|below) the (lower|upper)) limit ")

Reactions = Mapping[StreamKey, Sequence[Any]]


@dataclass(frozen=True, slots=True)
class Told:
    """What was told of one stream, and what that rests on; the clock changes its age and what is due, nothing else."""

    result: StreamResult
    rests_on: tuple[Any, ...]
    state: StreamState
    tile: Tile


Before = dict[StreamKey, Told]
"""What was told of each stream the last time: at a change of one of them the others are not reckoned anew."""


def board_page(
    stands: Standing, zone: tzinfo, reactions: Reactions, *, writes: bool, before: Before | None = None
) -> BoardPage:
    """Return the board.

    Args:
        stands: the log at this minute.
        zone: the site's.
        reactions: what people wrote down about signals, by stream, in the order written.
        writes: whether checks can be written down on this board.
        before: what was told the last time, kept up to date here; None where nothing is to be kept.
    """
    year, told = stands.now.astimezone(zone).year, {} if before is None else before
    for result in stands.streams:
        told[result.key] = _told(result, zone, year, stands.due.get(result.key), told.get(result.key))
    states = [
        (result, at_moment(told[result.key].state, result, zone, stands.now, stands.due.get(result.key)))
        for result in stands.streams
    ]
    urgent = [pair for pair in states if pair[1].word in URGENT]
    urgent.sort(key=lambda pair: _urgency(*pair))
    due = sorted((result for result in stands.streams if _soon(result, stands)), key=lambda result: _by(result, stands))
    names = list(dict.fromkeys(result.key.line for result in stands.streams))
    lines = []
    for name in names:
        own = [(result, state) for result, state in states if result.key.line == name]
        dues = {result.key: stands.due.get(result.key) for result, _ in own}
        resting = {key for key, due in dues.items() if due is not None and due.word == "not in operation"}
        since = next((state.due_text for result, state in own if result.key in resting), "")
        tiles = tuple(
            replace(
                told[result.key].tile,
                age=state.age_text,
                due=_due_words(result, state, stands, result.key in resting, year),
            )
            for result, state in own
        )
        lines.append(Line(name, since, _counts(state for _, state in own), tiles))
    return BoardPage(
        todos=(
            *(_todo(*pair, stands.now, zone, reactions, writes) for pair in urgent),
            *(_todo_ahead(rows, stands, zone) for rows in stands.ahead),
            *(_todo_event_ahead(event, zone) for event in stands.events_ahead),
        ),
        lines=tuple(lines),
        due=tuple(_due(result, stands, zone, writes) for result in due[:DUE_SHOWN]),
        due_in_all=len(due),
        said=_counted(state for _, state in states),
    )


def _told(result: StreamResult, zone: tzinfo, year: int, due: CheckDue | None, before: Told | None) -> Told:
    """Return what is told of a stream: the same as before where it rests on the same."""
    rests_on = (due, zone, year, formats_now())
    if before is not None and before.result is result and before.rests_on == rests_on:
        return before
    state = standing_state(result, zone, due)
    return Told(result, rests_on, state, _tile(result, state, year))


def _urgency(result: StreamResult, state: StreamState) -> tuple[int, float, int]:
    """Return the order of what needs a person: failed checks, the latest first; overdue ones, those that move and then
    the longest first; then what is nearest to its limit.
    """
    place, last = URGENT.index(state.word), int(result.readings.taken_at[-1])
    match state.word:
        case "failed":
            return place, 0.0, -result.failures[-1].taken_at
        case "overdue":
            return place, float(_only_late(result, state)), last
    return place, 1.0 if state.margin_fraction is None else state.margin_fraction, -last


def _todo_ahead(rows: RowsAhead, stands: Standing, zone: tzinfo) -> Todo:
    """Return that rows of a stream are dated ahead of the clock."""
    name = next(subject(result) for result in stands.streams if result.key == rows.key)
    return _todo_date(
        rows.key.line, f"{name}: {rows.words} dated {time_text(rows.first, zone)}", view_of(rows.key).href
    )


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


def _counts(states: Iterator[StreamState]) -> tuple[tuple[str, int], ...]:
    """Return how many streams are in which state."""
    found: Counter[str] = Counter(state.word for state in states)
    return tuple((word, found[word]) for word in STATE_WORDS if found[word])


def _counted(states: Iterator[StreamState]) -> str:
    """Return the same in words: "1 failed, 4 moving, 17 calm"."""
    return ", ".join(f"{n} {STATE_WORDS[word]}" for word, n in _counts(states))


def _soon(result: StreamResult, stands: Standing) -> bool:
    found = stands.due.get(result.key)
    return found is not None and due_soon(found, stands.now)


def _by(result: StreamResult, stands: Standing) -> datetime:
    by = stands.due[result.key].by
    assert by is not None  # what is due soon has a time
    return by


def _due(result: StreamResult, stands: Standing, zone: tzinfo, writes: bool) -> Due:
    by = _by(result, stands).astimezone(zone)
    other_day = by.date() != stands.now.astimezone(zone).date()
    minutes = max(0, round((by - stands.now).total_seconds() / 60))
    left = f"{minutes} min" if minutes < 90 else f"{minutes / 60:.0f} h"
    return Due(
        line=result.key.line,
        name=subject(result),
        by=f"{by:%a} {formats_now().time(by)}" if other_day else formats_now().time(by),
        left=f"in {left}",
        href=write_href(result.key) if writes else view_of(result.key).href,
    )


def _said(result: StreamResult, zone: tzinfo, reactions: Reactions) -> str:
    """Return the last thing that people wrote down about what moves now; "" where nobody did."""
    found = episodes(result, zone)
    if not found or not found[-1].open or result.key not in reactions:
        return ""
    first, last = found[-1].first.taken_at, found[-1].last.taken_at
    own = [e for e in reactions[result.key] if first <= to_microseconds(e.record.signal_at) <= last]
    if not own:
        return ""
    words = {"acknowledged": "Seen", "cause": "Cause", "action": "Done", "closed": "Closed"}[own[-1].record.step]
    told = f": {own[-1].record.words}" if own[-1].record.words else ""
    return f"{words}{told} ({own[-1].record.by}, {time_text(own[-1].at, zone)})"


def _this_year(sentence: str, year: int) -> str:
    """Return a sentence whose times of this year are told without it, to be short enough for a wall."""
    return re.sub(rf"(\d [A-Z][a-z][a-z]) {year}(?= \d?\d:\d\d)", r"\1", sentence)


def _todo(
    result: StreamResult, state: StreamState, now: datetime, zone: tzinfo, reactions: Reactions, writes: bool
) -> Todo:
    year = now.astimezone(zone).year
    late = _only_late(result, state)
    return Todo(
        state=state.word,
        line=result.key.line,
        href=view_of(result.key).href,
        headline=_this_year(state.gist.rstrip("."), year),
        because=_this_year(_because(result, state, zone, late).rstrip("."), year),
        look_first=state.look_first,
        obliges=state.obliges,
        margin=state.margin_text,
        said=_said(result, zone, reactions) if state.word == "moving" else "",
        write=write_href(result.key) if writes and state.word in ("failed", "overdue") else "",
        window=_window(result, zone) if state.word == "failed" else "",
        late=subject(result) if late else "",
        since=_late_since(state, year) if late else "",
    )


def _because(result: StreamResult, state: StreamState, zone: tzinfo, late: bool) -> str:
    """Return what is said below a headline; of an overdue check that moves, how it moves."""
    return episodes(result, zone)[-1].gist if state.word == "overdue" and not late else state.because


def _only_late(result: StreamResult, state: StreamState) -> bool:
    """Return whether being overdue is all there is to say of a check: nothing moves."""
    return state.word == "overdue" and state.because == f"due {result.check.interval.words}."


def _late_since(state: StreamState, year: int) -> str:
    """Return since when a check is overdue."""
    return _this_year(state.due_text, year).removeprefix("check overdue ")


def _window(result: StreamResult, zone: tzinfo) -> str:
    """Return the address of what the failed check leaves in doubt."""
    if not result.failures:
        return ""
    return window_href(result.key, from_microseconds(result.failures[-1].taken_at), zone)


def _due_words(result: StreamResult, state: StreamState, stands: Standing, resting: bool, year: int) -> str:
    """Return since when a check is overdue; "" where it is one of the next, or the whole line rests, said once."""
    if resting or _soon(result, stands):
        return ""
    if state.word == "overdue":
        return _late_since(state, year)
    asked = result.key not in stands.due and state.word not in URGENT
    return state.due_text or (_without_clock(result.check) if asked else "")


def _without_clock(check: Check) -> str:
    """Return when a check that no clock sets is due, short: "due after every demagnetisation"."""
    return "" if check.interval.every is not None else f"due {re.split('[,;]', check.interval.words)[0]}".strip()


def _tile(result: StreamResult, state: StreamState, year: int) -> Tile:
    """Return a tile, without what the clock changes of it."""
    value, unit = value_and_unit(result, state.last_text)
    drawn = course(result)
    return Tile(
        stream=stream_id(result.key),
        href=view_of(result.key).href,
        title=chart_name(result.check),
        position=result.key.position,
        state=state.word,
        value=value,
        unit=unit,
        margin=_spare(state.margin_text),
        margin_fraction=state.margin_fraction,
        taken=_short(state.taken_text, year),
        age="",
        due="",
        course={"course": drawn.course, "limits": drawn.limits, "marks": drawn.marks} if drawn else {},
        course_words=drawn.words if drawn else "",
        unconfirmed=unconfirmed(result),
    )


def _spare(margin: str) -> str:
    """Return a margin short: "0.100 to spare", "0.02 beyond the limit"; other words stay as they are."""
    found = MARGIN.match(margin)
    if found is None:
        return "no limit asked" if margin == "no acceptance limit" else margin
    inside = found["way"] in ("above the lower", "below the upper")
    return f"{found['by']} {'to spare' if inside else 'beyond the limit'}"


def _short(taken: str, year: int) -> str:
    """Return a time without its weekday, and without its year when that is this one."""
    if formats_now().dates != "words":
        return taken
    return taken.partition(" ")[2].replace(f" {year} ", " ") or taken
