"""What can be written down: a card for every check on every place, in the order in which they are to be done."""

import math
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from dashboard.queries.known import Known
from dashboard.queries.words import stream_id, view_of
from dashboard.views.entry import Card, EntryPage, InstrumentChoice, OtherCheck
from spc.catalogue.acceptance import plain_word
from spc.catalogue.check import Check
from spc.check_due import CheckDue
from spc.entry import WHENS, When, needs_reference, of_stream, shift_at, when_due
from spc.entry_doubts import usual_range
from spc.records import StreamKey
from spc.results import StreamResult
from spc.shown import check_shown, shown_in
from spc.state import stream_state
from spc.wording import bounds_text, date_text, time_text

INSTRUMENTS, REFERENCES, PEOPLE = 4, 6, 12
"""How many are offered, the last used first."""

NO_STORE = (
    "This board shows a bare log, which nothing can be written into. To write checks down here, start it on a store: "
    "spc serve --store FILE --follow LOG."
)
"""What is said where nothing can be written."""

TUBE_UNIT = "mL/100mL"
"""A check written in this unit is read off a settling tube."""


def entry_page(known: Known, person: str) -> EntryPage:
    """Return every check that can be written down, in the order in which they are to be done."""
    stands, zone = known.standing(), known.zone
    catalogue = known.snapshot.scan.catalogue
    found: dict[StreamKey, StreamResult | None] = {result.key: result for result in stands.streams}
    today = stands.now.astimezone(zone).date()
    for asked in known.calendar.asked:
        if (asked.first or today) <= today <= (asked.last or today):
            found.setdefault(asked.key, None)
    warnings = _instrument_warnings(known)
    cards = [
        _card(known, key, result, catalogue.checks[key.check], stands.due.get(key), warnings)
        for key, result in found.items()
        if key.check in catalogue.checks
    ]
    by = {key: due.by for key, due in stands.due.items() if due.by is not None}
    lines = tuple(dict.fromkeys(key.line for key in found))
    cards.sort(key=lambda card: _order(card, lines, by))
    others = tuple(
        OtherCheck(key, check.title, _card(known, StreamKey("", key, ""), None, check, None, {}))
        for key, check in catalogue.checks.items()
    )
    return EntryPage(
        cards=tuple(cards),
        lines=lines,
        others=others,
        people=_most_recent((result for result in stands.streams), "technician", PEOPLE),
        person=person,
        shifts=() if known.calendar.shifts else _most_recent(stands.streams, "shift", 6),
        now=known.now().astimezone(zone).replace(tzinfo=None).isoformat(timespec="minutes"),
        zone=str(zone),
        decimal=known.formats.sign,
        why_not=NO_STORE if known.store is None else "",
        following=_following(cards, by, known),
    )


def _following(cards: Iterable[Card], by: Mapping[StreamKey, datetime], known: Known) -> str:
    """Return which of the checks that are due later is due first, and when; "" where the clock sets none."""
    times = [(by.get(StreamKey(card.line, card.check, card.position)), card) for card in cards if card.when == "later"]
    first = min(((at, card) for at, card in times if at is not None), key=lambda each: each[0], default=None)
    if first is None:
        return ""
    name = ", ".join(filter(None, (first[1].title, first[1].position)))
    return f"Next: {name} on {first[1].line}, {time_text(first[0], known.zone)} ({known.zone})."


def _order(card: Card, lines: tuple[str, ...], by: Mapping[StreamKey, datetime]) -> tuple[int, datetime, int]:
    when: When = card.when  # type: ignore[assignment]  # one of WHENS
    place = WHENS.index(when)
    due = by.get(StreamKey(card.line, card.check, card.position), datetime.max.replace(tzinfo=UTC))
    return place, due if place < WHENS.index("later") else datetime.max.replace(tzinfo=UTC), lines.index(card.line)


