"""A layout proposed from the headers of a sheet, to be read and edited: what the sheet does not say is left open."""

import json
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from spc.catalogue.acceptance import plain_word
from spc.catalogue.check import Catalogue, Check
from spc.errors import LogError
from spc.ingest.clean import parse_number, parse_word
from spc.ingest.fit import WORDS_BETWEEN
from spc.ingest.headers import HeaderMeaning, header_meaning
from spc.ingest.layouts import BLANK_WORD
from spc.ingest.moments import SERIAL
from spc.ingest.sheet import Sheet, letters
from spc.records import NOT_RUN

TOP = 40  # rows among which the header is looked for
HEADER_ROWS = 3  # rows that a header may have at most
WORDS_SHOWN = 20

NUMERIC_DATE = re.compile(r"([0-9]{1,2})[./-]([0-9]{1,2})[./-]([0-9]{4}|[0-9]{2})(?![0-9])")
DATE_LIKE = re.compile(
    r"(?:[^\W\d_]{2,}\.?,?\s+)?(?:[0-9]{4}-[0-9]{2}-[0-9]{2}|[0-9]{1,2}[./-][0-9]{1,2}[./-](?:[0-9]{4}|[0-9]{2}))"
    r"|[^\W\d_]{2,}\.?,?\s+[0-9]{1,2}\.?\s+[^\W\d_]{3,}|[0-9]{1,2}\.?[\s-][^\W\d_]{3,}"
)
HABITS = {
    "ok": "pass", "p": "pass", "✓": "pass", "i.o.": "pass", "f": "fail", "n.i.o.": "fail",
    "n/a": BLANK_WORD, "na": BLANK_WORD, "-": BLANK_WORD, "--": BLANK_WORD, "\u2013": BLANK_WORD,
    "down": NOT_RUN, "no prod": NOT_RUN, "no production": NOT_RUN, "holiday": NOT_RUN, "idle": NOT_RUN,
    "feiertag": NOT_RUN,
}  # fmt: skip
"""What such words mean where they are used so; proposed as comments alone. Common practice, no source.

Yes and no are not among them: under "water break", yes may say that the film held or that it broke.
"""


@dataclass(frozen=True, slots=True)
class PlacedHeader:
    """A header and the use proposed for its column."""

    column: str
    header: str
    use: str  # a check, or a key of the layout


@dataclass(frozen=True, slots=True)
class Proposal:
    """A layout in TOML, with what was placed in it and what could not be."""

    text: str
    placed: tuple[PlacedHeader, ...]
    unplaced: tuple[PlacedHeader, ...]  # their use is ""
    words: tuple[str, ...]  # texts in the columns of checks that are neither numbers nor verdicts


@dataclass(frozen=True, slots=True)
class _Found:
    """Where the header and the data of a sheet stand, by place."""

    sheet: Sheet
    header: range
    date: int | None
    headers: dict[int, str]  # as the layout's [headers] compares them
    meanings: dict[int, HeaderMeaning]

    @property
    def body(self) -> range:
        return range(self.header.stop, len(self.sheet.rows))

    @property
    def placed(self) -> int:
        return sum(bool(meaning.check or meaning.role) for meaning in self.meanings.values())


def propose_layout(sheets: Sequence[Sheet], catalogue: Catalogue) -> Proposal:
    """Return a layout for the sheets of one file.

    Raises:
        LogError: no row looks like a header.
    """
    found = [each for sheet in sheets if (each := _find(sheet, catalogue)) is not None]
    best = max(found, key=lambda each: each.placed, default=None)
    if best is None or best.placed == 0:
        raise LogError(
            f"{sheets[0].file}: no row looks like the header of a check log; name date, shift and checks above "
            "their columns"
        )
    alike = [each.sheet.tab for each in found if each.headers == best.headers and each.header == best.header]
    others = [sheet.tab for sheet in sheets if sheet.tab not in alike]
    roles, unplaced = _roles(best)
    words = _words(best, catalogue)
    lines = [
        f"# Proposed for {sheets[0].file} from its headers. Read every line and correct it;",
        "# what is left open has to be given. All keys are described in the README.",
        *_open_headers(best, unplaced),
        "",
        f"header = {json.dumps([best.sheet.numbers[at] for at in best.header])}",
        f"first_row = {_first_row(best)}",
        *([f"sheets = {_toml(alike)}"] if best.sheet.tab and len(sheets) > 1 else []),
        *([f"# tabs left out, whose headers are others: {', '.join(others)}"] if others else []),
        *_keys(best, roles),
        *_headers(best),
        *_word_lines(words),
        *_columns(best, roles, unplaced, catalogue),
    ]
    placed = [
        PlacedHeader(letters(at), best.headers[at], roles.get(at) or best.meanings[at].check)
        for at in best.headers
        if at not in unplaced
    ]
    return Proposal(
        "\n".join(lines) + "\n",
        tuple(placed),
        tuple(PlacedHeader(letters(at), best.headers[at], "") for at in unplaced),
        tuple(words),
    )


