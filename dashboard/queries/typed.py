"""What a person types into a field, understood: a reading or a number, in the formats of the site."""

import math

from spc.catalogue.check import Check
from spc.errors import InputError
from spc.formats import Formats
from spc.ingest.clean import Number, Reason, allowed_words, parse_number, parse_word
from spc.records import Bound


def typed_number(text: str, formats: Formats) -> Number | Reason | None:
    """Return the number in a field, the reason why it cannot be used, or None if it does not look like one.

    Raises:
        InputError: it can be read in two ways.
    """
    return parse_number(formats.read(text), delimiter=",")  # by now a point stands before the decimals


def typed_reading(text: str, check: Check, formats: Formats) -> tuple[float, Bound, str]:
    """Return value, bound and word of a reading of `check` in a field that is not empty.

    Raises:
        InputError: it is nothing that the check can say, or can be read in two ways.
    """
    word = parse_word(text, check)
    if word is not None:
        return math.nan, Bound.EXACT, word
    found = typed_number(text, formats)
    if isinstance(found, Reason):
        raise InputError(f"“{text}”: {found.text}")
    if not isinstance(found, Number) or check.kind == "judged":
        raise InputError(f"“{text}” is nothing that {check.title} can say; write {_sayings(check)}.")
    return found.value, found.bound, ""


def _sayings(check: Check) -> str:
    """Return what a reading of `check` may say, to be told to whoever wrote something else."""
    words = list(dict.fromkeys(allowed_words(check).values()))
    return " or ".join(words if check.kind == "judged" else ["a number", *words])
