"""Columns of cells of a tidy log to clean columns: each distinct text is read once, the rest is array work."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np
from numpy.typing import NDArray

from spc.arrays import BoolArray, FloatArray, IntArray, ObjectArray
from spc.catalogue.check import Catalogue, Check
from spc.ingest.blame import TIME as TIME
from spc.ingest.blame import Blame
from spc.ingest.clean import Number, Reason, parse_number, parse_word, why_no_value
from spc.ingest.dates import Times
from spc.ingest.decisions import Decisions
from spc.ingest.table import Codes, Column, Fault, Rows, plain_name
from spc.records import NO_OFFSET, Bound, StreamKey
from spc.units import convert, convertible, quantity, rounded, same_unit, spelling, units_like

REQUIRED = (TIME, "line", "check", "value")
TEXTS = ("instrument", "technician", "shift", "note")
COLUMNS = (TIME, "line", "check", "position", "value", "reference", "unit", *TEXTS)

LARGEST = 1e30
"""No number on a line is larger, nor a reference smaller than one over it: squares and ratios of all stay finite."""


@dataclass(frozen=True, slots=True)
class Trimmed:
    """A column as its distinct texts without spaces around them, and which of them stands in each row."""

    texts: list[str]
    codes: Codes

    def column(self) -> ObjectArray:
        """Return the column, shape (n,)."""
        return np.array(self.texts, dtype=np.object_)[self.codes]


def trimmed(column: Column | None, n: int) -> Trimmed:
    """Return `column` trimmed; n empty cells for a column that the file does not have."""
    if column is None:
        return Trimmed([""], np.zeros(n, dtype=np.int32))
    texts = [text.strip() for text in column.texts]
    place = {text: at for at, text in enumerate(dict.fromkeys(texts))}
    if len(place) == len(texts):
        return Trimmed(texts, column.codes)
    merged = np.array([place[text] for text in texts], dtype=np.int32)
    return Trimmed(list(place), merged[column.codes])


@dataclass(frozen=True, slots=True)
class Cleaned:
    """The rows that can be used, in file order; every column has shape (n,)."""

    keys: tuple[StreamKey, ...]
    stream: IntArray  # index into keys
    taken_at: IntArray
    offset: NDArray[np.int16]
    row: IntArray
    value: FloatArray
    bound: NDArray[np.int8]
    word: ObjectArray
    reference: FloatArray
    text: Mapping[str, ObjectArray]  # instrument ... and the columns that the contract does not name
    faults: tuple[Fault, ...]


def clean_rows(rows: Rows, times: Times, catalogue: Catalogue, *, delimiter: str, decisions: Decisions) -> Cleaned:
    """Return the usable rows of a tidy log, and the faults of the others.

    Args:
        rows: rows of a table with the columns REQUIRED at least.
        times: its column taken_at, read.
        catalogue: the checks that may occur.
        delimiter: what parts the cells of the file; see `parse_number`.
        decisions: told what is converted or decided here.
    """
    number = rows.number
    cells = {name: trimmed(rows.columns.get(name), len(number)) for name in COLUMNS[1:]}
    blame = Blame(rows, number, decisions)
    blame.blame(np.array(sorted(times.faults), dtype=np.int64), TIME, times.faults.__getitem__)
    blame.blame(_empty(cells["line"]), "line", "the line is missing; write which line the check was made on")
    checks = list(catalogue.checks.values())
    check = _check_codes(cells["check"], checks, blame)
    value, bound, word = _values(cells["value"], check, checks, blame, delimiter)
    reference = _references(cells["reference"], check, checks, blame, delimiter)
    if delimiter == "\t":
        _open_points({"value": cells["value"], "reference": cells["reference"]}, blame, decisions.signs)
    _to_catalogue_units(cells["unit"], check, checks, value, reference, blame)
    _possible(value, bound, check, checks, blame)
    no_size = (
        (reference > LARGEST) | (reference < -LARGEST) | ((reference != 0.0) & (np.abs(reference) < 1.0 / LARGEST))
    )
    blame.blame(no_size, "reference", "no reference has this size; write what the reference meter read")
    kept = blame.settle()
    _count_times(times, number, kept, decisions)
    keys, stream = _streams(cells["line"], check, checks, cells["position"], kept)
    texts = {name: cells[name] for name in TEXTS}
    texts |= {name: trimmed(column, len(number)) for name, column in rows.columns.items() if name not in COLUMNS}
    return Cleaned(
        keys=keys,
        stream=stream,
        taken_at=times.microseconds[kept],
        offset=times.offset[kept],
        row=number[kept],
        value=value[kept],
        bound=bound[kept],
        word=word[kept],
        reference=reference[kept],
        text={name: column.column()[kept] for name, column in texts.items()},
        faults=tuple(blame.faults),
    )


def _empty(column: Trimmed) -> BoolArray:
    """Return which rows have no text."""
    return np.array([text == "" for text in column.texts], dtype=np.bool_)[column.codes]


def _check_codes(column: Trimmed, checks: Sequence[Check], blame: Blame) -> Codes:
    """Return the place in `checks` of each row's check; rows with another are blamed, and stand at 0."""
    place = {check.key: place for place, check in enumerate(checks)}
    meant = {plain_name(key): key for key in place}
    reasons = {code: _why_no_check(text, meant) for code, text in enumerate(column.texts) if text not in place}
    unknown = np.array([text not in place for text in column.texts], dtype=np.bool_)[column.codes]
    blame.blame(unknown, "check", lambda at: reasons[int(column.codes[at])])
    return np.array([place.get(text, 0) for text in column.texts], dtype=np.int32)[column.codes]


