"""What becomes of what is written down: kept, asked about, refused, reacted to, put right."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any

import numpy as np

from dashboard.queries.entry_cards import NO_STORE
from dashboard.queries.known import Known
from dashboard.queries.record_windows import window_href
from dashboard.queries.typed import typed_number, typed_reading
from dashboard.queries.words import stream_id, view_of
from dashboard.views.entry import KeptReading, SignalAsked
from spc.catalogue.check import Check
from spc.entry import Written, as_readings, cut_after, needs_reference, of_stream, refuse_impossible, said_of, shift_at
from spc.entry_doubts import doubts
from spc.errors import InputError
from spc.figures import course
from spc.formats import label
from spc.ingest.clean import Number
from spc.records import NOT_RUN, Bound, StreamKey
from spc.results import StreamResult
from spc.shown import check_in, result_in, shown_in
from spc.signals import episodes, subject
from spc.stream_facts import charted_text, written_text
from spc.times import from_microseconds, to_microseconds
from spc.units import convert, same_unit
from spc.wording import chart_name, time_text, with_unit

OLDEST = timedelta(days=30)
"""How long an entry may have waited on a tablet, or a reading may lie back, to be written down here."""

CORRECTABLE_FOR = timedelta(minutes=30)
"""How long after it was kept a slip may be put right by whoever wrote it."""

NAME = re.compile(r"[0-9a-f]{16,40}")
"""The name of an entry: random, made where it was written."""

LONGEST: Mapping[str, int] = {
    "entry": 40, "line": 80, "check": 80, "position": 80, "value": 40, "reference": 40, "instrument": 80,
    "technician": 80, "shift": 40, "note": 500, "taken": 16, "why": 300, "seen": 5, "cause": 500, "action": 500,
    "rule": 80, "at": 20, "unit": 20,
}  # fmt: skip
"""Letters of a text that a tablet sends; anything else is not taken."""


@dataclass(frozen=True, slots=True)
class Sent:
    """What a tablet sent, taken apart: texts, and how long ago it was written."""

    texts: Mapping[str, str]
    age: timedelta
    sure: frozenset[str]  # kinds of questions that were answered with "keep as typed"

    def __getitem__(self, name: str) -> str:
        return self.texts.get(name, "")

    @property
    def key(self) -> StreamKey:
        """The stream that it is about."""
        return StreamKey(self["line"], self["check"], self["position"])


def sent(body: object) -> Sent:
    """Return what a tablet sent.

    Raises:
        InputError: it is not what the page sends.
    """
    if not isinstance(body, dict):
        raise InputError("This is no entry; open the page again.")
    texts: dict[str, str] = {}
    age, sure = timedelta(), frozenset[str]()
    for name, value in body.items():
        if name == "age" and isinstance(value, int | float) and not isinstance(value, bool):
            if not 0 <= value <= OLDEST.total_seconds():
                raise InputError(f"It was written more than {OLDEST.days} days ago, or by a clock that runs wrong.")
            age = timedelta(seconds=int(value))
        elif name == "sure" and isinstance(value, list) and all(isinstance(each, str) for each in value):
            sure = frozenset(value[:8])
        elif name in LONGEST and isinstance(value, str):
            text = " ".join(value.split())
            if len(text) > LONGEST[name] or not text.isprintable():
                raise InputError(f"{name} is longer than {LONGEST[name]} letters, or holds some that cannot be kept.")
            texts[name] = text
        else:
            raise InputError(f"{str(name)[:40]!r} is not part of an entry; open the page again.")
    return Sent(texts, age, sure)


# what is written down


def keep(known: Known, body: Sent, person: str) -> tuple[KeptReading | None, tuple[dict[str, str], ...]]:
    """Keep what was written down; return what is said of it, or, before it is kept, what to ask.

    Raises:
        InputError: it cannot be kept, in words for who wrote it.
        StoreError: the store refuses it.
    """
    from spc.store.written import add_written, find_written

    store = known.store
    if store is None:
        raise InputError(NO_STORE)
    if not NAME.fullmatch(body["entry"]):
        raise InputError("The entry has no name of its own; open the page again.")
    check = known.snapshot.scan.catalogue.named(body["check"])
    if not body["line"]:
        raise InputError("Write which line the check was made on.")
    if find_written(store.engine, body.key, body["entry"]) is not None:
        return _kept(known, body, person, before=True), ()
    now = known.now()
    unit = _unit(body, check)
    typed = _written(known, body, check, person, now)
    refuse_impossible(typed, check_in(check, unit), now)
    result = _result(known, body.key)
    stream = check_in(of_stream(result, check, body.key), unit)
    asked = doubts(None if result is None else result_in(result, unit), typed, stream)
    if any(doubt.kind not in body.sure for doubt in asked):
        return None, tuple({"kind": doubt.kind, "says": doubt.says} for doubt in asked)
    written, other = _in_unit_kept(typed, body, check, unit)
    who, one = person or written.technician, as_readings(written, 0, **other)
    how = add_written(store.engine, one, check.unit, name=body["entry"], who=who, now=known.clock())
    known.source.poll()
    return _kept(known, body, who, before=how != "kept", written=written), ()


def _result(known: Known, key: StreamKey) -> StreamResult | None:
    found = next((result for result in known.snapshot.scan.streams if result.key == key), None)
    return found if found is not None and len(found.readings) else None


def _written(known: Known, body: Sent, check: Check, person: str, now: datetime) -> Written:
    technician = body["technician"] or person
    if not technician:
        raise InputError("Write your name: a reading carries the name of who took it.")
    taken = _taken(known, body, now)
    if not body["value"]:
        raise InputError("Write what was read.")
    value, bound, word = typed_reading(body["value"], check, known.formats)
    reference = math.nan
    if body["reference"] and not word and needs_reference(check):
        found = typed_number(body["reference"], known.formats)
        if not isinstance(found, Number) or found.bound is not Bound.EXACT:
            raise InputError(f"“{body['reference']}” is no reference; write one number.")
        reference = found.value
    shift = shift_at(known.calendar, body["line"], taken, known.zone)[0] or body["shift"]
    return Written(
        body.key, taken, value, bound, word, reference, "" if word == NOT_RUN else body["instrument"], technician,
        shift, body["note"],
    )  # fmt: skip


def _unit(body: Sent, check: Check) -> str:
    """Return the unit that an entry was typed in: the one it names, else that of the catalogue."""
    unit = body["unit"] or check.unit
    if not (same_unit(unit, check.unit) or check_in(check, unit).kept_in):
        raise InputError(f"{check.title} is not read in {label(unit)}; open the page again.")
    return unit


def _in_unit_kept(typed: Written, body: Sent, check: Check, unit: str) -> tuple[Written, dict[str, str]]:
    """Return an entry in the unit of the catalogue, and beside it what was typed where that is another unit."""
    if typed.word or same_unit(unit, check.unit):
        return typed, {}
    kept = float(convert([typed.value], unit, check.unit)[0])
    return replace(typed, value=kept), {"typed": f"{body['value']} {unit}"}


def _taken(known: Known, body: Sent, now: datetime) -> datetime:
    """Return when a reading was taken: as the person says, else when it was written, by the server's clock."""
    if not body["taken"]:
        return (now - body.age).replace(microsecond=0)
    try:
        local = datetime.fromisoformat(body["taken"])
    except ValueError:
        raise InputError("The time is none; write it as 2026-03-09T14:10.") from None
    taken = local.replace(tzinfo=local.tzinfo or known.zone).astimezone(UTC)
    if taken < now - OLDEST:
        raise InputError(f"This is more than {OLDEST.days} days ago; bring it in with a log.")
    return taken


