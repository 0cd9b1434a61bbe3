"""A report as one HTML file that needs nothing beside it: style and pictures are inside, no other host is asked."""

from collections.abc import Callable, Iterator
from html import escape
from importlib.resources import files
from typing import Literal

from spc.report.document import (
    Block,
    Counts,
    Document,
    Facts,
    Picture,
    Points,
    Section,
    Signatures,
    Table,
    Value,
    Words,
    cell_text,
)
from spc.report.svg import figure_svg

Paper = Literal["a4", "letter"]
SHORT = 16
"""Letters of a cell that is not broken into lines."""

SIZES: dict[Paper, str] = {"a4": "A4", "letter": "letter"}


def document_html(document: Document, *, paper: Paper = "a4", drawn: Callable[[str], None] | None = None) -> str:
    """Return a report as one HTML file.

    Args:
        document: the report.
        paper: it is printed on.
        drawn: called with the title of each section once it is written.
    """
    return "".join(_parts(document, paper, drawn))


def _parts(document: Document, paper: Paper, drawn: Callable[[str], None] | None) -> Iterator[str]:
    style = files("spc.report").joinpath("paper.css").read_text(encoding="utf-8")
    title = f"{document.title}: {document.site}, {document.period}"
    yield "<!DOCTYPE html>\n<html lang='en'>\n<head>\n<meta charset='utf-8'>\n"
    yield "<meta name='viewport' content='width=device-width, initial-scale=1'>\n"
    yield f"<title>{escape(title)}</title>\n"
    yield f"<meta name='dcterms.created' content='{escape(document.made_iso)}'>\n"
    yield f"<style>@page {{ size: {SIZES[paper]} }}\n{style}</style>\n</head>\n<body>\n<header class='top'>"
    yield f"<p class='site'>{escape(document.site)}</p><h1>{escape(document.title)}</h1>"
    yield f"<p class='period'>{escape(document.period)}</p><p class='made'>Made {escape(document.made)}</p></header>\n"
    yield "<main>\n"
    numbers = _numbers(document)
    for place, (section, number) in enumerate(zip(document.all_sections, numbers, strict=True)):
        yield from _section(section, place, number, opening=place == 0)
        if place == 0 and document.sections:
            yield from _contents(document, numbers)
        if drawn is not None:
            drawn(section.title)
    yield "</main>\n</body>\n</html>\n"


def _numbers(document: Document) -> list[str]:
    """Return what stands before each heading: 1, 1.1, 1.2, 2 ..., nothing before the opening page."""
    found, chapter, page = [""], 0, 0
    for section in document.sections:
        if section.level == 1:
            chapter, page = chapter + 1, 0
            found.append(str(chapter))
        else:
            page += 1
            found.append(f"{chapter}.{page}")
    return found


def _contents(document: Document, numbers: list[str]) -> Iterator[str]:
    yield "<nav class='contents' aria-label='Contents'><h2>Contents</h2><ul>"
    for place, section in enumerate(document.sections, start=1):
        yield (
            f"<li class='level-{section.level}'><a href='#part-{place}'><span class='number'>{numbers[place]}</span> "
            f"{escape(section.title)}</a></li>"
        )
    yield "</ul></nav>\n"


def _section(section: Section, place: int, number: str, *, opening: bool) -> Iterator[str]:
    page = "" if opening or not section.new_page else " new-page"
    yield f"<section id='part-{place}' class='level-{section.level}{page}'>"
    tag = "h2" if section.level == 1 else "h3"
    before = f"<span class='number'>{number}</span> " if number else ""
    yield f"<{tag}>{before}{escape(section.title)}</{tag}>"
    for block in section.blocks:
        yield from _block(block)
    yield "</section>\n"


def _block(block: Block) -> Iterator[str]:
    match block:
        case Words(text, kind):
            yield f"<p class='{kind}'>{escape(text)}</p>"
        case Points():
            yield from _points(block)
        case Facts(rows):
            yield "<table class='facts'><tbody>"
            for what, value in rows:
                yield f"<tr><th scope='row'>{escape(what)}</th><td>{escape(value)}</td></tr>"
            yield "</tbody></table>"
        case Table():
            yield from _table(block)
        case Picture():
            caption = f"<figcaption>{escape(block.caption)}</figcaption>" if block.caption else ""
            yield f"<figure class='{block.size}'>{figure_svg(block.draw(), block.title)}{caption}</figure>"
        case Counts(items):
            yield "<dl class='counts'>"
            for number, words in items:
                yield f"<div><dd>{escape(number)}</dd><dt>{escape(words)}</dt></div>"
            yield "</dl>"
        case Signatures(roles):
            yield "<div class='signatures'>"
            yield "".join(f"<p><span>{escape(role)}, name and date</span></p>" for role in roles)
            yield "</div>"


def _points(block: Points) -> Iterator[str]:
    tag = "ol" if block.numbered else "ul"
    yield f"<{tag} class='points{' columns' if block.columns else ''}'>"
    for words, under in block.items:
        yield f"<li>{escape(words)}"
        yield "".join(f"<span class='under'>{escape(each)}</span>" for each in under)
        yield "</li>"
    yield f"</{tag}>"


def _table(block: Table) -> Iterator[str]:
    numeric = [
        any(isinstance(row[place], (int, float)) for row in block.rows) and place not in block.wide
        for place in range(len(block.columns))
    ]
    yield "<table class='data'>"
    if block.caption:
        yield f"<caption>{escape(block.caption)}</caption>"
    yield "<thead><tr>"
    for place, column in enumerate(block.columns):
        yield f"<th scope='col'{_kind(place, numeric, block)}>{escape(column)}</th>"
    yield "</tr></thead><tbody>"
    for row in block.rows:
        yield "<tr>" + "".join(_cell(value, _kind(place, numeric, block)) for place, value in enumerate(row)) + "</tr>"
    yield "</tbody></table>"


def _kind(place: int, numeric: list[bool], block: Table) -> str:
    if numeric[place]:
        return " class='number'"
    return " class='wide'" if place in block.wide else ""


def _cell(value: Value, kind: str) -> str:
    text = cell_text(value)
    short = " class='short'" if not kind and len(text) <= SHORT else kind
    return f"<td{short}>{escape(text)}</td>"
