"""A raw cell to a number or a word, or the reason why it is neither."""

import math
import re
from dataclasses import dataclass

from spc.catalogue.acceptance import plain_word
from spc.catalogue.check import Check
from spc.records import NOT_RUN, Bound

MINUS = "\N{MINUS SIGN}"

JUDGED_WORDS = ("pass", "fail", "shown", "partly", "not shown")
"""Verdicts that every judged check may be given, beside the words of its own limits."""

POINT = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
COMMA = re.compile(r"[+-]?(?:[0-9]+,[0-9]*|,[0-9]+)(?:[eE][+-]?[0-9]+)?")
GROUPS_THEN_POINT = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3})+\.[0-9]+")
GROUPS_THEN_COMMA = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:\.[0-9]{3})+,[0-9]+")
GROUP_OR_DECIMALS = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Number:
    """A number as written, with how the true value lies to it."""

    value: float
    bound: Bound = Bound.EXACT
    decimal_comma: bool = False
    grouped: bool = False  # thousands were set apart


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a cell cannot be used, and what to do."""

    text: str


def parse_number(text: str, *, delimiter: str) -> Number | Reason | None:
    """Return the number in `text`, the reason why it cannot be used, or None if it does not look like a number.

    Args:
        text: a cell: "0.21", "0,21", "<0.05", "> 5000", "1,234.5".
        delimiter: what parts the cells of the file. One comma with three digits after it ("1,200") may set thousands
            apart or decimals; only in a file parted by semicolons, whose comma is the decimal sign, it is read. There
            "1.200" is as open and is not read.
    """
    text = text.strip().replace(MINUS, "-")
    bound = Bound.EXACT
    if text[:1] in ("<", ">"):
        bound = Bound.BELOW if text[0] == "<" else Bound.ABOVE
        text = text[1:].lstrip()
    if NOT_FINITE.fullmatch(text):
        return Reason("this is no finite number; write the number that was read")
    open_sign = "." if delimiter == ";" else ","
    if open_sign in text and GROUP_OR_DECIMALS.fullmatch(text):
        whole, part = text.split(open_sign)
        return Reason(
            f"{text} may be {whole}{part} or {whole}.{part}; write {whole}{part} without a sign for thousands, "
            f"or decimals with another number of digits, such as {whole}{open_sign}{part}0"
        )
    for form, thousands, decimal in (
        (POINT, "", "."),
        (COMMA, "", ","),
        (GROUPS_THEN_POINT, ",", "."),
        (GROUPS_THEN_COMMA, ".", ","),
    ):
        if form.fullmatch(text):
            plain = text.replace(thousands, "") if thousands else text
            return _finite(plain.replace(decimal, "."), bound, decimal == ",", bool(thousands))
    return None


def _finite(plain: str, bound: Bound, decimal_comma: bool, grouped: bool) -> Number | Reason:
    value = float(plain) + 0.0  # no negative zero
    if not math.isfinite(value):
        return Reason("this is no finite number: it is too large; write the number that was read")
    if value == 0.0 and any(digit in "123456789" for digit in plain.lower().split("e")[0]):
        return Reason("this number is too small to be told from 0; write the number that was read")
    return Number(value, bound, decimal_comma, grouped)


def parse_word(text: str, check: Check) -> str | None:
    """Return the word in `text` as `check` spells it, or None if the check cannot be answered so."""
    return allowed_words(check).get(plain_word(text))


def allowed_words(check: Check) -> dict[str, str]:
    """Return the words a value of `check` may be, plain form to spelling."""
    words = {NOT_RUN: NOT_RUN}
    if check.kind == "judged":
        for limits in (*(at.acceptance for at in check.acceptance_at), check.acceptance):
            words |= {plain_word(word): word for word in (*limits.good, *limits.bad)}
        words = {plain_word(word): word for word in JUDGED_WORDS} | words
    return words


def why_no_value(check: Check, number: Number | None) -> Reason:
    """Return why a value of `check` cannot be used: a number where it is judged, a word where it is measured."""
    words = ", ".join(sorted(allowed_words(check).values(), key=lambda word: word == NOT_RUN))
    if check.kind == "judged":
        start = "a number, and" if number is not None else "no word that is known here:"
        return Reason(f"{start} {check.key} is judged; write one of {words}")
    return Reason(f"this is no number, and {check.key} is measured; write a number, <number, >number or {words}")