def _find(sheet: Sheet, catalogue: Catalogue) -> _Found | None:
    """Return where header and data of a sheet stand, or None if nothing looks like them."""
    date = _date_column(sheet)
    first = _first_date(sheet, date) if date is not None else None
    checks = dict(catalogue.checks)
    if first is None:
        weights = [sum(bool(_meaning(cell.text, checks)) for cell in row) for row in sheet.rows[:TOP]]
        if not weights or max(weights) == 0:
            return None
        first = weights.index(max(weights)) + 1
    header = _header_rows(sheet, first, checks)
    if not header:
        return None
    headers, meanings = {}, {}
    for at in range(sheet.width):
        texts = [sheet.spread(row, at).text for row in header]
        written = WORDS_BETWEEN.join(dict.fromkeys(text for text in texts if text))
        if written:
            headers[at] = written
            own = header_meaning(" ".join(text for text in texts if text), checks)
            above = header_meaning(" ".join(_filled(sheet, header, at)), checks)
            meanings[at] = own if own.check or own.role else above
    return _Found(sheet, header, date, headers, meanings)


def _meaning(text: str, checks: dict[str, Check]) -> bool:
    meaning = header_meaning(text, checks)
    return bool(meaning.check or meaning.role)


def _date_column(sheet: Sheet) -> int | None:
    """Return the column with most dates; None where there are none."""
    counts = Counter(
        at
        for row in sheet.rows
        for at, cell in enumerate(row)
        if cell.kind in ("date", "moment") or DATE_LIKE.match(cell.text) or SERIAL.fullmatch(cell.text)
    )
    return max(counts, key=lambda at: (counts[at], -at)) if counts else None


def _first_date(sheet: Sheet, date: int) -> int | None:
    for row in range(1, len(sheet.rows)):
        cell = sheet.cell(row, date)
        dated = cell.kind in ("date", "moment") or DATE_LIKE.match(cell.text) or SERIAL.fullmatch(cell.text)
        if dated and sum(bool(other.text) for other in sheet.rows[row]) > 1:
            return row
    return None


def _header_rows(sheet: Sheet, first: int, checks: dict[str, Check]) -> range:
    """Return the rows of the header above the first row of data: those next to it that name more than one column."""
    stop = first
    while stop > 0 and sheet.is_blank(stop - 1):
        stop -= 1
    start = stop
    while start > 0 and stop - start < HEADER_ROWS and _names(sheet, start - 1) > (1 if stop > start else 0):
        start -= 1
    most = max((_names(sheet, row) for row in range(start, stop)), default=0)
    while stop - start > 1 and _names(sheet, start) * 3 < most and not _names_checks(sheet, start, checks):
        start += 1  # a title
    return range(start, stop)


def _names_checks(sheet: Sheet, row: int, checks: dict[str, Check]) -> bool:
    return any(header_meaning(cell.text, checks).check for cell in sheet.rows[row])


def _names(sheet: Sheet, row: int) -> int:
    return len({cell.text for cell in sheet.rows[row] if cell.text})


def _filled(sheet: Sheet, header: range, at: int) -> list[str]:
    """Return the texts above a column; an upper one stands for the columns to its right that have none."""
    texts = []
    for row in header:
        text = sheet.spread(row, at).text
        if not text and row != header[-1] and sheet.cell(header[-1], at).text:
            before = [sheet.cell(row, left).text for left in range(at)]
            text = next((each for each in reversed(before) if each), "")
        if text and text not in texts:
            texts.append(text)
    return texts


