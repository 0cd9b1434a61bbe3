"""What `import spc` offers: few names, each documented, none that costs before it is used."""

import ast
import dataclasses
import inspect
from pathlib import Path

import pytest

import spc

SOURCE = Path(spc.__file__)


def test_the_public_names_are_sorted_and_none_stands_twice():
    names = spc.__all__

    assert names == sorted(set(names), key=lambda name: (not name.isupper(), name[0].islower(), name))


@pytest.mark.parametrize("name", spc.__all__)
def test_a_public_name_can_be_imported_and_is_documented(name):
    value = getattr(spc, name)

    if inspect.isclass(value) or inspect.isfunction(value):
        assert value.__module__.startswith("spc.")
        assert inspect.getdoc(value)
        assert not str(inspect.getdoc(value)).startswith(f"{name}("), "a dataclass without words of its own"
    assert name in dir(spc)


@pytest.mark.parametrize("name", [name for name in spc.__all__ if dataclasses.is_dataclass(getattr(spc, name))])
def test_a_public_record_is_frozen_and_holds_nothing_but_its_fields(name):
    record = getattr(spc, name)

    assert record.__dataclass_params__.frozen
    assert "__slots__" in vars(record)


def test_type_checkers_see_the_same_names_from_the_same_places():
    tree = ast.parse(SOURCE.read_text(encoding="utf-8"))
    block = next(node for node in tree.body if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING")

    seen = {
        alias.asname or alias.name: (node.module, alias.name)
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }

    assert sorted(seen) == sorted(spc.__all__)
    assert seen == {name: (home, spc._NAME_AT_HOME.get(name, name)) for name, home in spc._HOME.items()}


def test_an_unknown_name_is_refused_like_any_other():
    with pytest.raises(AttributeError, match="has no attribute 'nonsense'"):
        spc.nonsense  # type: ignore[attr-defined]  # noqa: B018 - the refusal is what is looked for
