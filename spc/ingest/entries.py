"""What a cell of a wide sheet says: a number, a word, nothing, or why it cannot be told; a layout allows more."""

import re
from dataclasses import dataclass

from spc.catalogue.acceptance import plain_word
from spc.ingest.clean import JUDGED_WORDS, Number, Reason, parse_number, parse_word
from spc.ingest.layouts import BLANK_WORD, CheckColumn, Layout
from spc.ingest.sheet import Cell
from spc.units import convertible, spelling, units_like

FINE = 0.1
"""A check read in steps finer than this writes its numbers with decimals: 20 there may stand for 0.20."""

GROUPED_BY = {"point": re.compile(r"[<>]?\s*[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3})+"),
              "comma": re.compile(r"[<>]?\s*[+-]?[1-9][0-9]{0,2}(?:\.[0-9]{3})+")}  # fmt: skip
WHOLE = re.compile(r"([<>]?)\s*([0-9]+)")
NUMBER_THEN_TEXT = re.compile(r"([<>]?\s*[+-]?(?:[0-9][0-9.,]*|[.,][0-9]+))\s*([^\W\d_%°µμ].*|[%°µμ].*)")
FRACTION = re.compile(r"([0-9]+)\s*/\s*([0-9]+)")
SEEN_OF = re.compile(r"([0-9]+)\s*(?:/|of)\s*[0-9]+(?:\s*min\.?)?", re.IGNORECASE)
RANGE = re.compile(r"([0-9][0-9.,]*)\s*(?:-|\u2013|to|bis)\s*([0-9][0-9.,]*)")


@dataclass(frozen=True, slots=True)
class Entry:
    """A cell as a tidy log would write it."""

    value: str
    unit: str
    by: tuple[str, ...] = ()  # what the layout allowed here, in words


def read_entry(cell: Cell, column: CheckColumn, layout: Layout, delimiter: str) -> Entry | Reason | None:
    """Return the entry of a cell, None for nothing written, or the reason why it cannot be told what it says.

    Args:
        cell: the cell.
        column: what the column holds.
        layout: what else may stand in the cells.
        delimiter: tells the decimal sign as in `clean.parse_number`.
    """
    if not cell.text:
        return None
    if cell.kind == "error":
        return Reason("the formula in this cell has no result; write the value that was read")
    if cell.kind in ("date", "time", "moment"):
        return Reason("a date or a time stands where a reading should; write the value that was read")
    text, by = cell.text, tuple[str, ...]()
    stands_for = column.words.get(plain_word(text), layout.words.get(plain_word(text)))
    if stands_for is not None:
        if plain_word(stands_for) == BLANK_WORD:
            return None
        text, by = stands_for, (f"“{text}” read as {stands_for}",)
    if column.check.kind == "judged":
        known = parse_word(text, column.check) is not None
        return Entry(text, "", by) if known else _unknown_word(cell.text, text, column)
    return _measured(text, cell, column, layout, delimiter, by)


def _measured(
    text: str, cell: Cell, column: CheckColumn, layout: Layout, delimiter: str, by: tuple[str, ...]
) -> Entry | Reason:
    text, by = _without_tail(text, layout, by)
    if column.read != "number":
        found = _by_two_numbers(text, column)
        if found is not None:
            return found if isinstance(found, Reason) else Entry(found, column.unit, (*by, _two_numbers(column)))
    text, by = _without_thousands(text, cell, layout, by)
    unit = column.unit
    number = parse_number(_as_digits(text, cell, delimiter), delimiter=delimiter)
    if number is None and (apart := NUMBER_THEN_TEXT.fullmatch(text)):
        behind = _unit(apart[2], column, layout)
        if isinstance(behind, Reason):
            return behind
        (text, by), unit = _without_thousands(apart[1].strip(), cell, layout, by), behind
        number = parse_number(_as_digits(text, cell, delimiter), delimiter=delimiter)
    if isinstance(number, Reason):
        return number
    if number is None:
        return Entry(text, "", by) if parse_word(text, column.check) else _no_number(cell.text, text, column)
    return _whole_number(_as_digits(text, cell, delimiter), number, unit, column, by)


def _without_tail(text: str, layout: Layout, by: tuple[str, ...]) -> tuple[str, tuple[str, ...]]:
    """Return `text` without a word of `after_number` behind its number."""
    for word in layout.after_number:
        if plain_word(text).endswith(word) and text[: len(text) - len(word)].rstrip()[-1:].isdigit():
            return text[: len(text) - len(word)].rstrip(), (*by, f"“{word}” behind a number left out")
    return text, by