def _place(result: StreamResult, entry: str, written: Written | None) -> int | None:
    """Return where a reading stands in its stream: by the name of its entry, else by its time and what it says."""
    from spc.store.written import ENTRY

    readings = result.readings
    names = readings.other.get(ENTRY)
    found = np.flatnonzero(names == entry) if names is not None else np.zeros(0, dtype=np.int64)
    if not len(found) and written is not None:
        found = np.flatnonzero(readings.taken_at == to_microseconds(written.taken_at))
    return int(found[-1]) if len(found) else None


def _kept(known: Known, body: Sent, who: str, *, before: bool, written: Written | None = None) -> KeptReading:
    zone, result = known.zone, _result(known, body.key)
    place = _place(result, body["entry"], written) if result is not None else None
    if result is None or place is None:  # it was taken out since
        check = known.snapshot.scan.catalogue.named(body["check"])
        return KeptReading(
            body["entry"], stream_id(body.key), check.title, body["value"], "", who, before, "undecided",
            "It was kept, and corrected since.", "", (), "", "", None, {}, "", view_of(body.key).href,
        )  # fmt: skip
    until = shown_in(cut_after(result, place), known.formats)
    said, readings = said_of(until, place, zone), result.readings
    at = from_microseconds(int(readings.taken_at[place]))
    drawn = course(until)
    signal = _signal(known, body.key, said.signal, raised=said.raised) if said.signal is not None else None
    failed = said.word in ("fail", "outside")
    return KeptReading(
        entry=body["entry"],
        stream=stream_id(body.key),
        title=f"{body['line']} · {subject(result)}",
        value=written_text(until, place),
        at=time_text(at, zone),
        who=str(readings.technician[place]) or who,
        before=before,
        word=said.word,
        verdict=said.sentence,
        margin=_margin_words(said.margin, until, place),
        obliges=said.obliges,
        exposed=_exposed(result, place, known) if failed else "",
        exposed_href=exposed_href(body.key, at, zone) if failed else "",
        signal=signal,
        course={"course": drawn.course, "limits": drawn.limits, "marks": drawn.marks} if drawn else {},
        course_words=drawn.words if drawn else "",
        href=view_of(body.key, row=str(int(readings.row[place]))).href,
    )


def exposed_href(key: StreamKey, at: datetime, zone: tzinfo) -> str:
    """Return the address that shows what a failed check puts in question."""
    return window_href(key, at, zone)


