import ast
import inspect
from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import ids, urls
from dashboard.urls import StreamView

TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
VIEWS = st.builds(StreamView, line=TEXT, check=TEXT, position=TEXT, show=TEXT, start=TEXT, end=TEXT, row=TEXT)


@given(VIEWS)
def test_a_view_comes_back_from_its_address(view):
    assert StreamView.from_search(view.to_search()) == view


def test_the_usual_address_is_short():
    assert StreamView("Line A", "uva_irradiance", "lamp 2").href == (
        "/stream?line=Line+A&check=uva_irradiance&position=lamp+2"
    )


@pytest.mark.parametrize("search", ["", None, "?", "?what=else", "?line=a&line=b&what=else", "line=a"])
def test_what_an_address_does_not_say_is_left_at_its_default(search):
    view = StreamView.from_search(search)

    assert view.line in ("", "a")
    assert (view.check, view.show, view.start) == ("", "last", "")


def test_the_file_of_a_view_has_the_same_address_parts():
    view = StreamView("a", "b", "c", start="2026-03-02T06:10", end="2026-03-03T06:10")

    assert view.csv_href == "/stream.csv" + view.to_search()


@pytest.mark.parametrize("module", [ids, urls], ids=lambda module: module.__name__)
def test_no_name_is_given_twice(module):
    """A second `LIMITS` would quietly take the place of the first, and both are text to the type checker."""
    assigned: list[str] = []
    for block in ast.walk(ast.parse(inspect.getsource(module))):
        if isinstance(block, ast.Module | ast.ClassDef):
            owner = getattr(block, "name", "")
            targets = [target for each in block.body if isinstance(each, ast.Assign) for target in each.targets]
            names = [name for target in targets for name in ast.walk(target) if isinstance(name, ast.Name)]
            assigned += [f"{owner}.{name.id}" for name in names]

    assert len(assigned) > 20
    assert [name for name, times in Counter(assigned).items() if times > 1] == []
