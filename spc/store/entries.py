"""What people decide and write down, one frozen record a kind; each becomes an entry of the trail, whole.

To keep another kind: a frozen dataclass and a row of `KINDS`. Fields are numbers, texts, aware datetimes, tuples,
mappings of texts, and such dataclasses themselves.
"""

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from typing import TYPE_CHECKING, Any, Generic, Literal, TypeVar

from spc.catalogue.acceptance import Acceptance
from spc.errors import StoreError
from spc.failures import FailureRecord, WrittenStep
from spc.records import NO_OFFSET, Bound, Event, StreamKey
from spc.run_start import SetupSample

if TYPE_CHECKING:
    from cattrs import Converter

R = TypeVar("R")


@dataclass(frozen=True, slots=True)
class Identity:
    """What tells one reading from all others of its stream: when, and what was written first."""

    taken_at: datetime
    value: float  # NaN where word is given
    bound: Bound = Bound.EXACT
    word: str = ""


@dataclass(frozen=True, slots=True)
class Said:
    """What a reading should say."""

    taken_at: datetime
    value: float  # in the unit of the stream; NaN where word is given
    bound: Bound = Bound.EXACT
    word: str = ""
    reference: float = math.nan
    instrument: str = ""
    technician: str = ""
    shift: str = ""
    note: str = ""
    offset: int = NO_OFFSET


def said_text(reading: Identity | Said) -> str:
    """Return what a reading says, without its unit: the word, or the number with its sign."""
    sign = {Bound.BELOW: "<", Bound.ABOVE: ">"}.get(Bound(reading.bound), "")
    return reading.word or f"{sign}{reading.value:.10g}"


@dataclass(frozen=True, slots=True)
class Correction:
    """What a reading should say instead; the reading itself stays as it was first written."""

    key: StreamKey
    reading: Identity  # as first written
    replaces: int  # how many corrections of this reading stood when this one was written: 0 for the first
    said: Said | None  # None: it should not have been written down at all
    why: str


@dataclass(frozen=True, slots=True)
class EventWithdrawn:
    """An event that should not have been written down."""

    event: Event
    why: str


@dataclass(frozen=True, slots=True)
class LimitDecision:
    """The acceptance limits of a check from a day on, with the document they come from."""

    check: str
    line: str  # "": every line that has no decision of its own
    position: str  # "": every position that has no decision of its own
    acceptance: Acceptance  # document and revision are named in it
    valid_from: datetime
    confirmed_by: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class Baseline:
    """One step in the life of a baseline: proposed by the program, reviewed and signed off by a person."""

    key: StreamKey
    version: int  # 1, 2, 3 ... of the stream
    step: Literal["proposed", "reviewed", "signed off", "withdrawn"]
    first: datetime  # of its readings
    last: datetime
    n: int
    centre_line: float  # in the chart unit
    sigma: float
    lower: float
    upper: float
    left_out: tuple[datetime, ...] = ()  # readings between first and last that it leaves out
    by: str = ""  # the person; "" where the program proposes
    words: str = ""
    valid_from: datetime | None = None
    """Of signing off: it holds from then; of withdrawing: it held until then. None: the moment of the entry."""
    unit: str = ""  # of the chart that it was drawn from


@dataclass(frozen=True, slots=True)
class Reaction:
    """One step in the life of a signal."""

    key: StreamKey
    signal_at: datetime  # of the reading that signalled
    rule: str
    step: Literal["acknowledged", "cause", "action", "closed"]
    by: str
    words: str = ""


@dataclass(frozen=True, slots=True)
class Note:
    """Words beside a stream: at one of its readings, or at a time."""

    key: StreamKey
    at: datetime
    words: str
    by: str
    row: int | None = None  # of the reading that it is about; None: of the time alone


@dataclass(frozen=True, slots=True)
class Answer:
    """What a person answers to a question of the screening."""

    key: StreamKey  # the first stream that it is about
    kind: str  # see `spc.screening.Kind`
    first: datetime  # of the readings it is about
    last: datetime
    words: str
    by: str


@dataclass(frozen=True, slots=True)
class Account:
    """A person's account as it stands from now on; the password is kept as its hash alone."""

    name: str
    role: str
    password_hash: str
    active: bool = True


