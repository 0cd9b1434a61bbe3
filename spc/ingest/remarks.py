"""Free-text remarks searched for things done to the line, as events for a person to confirm; none is ever applied."""

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass

from spc.ingest.clean import Number, parse_number
from spc.ingest.csv_log import CheckLog
from spc.ingest.event_log import COLUMNS
from spc.records import Bound, Readings, Remark, StreamKey
from spc.times import as_written, from_microseconds

DONE = r"(?:repaired|fixed|replaced|swapped|changed)"

PHRASES: Mapping[str, tuple[str, ...]] = {
    "bath_changed": (
        r"\b(?:new|fresh) bath\b",
        r"\bbath (?:was |is )?(?:changed?|replaced|dumped|renewed|chg)\b",
        r"\b(?:changed|dumped|replaced|renewed) (?:the )?bath\b",
        r"\bneues bad\b|\bbad (?:gewechselt|neu)\b",
    ),
    "bath_topped_up": (
        r"\badded [0-9.,]+ ?(?:g|oz|ml|kg|lb)\b",
        r"\badded (?:powder|particles|concentrate|paste)\b",
        r"\btop(?:ped)?[ -]?up\b",
        r"\bnachdosiert\b|\bpulver (?:zugegeben|nachgefüllt)\b",
    ),
    "carrier_added": (
        r"\badded [0-9.,]+ ?(?:l|litres?|liters?|(?:us ?)?gal|gallons?)\b",
        r"\badded (?:carrier|oil|water|vehicle)\b",
        r"\b(?:öl|wasser|träger) (?:zugegeben|nachgefüllt)\b",
    ),
    "lamp_replaced": (
        r"\b(?:lamp|bulb|led|uv) ?(?:chg|chgd|changed?|replaced?|swapped?)\b",
        rf"\b{DONE} (?:the )?(?:\w+ )?(?:lamp|bulb)\b|\bnew (?:lamp|bulb)\b",
        r"\blampe (?:getauscht|gewechselt|neu)\b",
    ),
    "lamp_cleaned": (
        r"\b(?:cleaned|wiped) (?:the )?(?:\w+ )?(?:lens|filter|lamp|bulb|glass)\b",
        r"\b(?:lens|filter|lamp) cleaned\b",
        r"\b(?:linse|filter|lampe) gereinigt\b",
    ),
    "meter_calibrated": (
        r"\b(?:meter|radiometer|ammeter|gauge) (?:back )?(?:from |out for |sent for |for )?cal",
        r"\bsent (?:\w+ )?(?:meter|radiometer) (?:out )?for cal",
        r"\bmessgerät (?:kalibriert|zur kalibrierung)\b",
    ),
    "instrument_changed": (
        r"\b(?:new|spare|loan|other) (?:tube|meter|radiometer|shunt)\b",
        r"\b(?:tube|röhrchen) (?:broken|replaced|ersetzt|neu)\b",
    ),
    "unit_repaired": (
        rf"\b{DONE} (?:the )?(?:pump|agitator|head|coil|contactor|panel|unit|machine)\b",
        rf"\b(?:pump|agitator|unit|machine) {DONE}\b",
        r"\b(?:pumpe|anlage) repariert\b",
    ),
    "booth_repaired": (
        rf"\b(?:{DONE}|new) (?:the )?(?:curtain|booth|door seal)\b",
        r"\bvorhang (?:neu|ersetzt)\b",
    ),
    "line_idle": (r"\bline (?:down|idle|stopped)\b", r"\bshut ?down\b", r"\banlage (?:steht|aus)\b"),
    "line_running": (r"\bline (?:back )?(?:up|running)\b", r"\brestarted\b", r"\banlage läuft\b"),
}
"""Kinds of event by the words that people use. Common practice, no source."""

NOT_DONE = re.compile(
    r"\bno\b|\bnot\b|n't\b|\bneeds?\b|\bdue\b|\btomorrow\b|\bnext\b|\bordered\b|\bplanned\b|\bwill\b|\?|\bshould\b|"
    r"\bkein\w*\b|\bnicht\b|\bmorgen\b|\bfällig\b|\bbestellt\b|\bcheck if\b|\bbefore\b|\bsent\b"
)
"""Words that leave open whether the thing was done, or when."""

