"""What was converted or decided while reading a file, in sentences."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import tzinfo

from spc.ingest.decoder import Decoder
from spc.ingest.table import DELIMITERS, Header

ENCODINGS = {"utf-8": "UTF-8", "utf-16-le": "UTF-16", "utf-16-be": "UTF-16"}
WRITTEN = {"decimal_comma": "with a decimal comma", "grouped": "with thousands set apart, read without that sign"}
ROWS_NAMED = 5


@dataclass(slots=True)
class Decisions:
    """Counts over all of a file."""

    converted: Counter[tuple[str, str, str]] = field(default_factory=Counter)  # check, from, to
    unit_beside_word: Counter[tuple[str, str]] = field(default_factory=Counter)  # check, unit
    written: Counter[str] = field(default_factory=Counter)  # decimal_comma, grouped
    bare_times: int = 0
    short_years: int = 0
    repeated: list[int] = field(default_factory=list)  # rows


def notes(
    decoder: Decoder, header: Header | None, zone: tzinfo, decisions: Decisions, known: Sequence[str]
) -> tuple[str, ...]:
    """Return a sentence for everything that was converted or decided; the first says how the file is written."""
    if header is None:
        return ()
    said = [f"read as {ENCODINGS[decoder.encoding]}, cells parted by {DELIMITERS[header.delimiter]}"]
    if decoder.windows_lines:
        said.append(f"{_lines(decoder.windows_lines)} not UTF-8 and read as Windows-1252")
    if decoder.damaged_lines:
        said.append(f"{_lines(decoder.damaged_lines)} damaged: what cannot be read there is shown as \ufffd")
    other = [name for name in header.names if name not in known]
    if other:
        said.append(f"kept with the rows, not used: {', '.join(other)}")
    if decisions.bare_times:
        said.append(f"{_times(decisions.bare_times)} without an offset, read in {zone}")
    if decisions.repeated:
        said.append(
            f"{_times(len(decisions.repeated))} in an hour that {zone} repeats when the clocks go back, "
            f"read as its first pass: {_rows(decisions.repeated)}"
        )
    if decisions.short_years:
        said.append(f"{_times(decisions.short_years)} with a two-digit year, read as 1969 to 2068")
    for how, words in WRITTEN.items():
        if decisions.written[how]:
            said.append(f"{_readings(decisions.written[how])} {words}")
    for (check, written, unit), count in sorted(decisions.converted.items()):
        if count:
            said.append(f"{check}: {_readings(count)} converted from {written} to {unit}")
    for (check, written), count in sorted(decisions.unit_beside_word.items()):
        said.append(f"{check}: the unit {written} beside {_readings(count)} in words was not used")
    return tuple(said)


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
