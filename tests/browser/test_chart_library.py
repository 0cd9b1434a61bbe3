"""The part of the chart library that is served draws every figure as the whole of it does."""

import gzip
import json
import re
from importlib.resources import files

from playwright.sync_api import Page

from dashboard.delivery import BUNDLE
from spc.figures import Screen
from tests.made_results import figures

DRAW = """async (made) => {
    const place = document.createElement("div");
    document.body.replaceChildren(place);
    await Plotly.newPlot(place, made.data, made.layout, { staticPlot: true });
    return [...place.querySelectorAll("svg")].map((one) => one.outerHTML).join("");
}"""


def drawn(page: Page, library: str, figures_json: dict[str, str]) -> dict[str, str]:
    """Return each figure as drawn, the names that are made anew each time left out."""
    page.goto("about:blank")
    page.evaluate(library)
    pictures = {name: str(page.evaluate(DRAW, json.loads(made))) for name, made in figures_json.items()}
    own_ids = re.compile(r"(defs|clip|legend|topdefs|trace|g)-?[0-9a-f]{6}")
    return {name: own_ids.sub(r"\1", each) for name, each in pictures.items()}


def test_every_figure_is_drawn_the_same(browser):
    made = {name: make(Screen()).to_json() for name, make in figures().items()}
    page = browser.new_page(viewport={"width": 1000, "height": 700})
    whole = drawn(page, (files("plotly") / "package_data/plotly.min.js").read_text(encoding="utf-8"), made)
    part = drawn(page, gzip.decompress(BUNDLE.read_bytes()).decode("utf-8"), made)
    page.close()

    assert len(made) > 20
    assert [name for name in made if whole[name] != part[name]] == []
    assert all("<path" in picture for picture in part.values())
