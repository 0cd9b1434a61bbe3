"""What can be written down in the drift room: the forms, and what becomes of them in the store."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np

from dashboard.queries.drift import Room, question_id
from dashboard.urls import BASELINE, QUESTIONS, READINGS, SIGNALS
from dashboard.views.choices import Choice
from dashboard.views.drift import Field, Form
from spc.accounts import Right
from spc.catalogue.check import Check
from spc.errors import InputError
from spc.ingest.clean import Number, Reason, parse_number, parse_word
from spc.records import Bound
from spc.screening import Question
from spc.signals import Episode, episodes
from spc.stream_facts import written_text
from spc.times import from_microseconds, to_microseconds
from spc.wording import time_text

NO_STORE = (
    "This board shows a bare log, which nothing can be written into. To keep what people decide, start it on a store: "
    "spc serve --store FILE --follow LOG."
)
OFFERED = 6
"""Signals, newest first, that something can be written down about."""

SHORT = 110
"""Letters of a sentence in a list of choices."""

Fields = Mapping[str, str]


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
    made = {SIGNALS: _signal_form, BASELINE: _baseline_forms, QUESTIONS: _question_form, READINGS: _reading_forms}
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


def _kept(room: Room, record: object, who: str, now: datetime) -> None:
    assert room.known.store is not None
    room.known.store.append(record, who=who, now=now)


def _words(fields: Fields, what: str) -> str:
    if not fields.get("words"):
        raise InputError(f"Write {what} first.")
    return fields["words"]


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


def _react(step: str) -> Callable[[Room, Fields, str, datetime], str]:
    asks = {"acknowledged": "", "cause": "the cause", "action": "what was done", "closed": "why it can be closed"}
    told = {"acknowledged": "seen", "cause": "the cause", "action": "what was done", "closed": "closed"}

    def do(room: Room, fields: Fields, who: str, now: datetime) -> str:
        from spc.store.entries import Reaction

        found = _offered(room)
        if not found:
            raise InputError("There is no signal to write about.")
        episode = _about(room, found)
        words = _words(fields, asks[step]) if asks[step] else fields.get("words", "")
        signal = episode.first
        record: Any = Reaction(room.result.key, from_microseconds(signal.taken_at), signal.rule, step, who, words)  # type: ignore[arg-type]  # the four steps
        _kept(room, record, who, now)
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
    _kept(room, replace(record, by=who, words=fields.get("words-new") or fields.get("words", "")), who, now)
    return f"Kept: version {record.version} is proposed. It sets no limit until it is reviewed and signed off."


def _propose_without(room: Room, fields: Fields, who: str, now: datetime) -> str:
    from spc.other_charts import baseline_places

    record, review = room.current(), room.review()
    if record is None or review is None or review.limits_if_followed is None or not review.proposals:
        raise InputError("No reading of this baseline is in question.")
    words = fields.get("words-new") or fields.get("words", "")
    if not words:
        raise InputError("Write the cause first: a reading is left out only for a cause that was found.")
    out = baseline_places(room.result)[np.flatnonzero(~review.left_in)]
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
    _kept(room, record, who, now)
    return f"Kept: version {record.version} is proposed, {len(out)} readings left out."


def _baseline_step(step: str) -> Callable[[Room, Fields, str, datetime], str]:
    def do(room: Room, fields: Fields, who: str, now: datetime) -> str:
        from spc.store.entries import Baseline

        steps = [entry.record for entry in room.records(Baseline)]
        if not steps:
            raise InputError("There is no version yet; propose one.")
        words = _words(fields, "why") if step in ("signed off", "withdrawn") else fields.get("words", "")
        holds = room.known.now() if step in ("signed off", "withdrawn") else None  # from then, or until then
        _kept(room, replace(steps[-1], step=step, by=who, words=words, valid_from=holds), who, now)
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
    words = _words(fields, "the answer")
    _kept(room, Answer(room.result.key, question.kind, question.first, question.last, words, who), who, now)
    return f"Kept: the answer, by {who}."


# notes and corrections


def _reading_forms(room: Room) -> tuple[Form, ...]:
    place = _chosen(room)
    readings, result = room.result.readings, room.result
    at = from_microseconds(int(readings.taken_at[place if place is not None else -1])).astimezone(room.zone)
    note = Form(
        "Write a note beside the chart",
        fields=(
            Field(
                "at", "At", value=at.replace(tzinfo=None).isoformat(timespec="minutes"), hint="Local time of the site"
            ),
            Field("words", "Note", "words"),
        ),
        buttons=(("note", "Keep this note"),),
        says="A note stays in the record with its name and time; it changes no reading.",
    )
    if place is None:
        return (
            note,
            Form("Correct a reading", why_not="Choose a reading in the table above; then it can be corrected."),
        )
    unit = result.check.unit_label
    said = written_text(result, place)
    return (
        note,
        Form(
            f"Correct the reading of {time_text(at, room.zone)}, row {int(readings.row[place])}: {said}",
            fields=(
                Field("value", f"What it should say{f', in {unit}' if unit else ''}"),
                Field("why", "Why", "words", hint="How it is known what was really read"),
            ),
            buttons=(("corrected", "Correct it"), ("taken out", "It should not be there at all")),
            says="What was first written stays in the record; limits and signals are worked out anew.",
        ),
    )


def _chosen(room: Room) -> int | None:
    """Return the place in Readings that the address points at."""
    row = room.view.row
    if not (row.isascii() and row.isdigit() and len(row) < 10):
        return None
    found = np.flatnonzero(room.result.readings.row == int(row))
    return int(found[-1]) if len(found) else None


def _note(room: Room, fields: Fields, who: str, now: datetime) -> str:
    from spc.store.entries import Note

    words = _words(fields, "the note")
    try:
        written = datetime.fromisoformat(fields.get("at", ""))
    except ValueError:
        raise InputError("The time of the note is none; write it as 2026-03-09T14:10.") from None
    at = (written if written.tzinfo else written.replace(tzinfo=room.zone)).astimezone(UTC)
    place, row = _chosen(room), None
    if place is not None and abs(int(room.result.readings.taken_at[place]) - to_microseconds(at)) < 60_000_000:
        row = int(room.result.readings.row[place])
        at = from_microseconds(int(room.result.readings.taken_at[place]))
    _kept(room, Note(room.result.key, at, words, who, row), who, now)
    return f"Kept: the note at {time_text(at, room.zone)}, by {who}."


def _correct(room: Room, fields: Fields, who: str, now: datetime) -> str:
    place = _chosen(room)
    if place is None:
        raise InputError("Choose a reading in the table first.")
    value, bound, word = _value(fields.get("value", ""), room.result.check)
    _correction(room, place, fields, who, now, (value, bound, word))
    return f"Kept: the reading of {_when(room, place)} now says {fields['value']}, by {who}."


def _take_out(room: Room, fields: Fields, who: str, now: datetime) -> str:
    place = _chosen(room)
    if place is None:
        raise InputError("Choose a reading in the table first.")
    when = _when(room, place)
    _correction(room, place, fields, who, now, None)
    return f"Kept: the reading of {when} is taken out, by {who}. What was first written stays in the record."


def _when(room: Room, place: int) -> str:
    return time_text(from_microseconds(int(room.result.readings.taken_at[place])), room.zone)


def _correction(
    room: Room, place: int, fields: Fields, who: str, now: datetime, says: tuple[float, Bound, str] | None
) -> None:
    from spc.store.entries import Correction, Identity, Said
    from spc.store.readback import identity_of

    if not fields.get("why"):
        raise InputError("Write why first: a correction without a reason is not kept.")
    readings = room.result.readings
    stands = identity_of(readings, place)
    earlier = [entry.record for entry in room.records(Correction)]
    first: Identity = next(
        (each.reading for each in reversed(earlier) if each.said is not None and _same(each.said, stands)), stands
    )
    replaces = sum(_same(each.reading, first) for each in earlier)
    said = None
    if says is not None:
        value, bound, word = says
        texts = {name: str(getattr(readings, name)[place]) for name in ("instrument", "technician", "shift", "note")}
        said = Said(
            taken_at=stands.taken_at,
            value=value,
            bound=bound,
            word=word,
            reference=float(readings.reference[place]),
            offset=int(readings.offset[place]),
            **texts,
        )
    _kept(room, Correction(room.result.key, first, replaces, said, fields["why"]), who, now)


def _same(said: Any, identity: Any) -> bool:
    def told(each: Any) -> tuple[Any, ...]:
        return each.taken_at, None if math.isnan(each.value) else each.value, each.bound, each.word

    return told(said) == told(identity)


def _value(text: str, check: Check) -> tuple[float, Bound, str]:
    """Return what a reading should say.

    Raises:
        InputError: it is nothing that the check can say.
    """
    if not text:
        raise InputError("Write what the reading should say.")
    word = parse_word(text, check)
    if word is not None:
        return math.nan, Bound.EXACT, word
    found = parse_number(text, delimiter=",")
    if isinstance(found, Reason):
        raise InputError(f"“{text}”: {found.text}")
    if not isinstance(found, Number) or check.kind == "judged":
        raise InputError(f"“{text}” is nothing that {check.title} can say.")
    low, high = check.possible
    if (low is not None and found.value < low) or (high is not None and found.value > high):
        raise InputError(f"“{text}” is nothing that {check.title} can be; is the unit {check.unit_label}?")
    return found.value, found.bound, ""


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
    "note": Writing(Right.REVIEW, _note),
    "corrected": Writing(Right.REVIEW, _correct),
    "taken out": Writing(Right.REVIEW, _take_out),
}
"""Everything the drift room can write down."""
