"""Who changed what, when and why: all that the trail holds about a stream, or about one of its readings, in words."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import Any

from sqlalchemy import Connection, func, select

from spc.catalogue.check import LINE_EVENTS, Catalogue
from spc.failures import STEP_WORDS, FailureRecord, WrittenStep
from spc.records import NOT_RUN, Bound, Event, StreamKey
from spc.run_start import SetupSample
from spc.store.engine import reading
from spc.store.entries import (
    KINDS,
    Account,
    Answer,
    Baseline,
    Calibration,
    Correction,
    EventWithdrawn,
    Instrument,
    LimitDecision,
    Note,
    Reaction,
    record_from,
)
from spc.store.limits import decided_for
from spc.store.readback import KeptStream, kept_streams
from spc.store.store import Store
from spc.store.tables import readings as table
from spc.store.tables import trail
from spc.times import from_microseconds, to_microseconds
from spc.wording import in_figures, time_text, with_unit

MINUTE = timedelta(minutes=1)

KIND_WORDS: Mapping[str, str] = {
    "readings": "Readings added",
    "quarantined": "Rows not read",
    "imported": "File read",
    "event": "Event",
    "event withdrawn": "Event withdrawn",
    "correction": "Correction",
    "limit": "Acceptance limits",
    "baseline": "Baseline",
    "reaction": "Signal",
    "note": "Note",
    "answer": "Question",
    "account": "Account",
    "instrument": "Instrument",
    "calibration": "Calibration",
    "set-up sample": "Set-up sample",
    "failure": "Failed check",
    "failure step": "Failed check",
}
"""Kinds of entries as people call them."""

REACTIONS: Mapping[str, str] = {"acknowledged": "seen", "cause": "its cause", "action": "what was done"}
"""Steps in the life of a signal as people call them, where that is another word."""


@dataclass(frozen=True, slots=True)
class Change:
    """One entry of the trail, in words."""

    entry: int  # its number in the trail
    at: datetime  # when it was written, aware, UTC
    who: str
    kind: str
    about: str
    words: str

    @property
    def kind_words(self) -> str:
        """Its kind as people call it."""
        return KIND_WORDS.get(self.kind, self.kind)

    def about_words(self, catalogue: Catalogue) -> str:
        """Return what it is about, checks by their titles."""
        return " · ".join(titled(part, catalogue) for part in self.about.split(" · "))


def titled(check: str, catalogue: Catalogue) -> str:
    """Return the title of a check; the text itself where the catalogue has no such check."""
    found = catalogue.checks.get(check)
    return found.title if found is not None else check


def history(
    store: Store,
    catalogue: Catalogue,
    *,
    key: StreamKey | None = None,
    taken_at: datetime | None = None,
    zone: tzinfo,
) -> tuple[Change, ...]:
    """Return what was written about everything, one stream, or one reading, in the order in which it was written.

    Args:
        store: the store.
        catalogue: says which events touch which check.
        key: the stream; None: all, readings as the files they came in.
        taken_at: of one reading, to the minute: what was written about it, and the limits that it was judged by.
        zone: of the times told.
    """
    with reading(store.engine) as connection:
        if key is None:
            return tuple(change for row in connection.execute(_all()) for change in _of_row(row, catalogue, zone))
        stream = next((each for each in kept_streams(connection) if each.key == key), None)
        found = [*_decided(connection, catalogue, key, taken_at, zone)]
        if stream is not None:
            found += _written(connection, stream, catalogue, taken_at, zone)
    return tuple(sorted(found, key=lambda change: change.entry))


def _all() -> Any:
    return select(trail).order_by(trail.c.sequence)


def _of_row(row: Any, catalogue: Catalogue, zone: tzinfo) -> Iterator[Change]:
    if row.kind in KINDS:
        yield _change(row, _words(record_from(row.kind, row.body), catalogue, zone))
        return
    body = json.loads(row.body)
    match row.kind:
        case "file":
            return
        case "readings":
            words = f"{body['last'] - body['first'] + 1} readings added, of {len(body['streams'])} streams"
        case "quarantined":
            words = f"{len(body['rows'])} rows that could not be read, kept with the reason"
        case "imported":
            words = f"file read to its end: {body['read']} rows, {body['accepted']} added"
        case kind:
            words = kind
    yield _change(row, words)


def _change(row: Any, words: str) -> Change:
    return Change(row.sequence, from_microseconds(row.at), row.who, row.kind, row.subject, words)


def _written(
    connection: Connection, stream: KeptStream, catalogue: Catalogue, taken_at: datetime | None, zone: tzinfo
) -> Iterator[Change]:
    """Yield how the readings of a stream, or one of them, came into the store."""
    entries = trail.alias("entries")
    joined = table.join(entries, table.c.entry == entries.c.sequence)
    mine = table.c.stream == stream.number
    if taken_at is None:
        query = (
            select(entries, func.count().label("n"), func.min(table.c.taken_at), func.max(table.c.taken_at))
            .select_from(joined)
            .where(mine)
            .group_by(*entries.c)
            .order_by(entries.c.sequence)
        )
        for row in connection.execute(query):
            first, last = (time_text(from_microseconds(each), zone) for each in row[-2:])
            yield _change(row, f"{row.n} readings added, taken {first} to {last}, out of {row.subject}")
        return
    query = (
        select(entries, *(table.c[name].label(f"r_{name}") for name in ("taken_at", "value", "bound", "word", "row")))
        .add_columns(table.c.instrument.label("r_instrument"), table.c.technician.label("r_technician"))
        .select_from(joined)
        .where(mine & table.c.taken_at.between(*_minute(taken_at)))
        .order_by(table.c.id)
    )
    check = catalogue.checks.get(stream.key.check)
    unit = check.unit_label if check is not None else stream.unit
    for row in connection.execute(query):
        value = _said(row.r_value, row.r_bound, row.r_word, unit)
        by = "".join(f", {what} {text}" for what, text in _named(row.r_technician, row.r_instrument) if text)
        at = time_text(from_microseconds(row.r_taken_at), zone)
        yield _change(row, f"read {value} at {at}{by}: row {row.r_row} of {row.subject}")


def _named(technician: str, instrument: str) -> tuple[tuple[str, str], ...]:
    return ("by", technician), ("with", instrument)


def _minute(at: datetime) -> tuple[int, int]:
    start = to_microseconds(at.replace(second=0, microsecond=0))
    return start, start + 60_000_000 - 1


def _decided(
    connection: Connection, catalogue: Catalogue, key: StreamKey, taken_at: datetime | None, zone: tzinfo
) -> Iterator[Change]:
    """Yield what people wrote about a stream, or about one of its readings."""
    rows = connection.execute(_all().where(trail.c.kind.in_(list(KINDS)))).all()
    told = [(row, record_from(row.kind, row.body)) for row in rows]
    limits = [record for _, record in told if isinstance(record, LimitDecision)]
    in_force = _in_force(limits, key, taken_at) if taken_at is not None else None
    for row, record in told:
        if isinstance(record, LimitDecision):
            wanted = _place_holds(record, key) and (taken_at is None or record is in_force)
        else:
            wanted = _about(record, key, catalogue) and (taken_at is None or _at(record, taken_at, key, catalogue))
        if wanted:
            yield _change(row, _words(record, catalogue, zone))


def _in_force(limits: list[LimitDecision], key: StreamKey, taken_at: datetime) -> LimitDecision | None:
    """Return the decision whose limits judge a reading; None where the catalogue's own do."""
    valid = [acceptance for moment, acceptance in decided_for(limits, key) if moment <= taken_at]
    mine = [each for each in limits if _place_holds(each, key) and each.valid_from <= taken_at]
    return next((each for each in reversed(mine) if valid and each.acceptance == valid[-1]), None)


