"""What only tests call is no part of the program: it is public, it is used, or it goes."""

import ast
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import spc

ROOT = Path(__file__).parent.parent
PUBLIC = {spc._NAME_AT_HOME.get(name, name) for name in spc.__all__}
FOR_TESTS = {
    "limits_of_many": "limits of 100,000 streams at once, whose speed `python -m tests.bench rules` measures",
    "least_squares": "any columns, so that NIST's sets of several variables hold the solver of `polynomial`",
}


def code(*folders: str) -> Iterator[ast.Module]:
    for folder in folders:
        for path in sorted((ROOT / folder).rglob("*.py")):
            yield ast.parse(path.read_text(encoding="utf-8"))


def names_used(tree: ast.Module) -> Iterator[str]:
    nodes = list(ast.walk(tree))
    renamed = {node.asname: node.name for node in nodes if isinstance(node, ast.alias) and node.asname}
    for node in nodes:
        match node:
            case ast.Name(id=name) | ast.Attribute(attr=name):
                yield renamed.get(name, name)


def defined(*folders: str) -> Iterator[str]:
    """Yield the functions and classes that stand in modules, but for those that a decorator hands on."""
    for tree in code(*folders):
        for node in tree.body:
            if isinstance(node, ast.ClassDef) or (isinstance(node, ast.FunctionDef) and not node.decorator_list):
                yield node.name


def only_in_tests() -> set[str]:
    used = Counter(name for tree in code("spc", "dashboard", "datasets", "docs") for name in names_used(tree))
    return {name for name in defined("spc", "dashboard") if not used[name]} - PUBLIC - {"__dir__"}


def test_every_function_is_used_or_public():
    assert only_in_tests() == set(FOR_TESTS)