def _without_thousands(text: str, cell: Cell, layout: Layout, by: tuple[str, ...]) -> tuple[str, tuple[str, ...]]:
    """Return `text` without the sign that the layout's decimal sign makes one of thousands."""
    if cell.kind != "number" and layout.decimal and GROUPED_BY[layout.decimal].fullmatch(text):
        return re.sub("[.,]", "", text), (*by, "thousands set apart, read without that sign")
    return text, by


def _as_digits(text: str, cell: Cell, delimiter: str) -> str:
    """Return the text of a number that a workbook holds as such so that no sign in it is open to two readings."""
    return f"{text}0" if cell.kind == "number" and delimiter == ";" and re.fullmatch(r"[0-9]+\.[0-9]+", text) else text


def _by_two_numbers(text: str, column: CheckColumn) -> str | Reason | None:
    """Return the number that two numbers stand for, None where there are not two."""
    if column.read == "seen_of":
        seen = SEEN_OF.fullmatch(text)
        return seen[1] if seen else None
    parts = FRACTION.fullmatch(text)
    if not parts:
        return None
    if int(parts[2]) == 0:
        return Reason("a fraction of 0 is no number; write the number that was read")
    return f"{int(parts[1]) / int(parts[2]):.12g}"


def _two_numbers(column: CheckColumn) -> str:
    if column.read == "fraction":
        return f"{column.check.key}: fractions read as numbers"
    return f"{column.check.key}: the first of two numbers read as what was seen"


def _unit(text: str, column: CheckColumn, layout: Layout) -> str | Reason:
    """Return the unit behind a number, or why the text there is none."""
    unit = layout.units.get("".join(text.split()).casefold(), text)
    if convertible(unit, column.check.unit) or spelling(unit) == spelling(column.unit):
        return unit
    like = " or ".join(units_like(column.check.unit))
    return Reason(
        f"“{text}” behind the number is no unit of {column.check.key}; write the number alone, or say what it means: "
        f"a unit ({like}) under [units] of the layout, or after_number if it adds nothing"
    )


def _whole_number(text: str, number: Number, unit: str, column: CheckColumn, by: tuple[str, ...]) -> Entry | Reason:
    """Return a number, unless it is a whole one where 20 may stand for 0.20."""
    whole, step = WHOLE.fullmatch(text), column.check.resolution
    fine = step is not None and step < FINE and spelling(unit) == spelling(column.check.unit)
    if not whole or not fine or number.value < 2 or column.whole_numbers == "as_written":
        return Entry(text, unit, by)
    if column.whole_numbers == "hundredths":
        said = f"{column.check.key}: whole numbers read as hundredths"
        return Entry(f"{whole[1]}{number.value / 100:.12g}", unit, (*by, said))
    return Reason(
        f"{text} may be {number.value / 100:g} written in hundredths; write it with its decimals, or say in the "
        'layout whole_numbers = "hundredths" or "as_written" for this column'
    )


def _no_number(written: str, text: str, column: CheckColumn) -> Reason:
    key = column.check.key
    if plain_word(written) != plain_word(text) and plain_word(text) in map(plain_word, JUDGED_WORDS):
        return Reason(f"“{written}” stands for “{text}” in the layout, and {key} is measured; write what was read")
    if FRACTION.fullmatch(text) or SEEN_OF.fullmatch(text):
        return Reason(
            f"two numbers, and {key} is one; write the one that was read, or say in the layout for this column "
            'read = "fraction" (1/5 is 0.2) or read = "seen_of" (6/5 is 6)'
        )
    if RANGE.fullmatch(text):
        return Reason(f"a range, and {key} is one number; write the number that was read")
    return Reason(
        f"this is no number, and {key} is measured; write what was read, or say under [words] of the layout what "
        f"“{written}” stands for: a number, “not run”, or “{BLANK_WORD}”"
    )


def _unknown_word(written: str, text: str, column: CheckColumn) -> Reason:
    key = column.check.key
    if plain_word(written) != plain_word(text):
        return Reason(f"“{written}” stands for “{text}” in the layout, and {key} has no such verdict; correct it there")
    return Reason(
        f"no word that is known here, and {key} is judged; write pass or fail, or say under [words] of the layout "
        f"what “{written}” stands for"
    )
