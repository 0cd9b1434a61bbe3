"""A line lead of a site that writes decimal commas and reads its lamps in W/m²."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.entry_steps import choose, keep, last, opener, told
from tests.browser.made_site import Site, serving
from tests.browser.screens import TABLET
from tests.dashboard.made_entry import CATALOGUE, stored_queries, stored_settings
from tests.dashboard.made_line import LAMP

SITE = '[site]\nunits = "SI"\ndecimal = "comma"\ndates = "dd.mm.yyyy"\n'


@pytest.fixture
def comma(tmp_path: Path) -> Iterator[Site]:
    settings = stored_settings(tmp_path)
    assert settings.catalogue is not None
    settings.catalogue.write_text(SITE + CATALOGUE, encoding="utf-8")
    with serving(stored_queries(settings)) as running:
        yield running


def test_a_lamp_is_written_down_with_a_comma_in_watts_a_square_metre(comma: Site, open_page: Callable[..., Page]):
    page = opener(comma, open_page)(TABLET)
    choose(page, "UV-A irradiance")
    expect(page.locator("#entry-value-unit")).to_have_text("W/m²")
    page.locator("#entry-value").fill("1.234")
    page.get_by_role("button", name="Keep", exact=True).tap()
    expect(page.get_by_text("can be read in two ways; write 1234 or 1,234")).to_be_visible()
    page.get_by_role("button", name="clear", exact=True).tap()
    for name in ("2", "4"):
        page.get_by_role("button", name=name, exact=True).tap()
    page.get_by_role("button", name="decimal comma").tap()
    page.get_by_role("button", name="5", exact=True).tap()
    expect(page.locator("#entry-value")).to_have_value("24,5")
    keep(page)

    expect(told(page)).to_contain_text("24,50 W/m²")
    expect(page.locator(".clock")).to_contain_text("SI units, decimal comma, dates dd.mm.yyyy")
    assert last(comma, LAMP) == 2450.0


def test_a_number_typed_before_the_site_changed_its_units_is_asked_for_again(
    comma: Site, open_page: Callable[..., Page]
):
    page = opener(comma, open_page)(TABLET)
    choose(page, "UV-A irradiance")
    page.locator("#entry-value").fill("24,5")
    page.locator(".entry-more summary").tap()
    page.locator("#entry-words").fill("new lamp")
    catalogue = comma.queries.settings.catalogue
    assert catalogue is not None
    catalogue.write_text(CATALOGUE, encoding="utf-8")
    assert comma.queries.reload() is None
    page.evaluate(
        "document.createTreeWalker(document.getElementById('rows'), NodeFilter.SHOW_TEXT).nextNode().data += ' '"
    )

    expect(page.locator("#entry-value-unit")).to_have_text("µW/cm²")
    expect(page.locator("#entry-value")).to_have_value("")
    expect(page.locator("#entry-words")).to_have_value("new lamp")
    expect(page.locator(".entry-note")).to_contain_text("“24,5” was typed before that")
