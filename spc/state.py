"""What a stream is at a moment, in words: failed, overdue, moving, not in operation, calm; its line on the board."""

from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from typing import Literal

from spc.as_of import as_of
from spc.check_due import CheckDue, due_soon
from spc.failed_reading import failed_side, failed_text, standing_failure
from spc.margin import last_read, last_text, margin
from spc.results import StreamResult
from spc.signals import episodes, is_reset, joined, subject
from spc.times import from_microseconds
from spc.told import Told
from spc.wording import (
    NOT_CONFIRMED,
    age_text,
    bounds_text,
    source_text,
    time_text,
)

StateWord = Literal["failed", "overdue", "moving", "idle", "learning", "calm", "judged"]
"""What a stream is at a moment; a state that needs a person goes before one that does not.

A check that is overdue, and a stream whose line is not in operation, is never called calm: what is known of it is old.
"""


@dataclass(frozen=True, slots=True)
class StreamState(Told):
    """What a stream's line on the board says."""

    word: StateWord
    gist: str  # what is so, short: for a heading
    because: str  # the reasons, "" where there are none; to stand after `gist`
    look_first: tuple[str, ...]
    obliges: tuple[str, ...]
    last_text: str
    margin_text: str
    margin_fraction: float | None  # 0 on or outside the acceptance limit .. 1 as far inside as a reading can be
    taken_text: str
    age_text: str
    limits_text: str
    due_text: str = ""  # that a check is overdue, due soon, or that the line is not in operation

    @property
    def headline(self) -> str:
        """The whole of it in words."""
        return joined(self.gist, self.because)


def stream_state(result: StreamResult, zone: tzinfo, now: datetime, due: CheckDue | None = None) -> StreamState:
    """Return what the board says of a stream at `now`, from readings and events up to then.

    Args:
        result: of the stream.
        zone: of the times told.
        now: aware.
        due: how the stream stands to its interval; None where nothing is known of that.
    """
    result = as_of(result, now)
    return at_moment(standing_state(result, zone, due), result, zone, now, due)


def at_moment(
    state: StreamState, result: StreamResult, zone: tzinfo, now: datetime, due: CheckDue | None
) -> StreamState:
    """Return what `standing_state` says of a stream, with what the clock alone changes of it: its age, what is due."""
    last = last_read(result)
    taken = from_microseconds(int(result.readings.taken_at[last])) if last is not None else None
    return replace(
        state,
        age_text=age_text(taken, now) if taken else "",
        due_text=due_text(due, zone, now) if due else "",
    )


def standing_state(result: StreamResult, zone: tzinfo, due: CheckDue | None) -> StreamState:
    """Return what the board says of a stream for as long as neither it nor how it stands to its interval changes.

    Args:
        result: of the stream, nothing in it later than now.
        zone: of the times told.
        due: how the stream stands to its interval; None where nothing is known of that.
    """
    word, gist, because, look_first = _word(result, zone, due)
    last = last_read(result)
    taken = from_microseconds(int(result.readings.taken_at[last])) if last is not None else None
    margin_text, margin_fraction = margin(result)
    acceptance = result.check.acceptance
    return StreamState(
        word=word,
        gist=gist,
        because=because,
        look_first=look_first,
        obliges=result.check.obliges if word == "failed" else (),
        last_text=last_text(result),
        margin_text=margin_text,
        margin_fraction=margin_fraction,
        taken_text=time_text(taken, zone) if taken else "never",
        age_text="",
        limits_text=" \N{EN DASH} ".join(
            filter(None, (bounds_text(acceptance, result.check), source_text(acceptance)))
        ),
        due_text="",
    )


def due_text(due: CheckDue, zone: tzinfo, now: datetime) -> str:
    """Return how a stream stands to its interval, "" while its next check is far off."""
    if due.word == "overdue" and due.by is not None:
        return f"check overdue since {time_text(due.by, zone)}"
    if due.word == "not in operation" and due.resting_since is not None:
        return f"line not in operation since {time_text(due.resting_since, zone)}"
    return f"next check due by {time_text(due.by, zone)}" if due_soon(due, now) and due.by else ""


Said = tuple[StateWord, str, str, tuple[str, ...]]


def _word(result: StreamResult, zone: tzinfo, due: CheckDue | None) -> Said:
    """Return the state, its gist, its reasons, and what to look at first."""
    last = last_read(result)
    look = result.check.look_first
    failure = standing_failure(result)
    if failure is not None:
        side = failed_side(failure, result)
        at = time_text(from_microseconds(failure.taken_at), zone)
        since = "" if failure.index == last else "; no reading since shows that it passes"
        gist = f"{subject(result)} read {failed_text(failure, result)} at {at}"
        return "failed", gist, f"{_asked(result)}{since}.", (look.get(side) if side else None) or look.get("any", ())
    moving = [episode for episode in episodes(result, zone) if episode.open]
    if due is not None and due.word == "overdue" and due.by is not None:
        gist = f"{subject(result)}: check overdue since {time_text(due.by, zone)}"
        asked = f"due {result.check.interval.words}."
        return "overdue", gist, f"{asked} {moving[-1].sentence}" if moving else asked, ()
    if moving:
        return "moving", moving[-1].gist, moving[-1].because, moving[-1].look_first
    if due is not None and due.word == "not in operation":
        return "idle", "Line not in operation", "", ()
    if result.check.kind == "judged":
        return "judged", "Last result acceptable" if last is not None else "Nothing written down yet", "", ()
    if result.check.charted != "none" and is_reset(result):
        return "learning", _learning(result, 0), "", ()
    limits = result.segments[-1].limits if result.segments else None
    if result.check.charted != "none" and (limits is None or not limits.complete):
        return "learning", _learning(result, limits.n_baseline if limits else len(result.charted.x)), "", ()
    return "calm", "No signal", "", ()


def _learning(result: StreamResult, n: int) -> str:
    return f"Control limits need {result.check.baseline} readings since the last reset; {n} so far"


def _asked(result: StreamResult) -> str:
    """Return what the acceptance limits ask, and whether this site has confirmed them."""
    acceptance = result.check.acceptance
    asked = bounds_text(acceptance, result.check)
    return asked if acceptance.rule == "none" or acceptance.confirmed else f"{asked}, {NOT_CONFIRMED}"