def _roles(found: _Found) -> tuple[dict[int, str], list[int]]:
    """Return the key of the layout for each column that has one, and the columns that could not be placed."""
    roles: dict[int, str] = {}
    unplaced = []
    if found.date is not None and not found.meanings.get(found.date, HeaderMeaning()).check:
        roles[found.date] = "date"
    for at, meaning in found.meanings.items():
        if at in roles or meaning.check:
            continue
        taken = meaning.role in roles.values() and meaning.role not in ("remarks", "reference")
        follows_ammeter = any(found.meanings.get(near, HeaderMeaning()).check == "ammeter" for near in (at - 1, at - 2))
        if not meaning.role or taken or (meaning.role == "reference" and not follows_ammeter):
            unplaced.append(at)
        else:
            roles[at] = meaning.role
    return roles, unplaced


def _open_headers(found: _Found, unplaced: Sequence[int]) -> list[str]:
    if not unplaced:
        return []
    return [
        "#",
        "# Not placed; give each that is a check a [[column]], and name the others under ignore:",
        *(f"#   {letters(at)}: {_one_line(found.headers[at])}" for at in unplaced),
    ]


def _first_row(found: _Found) -> int:
    first = next((row for row in found.body if not found.sheet.is_blank(row)), found.header.stop)
    return found.sheet.numbers[first] if first < len(found.sheet.rows) else found.sheet.numbers[-1] + 1


def _keys(found: _Found, roles: dict[int, str]) -> list[str]:
    by_role = {role: letters(at) for at, role in roles.items()}
    lines = []
    if "line_column" in by_role:
        lines.append(f'line_column = "{by_role["line_column"]}"')
    else:
        lines.append('line = ""                      # give the line that the sheet is of')
    lines += [f'{key} = "{by_role[key]}"' for key in ("date", "time", "shift", "technician") if key in by_role]
    if "date" not in by_role:
        lines.append('# date = "A"                   # no column of dates was found')
    remarks = [letters(at) for at, role in roles.items() if role == "remarks"]
    lines += [f"remarks = {_toml(remarks)}"] if remarks else []
    return [*lines, *_ignored(found, roles), *_dates(found), *_hours(found, roles)]


def _ignored(found: _Found, roles: dict[int, str]) -> list[str]:
    unplaced = [at for at, meaning in found.meanings.items() if at not in roles and not meaning.check]
    return [f"# ignore = {_toml([letters(at) for at in unplaced])}"] if unplaced else []


def _dates(found: _Found) -> list[str]:
    """Return what the sheet itself says of the form of its dates, and nothing that it leaves open."""
    if found.date is None:
        return []
    texts = [cell for row in found.body if (cell := found.sheet.cell(row, found.date)).text]
    if any(SERIAL.fullmatch(cell.text) for cell in texts):
        return ['# dates = "serial_1900"         # day numbers of a spreadsheet; serial_1904 where it counts from 1904']
    numeric = [(m, row) for cell, row in zip(texts, found.body, strict=False)
               if cell.kind == "text" and (m := NUMERIC_DATE.search(cell.text))]  # fmt: skip
    if numeric:
        day_first = next((m[0] for m, _ in numeric if int(m[1]) > 12), "")
        month_first = next((m[0] for m, _ in numeric if int(m[2]) > 12), "")
        if bool(day_first) == bool(month_first):
            return ['# dates = "dmy"                 # or "mdy": no date of the sheet tells which']
        form, date = ("dmy", day_first) if day_first else ("mdy", month_first)
        return [f'dates = "{form}"                  # {date} can be read in this order alone']
    if all(cell.kind in ("date", "moment") or re.match("[0-9]{4}-", cell.text) for cell in texts):
        return []
    return ['# dates = "%a %d %b"            # a strptime pattern of the dates', "# year = 2025"]


