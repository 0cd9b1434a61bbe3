from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

import dashboard
from dashboard import server
from tests.browser.conftest import Line
from tests.dashboard.made_line import add_row

BATH_ROW = "2026-04-10T15:00,Line 1,bath_concentration,tank,{value},,mL/100mL,tube-1,m1,A,"

FAILING = (
    BATH_ROW.format(value="0.05"),
    "2026-04-10T15:00,Line 1,uva_irradiance,lamp 1,500,,uW/cm2,rad-1,m1,A,",
    "2026-04-10T15:00,Line 1,notched_shim,hub,not shown,,,,m1,A,",
    "2026-04-10T15:00,Line 2,ambient_light,booth,9.0,,fc,lux-1,m1,A,",
)
"""With the ammeter, which fails already, five failed checks."""


def board(page: Page, line: Line) -> None:
    page.goto(line.address + "/")
    page.locator(".tile").first.wait_for()
    expect(page.locator("#link-words")).to_have_text("Live")


def test_what_needs_doing_stands_first_then_every_stream(page, line):
    board(page, line)

    expect(page.locator(".todo-item h3")).to_have_count(2)
    assert page.locator(".todo-item h3").first.inner_text().startswith("Ammeter deviation, head read")
    assert "Hold every part" in page.locator(".todo-failed").inner_text()
    assert page.locator(".tile").count() == 6
    assert [heading.inner_text() for heading in page.locator(".line-head h2").all()] == ["Line 1", "Line 2"]


def test_a_state_is_a_shape_and_a_word(page, line):
    board(page, line)
    failed = page.locator(".tile-failed .state")

    assert failed.inner_text() == "failed"
    assert failed.locator(".shape-failed").bounding_box()["width"] > 8


def test_every_row_is_on_the_open_board_without_a_reload(page, line):
    board(page, line)
    page.evaluate("window.here = true")
    value = page.locator(".tile", has_text="Bath concentration").locator(".value")
    for minute, text in enumerate(("0.190", "0.180", "0.170")):
        add_row(line.settings, BATH_ROW.replace("15:00", f"15:0{minute}").format(value=text))
        expect(value).to_have_text(text)

    assert page.evaluate("window.here")


def test_log_and_server_are_looked_at_often_enough_for_one_second():
    """By the periods alone: how fast this machine draws is no matter of the code."""
    script = (Path(dashboard.__file__).parent / "assets" / "live.js").read_text(encoding="utf-8")
    browser_asks = int(script.partition("const EVERY = ")[2].partition(";")[0]) / 1000

    assert server.LOOKS_EVERY + browser_asks <= 0.6  # the rest is for reading, answering and painting


def test_lines_can_be_jumped_to_on_a_narrow_screen(open_page, line):
    page = open_page(width=390, height=844)
    board(page, line)
    page.locator(".jumps").get_by_role("link", name="Line 2").click()

    expect(page.locator("#line-1 h2")).to_be_in_viewport()
    assert page.url.endswith("#line-1")


def test_a_wide_screen_needs_no_jumps(page, line):
    board(page, line)

    expect(page.locator(".jumps")).to_be_hidden()


@pytest.mark.parametrize(("width", "headline", "value", "state"), [(1440, 24, 33, 20), (2560, 42, 58, 35)])
def test_what_matters_is_read_from_four_metres(open_page, line, width, headline, value, state):
    """Digits are 0.72 of the letter size: of 58 pixels on a 55 inch screen (2560 pixels on 1.22 m) they are 20 mm high.

    That is legible at 4 m by the usual 1 in 200. What needs doing is words, of which the outline helps: 1 in 270.
    """
    page = open_page(width=width)
    board(page, line)

    def size(of: str) -> float:
        return float(page.evaluate(f"parseFloat(getComputedStyle(document.querySelector('{of}')).fontSize)"))

    assert size(".todo-moving h3") >= headline
    assert size(".tile .value") >= value
    assert size(".tile-failed .state") >= state


def test_a_row_ahead_of_the_clock_is_asked_about_and_hides_nothing(page, line):
    board(page, line)
    add_row(line.settings, BATH_ROW.replace("2026-04-10", "2027-04-10").format(value="0.05"))

    expect(page.locator(".todo-ahead h3")).to_contain_text("row 408 dated Sat 10 Apr 2027 15:00")
    expect(page.locator(".tile", has_text="Bath concentration").locator(".state")).to_have_text("calm")


