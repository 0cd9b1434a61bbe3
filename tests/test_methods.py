"""`docs/methods.md` in step with the code: every maths function named, every check value held by a test."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.check_values import CHECK_VALUES
from tests.test_architecture import LAYERS

ROOT = Path(__file__).parent.parent
PAGE = (ROOT / "docs" / "methods.md").read_text(encoding="utf-8")

MARKS = ("found", "memory", "computed")
NAME = re.compile(r"`([^`]+)`")


class Row(NamedTuple):
    """One row of a table of check values."""

    ids: tuple[str, ...]  # none where the value has no name of its own
    source: str
    mark: str
    test: str


def cells(first: str) -> Iterator[list[str]]:
    """Yield the cells of the rows of every table whose first heading is `first`."""
    for table in re.findall(rf"^\| {first} \|.*\n\|[ |-]+\n((?:\|.*\n)+)", PAGE, re.MULTILINE):
        for line in table.splitlines():
            yield [cell.strip() for cell in line.strip("|").split("|")]


def rows() -> list[Row]:
    return [
        Row(tuple(NAME.findall(value)), source, mark, NAME.findall(test)[0])
        for value, _, source, mark, test in cells("check value")
    ]


def functions_named() -> dict[str, list[str]]:
    return {NAME.findall(module)[0]: NAME.findall(functions) for module, functions, _ in cells("module")}


def told_elsewhere() -> set[str]:
    return set(NAME.findall(PAGE.partition("## Told elsewhere")[2]))


def public_functions(path: Path) -> list[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [node.name for node in tree.body if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")]


def maths() -> Iterator[Path]:
    """Yield every file of the maths whose methods are on the page."""
    for name in set(LAYERS["maths"]) - told_elsewhere():
        package = ROOT / "spc" / name
        yield from package.rglob("*.py") if package.is_dir() else [package.with_suffix(".py")]


@cache
def functions_of(file: str) -> set[str]:
    tree = ast.parse((ROOT / "tests" / file).read_text(encoding="utf-8"))
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


def test_every_public_function_of_the_maths_is_named_with_its_module():
    there = {path.relative_to(ROOT).as_posix(): public_functions(path) for path in maths()}
    there = {module: functions for module, functions in there.items() if functions}

    assert functions_named() == there


def test_what_is_told_elsewhere_is_there_and_nothing_is_told_twice():
    assert all(list((ROOT / "spc").glob(f"{name}*")) for name in told_elsewhere())
    assert not {f"spc/{name}.py" for name in told_elsewhere()} & functions_named().keys()


@pytest.mark.parametrize("tests", sorted({NAME.findall(row[2])[0] for row in cells("module")}))
def test_every_method_is_tested_where_the_page_says(tests):
    assert functions_of(tests.removeprefix("tests/"))


def test_every_check_value_stands_on_the_page_once_with_its_mark_and_its_test():
    on_page = [(name, row.mark, row.test) for row in rows() for name in row.ids]

    assert len(CHECK_VALUES) == 74
    assert sorted(on_page) == sorted((name, value.mark, value.test) for name, value in CHECK_VALUES.items())


@pytest.mark.parametrize("row", rows(), ids=lambda row: row.ids[0] if row.ids else row.test)
def test_a_check_value_has_a_source_a_mark_and_a_test_that_exists(row):
    file, _, function = row.test.partition("::")

    assert row.source
    assert row.mark in MARKS
    assert function in functions_of(file)


def test_every_section_has_more_than_one_value_from_outside_or_says_how_it_was_simulated():
    for section in re.split(r"^## ", PAGE, flags=re.MULTILINE)[1:]:
        title = section.splitlines()[0]
        if title == "Told elsewhere":
            continue
        values = re.findall(r"^\| .*\| (?:found|memory|computed) \|", section, re.MULTILINE)

        assert len(values) > 1 or "simulat" in section, title


@pytest.mark.parametrize("said", ["**Answers**", "**Supposes**", "**Sources**"])
def test_every_section_says_what_it_answers_what_it_supposes_and_where_it_comes_from(said):
    sections = len(re.findall(r"^## ", PAGE, re.MULTILINE))

    assert PAGE.count(said) == sections - 1