def _why_no_check(text: str, known: Mapping[str, str]) -> str:
    """Return the reason of a check that is none; `known` gives the keys by their plain name."""
    if not text:
        return f"the check is missing; write one of {', '.join(known.values())}"
    name = plain_name(text)
    meant = known.get(name) or next((known[close] for close in get_close_matches(name, known, n=1, cutoff=0.8)), None)
    one_of = f"{meant}; or one of" if meant else "one of"
    return f"no check of the catalogue; write {one_of} {', '.join(known.values())}, or add it to the site's catalogue"


def _values(
    column: Trimmed, check: Codes, checks: Sequence[Check], blame: Blame, delimiter: str
) -> tuple[FloatArray, NDArray[np.int8], ObjectArray]:
    """Return number (NaN for a word), bound and word ("" for a number) of each row, in the row's own unit."""
    parsed = [parse_number(text, delimiter=delimiter) for text in column.texts]
    numbers = [found if isinstance(found, Number) else None for found in parsed]
    value = np.array([number.value if number else np.nan for number in numbers], dtype=np.float64)[column.codes]
    bound = np.array([number.bound if number else 0 for number in numbers], dtype=np.int8)[column.codes]
    word = np.full(len(check), "", dtype=np.object_)
    judged = np.array([check.kind == "judged" for check in checks], dtype=np.bool_)[check]
    is_number = np.array([number is not None for number in numbers], dtype=np.bool_)[column.codes]
    worded = np.flatnonzero(blame.good & (judged | ~is_number))
    for pair, places in _groups(check[worded].astype(np.int64) * len(parsed) + column.codes[worded], worded):
        at, code = divmod(pair, len(parsed))
        answer = _word_or_reason(column.texts[code], parsed[code], checks[at])
        if isinstance(answer, Reason):
            blame.blame(places, "value", answer.text)
        else:
            word[places], value[places], bound[places] = answer, np.nan, Bound.EXACT
    for how in ("decimal_comma", "grouped"):
        flagged = np.array([number is not None and getattr(number, how) for number in numbers], dtype=np.bool_)
        if flagged.any():
            blame.decided((how,), np.flatnonzero(flagged[column.codes]))
    return value, bound, word


def _word_or_reason(text: str, parsed: Number | Reason | None, check: Check) -> str | Reason:
    if not text:
        return Reason("the value is missing; write what was read, or 'not run' if the line was not in operation")
    if isinstance(parsed, Reason) and check.kind == "measured":
        return parsed
    word = parse_word(text, check)
    return why_no_value(check, parsed if isinstance(parsed, Number) else None) if word is None else word


def _references(column: Trimmed, check: Codes, checks: Sequence[Check], blame: Blame, delimiter: str) -> FloatArray:
    """Return the reference of each row in the row's own unit; NaN where none is written."""
    parsed = [parse_number(text, delimiter=delimiter) if text else None for text in column.texts]
    reasons: dict[int, str] = {}
    for code, (text, found) in enumerate(zip(column.texts, parsed, strict=True)):
        if isinstance(found, Reason):
            reasons[code] = found.text
        elif text and (found is None or found.bound is not Bound.EXACT):
            reasons[code] = "a reference is one number; write the number, or nothing if there was none"
    faulty = np.array([code in reasons for code in range(len(parsed))], dtype=np.bool_)[column.codes]
    blame.blame(faulty, "reference", lambda at: reasons[int(column.codes[at])])
    numbers = [found.value if isinstance(found, Number) else np.nan for found in parsed]
    reference = np.array(numbers, dtype=np.float64)[column.codes]
    deviates = np.array([check.charted == "deviation" for check in checks], dtype=np.bool_)[check]
    blame.blame(
        deviates & (reference <= 0.0),
        "reference",
        "a deviation in percent needs a reference above 0; write what the reference meter read",
    )
    return reference