def test_a_failing_row_is_on_the_open_board_with_what_it_obliges(page, line):
    board(page, line)
    add_row(line.settings, BATH_ROW.format(value="0.05"))

    expect(page.locator(".todo-failed h3").first).to_contain_text("0.05")
    expect(page.locator("#clock")).to_contain_text("Fri 10 Apr 2026 15:00")
    expect(page.locator("#rows")).to_contain_text("407 rows")


def test_a_new_row_moves_neither_the_focus_nor_the_scroll(open_page, line):
    page = open_page(width=390, height=700)
    board(page, line)
    tile = page.locator(".tile h3 a", has_text="UV-A irradiance")
    tile.focus()
    tile.scroll_into_view_if_needed()
    before = page.evaluate("window.scrollY")
    add_row(line.settings, BATH_ROW.format(value="0.22"))

    expect(page.locator(".tile", has_text="Bath concentration").locator(".value")).to_have_text("0.220")
    expect(tile).to_be_focused()
    assert page.evaluate("window.scrollY") == before
    assert before > 0


def test_a_focused_thing_to_do_keeps_the_focus_when_the_list_is_drawn_anew(page, line):
    board(page, line)
    drift = page.locator(".todo-moving h3 a")
    drift.focus()
    add_row(line.settings, BATH_ROW.format(value="0.05"))

    expect(page.locator(".todo-failed")).to_have_count(2)
    expect(drift).to_be_focused()


def test_a_new_stream_appears_without_a_reload(page, line):
    board(page, line)
    page.evaluate("window.here = true")
    add_row(line.settings, "2026-04-10T15:00,Line 3,viscosity,tank,2.6,,mm2/s,,m1,A,")

    expect(page.get_by_role("heading", name="Line 3")).to_be_visible()
    assert page.evaluate("window.here")


def test_a_lost_server_is_said_and_nothing_looks_current(page, line, seen, axe):
    board(page, line)
    seen.server_ends = True
    line.stop()

    expect(page.locator("#link-words")).to_contain_text("No contact with the server since")
    assert page.evaluate("document.documentElement.dataset.link") == "lost"
    assert page.evaluate("getComputedStyle(document.querySelector('main')).filter") == "grayscale(1)"
    axe(page)


def test_a_lost_connection_recovers_by_itself_and_has_what_came_meanwhile(page, line, seen):
    board(page, line)
    seen.server_ends = True
    page.route("**/live", lambda route: route.abort())
    expect(page.locator("#link-words")).to_contain_text("No contact with the server since")
    add_row(line.settings, BATH_ROW.format(value="0.23"))
    page.unroute("**/live")

    expect(page.locator("#link-words")).to_have_text("Live")
    expect(page.locator(".tile", has_text="Bath concentration").locator(".value")).to_have_text("0.230")


def test_a_server_that_is_busy_is_not_called_lost_and_nothing_looks_current_meanwhile(page, line, axe):
    board(page, line)
    held, busy = [], [True]
    page.route("**/live", lambda route: held.append(route) if busy else route.continue_())
    expect(page.locator("#link-words")).to_contain_text("No answer from the server since")
    assert page.evaluate("document.documentElement.dataset.link") == "stale"
    assert page.evaluate("getComputedStyle(document.querySelector('main')).filter") == "grayscale(1)"
    axe(page)

    page.evaluate(
        """() => {
            const said = window.said = [], words = document.getElementById("link-words");
            new MutationObserver(() => said.push(words.textContent)).observe(words, { childList: true });
        }"""
    )
    busy.clear()
    held.pop().continue_()
    expect(page.locator("#link-words")).to_have_text("Live")
    said = page.evaluate("window.said")
    assert said[0].startswith("The server is slow to answer: ")
    assert not [words for words in said if "No contact" in words]


def test_time_in_which_the_page_itself_was_busy_is_not_held_against_the_server(page, line):
    board(page, line)
    expect(page.locator("#link-words")).to_have_text("Live")
    said = page.evaluate(
        """() => new Promise((done) => {
            const said = [], words = document.getElementById("link-words");
            new MutationObserver(() => said.push(words.textContent)).observe(words, { childList: true });
            const until = Date.now() + 4000;
            while (Date.now() < until);
            setTimeout(() => done(said), 1500);
        })"""
    )

    assert said == []


