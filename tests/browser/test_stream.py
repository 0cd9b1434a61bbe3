from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from dashboard.urls import StreamView
from spc.records import StreamKey
from tests.browser.conftest import WAIT, Line
from tests.dashboard.made_line import AMMETER, BATH, LAMP, SHIM, add_row

BATH_ROW = "2026-04-10T15:{minute},Line 1,bath_concentration,tank,{value},,mL/100mL,tube-1,m1,A,"
PLOT = "#stream-figure .js-plotly-plot"


def stream(page: Page, line: Line, key: StreamKey, **more: Any) -> None:
    page.goto(line.address + StreamView(key.line, key.check, key.position, **more).href)
    drawn(page)


def drawn(page: Page) -> None:
    """Wait until the chart shows what the address asks."""
    asked = f"(document.querySelector('{PLOT}')?.layout?.meta?.search ?? 'none') === location.search"
    wait_until(page, lambda page: page.evaluate(asked), True)


def shown(page: Page) -> list[str]:
    """Return the stretch of time on the chart."""
    return list(page.evaluate(f"document.querySelector('{PLOT}').layout.xaxis.range"))


def last_reading(page: Page) -> float:
    return float(page.evaluate(f"document.querySelector('{PLOT}').data.find(one => one.name === 'reading').y.at(-1)"))


def wait_until(page: Page, ask: Callable[[Page], Any], expected: Any, within: int = WAIT) -> None:
    """Wait until `ask(page)` is `expected`; the page's policy allows no waiting by evaluated text."""
    for _ in range(within // 50):
        if ask(page) == expected:
            return
        page.wait_for_timeout(50)
    assert ask(page) == expected


def zoom(page: Page) -> None:
    """Draw a box over the middle of the chart."""
    box = page.locator(f"{PLOT} .nsewdrag").first.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] * 0.55, box["y"] + 100)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.9, box["y"] + 100, steps=5)
    page.mouse.up()
    page.wait_for_url("**from=*")
    drawn(page)


def test_from_the_board_to_a_stream_and_back(page, line):
    page.goto(line.address + "/")
    page.locator(".tile h3 a", has_text="UV-A irradiance").click()
    drawn(page)

    expect(page.get_by_role("heading", level=1)).to_have_text("UV-A irradiance, lamp 1")
    assert page.title().startswith("Line 1: UV-A irradiance, lamp 1")
    page.get_by_role("link", name="Board", exact=True).click()
    expect(page.locator(".tile").first).to_be_visible()


def test_a_row_in_the_log_is_on_the_open_chart_and_the_zoom_stays(page, line):
    stream(page, line, BATH)
    zoom(page)
    before, address = shown(page), page.url
    add_row(line.settings, BATH_ROW.format(minute="00", value="0.23"))

    wait_until(page, last_reading, 0.23)
    assert shown(page) == before
    assert page.url == address
    expect(page.locator(".stream-state .value")).to_have_text("0.230")


def test_every_row_is_on_the_open_chart_without_a_reload(page, line):
    stream(page, line, BATH)
    page.evaluate("window.here = true")
    for minute in range(10, 13):
        add_row(line.settings, BATH_ROW.format(minute=minute, value=minute / 100))
        wait_until(page, last_reading, minute / 100)

    assert page.evaluate("window.here")


def test_run_rules_are_drawn_by_a_button_that_the_address_keeps(page, line):
    stream(page, line, LAMP)
    rings = f"document.querySelector('{PLOT}').data.some(one => one.name === 'run rule, drawn only')"
    assert not page.evaluate(rings)
    page.get_by_role("link", name="Run rules on the chart").click()
    page.wait_for_url("**rules=on")

    wait_until(page, lambda page: page.evaluate(rings), True)
    page.get_by_role("link", name="All readings").click()
    page.wait_for_url("**show=all&rules=on")


def test_the_usual_stretch_rolls_on_with_new_readings(page, line):
    stream(page, line, BATH)
    before = shown(page)
    add_row(line.settings, BATH_ROW.format(minute="30", value="0.24"))

    wait_until(page, last_reading, 0.24)
    wait_until(page, lambda page: shown(page)[0] > before[0], True)


def test_a_copied_link_opens_exactly_what_was_shown(page, open_page, line):
    stream(page, line, BATH)
    zoom(page)
    other = open_page()
    other.goto(page.url)
    drawn(other)

    assert shown(other) == shown(page)
    assert other.locator("h1").inner_text() == page.locator("h1").inner_text()


