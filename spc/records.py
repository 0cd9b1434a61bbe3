"""What is kept: readings, events, streams, and rows that could not be read."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from datetime import datetime
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from spc.arrays import FloatArray, IntArray, ObjectArray
from spc.told import Told

NO_OFFSET = -32768
"""Stands in `Readings.offset` where the log wrote a time without an offset."""

NOT_RUN = "not run"
"""The word of a reading that says the line was not in operation."""


class Bound(IntEnum):
    """How the true value lies to the number written down."""

    BELOW = -1  # written "<0.05"
    EXACT = 0
    ABOVE = 1  # written ">5000"


@dataclass(frozen=True, slots=True, order=True)
class StreamKey:
    """What is measured where: one check on one bath, lamp or machine of one line."""

    line: str
    check: str
    position: str

    def __str__(self) -> str:
        return " · ".join(part for part in (self.line, self.check, self.position) if part)


@dataclass(frozen=True, slots=True)
class Reading(Told):
    """One accepted row of a check log."""

    key: StreamKey
    taken_at: datetime  # aware, UTC
    offset: int  # minutes east of UTC as written, or NO_OFFSET
    row: int  # line number in the file, the header being 1
    value: float  # in the check's unit; NaN where `word` is given
    bound: Bound = Bound.EXACT
    word: str = ""  # the verdict of a judged check, or NOT_RUN
    reference: float = float("nan")
    instrument: str = ""
    technician: str = ""
    shift: str = ""
    note: str = ""
    other: Mapping[str, str] = field(default_factory=dict)  # columns the contract does not name


@dataclass(frozen=True, slots=True)
class Readings(Told):
    """All readings of one stream in time order (equal times: in file order); every column has shape (n,), read-only."""

    key: StreamKey
    taken_at: IntArray  # microseconds since 1970-01-01 UTC
    offset: NDArray[np.int16]  # minutes east of UTC as written, or NO_OFFSET
    row: IntArray
    value: FloatArray  # in the check's unit; NaN where `word` is given
    bound: NDArray[np.int8]  # values of Bound
    word: ObjectArray  # str; "" for a measured reading
    reference: FloatArray  # NaN where none was written
    instrument: ObjectArray
    technician: ObjectArray
    shift: ObjectArray
    note: ObjectArray
    other: Mapping[str, ObjectArray] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.taken_at)


@dataclass(frozen=True, slots=True, eq=False)
class Event(Told):
    """Something done to a line: bath changed, lamp replaced, meter calibrated.

    Two that say the same are equal, also where neither has an amount.
    """

    at: datetime  # aware, UTC
    offset: int
    row: int
    line: str
    kind: str
    check: str = ""  # empty: every check the kind can touch
    position: str = ""  # empty: every position
    amount: float = float("nan")
    unit: str = ""
    note: str = ""

    def _says(self) -> tuple[object, ...]:
        said = tuple(getattr(self, each.name) for each in fields(self))
        return tuple(None if value != value else value for value in said)  # NaN is unlike itself

    def __eq__(self, other: object) -> bool:
        return self._says() == other._says() if isinstance(other, Event) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._says())


@dataclass(frozen=True, slots=True)
class QuarantinedRow(Told):
    """A row that could not be read, kept with the reason."""

    file: str
    row: int  # line number in the file, the header being 1
    column: str  # "" when the row as a whole is at fault
    text: str
    reason: str


@dataclass(frozen=True, slots=True)
class BlankCell:
    """A cell of a sheet where a reading could stand and nothing is written: missed, or the line was idle."""

    row: int
    column: str


@dataclass(frozen=True, slots=True)
class Remark:
    """Free text beside the readings of a row."""

    row: int
    line: str
    text: str
    taken_at: int | None = None  # microseconds since 1970-01-01 UTC; None where the row has no time that can be read
    offset: int = NO_OFFSET


@dataclass(frozen=True, slots=True)
class CellCount:
    """Where every cell of a sheet ended: `read` is the sum of the others."""

    read: int = 0
    accepted: int = 0
    duplicate: int = 0
    quarantined: int = 0
    blank: int = 0  # where a reading could stand
    ignored: int = 0  # by the layout: titles, columns and rows that it leaves out
    context: int = 0  # header, date, shift, references, remarks; and cells of no column with nothing in them

    def __add__(self, other: "CellCount") -> "CellCount":
        """Return the counts of both sheets together."""
        return CellCount(*(getattr(self, name) + getattr(other, name) for name in self.__slots__))


@dataclass(frozen=True, slots=True)
class RowCount(Told):
    """Where every data row of a log ended: read = accepted + duplicate + quarantined."""

    read: int = 0
    accepted: int = 0
    duplicate: int = 0
    quarantined: int = 0
