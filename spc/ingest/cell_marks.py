"""What a workbook says of single cells beside their values: shown as percent, or a formula that failed.

A cell that shows 30% holds 0.3, and a failed formula holds no value: read by value alone, both would be misread.
Source of the format: ECMA-376 Part 1, 18.3.1.4 (cells), 18.8.30 (number formats), 18.8.10 (cell formats).
"""

import re
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from posixpath import join, normpath
from xml.etree import ElementTree

from spc.ingest.sheet import place_of

LARGEST_UNPACKED = 400_000_000  # bytes of all parts of a workbook together, unpacked
HIGHEST_RATIO = 250  # unpacked to packed, of a part that is larger than any sheet written by hand
LARGE_PART = 20_000_000  # bytes from which on that ratio counts
MOST_CELLS = 10_000_000  # in the rectangle that a tab spans
MOST_MERGED = 2_000
HEAD = 4_000  # bytes of a part in which a declaration has to stand
BUILT_IN_PERCENT = frozenset({9, 10})  # 0% and 0.00%

Place = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Marks:
    """Cells of one tab, by place counted from 0."""

    percent: frozenset[Place] = frozenset()
    errors: Mapping[Place, str] = field(default_factory=dict)  # to what the cell shows: "#DIV/0!"


def marks_of(archive: zipfile.ZipFile) -> dict[str, Marks]:
    """Return the marks of every tab of a workbook by its name.

    Raises:
        ValueError: it is larger, or spans more cells, than any log.
        KeyError, ElementTree.ParseError: the workbook is damaged.
    """
    refuse_bombs(archive)
    styles = _percent_styles(archive)
    return {name: _marks(archive, part, styles) for name, part in _parts(archive)}


def refuse_bombs(archive: zipfile.ZipFile) -> None:
    """Refuse a workbook that is small and unpacks to more than any log; nothing is unpacked to see that.

    What an archive says of its sizes is held to by whoever reads it: a part that is longer does not fit its checksum.

    Raises:
        ValueError: so.
    """
    parts = archive.infolist()
    if sum(part.file_size for part in parts) > LARGEST_UNPACKED:
        raise ValueError(f"it unpacks to more than {LARGEST_UNPACKED:,} bytes")
    for part in parts:
        if part.file_size > LARGE_PART and part.file_size > HIGHEST_RATIO * max(part.compress_size, 1):
            raise ValueError(f"{part.filename} unpacks to more than {HIGHEST_RATIO} times its size")
        if part.filename.endswith((".xml", ".rels")):
            with archive.open(part) as file:
                if _declares(file.read(HEAD)):
                    raise ValueError(f"{part.filename} declares entities, which no spreadsheet program writes")


def _declares(head: bytes) -> bool:
    """Return whether a part of XML starts with declarations of its own, in whatever encoding."""
    return b"<!" in head.replace(b"\0", b"").replace(b"<!--", b"")


def _parts(archive: zipfile.ZipFile) -> Iterator[tuple[str, str]]:
    """Yield the name of each tab and the part of the workbook it is in."""
    links = ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))
    target = {link.get("Id"): link.get("Target", "") for link in links}
    for element in ElementTree.fromstring(archive.read("xl/workbook.xml")).iter():
        if _name(element) == "sheet":
            link = next((value for key, value in element.items() if key.endswith("}id")), "")
            part = target.get(link, "")
            path = part.lstrip("/") if part.startswith("/") else normpath(join("xl", part))
            if "worksheets/" in path:
                yield element.get("name", ""), path


def _percent_styles(archive: zipfile.ZipFile) -> frozenset[int]:
    """Return which cell formats show a number as percent."""
    if "xl/styles.xml" not in archive.namelist():
        return frozenset()
    root = ElementTree.fromstring(archive.read("xl/styles.xml"))
    percent = set(BUILT_IN_PERCENT)
    for element in root.iter():
        if _name(element) == "numFmt":
            shown = re.sub(r'"[^"]*"|\\.', "", element.get("formatCode", ""))
            (percent.add if "%" in shown else percent.discard)(int(element.get("numFmtId", "-1")))
    formats = [each for element in root if _name(element) == "cellXfs" for each in element]
    return frozenset(place for place, each in enumerate(formats) if int(each.get("numFmtId", "0")) in percent)


def _marks(archive: zipfile.ZipFile, part: str, styles: frozenset[int]) -> Marks:
    percent: set[Place] = set()
    errors: dict[Place, str] = {}
    span = _Span()
    with archive.open(part) as file:
        for _, element in ElementTree.iterparse(file):
            if _name(element) == "mergeCell":
                span.merge()
            elif _name(element) == "c":
                place = _place(element.get("r", ""))
                span.take(place)
                kind, children = element.get("t", "n"), {_name(child): child.text or "" for child in element}
                if place is None:
                    continue
                if kind == "e":
                    errors[place] = children.get("v", "") or "#ERROR"
                elif "f" in children and not children.get("v") and kind != "str":
                    errors[place] = "formula without its result"
                elif int(element.get("s", "0")) in styles and kind == "n" and "v" in children:
                    percent.add(place)
            elif _name(element) == "row":
                span.take((int(element.get("r", "1")) - 1, 0))
                element.clear()
    return Marks(frozenset(percent), errors)


class _Span:
    """The rectangle that the cells of a tab span: whoever reads it makes room for all of it, filled or not."""

    def __init__(self) -> None:
        self.bottom = self.right = self.merged = 0

    def take(self, place: Place | None) -> None:
        """Take a cell in; one that does not say where it stands, stands beside the one before."""
        row, column = place or (self.bottom, self.right + 1)
        self.bottom, self.right = max(self.bottom, row), max(self.right, column)
        if (self.bottom + 1) * (self.right + 1) > MOST_CELLS:
            raise ValueError(f"a tab spans more than {MOST_CELLS:,} cells; delete what lies far from the log")

    def merge(self) -> None:
        """Count a range of merged cells."""
        self.merged += 1
        if self.merged > MOST_MERGED:
            raise ValueError(f"a tab has more than {MOST_MERGED:,} ranges of merged cells")


def _name(element: ElementTree.Element) -> str:
    return str(element.tag).rpartition("}")[2]


def _place(reference: str) -> Place | None:
    found = re.fullmatch("([A-Z]{1,3})([0-9]+)", reference)
    if not found:
        return None
    return int(found[2]) - 1, place_of(found[1]) or 0