@pytest.mark.parametrize(("width", "height"), [(2560, 1440), (3840, 2160)])
def test_a_wall_screen_shows_what_needs_doing_and_every_stream_at_once(open_page, line, width, height):
    page = open_page(width=width, height=height)
    board(page, line)
    last = page.locator(".tile").last.bounding_box()
    todo = page.locator(".todo-item").last.bounding_box()

    assert last["y"] + last["height"] <= height
    assert todo["y"] + todo["height"] <= height
    assert page.locator(".todo").bounding_box()["x"] < page.locator(".lines").bounding_box()["x"]


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (1920, 1080), (2560, 1440)])
def test_what_needs_doing_fits_or_is_counted_at_the_edge(open_page, line, axe, width, height):
    page = open_page(width=width, height=height)
    for row in FAILING:
        add_row(line.settings, row)
    board(page, line)
    expect(page.locator(".todo-failed")).to_have_count(5)
    note = page.locator("#board-below")
    below = (
        "(items, edge) => items.filter(item => item.querySelector('h3').getBoundingClientRect().bottom > edge).length"
    )
    if height == 900:
        expect(note).to_contain_text("more below: ")
        edge = note.bounding_box()["y"]
        hidden = page.locator(".todo-item").evaluate_all(below, edge)
        assert note.inner_text().startswith(f"and {hidden} more below: ")
        axe(page)
        page.mouse.wheel(0, 5000)
    else:
        assert page.locator(".todo-item").evaluate_all(below, height) == 0
    expect(note).to_be_hidden()


def test_a_quiet_state_is_a_shape_to_the_eye_and_a_word_to_the_ear(page, line):
    board(page, line)
    calm = page.locator(".tile-calm").first

    assert calm.locator(".shape-calm").bounding_box()["width"] > 5
    expect(calm.locator(".state-word")).to_have_text("calm")
    expect(page.locator(".line-head").first).to_contain_text("1 calm")


def test_the_next_checks_stand_below_what_needs_doing(page, line):
    board(page, line)

    expect(page.locator(".dues li").first).to_contain_text("in ")
    assert page.locator(".next").bounding_box()["y"] > page.locator(".todos").bounding_box()["y"]


def test_a_log_that_cannot_be_read_is_said(page, line):
    board(page, line)
    line.settings.log.rename(line.settings.log.with_suffix(".away"))

    expect(page.locator("#link-words")).to_contain_text("Not up to date")
    line.settings.log.with_suffix(".away").rename(line.settings.log)
    expect(page.locator("#link-words")).to_have_text("Live")


def test_the_quarantined_rows_are_one_click_away(page, line):
    board(page, line)
    page.get_by_role("link", name="1 quarantined").click()

    expect(page.get_by_role("heading", name="Rows read")).to_be_visible()
    expect(page.locator("td code")).to_have_text("1.2.3")


def test_every_link_is_reached_by_keyboard_in_order(page, line):
    board(page, line)
    reached = []
    for _ in range(40):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.innerText.trim().split('\\n')[0]"))

    assert reached[0] == "To the page"
    assert reached[1] == "Hall 4"
    links = [link.inner_text().strip().split("\n")[0] for link in page.locator("main a:visible").all()]
    assert [words for words in reached if words in links][: len(links)] == links
    assert {"As this device", "Dark booth", "Daylight"} <= set(reached)


def test_the_look_is_chosen_and_remembered(page, line):
    board(page, line)
    page.get_by_role("button", name="Dark booth").click()
    dark = page.evaluate("getComputedStyle(document.body).backgroundColor")
    page.reload()
    page.locator(".tile").first.wait_for()

    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == dark == "rgb(18, 17, 16)"
    expect(page.get_by_role("button", name="Dark booth")).to_have_attribute("aria-pressed", "true")


def test_the_look_follows_the_device(open_page, line):
    colours = []
    for scheme in ("dark", "light"):
        page = open_page(color_scheme=scheme)
        board(page, line)
        colours.append(page.evaluate("getComputedStyle(document.body).backgroundColor"))

    assert colours == ["rgb(18, 17, 16)", "rgb(241, 238, 229)"]


@pytest.mark.parametrize("width", [360, 768, 1440, 2560, 3840])
def test_nothing_is_wider_than_the_screen_and_touch_targets_are_large(open_page, line, width):
    page = open_page(width=width)
    board(page, line)

    assert page.evaluate("document.documentElement.scrollWidth") <= width
    small = page.evaluate(
        """() => [...document.querySelectorAll("main a, button, header a")]
            .map(one => one.closest(".tile, .todo-item") || one)
            .filter(one => one.offsetParent && one.getBoundingClientRect().height < 44).map(one => one.textContent)"""
    )
    assert small == []