def _place_holds(decision: LimitDecision, key: StreamKey) -> bool:
    place = decision.line in ("", key.line) and decision.position in ("", key.position)
    return decision.check == key.check and place


def _about(record: object, key: StreamKey, catalogue: Catalogue) -> bool:
    match record:
        case Correction() | Baseline() | Reaction() | Note() | Answer() | FailureRecord() | WrittenStep():
            return record.key == key
        case Event():
            return _touches(record, key, catalogue)
        case EventWithdrawn():
            return _touches(record.event, key, catalogue)
    return False


def _touches(event: Event, key: StreamKey, catalogue: Catalogue) -> bool:
    named = event.line == key.line and event.position in ("", key.position) and event.check in ("", key.check)
    if not named:
        return False
    if event.check or event.kind in LINE_EVENTS:
        return True
    return key.check in catalogue.checks and event.kind in catalogue.events_for(key.check)


def _at(record: object, taken_at: datetime, key: StreamKey, catalogue: Catalogue) -> bool:
    """Return whether a record about the stream is about the reading of this minute."""
    low, high = _minute(taken_at)

    def here(at: datetime) -> bool:
        return low <= to_microseconds(at) <= high

    match record:
        case Correction():
            return here(record.reading.taken_at) or (record.said is not None and here(record.said.taken_at))
        case Reaction():
            return here(record.signal_at)
        case Note():
            return here(record.at)
        case Answer():
            return record.first - MINUTE < taken_at <= record.last
        case FailureRecord() | WrittenStep():
            return here(record.failed_at)
        case Baseline():
            return record.first - MINUTE < taken_at <= record.last
    return False


