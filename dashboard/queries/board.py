"""What the board asks: what needs a person, then every stream of every line."""

from collections import Counter
from collections.abc import Iterator
from datetime import tzinfo

from dashboard.queries.words import stream_id, unconfirmed, value_and_unit, view_of
from dashboard.urls import ROWS
from dashboard.views import STATE_WORDS, BoardPage, Line, Tile, Todo
from spc.as_of import RowsAhead
from spc.figures import course
from spc.records import Event
from spc.results import StreamResult
from spc.signals import StreamState, stream_state, subject
from spc.standing import Standing
from spc.wording import chart_name, time_text

URGENT = ("failed", "overdue", "moving")
"""States that need a person, in order."""


def board_page(stands: Standing, zone: tzinfo) -> BoardPage:
    """Return the board."""
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


def _counted(states: Iterator[StreamState]) -> str:
    """Return how many streams are in which state: "1 failed, 4 moving, 17 calm"."""
    found: Counter[str] = Counter(state.word for state in states)
    return ", ".join(f"{found[word]} {said}" for word, said in STATE_WORDS.items() if found[word])


def _todo(result: StreamResult, state: StreamState) -> Todo:
    return Todo(
        state=state.word,
        line=result.key.line,
        href=view_of(result.key).href,
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
        margin=state.margin_text,
        margin_fraction=state.margin_fraction,
        taken=_short(state.taken_text, year),
        age=state.age_text,
        due="" if resting else state.due_text,
        course={"course": drawn.course, "limits": drawn.limits, "marks": drawn.marks} if drawn else {},
        course_words=drawn.words if drawn else "",
        unconfirmed=unconfirmed(result),
    )


def _short(taken: str, year: int) -> str:
    """Return a time without its weekday, and without its year when that is this one."""
    return taken.partition(" ")[2].replace(f" {year} ", " ") or taken