def _card(
    known: Known,
    key: StreamKey,
    result: StreamResult | None,
    entry: Check,
    due: CheckDue | None,
    warnings: Mapping[str, str],
) -> Card:
    zone, now = known.zone, known.now()
    check = of_stream(result, entry, key)
    seen, asked = check_shown(entry, known.formats), check_shown(check, known.formats)
    read = shown_in(result, known.formats) if result is not None and len(result.readings) else None
    state = stream_state(read, zone, now, due) if read is not None else None
    deviation = entry.charted == "deviation"
    names = _most_recent([read], "instrument", INSTRUMENTS) if read is not None else ()
    return Card(
        id=stream_id(key),
        line=key.line,
        check=key.check,
        title=entry.title,
        position=key.position,
        kind=entry.kind,
        when=when_due(due, now, shift_at(known.calendar, key.line, now, zone)[1]) if read is not None else "due now",
        due=_due_words(check, due, state.due_text if state else "Nothing written down yet", known),
        unit=seen.unit_label,
        unit_code=seen.unit,
        step=None if seen.kept_in else seen.resolution,  # another unit, other steps
        places=_places(seen),
        signed=entry.kind == "measured" and (seen.possible[0] is None or seen.possible[0] < 0),
        possible=seen.possible,
        usual=usual_range(read),
        tube=seen.unit == TUBE_UNIT,
        deviation=deviation,
        asks_reference=needs_reference(entry),
        references=_references(read, check),
        reference_name="Current through the ring" if not deviation else "Reference",
        words=_words(check),
        asked=bounds_text(asked.acceptance, asked),
        confirmed=check.acceptance.confirmed or check.acceptance.rule == "none",
        last_age=state.age_text if state else "",
        moves=state.headline if state and state.word in ("failed", "moving") else "",
        instruments=tuple(InstrumentChoice(name, warnings.get(name, "")) for name in names),
        cautions=entry.cautions,
        href=view_of(key).href,
    )


def _due_words(check: Check, due: CheckDue | None, text: str, known: Known) -> str:
    """Return when a check is due; where no clock says, what the catalogue says: "due after every demagnetisation"."""
    if text or (due is None and not check.interval.words):
        return text
    if due is None:
        return f"due {check.interval.words}"
    return f"next due {time_text(due.by, known.zone)}" if due.by is not None else "due before the line runs again"


def _places(check: Check) -> int:
    """Return the decimals that a reading in whole steps of the instrument has."""
    text = f"{check.resolution:.6f}".rstrip("0") if check.resolution else ""
    return len(text.partition(".")[2])


def _words(check: Check) -> tuple[str, ...]:
    """Return what a judged check can say, those first that a person uses: one word that passes, then the others."""
    if check.kind != "judged":
        return ()
    good, bad = list(check.acceptance.good), list(check.acceptance.bad)
    if "pass" in good and "fail" in bad and check.key not in ("notched_shim", "known_defect_part"):
        return ("pass", "fail")
    if "shown" in good:
        return ("shown", *(word for word in ("partly", "not shown") if word in bad))
    return tuple(dict.fromkeys(plain_word(word) for word in (*good, *bad)))


def _references(result: StreamResult | None, check: Check) -> tuple[float, ...]:
    if not needs_reference(check):
        return ()
    used = result.readings.reference if result is not None else np.zeros(0)
    recent = [float(each) for each in used[::-1][:400] if math.isfinite(each)]
    asked = [at for at, _ in check.acceptance.table]
    return tuple(dict.fromkeys((*recent, *asked)))[:REFERENCES]


def _most_recent(results: Iterable[StreamResult], column: str, most: int) -> tuple[str, ...]:
    """Return the different texts of a column, the last written first."""
    found: dict[str, int] = {}
    for result in results:
        readings = result.readings
        for name, at in zip(getattr(readings, column)[-400:].tolist(), readings.taken_at[-400:].tolist(), strict=True):
            if name:
                found[name] = max(at, found.get(name, at))
    return tuple(sorted(found, key=lambda name: -found[name])[:most])


def _instrument_warnings(known: Known) -> dict[str, str]:
    """Return what speaks against each instrument that the store knows: its last calibration, and when it ran out."""
    from spc.store.entries import Calibration, Instrument

    if known.store is None:
        return {}
    instruments = {entry.record.name: entry.record for entry in known.store.records(Instrument)}
    last: dict[str, Calibration] = {}
    for entry in known.store.records(Calibration):
        before = last.get(entry.record.instrument)
        if entry.record.at <= known.now() and (before is None or before.at <= entry.record.at):
            last[entry.record.instrument] = entry.record
    found = {}
    for name in instruments.keys() | last.keys():
        instrument, calibration = instruments.get(name), last.get(name)
        words = _warning(instrument.calibrated_every_days if instrument else None, calibration, known)
        if instrument is not None and not instrument.in_use:
            words = "taken out of use"
        if words:
            found[name] = words
    return found


def _warning(every: float | None, calibration: Any, known: Known) -> str:
    if calibration is None:
        return ""
    if calibration.found != "in tolerance" and calibration.error_left is None:
        return f"{calibration.found} at its calibration of {date_text(calibration.at, known.zone)}"
    due = calibration.due or (calibration.at + timedelta(days=every) if every else None)
    return f"calibration overdue since {date_text(due, known.zone)}" if due is not None and due < known.now() else ""
