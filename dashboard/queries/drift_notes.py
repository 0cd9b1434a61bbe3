"""Notes beside the chart, and corrections of readings: what was first written stays in the record."""

import math
from datetime import UTC, datetime
from typing import Any

import numpy as np

from dashboard.queries.drift import Room
from dashboard.queries.drift_kept import Fields, keep, words_of
from dashboard.queries.typed import typed_reading
from dashboard.views.drift import Field, Form
from spc.catalogue.check import Check
from spc.errors import InputError
from spc.formats import Formats
from spc.records import Bound
from spc.shown import check_in
from spc.stream_facts import written_text
from spc.times import from_microseconds, to_microseconds
from spc.units import convert, same_unit
from spc.wording import time_text, with_unit

VALUE, VALUE_IN = "value", "value in "
"""Names of the field for what a reading should say: in the unit of the catalogue, or with the unit that the form shows,
so that a form drawn before the site changed its units is still read as it was meant."""


def reading_forms(room: Room) -> tuple[Form, ...]:
    """Return the forms for a note, and for a correction of the reading that the address points at."""
    place = _chosen(room)
    readings, result = room.result.readings, room.result
    at = from_microseconds(int(readings.taken_at[place if place is not None else -1])).astimezone(room.zone)
    written = Form(
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
            written,
            Form("Correct a reading", why_not="Choose a reading in the table above; then it can be corrected."),
        )
    unit = result.check.unit_label
    said = written_text(result, place)
    return (
        written,
        Form(
            f"Correct the reading of {time_text(at, room.zone)}, row {int(readings.row[place])}: {said}",
            fields=(
                Field(
                    VALUE_IN + result.check.unit if result.check.kept_in else VALUE,
                    f"What it should say{f', in {unit}' if unit else ''}",
                ),
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


def note(room: Room, fields: Fields, who: str, now: datetime) -> str:
    """Keep a note; return what to say."""
    from spc.store.entries import Note

    words = words_of(fields, "the note")
    try:
        written = datetime.fromisoformat(fields.get("at", ""))
    except ValueError:
        raise InputError("The time of the note is none; write it as 2026-03-09T14:10.") from None
    at = (written if written.tzinfo else written.replace(tzinfo=room.zone)).astimezone(UTC)
    place, row = _chosen(room), None
    if place is not None and abs(int(room.result.readings.taken_at[place]) - to_microseconds(at)) < 60_000_000:
        row = int(room.result.readings.row[place])
        at = from_microseconds(int(room.result.readings.taken_at[place]))
    keep(room, Note(room.result.key, at, words, who, row), who, now)
    return f"Kept: the note at {time_text(at, room.zone)}, by {who}."


def correct(room: Room, fields: Fields, who: str, now: datetime) -> str:
    """Keep what a reading should say; return what to say."""
    place = _chosen(room)
    if place is None:
        raise InputError("Choose a reading in the table first.")
    name = next((each for each in fields if each.startswith(VALUE_IN)), VALUE)
    text, check = fields.get(name, ""), room.result.check
    seen = check_in(check, name.removeprefix(VALUE_IN)) if name != VALUE else check
    if name != VALUE and not (seen.kept_in or same_unit(seen.unit, name.removeprefix(VALUE_IN))):
        raise InputError(f"{check.title} is not read in {name.removeprefix(VALUE_IN)}; load the page again.")
    value, bound, word = _value(text, seen, room.known.formats)
    if seen.kept_in and not word:
        value = float(convert([value], seen.unit, check.unit)[0])
    _correction(room, place, fields, who, now, (value, bound, word))
    typed = text if word else with_unit(text, seen.unit_label)
    return f"Kept: the reading of {_when(room, place)} now says {typed}, by {who}."


def take_out(room: Room, fields: Fields, who: str, now: datetime) -> str:
    """Keep that a reading should not be there at all; return what to say."""
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
    keep(room, Correction(room.result.key, first, replaces, said, fields["why"]), who, now)


def _same(said: Any, identity: Any) -> bool:
    def told(each: Any) -> tuple[Any, ...]:
        return each.taken_at, None if math.isnan(each.value) else each.value, each.bound, each.word

    return told(said) == told(identity)


def _value(text: str, check: Check, formats: Formats) -> tuple[float, Bound, str]:
    """Return what a reading should say.

    Raises:
        InputError: it is nothing that the check can say.
    """
    if not text:
        raise InputError("Write what the reading should say.")
    value, bound, word = typed_reading(text, check, formats)
    if word:
        return value, bound, word
    low, high = check.possible
    if (low is not None and value < low) or (high is not None and value > high):
        raise InputError(f"“{text}” is nothing that {check.title} can be; is the unit {check.unit_label}?")
    return value, bound, ""
