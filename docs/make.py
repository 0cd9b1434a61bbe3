"""Write the pages of `docs/` that come from the program: `python docs/make.py`; tests hold them to it.

`catalogue.md` is the starter catalogue with its sources and where documents disagree, `reference.md` every public name.
"""

import inspect
import re
from collections.abc import Callable, Iterator, Mapping
from enum import Enum
from pathlib import Path

import spc
from spc.catalogue.acceptance import Mark
from spc.catalogue.check import Check
from spc.catalogue.load import starter
from spc.wording import bounds_text

HERE = Path(__file__).parent

CATALOGUE = """\
# The starter catalogue

Every built-in check with the limit and the interval that published documents ask for. **None of them is confirmed for
your site**: a limit counts as confirmed once your own catalogue file names the document and the revision that govern
your line. Where documents disagree, or a value was recalled and not read, it says so. The written procedure, the
customer's documents and the responsible Level 3 decide.

This page is written by `docs/make.py` from `spc/catalogue/starter.toml`, where the keys of a catalogue file are told.
"""

REFERENCE = """\
# Reference

Every public name of `import spc`. This page is written by `docs/make.py` from the docstrings. What is not here may
change at any time; what is here changes as DEVELOPERS.md says under Versions."""

MARKS: Mapping[Mark, str] = {
    "site": "named by the site",
    "found": "read in that document or an extract of it",
    "memory": "from memory: compare with a licensed copy",
    "none": "common practice, no source",
}
WAYS = {"low": "too low", "high": "too high", "any": "either way"}


def catalogue_page() -> str:
    """Return the starter catalogue as Markdown: limits, intervals, sources, conflicts, what to look at first."""
    checks = starter().checks.values()
    lines = [CATALOGUE, "| check | key | limit | how often |", "| --- | --- | --- | --- |"]
    for check in checks:
        cells = (f"[{check.title}](#{_anchor(check.title)})", f"`{check.key}`", _limit(check), _how_often(check))
        lines.append("| " + " | ".join(cells) + " |")
    for check in checks:
        lines += ["", *_of_check(check)]
    return "\n".join(lines) + "\n"


def _anchor(title: str) -> str:
    return re.sub(r"[^\w-]", "", title.lower().replace(" ", "-"))


def _limit(check: Check) -> str:
    return bounds_text(check.acceptance, check) or "none"


def _how_often(check: Check) -> str:
    return check.interval.words or "not set"


def _of_check(check: Check) -> Iterator[str]:
    yield f"## {check.title}"
    yield ""
    yield f"`{check.key}`, " + (f"in {check.unit_label}" if check.kind == "measured" else "judged in a word") + "."
    yield ""
    yield f"- **Limit:** {_limit(check)}. {_source(check.acceptance.document, check.acceptance.mark)}"
    if check.acceptance.conflict:
        yield f"- **Where documents disagree on the limit:** {check.acceptance.conflict}"
    yield f"- **How often:** {_how_often(check)}. {_source(check.interval.document, check.interval.mark)}"
    if check.interval.conflict:
        yield f"- **Where documents disagree on the interval:** {check.interval.conflict}"
    if check.new_segment_on:
        yield "- **New control limits after:** " + ", ".join(f"`{kind}`" for kind in check.new_segment_on) + "."
    for way, words in WAYS.items():
        if causes := check.look_first.get(way):
            yield f"- **Look first, {words}:** " + "; ".join(causes) + "."
    if check.obliges:
        yield "- **A failure obliges:** " + " ".join(check.obliges)
    if check.cautions:
        yield "- **Caution:** " + " ".join(check.cautions)


def _source(document: str | None, mark: Mark) -> str:
    said = MARKS[mark]
    return f"Source: {document} ({said})." if document else f"Source: {said}."


def reference_page() -> str:
    """Return every public name of `spc` with its signature and docstring, as Markdown."""
    lines = [REFERENCE]
    for name in sorted(spc.__all__, key=str.lower):
        lines += ["", f"## {name}", "", *_of_name(name, getattr(spc, name))]
    return "\n".join(lines) + "\n"


def _of_name(name: str, thing: object) -> Iterator[str]:
    if isinstance(thing, Mapping):
        yield "A table, by key: " + ", ".join(f"`{key}`" for key in thing) + "."
        return
    thing = inspect.unwrap(thing) if callable(thing) else thing
    if inspect.isclass(thing) or inspect.isfunction(thing):
        yield f"`{_signature(name, thing)}`"
        yield ""
        yield f"From `{thing.__module__}`."
        yield ""
        yield "```text"
        yield inspect.getdoc(thing) or ""
        yield "```"
    else:
        yield f"A value of type `{type(thing).__name__}`."


def _signature(name: str, thing: Callable[..., object]) -> str:
    if isinstance(thing, type) and issubclass(thing, Enum):
        return f"{name}(value)"  # what an enumeration takes besides differs from Python to Python
    try:
        parameters = inspect.signature(thing).parameters.values()
    except ValueError:
        return name
    return f"{name}({', '.join(_parameter(each) for each in parameters)})"


def _parameter(each: inspect.Parameter) -> str:
    stars = "*" * (each.kind == each.VAR_POSITIONAL) + "**" * (each.kind == each.VAR_KEYWORD)
    optional = "" if each.default is each.empty else "=…"
    return stars + each.name + optional


PAGES: Mapping[str, Callable[[], str]] = {"catalogue.md": catalogue_page, "reference.md": reference_page}


def main() -> None:
    """Write them."""
    for name, page in PAGES.items():
        (HERE / name).write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main()
