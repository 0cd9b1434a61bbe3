"""What was converted or decided while reading a file, in sentences."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import tzinfo

from spc.ingest.decoder import Decoder
from spc.ingest.table import DELIMITERS, Header

ENCODINGS = {"utf-8": "UTF-8", "utf-16-le": "UTF-16", "utf-16-be": "UTF-16"}
ROWS_NAMED = 5

Decision = tuple[str, ...]
"""What was decided, then of what: ("converted", check, from, to), ("unit_beside_word", check, unit), ("bare_time",)."""


@dataclass(slots=True)
class Decisions:
    """How often each decision was taken, over all of a file."""

    counts: Counter[Decision] = field(default_factory=Counter)
    repeated: list[int] = field(default_factory=list)  # rows whose time was read as the first pass of a repeated hour
    repeated_twice: list[int] = field(default_factory=list)  # of these, rows that say what an earlier row says
    signs: set[str] = field(default_factory=set)  # decimal signs that numbers of the file surely have: ",", "."


def notes(
    decoder: Decoder, header: Header | None, zone: tzinfo, decisions: Decisions, known: Sequence[str]
) -> tuple[str, ...]:
    """Return a sentence for everything that was converted or decided; the first says how the file is written."""
    if header is None:
        return ()
    said = [*encoding_notes(decoder, f"cells parted by {DELIMITERS[header.delimiter]}")]
    if header.after_sep:
        said.append("the line before the header says what parts the cells; it is no row")
    other = [name for name in header.names if name not in known]
    if other:
        said.append(f"kept with the rows, not used: {', '.join(other)}")
    return (*said, *decided(decisions, zone))


def encoding_notes(decoder: Decoder, parted: str) -> tuple[str, ...]:
    """Return how the text of a file was written; `parted` says what parts its cells."""
    said = [f"read as {ENCODINGS[decoder.encoding]}, {parted}"]
    if decoder.windows_lines:
        said.append(f"{_lines(decoder.windows_lines)} not UTF-8 and read as Windows-1252")
    if decoder.damaged_lines:
        said.append(f"{_lines(decoder.damaged_lines)} damaged: what cannot be read there is shown as \ufffd")
    return tuple(said)


def decided(decisions: Decisions, zone: tzinfo) -> tuple[str, ...]:
    """Return a sentence for every kind of decision."""
    said = [_sentence(what, count, zone) for what, count in sorted(decisions.counts.items()) if count]
    if decisions.repeated:
        said.append(
            f"{_times(len(decisions.repeated))} in an hour that {zone} repeats when the clocks go back, "
            f"read as its first pass: {_rows(decisions.repeated)}"
        )
    if decisions.repeated_twice:
        said.append(
            f"in such an hour {_rows(decisions.repeated_twice)} says the same as an earlier one and was taken for a "
            "duplicate; if it was read in the second pass, write its offset from UTC beside the time"
        )
    return tuple(said)


def _sentence(what: Decision, count: int, zone: tzinfo) -> str:
    match what:
        case ("bare_time",):
            return f"{_times(count)} without an offset, read in {zone}"
        case ("short_year",):
            return f"{_times(count)} with a two-digit year, read as 1969 to 2068"
        case ("decimal_comma",):
            return f"{_readings(count)} with a decimal comma"
        case ("grouped",):
            return f"{_readings(count)} with thousands set apart, read without that sign"
        case ("converted", check, written, unit):
            return f"{check}: {_readings(count)} converted from {written} to {unit}"
        case ("unit_beside_word", check, unit):
            return f"{check}: the unit {unit} beside {_readings(count)} in words was not used"
        case _:
            raise ValueError(f"no sentence for {what}")


def _lines(count: int) -> str:
    return "1 line is" if count == 1 else f"{count} lines are"


def _times(count: int) -> str:
    return "1 time" if count == 1 else f"{count} times"


def _readings(count: int) -> str:
    return "1 reading" if count == 1 else f"{count} readings"


def _rows(rows: Sequence[int]) -> str:
    named = ", ".join(map(str, rows[:ROWS_NAMED]))
    more = f" and {len(rows) - ROWS_NAMED} more" if len(rows) > ROWS_NAMED else ""
    return f"row{'s' * (len(rows) > 1)} {named}{more}"