def _hours(found: _Found, roles: dict[int, str]) -> list[str]:
    """Return lines to fill in for the hours of the shifts, where rows have no time of their own."""
    shift = next((at for at, role in roles.items() if role == "shift"), None)
    timed = "time" in roles.values() or (
        found.date is not None
        and any(re.search("[0-9]:[0-9]{2}", found.sheet.cell(row, found.date).text) for row in found.body)
    )
    if shift is None:
        return [] if timed else ['# time_of_day = "07:00"         # rows have no time; this would stand for all']
    words = Counter(found.sheet.spread(row, shift).text for row in found.body)
    return [
        '# night = "start"               # a shift over midnight: its rows bear the date of its start, end, or clock',
        "",
        "[shifts]                       # give the hours of each; a row without a time is taken at their start",
        *(f'# {_toml(word)} = {{ start = "", end = "" }}' for word in words if word)
    ]  # fmt: skip


def _headers(found: _Found) -> list[str]:
    return ["", "[headers]", *(f"{letters(at)} = {_toml(text)}" for at, text in found.headers.items())]


def _words(found: _Found, catalogue: Catalogue) -> list[str]:
    """Return the texts in the columns of checks that are neither numbers nor verdicts, the commonest first."""
    counts: Counter[str] = Counter()
    for at, meaning in found.meanings.items():
        check = catalogue.checks.get(meaning.check)
        for row in found.body:
            text = found.sheet.cell(row, at).text
            if check is None or not text or parse_number(text, delimiter=","):
                continue
            if parse_word(text, check) is None and not text[:1].isdigit():
                counts[text] += 1
    return [word for word, _ in counts.most_common()]


def _word_lines(words: Sequence[str]) -> list[str]:
    if not words:
        return []
    said = ["", "[words]                        # say what each stands for, and take away the sign before it"]
    once = {plain_word(word): word for word in reversed(words)}
    for plain, word in list(reversed(once.items()))[:WORDS_SHOWN]:
        said.append(f"# {_toml(word)} = {_toml(HABITS.get(plain, ''))}")
    return said


def _columns(found: _Found, roles: dict[int, str], unplaced: Sequence[int], catalogue: Catalogue) -> list[str]:
    lines: list[str] = []
    used: set[tuple[str, str]] = set()
    for at, meaning in found.meanings.items():
        if not meaning.check or at in roles or at in unplaced:
            continue
        check = catalogue.checks[meaning.check]
        position = meaning.position
        if (check.key, position) in used:
            position = f"{position} {found.headers[at]}".strip()
        used.add((check.key, position))
        lines += ["", f"[[column]]                     # {_one_line(found.headers[at])}", f'at = "{letters(at)}"']
        lines += [f'check = "{check.key}"', f"position = {_toml(position)}" if position else '# position = ""']
        if check.kind == "measured":
            lines.append(_unit_line(meaning))
        if meaning.reference is not None:
            lines.append(f"reference = {meaning.reference}")
        elif check.key == "ammeter":
            near = next((place for place in (at + 1, at + 2) if roles.get(place) == "reference"), None)
            lines.append(f'reference_column = "{letters(near)}"' if near else '# reference_column = ""')
        if meaning.limits:
            lines.append(
                f"# the header says {_one_line(meaning.limits)}: limits belong in the catalogue, with their document; "
                "none is taken from here"
            )
    return lines


def _unit_line(meaning: HeaderMeaning) -> str:
    if meaning.unit_assumed:
        return f'unit = "{meaning.unit}"             # the header says {_one_line(meaning.unit_assumed)}'
    if meaning.unit:
        return f"unit = {_toml(meaning.unit)}"
    return 'unit = ""                      # the header does not say; write it'


def _toml(value: object) -> str:
    """Return a text, or a list of texts, as TOML writes it: JSON writes these alike."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _one_line(text: str) -> str:
    return "".join(letter if letter.isprintable() else " " for letter in text)


def proposal_json(proposal: Proposal) -> dict[str, object]:
    """Return a proposal as JSON-ready values."""

    def listed(headers: Sequence[PlacedHeader]) -> list[dict[str, str]]:
        return [{"column": each.column, "header": each.header, "use": each.use} for each in headers]

    return {
        "layout": proposal.text,
        "placed": listed(proposal.placed),
        "unplaced": listed(proposal.unplaced),
        "words": list(proposal.words),
    }