OPEN_POINT = re.compile(r"[<>]?\s*[+\-\u2212]?[1-9][0-9]{0,2}\.[0-9]{3}")
OPEN_POINT_REASON = (
    "the point may part decimals or thousands, and the numbers before do not settle it; "
    "write decimals with another number of digits, or the whole number without a sign for thousands"
)


def _open_points(columns: Mapping[str, Trimmed], blame: Blame, signs: set[str]) -> None:
    """Blame numbers such as "2.450" in cells parted by tabs, unless only points stood for decimals so far.

    A file parted by tabs has either decimal sign. What "2.450" means is settled by the numbers up to its row that can
    be read in one way alone: "0.21" or "0,21".

    Args:
        columns: number columns by name, each of n rows.
        blame: told of the rows.
        signs: decimal signs of the rows before these; those of these rows are added.
    """
    n = len(blame.good)
    first = {sign: 0 if sign in signs else n for sign in (",", ".")}
    for column in columns.values():
        for code, text in enumerate(column.texts):
            sign = _sure_sign(text)
            if sign:
                first[sign] = min(first[sign], int(np.flatnonzero(column.codes == code)[0]))
    signs |= {sign for sign, place in first.items() if place < n}
    places = np.arange(n)
    settled = (places >= first["."]) & (places < first[","])
    for name, column in columns.items():
        is_open = np.array([bool(OPEN_POINT.fullmatch(text)) for text in column.texts], dtype=np.bool_)
        blame.blame(is_open[column.codes] & ~settled, name, OPEN_POINT_REASON)


def _sure_sign(text: str) -> str:
    """Return the decimal sign that a number surely has, "" where it has none or it may part thousands."""
    found = parse_number(text, delimiter="\t")
    if not isinstance(found, Number) or OPEN_POINT.fullmatch(text):
        return ""
    return "," if found.decimal_comma else "." if "." in text else ""


def _to_catalogue_units(
    column: Trimmed,
    check: Codes,
    checks: Sequence[Check],
    value: FloatArray,
    reference: FloatArray,
    blame: Blame,
) -> None:
    """Give `value` and `reference` in the catalogue's units, in place."""
    pair = check.astype(np.int64) * len(column.texts) + column.codes
    spelled = [spelling(written) for written in column.texts]
    plain = np.zeros((len(checks), len(spelled)), dtype=np.bool_)
    for at, entry in enumerate(checks):
        ours = {spelling("")} | ({spelling(entry.unit)} if entry.kind == "measured" else set())
        plain[at] = [unit in ours for unit in spelled]
    other = np.flatnonzero(blame.good & ~plain.ravel()[pair])
    for present, places in _groups(pair[other], other):
        at, code = divmod(present, len(column.texts))
        written, entry = column.texts[code], checks[at]
        if entry.kind == "judged":
            blame.decided(("unit_beside_word", entry.key, written), places)
        elif entry.charted == "deviation" and same_unit(written, "%"):
            _from_deviation(places, entry, value, reference, blame)
        elif not convertible(written, entry.unit):
            blame.blame(places, "unit", _why_no_unit(written, entry))
        else:
            _convert(places, written, entry, value, reference, blame)


def _convert(
    places: IntArray,
    written: str,
    check: Check,
    value: FloatArray,
    reference: FloatArray,
    blame: Blame,
) -> None:
    value[places] = convert(value[places], written, check.unit)
    if check.charted == "deviation":
        _blame_other_unit(places, written, check, value, reference, blame)
    if check.acceptance.rule != "minimum_at_reference":  # there the reference is what the document's table is read at
        reference[places] = convert(reference[places], written, check.unit)
    _blame_infinite(places, check, value, reference, blame)
    blame.decided(("converted", check.key, written, check.unit), places)


def _blame_other_unit(
    places: IntArray, written: str, check: Check, value: FloatArray, reference: FloatArray, blame: Blame
) -> None:
    """Blame the rows whose reference, as it stands, fits the converted value better than the converted one does.

    The unit column speaks of both. 1.01 in kA beside 1000 would be a deviation of 99.9 %, and nobody meant it.
    """
    read, stands = np.abs(value[places]), reference[places]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        as_stands = np.abs(np.log(read / stands))
        as_converted = np.abs(np.log(read / convert(stands, written, check.unit)))
    blame.blame(
        places[np.isfinite(as_converted) & (as_stands < as_converted)],
        "reference",
        f"the unit {written} is that of value and reference, and this reference looks like {check.unit}; "
        "write both in one unit",
    )