def _words(record: Any, catalogue: Catalogue, zone: tzinfo) -> str:
    match record:
        case Correction():
            first = time_text(record.reading.taken_at, zone)
            unit = _unit_of(record.key.check, catalogue)
            was = _said(record.reading.value, record.reading.bound, record.reading.word, unit)
            if record.said is None:
                return f"reading of {first}, {was}, taken out. Why: {record.why}"
            said = record.said
            moved = f", at {time_text(said.taken_at, zone)}" if said.taken_at != record.reading.taken_at else ""
            says = _said(said.value, said.bound, said.word, unit)
            return f"reading of {first}, first written {was}, says {says}{moved}. Why: {record.why}"
        case LimitDecision():
            limits = record.acceptance
            ends = (("at least", limits.lower), ("at most", limits.upper))
            asked = " and ".join(f"{words} {end:.10g}" for words, end in ends if end is not None)
            asked = with_unit(asked, _unit_of(record.check, catalogue)) if asked else asked
            asked = asked or limits.rule.replace("_", " ")
            why = f". Why: {record.why}" if record.why else ""
            place = " · ".join(filter(None, (record.line, titled(record.check, catalogue), record.position)))
            return (
                f"limits of {place} from {time_text(record.valid_from, zone)}: {asked}, {limits.document}, revision "
                f"{limits.revision}, confirmed by {record.confirmed_by}{why}"
            )
        case Baseline():
            by, why = f" by {record.by}" if record.by else "", f". In words: {record.words}" if record.words else ""
            held = f", from {time_text(record.valid_from, zone)} on" if record.valid_from else ""
            out = f", {len(record.left_out)} readings left out" if record.left_out else ""
            return (
                f"baseline version {record.version} {record.step}{by}{held}: centre line "
                f"{with_unit(in_figures(record.centre_line, 4), record.unit)}, limits {in_figures(record.lower, 4)} to "
                f"{in_figures(record.upper, 4)}, from {record.n} readings{out}{why}"
            )
        case Event():
            return f"event {_event(record, catalogue, zone)}"
        case EventWithdrawn():
            return f"event withdrawn: {_event(record.event, catalogue, zone)}. Why: {record.why}"
        case Reaction():
            at, step = time_text(record.signal_at, zone), REACTIONS.get(record.step, record.step)
            return f"signal of {at} ({record.rule.replace('_', ' ')}), {step}{': ' * bool(record.words)}{record.words}"
        case Note():
            return f"note at {time_text(record.at, zone)}: {record.words}"
        case Answer():
            return f"answer to a question ({record.kind.replace('_', ' ')}): {record.words}"
        case FailureRecord():
            return f"record opened of the check that failed {time_text(record.failed_at, zone)}: {record.failed}"
        case WrittenStep():
            step = STEP_WORDS[record.step.kind]
            step = f"{step[:1].lower()}{step[1:]}"
            return f"failed check of {time_text(record.failed_at, zone)}, {step}: {record.step.words}"
        case Account():
            return f"account {record.name}: {record.role}, {'in use' if record.active else 'closed'}"
        case Instrument():
            return (
                f"instrument {record.name}: {'in use' if record.in_use else 'no longer in use'} {record.note}".strip()
            )
        case Calibration():
            return f"calibration of {record.instrument} {time_text(record.at, zone)}: {record.found}"
        case SetupSample():
            return f"set-up sample of {time_text(record.at, zone)}: {record.result}"
    return type(record).__name__


def _unit_of(check: str, catalogue: Catalogue) -> str:
    found = catalogue.checks.get(check)
    return found.unit_label if found is not None else ""


def _event(event: Event, catalogue: Catalogue, zone: tzinfo) -> str:
    place = " · ".join(filter(None, (event.line, titled(event.check, catalogue), event.position)))
    amount = "" if event.amount != event.amount else f", {with_unit(f'{event.amount:.10g}', event.unit)}"
    note = f". Note: {event.note}" if event.note else ""
    return f"{event.kind.replace('_', ' ')} at {place}, {time_text(event.at, zone)}{amount}{note}"


def _said(value: float | None, bound: int, word: str, unit: str) -> str:
    if word:
        return "not in operation" if word == NOT_RUN else word
    sign = {Bound.BELOW: "<", Bound.ABOVE: ">"}.get(Bound(bound), "")
    return with_unit(f"{sign}{float('nan') if value is None else value:.10g}", unit)