@dataclass(frozen=True, slots=True)
class Instrument:
    """An instrument as it stands from now on."""

    name: str  # as in readings
    measures: str = ""
    serial: str = ""
    calibrated_every_days: float | None = None
    in_use: bool = True
    note: str = ""


@dataclass(frozen=True, slots=True)
class Calibration:
    """What a calibration of an instrument found."""

    instrument: str
    at: datetime
    found: Literal["in tolerance", "out of tolerance", "not usable"]
    error_found: float | None = None  # instrument minus standard, in `unit`, before adjustment
    error_left: float | None = None  # after it
    unit: str = ""
    due: datetime | None = None  # the next one
    certificate: str = ""
    by: str = ""


KINDS: Mapping[str, tuple[type, Callable[[Any], str]]] = {
    "event": (Event, lambda record: record.line),
    "event withdrawn": (EventWithdrawn, lambda record: record.event.line),
    "correction": (Correction, lambda record: str(record.key)),
    "limit": (LimitDecision, lambda record: record.check),
    "baseline": (Baseline, lambda record: str(record.key)),
    "reaction": (Reaction, lambda record: str(record.key)),
    "note": (Note, lambda record: str(record.key)),
    "answer": (Answer, lambda record: str(record.key)),
    "account": (Account, lambda record: record.name),
    "instrument": (Instrument, lambda record: record.name),
    "calibration": (Calibration, lambda record: record.instrument),
    "set-up sample": (SetupSample, lambda record: record.line),
    "failure": (FailureRecord, lambda record: str(record.key)),
    "failure step": (WrittenStep, lambda record: str(record.key)),
}
"""Kinds of records: what each is, and what it is about."""


@dataclass(frozen=True, slots=True)
class Entry(Generic[R]):
    """A record of the trail, with who said it and when."""

    sequence: int
    at: datetime  # aware, UTC
    who: str
    kind: str
    subject: str
    record: R


def kind_of(record: object) -> str:
    """Return the kind of a record.

    Raises:
        StoreError: it is of no kind that is kept.
    """
    return kind_named(type(record))


def kind_named(wanted: type) -> str:
    """Return the kind whose records are of type `wanted`."""
    for kind, (known, _) in KINDS.items():
        if known is wanted:
            return kind
    raise StoreError(f"{wanted.__name__}: no kind of record that is kept; see KINDS in spc/store/entries.py")


def subject_of(record: object) -> str:
    """Return what a record is about."""
    return KINDS[kind_of(record)][1](record)


def body_of(record: object) -> object:
    """Return a record as JSON can hold it: times in UTC, NaN as null.

    Raises:
        StoreError: a time has no zone, or a number is infinite.
    """
    return _converter().unstructure(record)


def record_from(kind: str, body: str) -> Any:
    """Return the record that `body` holds.

    Raises:
        StoreError: it holds no record of this kind.
    """
    from cattrs.errors import BaseValidationError

    try:
        return _converter().structure(json.loads(body), KINDS[kind][0])
    except (
        BaseValidationError,
        ArithmeticError,
        AttributeError,
        LookupError,
        RecursionError,
        TypeError,
        ValueError,
    ) as error:
        raise StoreError(f"an entry of kind {kind!r} cannot be read ({error}); run spc verify") from None


@cache
def _converter() -> "Converter":
    from cattrs import Converter

    converter = Converter(forbid_extra_keys=True)
    converter.register_unstructure_hook(float, _number_out)
    converter.register_structure_hook(float, lambda value, _: math.nan if value is None else float(value))
    converter.register_unstructure_hook(datetime, _time_out)
    converter.register_structure_hook(datetime, lambda value, _: datetime.fromisoformat(value))
    converter.register_unstructure_hook(Bound, int)
    converter.register_structure_hook(Bound, lambda value, _: Bound(value))
    return converter


def _number_out(value: float) -> float | None:
    if math.isinf(value):
        raise StoreError(f"{value} is no finite number; write the number that was read")
    return None if math.isnan(value) else float(value)


def _time_out(value: datetime) -> str:
    if value.tzinfo is None:
        raise StoreError(f"time {value.isoformat()} has no zone; give an aware time")
    return value.astimezone(UTC).isoformat()