def _from_deviation(places: IntArray, check: Check, value: FloatArray, reference: FloatArray, blame: Blame) -> None:
    """Turn deviations written in percent back into what the meter read, as in the stream's other rows."""
    blame.blame(
        places[np.isnan(reference[places])],
        "reference",
        f"a deviation in % says nothing of the limit without its reference; write the reference in {check.unit}",
    )
    used = places[blame.good[places]]
    with np.errstate(over="ignore"):
        value[used] = rounded(reference[used] * (1.0 + value[used] / 100.0))
    _blame_infinite(used, check, value, reference, blame)
    blame.decided(("converted", check.key, "% of the reference", check.unit), used)


def _blame_infinite(places: IntArray, check: Check, value: FloatArray, reference: FloatArray, blame: Blame) -> None:
    for column, numbers in (("value", value), ("reference", reference)):
        too_large = f"the number is too large to be given in {check.unit}; write the number that was read"
        blame.blame(places[np.isinf(numbers[places])], column, too_large)


def _why_no_unit(written: str, check: Check) -> str:
    measures = quantity(written)
    is_what = f"a unit of {measures}" if measures else "no unit that is known here"
    if not check.unit:
        return f"{is_what}, and {check.key} has no unit; leave the cell empty"
    return f"{is_what}; {check.key} is written in {' or '.join(units_like(check.unit))}"


def _possible(value: FloatArray, bound: NDArray[np.int8], check: Codes, checks: Sequence[Check], blame: Blame) -> None:
    """Blame the values that the quantity cannot have; a censored one, if no true value could lie there."""
    lower = np.array([_or(-LARGEST, c.possible[0]) for c in checks], dtype=np.float64)[check]
    upper = np.array([_or(LARGEST, c.possible[1]) for c in checks], dtype=np.float64)[check]
    low = (value < lower) | ((bound == Bound.BELOW) & (value <= lower))
    high = (value > upper) | ((bound == Bound.ABOVE) & (value >= upper))

    def reason(side: str, limits: FloatArray) -> Callable[[int], str]:
        def why(at: int) -> str:
            entry = checks[check[at]]
            limit = f"{limits[at]:g} {entry.unit}".rstrip()
            return f"{entry.key} cannot be {side} {limit}; correct the value or its unit"

        return why

    blame.blame(low, "value", reason("below", lower))
    blame.blame(high, "value", reason("above", upper))


def _or(largest: float, possible: float | None) -> float:
    """Return `possible`, no farther from 0 than `largest`; `largest` where there is none."""
    return largest if possible is None else min(max(possible, -LARGEST), LARGEST)


def _count_times(times: Times, row: IntArray, kept: IntArray, decisions: Decisions) -> None:
    decisions.counts["bare_time",] += int(np.count_nonzero(times.offset[kept] == NO_OFFSET))
    decisions.counts["short_year",] += int(np.count_nonzero(times.short_year[kept]))
    decisions.repeated += row[kept[times.repeated[kept]]].tolist()


def _streams(
    line: Trimmed, check: Codes, checks: Sequence[Check], position: Trimmed, kept: IntArray
) -> tuple[tuple[StreamKey, ...], IntArray]:
    """Return the streams of the rows `kept`, and the place of each row's among them."""
    n_positions = len(position.texts)
    code = (line.codes[kept].astype(np.int64) * len(checks) + check[kept]) * n_positions + position.codes[kept]
    present, stream = _ranks(code, len(line.texts) * len(checks) * n_positions)
    keys = []
    for each in present.tolist():
        rest, at_position = divmod(each, n_positions)
        at_line, at_check = divmod(rest, len(checks))
        keys.append(StreamKey(line.texts[at_line], checks[at_check].key, position.texts[at_position]))
    return tuple(keys), stream


def _ranks(code: IntArray, size: int) -> tuple[IntArray, IntArray]:
    """Return the codes that occur, ascending, and the place of each code among them; all are below `size`."""
    if size > 10_000_000:
        present, rank = np.unique(code, return_inverse=True)
        return present, rank
    present = np.flatnonzero(np.bincount(code, minlength=1))
    place = np.zeros(max(size, 1), dtype=np.int64)
    place[present] = np.arange(len(present))
    return present, place[code]


def _groups(code: IntArray, places: IntArray) -> list[tuple[int, IntArray]]:
    """Return each code that occurs with those of `places` that have it; both arrays of one length."""
    if len(code) == 0:
        return []
    order = np.argsort(code, kind="stable")
    ranked = code[order]
    starts = np.flatnonzero(np.r_[True, ranked[1:] != ranked[:-1]])
    return list(zip(ranked[starts].tolist(), np.split(places[order], starts[1:]), strict=True))