AMOUNT = re.compile(r"\b([0-9]+(?:[.,][0-9]+)?)\s*(g|oz|ml|l|kg|lb|us ?gal|gal|litres?|liters?|gallons?)\b")
UNIT_OF = {"gallon": "gal", "gallons": "gal"}


@dataclass(frozen=True, slots=True)
class ProposedEvent:
    """An event that a remark seems to tell of."""

    at: str  # as the log writes its times
    line: str
    kind: str
    amount: str
    unit: str
    note: str  # the remark as written
    row: int
    unsure: bool  # the words leave open whether it was done, or which kind it was


@dataclass(frozen=True, slots=True)
class Remarks:
    """The remarks of a log: those that seem to tell of events, and the others."""

    events: tuple[ProposedEvent, ...]
    others: tuple[tuple[int, str], ...]  # row and remark


def search_remarks(log: CheckLog) -> Remarks:
    """Return what the remarks of a log seem to tell of, in the order of its rows."""
    events: list[ProposedEvent] = []
    others: list[tuple[int, str]] = []
    for remark in log.remarks or _remarks(log.streams):
        kinds = event_kinds(remark.text)
        if not kinds:
            others.append((remark.row, remark.text))
        known = remark.taken_at is not None
        at = as_written(from_microseconds(remark.taken_at or 0), remark.offset, log.zone) if known else ""
        unsure = len(kinds) > 1 or NOT_DONE.search(remark.text.casefold()) is not None or not known
        for kind in kinds:
            amount, unit = _amount(remark.text) if kind in ("bath_topped_up", "carrier_added") else ("", "")
            events.append(ProposedEvent(at, remark.line, kind, amount, unit, remark.text, remark.row, unsure))
    return Remarks(tuple(events), tuple(others))


def event_kinds(remark: str) -> tuple[str, ...]:
    """Return every kind of event that a remark seems to tell of."""
    plain = " ".join(remark.casefold().split())
    return tuple(kind for kind, forms in PHRASES.items() if any(re.search(form, plain) for form in forms))


def _remarks(streams: Mapping[StreamKey, Readings]) -> list[Remark]:
    """Return the notes of a log of one reading a row, in the order of its rows."""
    found = [
        Remark(int(readings.row[at]), key.line, note, int(readings.taken_at[at]), int(readings.offset[at]))
        for key, readings in streams.items()
        for at, note in enumerate(readings.note.tolist())
        if note
    ]
    return sorted(found, key=lambda remark: remark.row)


def _amount(remark: str) -> tuple[str, str]:
    """Return the one amount that a remark names, with its unit; nothing where it names none or several."""
    found = AMOUNT.findall(remark.casefold())
    number = parse_number(found[0][0], delimiter=";") if len(found) == 1 else None
    if not isinstance(number, Number) or number.bound is not Bound.EXACT:
        return "", ""
    return f"{number.value:.12g}", UNIT_OF.get(found[0][1], found[0][1].replace("ml", "mL"))


def events_csv(remarks: Remarks) -> str:
    """Return the proposed events as an event file; what is unsure has its kind behind a question mark.

    Such a row is quarantined by whatever reads the file until a person has decided on it.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for event in remarks.events:
        kind = f"? {event.kind}" if event.unsure else event.kind
        note = event.note.replace("\r\n", "\n").replace("\r", "\n")  # alone, a carriage return would end the row
        writer.writerow([event.at, event.line, kind, "", "", event.amount, event.unit, note])
    return text.getvalue()


def remarks_json(remarks: Remarks) -> dict[str, object]:
    """Return the events that remarks seem to tell of, and the other remarks, as JSON-ready values."""
    return {
        "events": [asdict(event) for event in remarks.events],
        "others": [{"row": row, "text": text} for row, text in remarks.others],
    }
