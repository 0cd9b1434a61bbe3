"""A measurement study from the draw to what it says, as a quality engineer does it."""

import csv
import io

import pytest
from playwright.sync_api import expect

from tests.browser.screens import ON_BOTH, TABLET

LEVELS = {"tube 1": 0.15, "tube 2": 0.20, "tube 3": 0.25}


@pytest.fixture
def opened(open_at):
    return lambda screen: open_at(screen, "/study", "text=Draw the order")


@ON_BOTH
def test_a_study_from_the_draw_to_what_it_says(opened, axe, screen):
    page = opened(screen)
    page.get_by_label("Parts, tubes or places").fill("tube 1, tube 2, tube 3")
    page.get_by_label("Who reads").fill("A, B")
    page.get_by_role("button", name="Draw the order").click()
    expect(page.locator(".study-sheet tbody tr")).to_have_count(18)
    assert "seed=" in page.url
    axe(page)

    with page.expect_download() as waiting:
        page.get_by_role("link", name="Plan as CSV, to fill in").click()
    rows = list(csv.DictReader(io.StringIO(waiting.value.path().read_text(encoding="utf-8-sig"))))
    filled = ["order,round,part,operator,value"] + [
        ",".join((*list(row.values())[:4], f"{LEVELS[row['part']] + 0.01 * (int(row['round']) % 2):.2f}"))
        for row in rows
    ]
    sheet = "\n".join(filled).encode()
    page.locator("#study-file input").set_input_files({"name": "s.csv", "mimeType": "text/csv", "buffer": sheet})
    expect(page.get_by_label("Or paste it")).to_have_value("\n".join(filled))
    page.get_by_label("What was read").fill("Bath concentration")
    page.get_by_role("button", name="Work it out").click()

    expect(page.locator(".study-headline")).to_contain_text("distinct categories")
    expect(page.locator(".study-result")).to_contain_text("18: 3 parts by 2 operators")
    page.locator("#study-figure .main-svg").first.wait_for()
    axe(page)


def test_a_sheet_that_cannot_be_read_is_said_with_its_row(opened, axe):
    page = opened(TABLET)
    page.get_by_label("Or paste it").fill("part,operator,value\nx,A,1\nx,A,two\n")
    page.get_by_role("button", name="Work it out").click()

    expect(page.locator("#study-said")).to_contain_text("row 3: value 'two' is no number")
    axe(page)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