def _margin_words(text: str, result: StreamResult, place: int) -> str:
    """Return how far a reading is from its limit; for a deviation, of which deviation that is said."""
    if not text or result.check.charted != "deviation":
        return text
    at = np.flatnonzero(result.charted.index == place)
    if not len(at):
        return text
    return f"{chart_name(result.check)} {charted_text(result, int(at[0]))}: {text}"


def _exposed(result: StreamResult, place: int, known: Known) -> str:
    """Return since when parts may be affected by a failed check, in a sentence."""
    from spc.containment import judged

    good = np.flatnonzero(judged(result)[:place] == 1)
    if not len(good):
        return "The record holds no good check before this one: every part since the check was set up may be affected."
    last = time_text(from_microseconds(int(result.readings.taken_at[good[-1]])), known.zone)
    return f"Last good check: {last}. Every part processed since then may be affected."


# a reaction


def _signal(known: Known, key: StreamKey, episode: Any, *, raised: bool) -> SignalAsked:
    from spc.store.entries import Reaction

    first = episode.first
    told = ""
    if known.store is not None:
        for entry in known.store.records(Reaction, str(key)):
            if to_microseconds(entry.record.signal_at) == first.taken_at and entry.record.rule == first.rule:
                said = f": {entry.record.words}" if entry.record.words else ""
                told = f"{entry.record.step}{said}, by {entry.record.by}"
    return SignalAsked(episode.sentence, episode.look_first, first.taken_at, first.rule, raised, told)


def react(known: Known, body: Sent, person: str) -> str:
    """Write down what was done about a signal: seen, its cause, the action; return what to say.

    Raises:
        InputError: there is no such signal, or nothing is said.
    """
    from spc.store.entries import Reaction

    if known.store is None:
        raise InputError(NO_STORE)
    who, result = person or body["technician"], _result(known, body.key)
    if not who:
        raise InputError("Write your name first.")
    named = [
        episode.first
        for episode in (episodes(result, known.zone) if result is not None else ())
        if str(episode.first.taken_at) == body["at"] and episode.first.rule == body["rule"]
    ]
    if not named:
        raise InputError("This signal is no longer there; open the page again.")
    if not (body["cause"] or body["action"] or body["seen"]):
        raise InputError("Choose or write the cause, or what was done.")
    at = from_microseconds(named[0].taken_at)
    seen = Reaction(body.key, at, named[0].rule, "acknowledged", who)
    steps = [seen] + [replace(seen, step=step, words=body[step]) for step in ("cause", "action") if body[step]]
    known.store.append(*steps, who=who, now=known.clock())
    known.source.poll()
    return f"Kept: {', '.join(['seen', *(step.step for step in steps[1:])])}, by {who}."


# a slip put right


def correct(known: Known, body: Sent, person: str) -> str:
    """Put right the entry that was just made: a correction with its reason, what was typed stays in the record.

    Raises:
        InputError: it cannot be corrected here, in words.
        StoreError: somebody corrected it in between.
    """
    from spc.store.entries import Correction
    from spc.store.entries import Said as ShouldSay
    from spc.store.written import find_written

    if known.store is None:
        raise InputError(NO_STORE)
    found = find_written(known.store.engine, body.key, body["entry"])
    if found is None:
        raise InputError("There is no such entry; a reading of a log is corrected in the drift room.")
    who = person or body["technician"]
    if not who or who != found.who:
        raise InputError(f"{found.who} wrote this; somebody else corrects it in the drift room.")
    if not found.newest or known.clock() - found.kept_at > CORRECTABLE_FOR:
        raise InputError("Only the last entry can be put right here, for half an hour; use the drift room.")
    if not body["why"]:
        raise InputError("Say why first: a correction without a reason is not kept.")
    earlier = [entry.record for entry in known.store.records(Correction, str(body.key))]
    standing = [each for each in earlier if each.reading == found.identity or _same(each.reading, found.identity)]
    said, now_says = None, ""
    if body["value"]:
        check = known.snapshot.scan.catalogue.named(body["check"])
        unit = _unit(body, check)
        typed = replace(_written(known, body, check, who, known.now()), taken_at=found.identity.taken_at, shift="")
        refuse_impossible(typed, check_in(check, unit), known.now())
        written, _ = _in_unit_kept(typed, body, check, unit)
        now_says = typed.word or with_unit(body["value"], check_in(check, unit).unit_label)
        result = _result(known, body.key)
        place = _place(result, body["entry"], None) if result is not None else None
        shift = str(result.readings.shift[place]) if result is not None and place is not None else ""
        said = ShouldSay(
            written.taken_at, written.value, written.bound, written.word, written.reference, written.instrument,
            written.technician, shift, written.note,
        )  # fmt: skip
    record = Correction(body.key, found.identity, len(standing), said, body["why"])
    known.store.append(record, who=who, now=known.clock())
    known.source.poll()
    return "Kept: taken out." if said is None else f"Kept: it now says {now_says}."


def _same(one: Any, other: Any) -> bool:
    return all(
        a == b or (a != a and b != b)
        for a, b in ((getattr(one, name), getattr(other, name)) for name in ("taken_at", "value", "bound", "word"))
    )