def test_a_zoom_is_no_step_in_the_history(page, line):
    page.goto(line.address + "/")
    page.locator(".tile h3 a", has_text="Bath concentration").click()
    drawn(page)
    zoom(page)
    page.go_back()

    expect(page.locator(".tile").first).to_be_visible()


def test_a_signal_in_words_leads_to_its_place_on_the_chart(page, line):
    stream(page, line, LAMP, show="all")
    page.locator(".signal .when a").first.click()
    page.wait_for_url("**row=*")

    wait_until(
        page,
        lambda page: page.evaluate(f"document.querySelector('{PLOT}').data.some(one => one.name === 'looked at')"),
        True,
    )
    expect(page.locator(".signal").first).to_contain_text("has been falling")


def test_buttons_lead_to_other_stretches_of_time(page, line):
    stream(page, line, BATH)
    page.get_by_role("link", name="All readings").click()
    page.wait_for_url("**show=all")
    wait_until(page, lambda page: shown(page)[0][:10], "2026-03-01")
    page.get_by_role("link", name="This segment").click()
    wait_until(page, lambda page: shown(page)[0][:10], "2026-03-13")
    page.get_by_role("link", name="Earlier").click()
    page.wait_for_url("**from=*")

    expect(page.locator(".ranges .button-on")).to_have_count(0)


def test_the_keyboard_leads_to_the_next_and_the_previous_stream(page, line):
    stream(page, line, BATH)
    page.keyboard.press("Shift+ArrowRight")
    expect(page.get_by_role("heading", level=1)).to_have_text("UV-A irradiance, lamp 1")
    page.keyboard.press("Shift+ArrowLeft")

    expect(page.get_by_role("heading", level=1)).to_have_text("Bath concentration, tank")
    assert StreamView.from_search(page.url.partition("?")[2]) == StreamView(BATH.line, BATH.check, BATH.position)


def test_a_failed_check_says_what_it_obliges(page, line):
    stream(page, line, AMMETER)

    expect(page.locator(".stream-state .obliges")).to_contain_text("Hold every part")
    expect(page.locator(".stream-state .state")).to_have_text("failed")


def test_a_judged_check_has_its_strip(page, line):
    stream(page, line, SHIM, show="all")

    assert page.locator("#stream-figure").bounding_box()["height"] < 250
    expect(page.locator(".failures li")).to_have_count(1)


def test_the_readings_can_be_downloaded(page, line):
    stream(page, line, BATH)
    with page.expect_download() as download:
        page.get_by_role("link", name="Readings as CSV").click()

    assert download.value.suggested_filename == "line-1-bath-concentration-tank.csv"
    assert len(download.value.path().read_text(encoding="utf-8-sig").splitlines()) == 61


def test_a_focused_row_keeps_the_focus_when_a_reading_arrives(page, line):
    stream(page, line, BATH, part="readings")
    link = page.locator(".readings tbody a", has_text="Thu 9 Apr 2026 14:10")
    link.focus()
    add_row(line.settings, BATH_ROW.format(minute="45", value="0.19"))

    expect(page.locator(".readings tbody tr").first).to_contain_text("0.19")
    expect(link).to_be_focused()


def test_the_chart_follows_the_look(page, line):
    stream(page, line, BATH)
    ink = "document.querySelector('" + PLOT + "').data.find(one => one.name === 'reading').line.color"
    light = page.evaluate(ink)
    page.get_by_role("button", name="Dark booth").click()

    wait_until(page, lambda page: page.evaluate(ink) != light, True)


def test_an_address_of_no_stream_leads_back_to_the_board(page, line):
    page.goto(line.address + "/stream?line=Line+9&check=none")
    page.get_by_role("link", name="To the board").click()

    expect(page.locator(".tile").first).to_be_visible()


@pytest.mark.parametrize("width", [360, 768, 1440, 2560, 3840])
def test_the_chart_fills_its_place_at_every_width(open_page, line, width):
    page = open_page(width=width)
    stream(page, line, BATH)
    place, plot = (page.locator(one).bounding_box() for one in ("#stream-chart", f"{PLOT} .main-svg >> nth=0"))

    assert abs(place["width"] - plot["width"]) <= 2
    assert page.evaluate("document.documentElement.scrollWidth") <= width
