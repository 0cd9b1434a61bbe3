"""What was written wrongly on purpose: rows that cannot be read, rows written twice, slips of the pen."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

from spc.demo.plan import A, B
from spc.demo.rows import LogRow
from spc.records import NOT_RUN, StreamKey

Outcome = Literal["accepted", "duplicate", "quarantined"]

LUX_PER_FOOTCANDLE = Decimal("10.764")


@dataclass(frozen=True, slots=True)
class Slip:
    """One thing written wrongly: the first row of the stream at or after `at` (local time, as written)."""

    id: str
    key: StreamKey
    at: str
    write: Callable[[LogRow], list[str]]  # the row as it should be -> the lines that were written
    outcome: Outcome  # of the last of those lines
    column: str  # where it is wrong; "" for the row as a whole
    see: str
    rows: int = 1  # in so many readings in a row

    def fits(self, row: LogRow) -> bool:
        """Return whether the slip may be made in `row`."""
        return (
            row.taken_at >= self.at
            and StreamKey(row.line, row.check, row.position) == self.key
            and row.value != NOT_RUN
        )


@dataclass(frozen=True, slots=True)
class PlantedRow:
    """A row that was written wrongly on purpose."""

    slip: Slip
    row: int  # line number in the log, the header being 1


def with_slips(rows: Sequence[LogRow]) -> tuple[list[str], tuple[PlantedRow, ...]]:
    """Return the lines of the log with everything in SLIPS done to them, and where it was done."""
    lines: list[str] = []
    planted: list[PlantedRow] = []
    left = {slip.id: slip.rows for slip in SLIPS}
    for row in rows:
        slip = next((slip for slip in SLIPS if left[slip.id] and slip.fits(row)), None)
        lines += [row.text()] if slip is None else slip.write(row)
        if slip is not None:
            left[slip.id] -= 1
            planted.append(PlantedRow(slip, len(lines) + 1))
    return lines, tuple(planted)


def _change(**cells: str | Callable[[str], str]) -> Callable[[LogRow], list[str]]:
    def write(row: LogRow) -> list[str]:
        new = {name: how if isinstance(how, str) else how(getattr(row, name)) for name, how in cells.items()}
        return [replace(row, **new).text()]

    return write


def _times(factor: Decimal | str, places: str) -> Callable[[str], str]:
    def scaled(text: str) -> str:
        return str((Decimal(text.removeprefix("<")) * Decimal(factor)).quantize(Decimal(places)))

    return scaled


def _twice(row: LogRow) -> list[str]:
    return [row.text(), row.text()]


def _twice_with_a_note(row: LogRow) -> list[str]:
    return [row.text(), replace(row, note="copied from the sheet").text()]


def _cut_short(row: LogRow) -> list[str]:
    return [",".join(row.text().split(",")[:4])]


def _too_long(row: LogRow) -> list[str]:
    return [row.text() + ",checked,twice"]


_BATH_A = StreamKey(A, "bath_concentration", "tank")
_BATH_B = StreamKey(B, "bath_concentration", "tank")
_LED = StreamKey(A, "uva_irradiance", "lamp 1")
_MERCURY = StreamKey(A, "uva_irradiance", "lamp 2")
_UVA_B = StreamKey(B, "uva_irradiance", "lamp 1")
_AMBIENT_A = StreamKey(A, "ambient_light", "booth")
_AMBIENT_B = StreamKey(B, "ambient_light", "booth")
_RESIDUAL_A = StreamKey(A, "residual_field", "demagnetiser")
_HEAD_A = StreamKey(A, "ammeter", "head")
_WATER_B = StreamKey(B, "water_break", "tank")
_RING_B = StreamKey(B, "ring_holes", "ring 2")

SLIPS: tuple[Slip, ...] = (
    Slip(
        "mW-in-the-uW-column",
        _LED,
        "2025-05-06T06:00",
        _change(value=_times("0.001", "0.01")),
        "accepted",
        "value",
        "about 4.5 among readings of 4500: milliwatts written where microwatts belong",
        rows=3,
    ),
    Slip(
        "mW-in-the-uW-column-b",
        _UVA_B,
        "2026-08-25T06:00",
        _change(value=_times("0.001", "0.01")),
        "accepted",
        "value",
        "about 4.1 among readings of 4100",
    ),
    Slip(
        "lux-in-the-fc-column",
        _AMBIENT_A,
        "2025-06-04T06:00",
        _change(value=_times(LUX_PER_FOOTCANDLE, "0.1")),
        "accepted",
        "value",
        "ten times the usual ambient light: lux written where footcandles belong",
        rows=2,
    ),
    Slip(
        "millitesla-in-the-gauss-column",
        _RESIDUAL_A,
        "2025-09-17T06:00",
        _change(value=_times("0.1", "0.01")),
        "accepted",
        "value",
        "a tenth of the usual residual field: millitesla written where gauss belong",
        rows=2,
    ),
    Slip(
        "kiloamperes-in-the-ampere-column",
        _HEAD_A,
        "2025-04-08T06:00",
        _change(value=_times("0.001", "0.01")),
        "accepted",
        "value",
        "1.01 where 1010 belongs",
    ),
    Slip(
        "tenfold-bath",
        _BATH_A,
        "2025-02-05T06:00",
        _change(value=_times("10", "0.1")),
        "accepted",
        "value",
        "2.0 or so where 0.20 belongs",
    ),
    Slip(
        "tenfold-bath-b",
        _BATH_B,
        "2026-10-06T06:00",
        _change(value=_times("10", "0.01")),
        "accepted",
        "value",
        "2.00 or so where 0.200 belongs",
    ),
    Slip(
        "watts-per-square-metre",
        _LED,
        "2025-08-25T06:00",
        _change(value=_times("0.01", "0.1"), unit="W/m2", instrument="rad-3"),
        "accepted",
        "unit",
        "a week with a borrowed radiometer that shows W/m2: to be converted, and said so",
        rows=10,
    ),
    Slip(
        "lux-said-so",
        _AMBIENT_B,
        "2026-01-08T06:00",
        _change(value=_times(LUX_PER_FOOTCANDLE, "1"), unit="lx", instrument="lux-3"),
        "accepted",
        "unit",
        "a winter with a light meter that shows lux: to be converted, and said so",
        rows=8,
    ),
    Slip(
        "two-points",
        _BATH_A,
        "2024-12-03T06:00",
        _change(value="0.2.1"),
        "quarantined",
        "value",
        "a number with two points",
    ),
    Slip(
        "word-for-a-number",
        _BATH_B,
        "2025-03-19T06:00",
        _change(value="fine"),
        "quarantined",
        "value",
        "a word where a number belongs",
    ),
    Slip(
        "negative-concentration",
        _BATH_A,
        "2025-09-24T14:00",
        _change(value="-0.20"),
        "quarantined",
        "value",
        "a concentration below nothing",
    ),
    Slip("nothing-written", _RESIDUAL_A, "2026-05-19T06:00", _change(value=""), "quarantined", "value", "no value"),
    Slip(
        "30-february",
        _RING_B,
        "2025-02-27T06:00",
        _change(taken_at="2025-02-30T06:31"),
        "quarantined",
        "taken_at",
        "a day that does not exist",
    ),
    Slip(
        "hour-25",
        _MERCURY,
        "2026-03-03T06:00",
        _change(taken_at="2026-03-03T25:24"),
        "quarantined",
        "taken_at",
        "an hour that does not exist",
    ),
    Slip(
        "check-by-another-name",
        _BATH_B,
        "2025-10-29T06:00",
        _change(check="settling"),
        "quarantined",
        "check",
        "a check that the catalogue does not know",
    ),
    Slip(
        "amperes-of-light",
        _UVA_B,
        "2025-12-03T06:00",
        _change(unit="A"),
        "quarantined",
        "unit",
        "a unit of another quantity",
    ),
    Slip(
        "word-unknown",
        _WATER_B,
        "2026-07-08T06:00",
        _change(value="so-so"),
        "quarantined",
        "value",
        "a verdict that is none",
    ),
    Slip("cut-short", _LED, "2026-02-11T06:00", _cut_short, "quarantined", "", "a row with four cells"),
    Slip("too-long", _RESIDUAL_A, "2026-06-24T06:00", _too_long, "quarantined", "", "a row with two cells too many"),
    Slip("written-twice-1", _BATH_A, "2024-11-20T06:00", _twice, "duplicate", "", "the same row twice"),
    Slip("written-twice-2", _LED, "2025-07-15T14:00", _twice, "duplicate", "", "the same row twice"),
    Slip("written-twice-3", _RING_B, "2025-11-19T06:00", _twice, "duplicate", "", "the same row twice"),
    Slip("written-twice-4", _HEAD_A, "2026-06-09T06:00", _twice, "duplicate", "", "the same row twice"),
    Slip(
        "written-twice-5",
        _BATH_B,
        "2026-09-30T14:00",
        _twice_with_a_note,
        "duplicate",
        "",
        "the same reading twice, once with a note",
    ),
)
