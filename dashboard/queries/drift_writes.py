"""What can be written down in the drift room: the forms, and what becomes of them in the store."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np

from dashboard.queries.drift import Room
from dashboard.queries.drift_kept import Fields, keep, words_of
from dashboard.queries.drift_notes import correct, note, reading_forms, take_out
from dashboard.queries.drift_words import question_id
from dashboard.urls import BASELINE, QUESTIONS, READINGS, SIGNALS
from dashboard.views.choices import Choice
from dashboard.views.drift import Field, Form
from spc.accounts import Right
from spc.errors import InputError
from spc.screening import Question
from spc.signals import Episode, episodes
from spc.times import from_microseconds
from spc.wording import time_text

NO_STORE = (
    "This board shows a bare log, which nothing can be written into. To keep what people decide, start it on a store: "
    "spc serve --store FILE --follow LOG."
)
OFFERED = 6
"""Signals, newest first, that something can be written down about."""

SHORT = 110
"""Letters of a sentence in a list of choices."""


@dataclass(frozen=True, slots=True)
class Writing:
    """Something that can be done: the right it takes, and the doing, which returns what to say."""

    right: Right
    do: Callable[[Room, Fields, str, datetime], str]


def form(room: Room, person: str, may: Callable[[Right], bool]) -> tuple[Form, ...]:
    """Return the forms of the part that is shown.

    Args:
        room: the stream.
        person: who is signed in; "" where nobody is known by name.
        may: whether they may do something.
    """
    made = {SIGNALS: _signal_form, BASELINE: _baseline_forms, QUESTIONS: _question_form, READINGS: reading_forms}
    if room.part() not in made:
        return ()
    if room.known.store is None:
        return (Form("Write it down", why_not=NO_STORE),)
    return tuple(_allowed(each, person, may) for each in made[room.part()](room))


WHO = Field("who", "Your name", hint="Goes with what you write; remembered on this device")
"""Asked once for all forms of a part, where nobody is signed in."""


def _allowed(found: Form, person: str, may: Callable[[Right], bool]) -> Form:
    if not found.buttons:
        return found
    right = WRITINGS[found.buttons[0][0]].right
    if not may(right):
        return Form(found.heading, why_not=f"{person or 'You'} may not {right.value} here; ask who may.")
    says = f"Written down as {person}." if person else ""
    return replace(found, says=" ".join(filter(None, (found.says, says))))


def write(room: Room, what: str, fields: Fields, person: str, now: datetime) -> str:
    """Write something down; return what was kept.

    Raises:
        InputError: something is missing or wrong, in words for the form.
        StoreError: the store refuses it.
    """
    if room.known.store is None:
        raise InputError(NO_STORE)
    who = person or fields.get("who", "").strip()
    if not who:
        raise InputError("Write your name: what is written down carries the name of who wrote it.")
    said = WRITINGS[what].do(room, {name: text.strip() for name, text in fields.items()}, who, now)
    room.known.source.poll()
    return said


# signals


def _signal_form(room: Room) -> tuple[Form, ...]:
    found = _offered(room)
    if not found:
        return ()
    about = _about(room, found)
    return (
        Form(
            "Write down what was done about a signal",
            about=tuple(
                Choice(_short(each, room), replace(room.view, about=_signal_id(each)).href, each is about)
                for each in found
            ),
            fields=(Field("words", "In words", "words", hint="What was seen, the cause, or what was done"),),
            buttons=(
                ("acknowledged", "I have seen it"),
                ("cause", "This is the cause"),
                ("action", "This was done"),
                ("closed", "Close it"),
            ),
        ),
    )


def _offered(room: Room) -> list[Episode]:
    return list(reversed(episodes(room.result, room.zone)))[:OFFERED]


def _about(room: Room, found: Sequence[Episode]) -> Episode:
    """Return the signal that the address names; the newest where it names none that is offered."""
    return next((each for each in found if _signal_id(each) == room.view.about), found[0])


def _signal_id(episode: Episode) -> str:
    return f"{episode.first.taken_at} {episode.first.rule}"


def _short(episode: Episode, room: Room) -> str:
    at = time_text(from_microseconds(episode.first.taken_at), room.zone)
    gist = episode.gist if len(episode.gist) <= SHORT else episode.gist[:SHORT].rsplit(" ", 1)[0] + " ..."
    return f"{'Still open' if episode.open else 'Past'}, {at}: {gist}"


def _not_closed(room: Room, episode: Episode) -> None:
    """Refuse what is decided about a signal that somebody has closed: from an old page it would open it again.

    Raises:
        InputError: so, with what stands there.
    """
    from spc.store.entries import Reaction

    at, rule = from_microseconds(episode.first.taken_at), episode.first.rule
    own = [entry for entry in room.records(Reaction) if (entry.record.signal_at, entry.record.rule) == (at, rule)]
    if own and own[-1].record.step == "closed":
        last = own[-1]
        raise InputError(
            f'{last.who} closed this signal, {time_text(last.at, room.zone)}: "{last.record.words}". To open it again, '
            "write the cause or what was done."
        )


def _react(step: str) -> Callable[[Room, Fields, str, datetime], str]:
    asks = {"acknowledged": "", "cause": "the cause", "action": "what was done", "closed": "why it can be closed"}
    told = {"acknowledged": "seen", "cause": "the cause", "action": "what was done", "closed": "closed"}

    def do(room: Room, fields: Fields, who: str, now: datetime) -> str:
        from spc.store.entries import Reaction

        found = _offered(room)
        if not found:
            raise InputError("There is no signal to write about.")
        episode = _about(room, found)
        words = words_of(fields, asks[step]) if asks[step] else fields.get("words", "")
        signal = episode.first
        if step in ("acknowledged", "closed"):
            _not_closed(room, episode)
        record: Any = Reaction(room.result.key, from_microseconds(signal.taken_at), signal.rule, step, who, words)  # type: ignore[arg-type]  # the four steps
        keep(room, record, who, now)
        return f"Kept: {told[step]}, by {who}."

    return do


# baselines


def _baseline_forms(room: Room) -> tuple[Form, ...]:
    from spc.store.entries import Baseline

    words = Field("words", "In words", "words", hint="Why these readings stand for the process as it should be")
    steps = [entry.record for entry in room.records(Baseline)]
    last = steps[-1] if steps else None
    forms = []
    if last is not None and last.step in ("proposed", "reviewed", "signed off"):
        buttons = {
            "proposed": (("reviewed", f"I have reviewed version {last.version}"),),
            "reviewed": (("signed off", f"Sign off version {last.version}"),),
            "signed off": (),
        }[last.step]
        forms.append(
            Form(
                f"Version {last.version} is {last.step}",
                fields=(words,),
                buttons=(*buttons, ("withdrawn", f"Withdraw version {last.version}")),
                says="Limits that are signed off are used from then on, never for readings before.",
            )
        )
    if (last is None or last.step in ("signed off", "withdrawn")) and room.current() is not None:
        review = room.review()
        without = review is not None and review.proposals and review.limits_if_followed is not None
        forms.append(
            Form(
                "Propose a new version",
                fields=(replace(words, name="words-new"),) if forms else (words,),
                buttons=(
                    ("proposed", "Propose the readings as they are"),
                    *((("proposed without", "Propose them without those in question"),) if without else ()),
                ),
                says="It is used only when a person has reviewed it and signed it off.",
            )
        )
    return tuple(forms)


def _propose(room: Room, fields: Fields, who: str, now: datetime) -> str:
    record = room.current()
    if record is None:
        raise InputError("The readings of this segment are too few for a baseline yet.")
    keep(room, replace(record, by=who, words=fields.get("words-new") or fields.get("words", "")), who, now)
    return f"Kept: version {record.version} is proposed. It sets no limit until it is reviewed and signed off."


def _propose_without(room: Room, fields: Fields, who: str, now: datetime) -> str:
    record, review = room.current(), room.review()
    if record is None or review is None or review.limits_if_followed is None or not review.proposals:
        raise InputError("No reading of this baseline is in question.")
    words = fields.get("words-new") or fields.get("words", "")
    if not words:
        raise InputError("Write the cause first: a reading is left out only for a cause that was found.")
    out = room.own_places()[np.flatnonzero(~review.left_in)]
    limits = review.limits_if_followed
    record = replace(
        record,
        n=limits.n_baseline,
        centre_line=limits.centre_line,
        sigma=limits.sigma,
        lower=limits.lower,
        upper=limits.upper,
        left_out=tuple(from_microseconds(int(at)) for at in room.result.charted.taken_at[out]),
        by=who,
        words=words,
    )
    keep(room, record, who, now)
    return f"Kept: version {record.version} is proposed, {len(out)} readings left out."


def _baseline_step(step: str) -> Callable[[Room, Fields, str, datetime], str]:
    def do(room: Room, fields: Fields, who: str, now: datetime) -> str:
        from spc.store.entries import Baseline

        steps = [entry.record for entry in room.records(Baseline)]
        if not steps:
            raise InputError("There is no version yet; propose one.")
        words = words_of(fields, "why") if step in ("signed off", "withdrawn") else fields.get("words", "")
        holds = room.known.now() if step in ("signed off", "withdrawn") else None  # from then, or until then
        keep(room, replace(steps[-1], step=step, by=who, words=words, valid_from=holds), who, now)
        return f"Kept: version {steps[-1].version} is {step}, by {who}."

    return do


# questions


def _question_form(room: Room) -> tuple[Form, ...]:
    asked = room.questions()
    if not asked:
        return ()
    chosen = _question(room, asked)
    return (
        Form(
            "Answer a question",
            about=tuple(
                Choice(
                    f"{number}. {each.kind.replace('_', ' ')}, {time_text(each.first, room.zone)}",
                    replace(room.view, about=question_id(each)).href,
                    each is chosen,
                )
                for number, each in enumerate(asked, start=1)
            ),
            fields=(Field("words", "Answer", "words"),),
            buttons=(("answer", "Keep this answer"),),
            says="An answer stays beside its question. It changes no reading; that is done under Readings and notes.",
        ),
    )


def _question(room: Room, asked: Sequence[Question]) -> Question:
    """Return the question that the address names; the first where it names none of them."""
    return next((each for each in asked if question_id(each) == room.view.about), asked[0])


def _answer(room: Room, fields: Fields, who: str, now: datetime) -> str:
    from spc.store.entries import Answer

    asked = room.questions()
    if not asked:
        raise InputError("There is no question to answer.")
    question = _question(room, asked)
    words = words_of(fields, "the answer")
    keep(room, Answer(room.result.key, question.kind, question.first, question.last, words, who), who, now)
    return f"Kept: the answer, by {who}."


WRITINGS: Mapping[str, Writing] = {
    "acknowledged": Writing(Right.WRITE, _react("acknowledged")),
    "cause": Writing(Right.WRITE, _react("cause")),
    "action": Writing(Right.WRITE, _react("action")),
    "closed": Writing(Right.WRITE, _react("closed")),
    "proposed": Writing(Right.REVIEW, _propose),
    "proposed without": Writing(Right.REVIEW, _propose_without),
    "reviewed": Writing(Right.REVIEW, _baseline_step("reviewed")),
    "signed off": Writing(Right.REVIEW, _baseline_step("signed off")),
    "withdrawn": Writing(Right.REVIEW, _baseline_step("withdrawn")),
    "answer": Writing(Right.REVIEW, _answer),
    "note": Writing(Right.REVIEW, note),
    "corrected": Writing(Right.REVIEW, correct),
    "taken out": Writing(Right.REVIEW, take_out),
}
"""Everything the drift room can write down."""
