"""What a quality engineer does in the drift room: at a desk, and on a tablet."""

import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Page, expect

from dashboard import server
from dashboard.app import create_app
from dashboard.queries import Queries
from dashboard.settings import Settings
from dashboard.urls import StreamView
from spc.records import StreamKey
from spc.store.entries import Baseline, Note, Reaction
from spc.store.watch import StoreWatch
from tests.browser.test_stream import PLOT, drawn, shown, wait_until, zoom
from tests.dashboard.made_line import AMMETER, BATH, LAMP, NOW, add_row, write_line

DESK: dict[str, Any] = {"width": 1440, "height": 900}
TABLET: dict[str, Any] = {"width": 820, "height": 1180, "has_touch": True}
BOTH = pytest.mark.parametrize("screen", [DESK, TABLET], ids=["desk", "tablet"])
PART = "#drift-figure .js-plotly-plot"


class Kept:
    """A dashboard on a store of its own that follows the made line."""

    def __init__(self, folder: Path) -> None:
        made = write_line(folder)
        self.settings = replace(made, store=str(folder / "line.db"))
        self.source = StoreWatch(self.settings.store, follow=made.log, events=made.events, zone=made.zone)
        app = create_app(Queries(self.source, self.settings, clock=lambda: NOW))
        self.running = server.create_server(server.bound(Settings(log=made.log, port=0)), app.server)
        self.address = f"http://127.0.0.1:{self.running.effective_port}"
        self.end = threading.Event()
        for target, args in ((self.running.run, ()), (server.follow, (self.source, self.end))):
            threading.Thread(target=target, args=args, daemon=True).start()

    def stop(self) -> None:
        self.end.set()
        self.running.task_dispatcher.shutdown(timeout=1)
        for channel in list(self.running.active_channels.values()):
            channel.handle_close()
        self.running.close()
        self.source.close()

    def records(self, kind: Any) -> list[Any]:
        return [entry.record for entry in self.source.store.records(kind)]


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Kept]:
    made = Kept(tmp_path)
    yield made
    made.stop()


def room(page: Page, address: str, key: StreamKey, **more: Any) -> None:
    page.goto(address + StreamView(key.line, key.check, key.position, **more).href)
    drawn(page)


def traces(page: Page, plot: str = PLOT) -> list[str]:
    return list(page.evaluate(f"document.querySelector('{plot}').data.map(one => one.name)"))


@BOTH
def test_from_the_list_to_the_stream_that_needs_a_person_most(open_page, line, screen):
    page = open_page(**screen)
    page.goto(line.address + "/")
    page.get_by_role("link", name="Drift room").click()
    page.locator(".stream-row h3 a").first.click()
    drawn(page)

    expect(page.locator("h1")).to_have_text("Ammeter deviation, head")
    expect(page.locator('#ways a[href="/streams"]')).to_have_attribute("aria-current", "true")


@BOTH
def test_the_same_readings_on_another_chart_with_what_speaks_for_it(open_page, line, screen):
    page = open_page(**screen)
    room(page, line.address, LAMP)
    expect(page.locator(".fit")).to_contain_text("Take with care: The readings fall")
    for name, chart in (("EWMA", "ewma"), ("CUSUM", "cusum"), ("Trend", "trend"), ("Residuals", "residuals")):
        page.get_by_role("navigation", name="Views of the same readings").get_by_role("link", name=name).click()
        page.wait_for_url(f"**chart={chart}**")
        drawn(page)
        assert "upper control limit" in traces(page)

    page.go_back()
    page.wait_for_url("**chart=trend**")
    drawn(page)
    expect(page.locator(".views .button-on")).to_contain_text("Trend")


@BOTH
def test_other_streams_of_the_line_move_with_the_chart(open_page, line, screen):
    page = open_page(**screen)
    room(page, line.address, LAMP, part="line")
    page.get_by_role("link", name="Bath concentration, tank").click()
    page.wait_for_url("**beside=**")
    page.locator(f"{PART} .main-svg").first.wait_for()
    if "has_touch" in screen:
        page.get_by_role("link", name="All readings").click()
    else:
        zoom(page)
    drawn(page)
    part = f"document.querySelector('{PART}').layout.xaxis.range"

    wait_until(page, lambda page: list(page.evaluate(part)), shown(page))
    page.get_by_role("link", name="Bath concentration, tank").click()
    expect(page.locator("#drift-figure-box")).to_be_hidden()


@BOTH
def test_readings_are_split_by_who_measured(open_page, line, screen):
    page = open_page(**screen)
    room(page, line.address, LAMP, part="splits", show="all")
    page.get_by_role("navigation", name="Split by").get_by_role("link", name="Shift").click()
    page.wait_for_url("**by=shift**")

    expect(page.locator(".groups tbody tr")).to_have_count(2)
    wait_until(page, lambda page: "median of A" in traces(page, PART), True)


def test_rule_sets_are_compared_in_a_table(page, line):
    room(page, line.address, AMMETER, part="rule-sets")

    expect(page.locator(".tried tbody tr")).to_have_count(6)
    expect(page.locator(".tried tbody tr").first).to_contain_text("Early warning")


@BOTH
def test_a_signal_is_seen_and_its_cause_written_down(kept, open_page, screen):
    page = open_page(**screen)
    room(page, kept.address, LAMP)
    page.locator(".signal-open").get_by_role("link", name="Write down what was done").first.click()
    expect(page.get_by_role("button", name="I have seen it")).to_be_in_viewport()
    page.get_by_label("Your name").fill("kim")
    page.get_by_role("button", name="This is the cause").click()
    expect(page.locator("#drift-said")).to_contain_text("Not kept. Write the cause first.")
    page.get_by_role("textbox", name="In words").fill("the filter was dirty")
    page.get_by_role("button", name="This is the cause").click()

    expect(page.locator("#drift-said")).to_have_text("Kept: the cause, by kim.")
    expect(page.locator(".signal .steps").first).to_contain_text("cause the filter was dirty kim")
    assert [record.words for record in kept.records(Reaction)] == ["the filter was dirty"]
    page.goto(kept.address + "/")
    expect(page.locator(".todo-moving .said-last")).to_contain_text("Cause: the filter was dirty (kim")


def test_a_name_is_remembered_on_this_device(kept, page):
    room(page, kept.address, LAMP)
    page.get_by_label("Your name").fill("kim")
    page.get_by_role("button", name="I have seen it").click()
    expect(page.locator("#drift-said")).to_contain_text("Kept")
    page.reload()
    drawn(page)

    expect(page.get_by_label("Your name")).to_have_value("kim")


def test_what_is_half_written_outlives_a_new_reading(kept, page):
    room(page, kept.address, LAMP)
    page.get_by_role("textbox", name="In words").fill("half a sent")
    add_row(kept.settings, "2026-04-10T15:20,Line 1,uva_irradiance,lamp 1,1700,,uW/cm2,rad-1,m1,A,")

    expect(page.locator(".stream-state .value")).to_have_text("1700")
    expect(page.get_by_role("textbox", name="In words")).to_have_value("half a sent")


@BOTH
def test_a_baseline_is_proposed_reviewed_and_signed_off(kept, open_page, screen):
    page = open_page(**screen)
    room(page, kept.address, BATH, part="baseline")
    for button, words in (
        ("Propose the readings as they are", "after the new bath"),
        ("I have reviewed version 1", "looked through"),
        ("Sign off version 1", "stands for the bath as it should be"),
    ):
        page.get_by_label("Your name").fill("kim")
        page.get_by_role("textbox", name="In words").fill(words)
        page.get_by_role("button", name=button).click()
        expect(page.locator(".version .steps")).to_contain_text(words)
    page.get_by_role("link", name="Lay version 1 over the chart").click()
    page.wait_for_url("**against=1**")

    expect(page.locator(".version h4")).to_have_text("Version 1: signed off, in force")
    wait_until(page, lambda page: "version 1: UCL" in traces(page), True)
    assert [record.step for record in kept.records(Baseline)] == ["proposed", "reviewed", "signed off"]


@BOTH
def test_a_note_is_written_at_a_reading_and_seen_by_another_screen(kept, open_page, screen):
    page, other = open_page(**screen), open_page()
    room(other, kept.address, LAMP, part="readings")
    room(page, kept.address, LAMP, part="readings")
    page.locator(".readings tbody a").nth(3).click()
    page.wait_for_url("**row=*")
    expect(page.locator(".row-chosen")).to_have_count(1)
    page.get_by_role("textbox", name="Note").fill("new sleeve")
    page.get_by_label("Your name").fill("kim")
    page.get_by_role("button", name="Keep this note").click()

    expect(page.locator(".notes")).to_contain_text("new sleeve kim")
    wait_until(page, lambda page: "note" in traces(page), True)
    expect(other.locator(".notes")).to_contain_text("new sleeve kim")
    assert kept.records(Note)[0].row is not None


def test_a_reading_is_corrected_with_its_reason(kept, page):
    room(page, kept.address, AMMETER, part="readings")
    page.locator(".readings tbody a").first.click()
    page.get_by_label("What it should say, in A").fill("980")
    page.get_by_label("Why").fill("display misread")
    page.get_by_label("Your name").fill("kim")
    page.get_by_role("button", name="Correct it").click()

    expect(page.locator("#drift-said")).to_contain_text("now says 980 A, by kim")
    expect(page.locator(".sentence .state")).not_to_have_text("failed")


def test_a_bare_log_says_that_nothing_can_be_written(page, line):
    room(page, line.address, LAMP)

    expect(page.locator(".write")).to_contain_text("This board shows a bare log")
    expect(page.locator(".button-do")).to_have_count(0)


def test_a_link_hands_over_exactly_this(open_page, line):
    page = open_page(permissions=["clipboard-read", "clipboard-write"])
    room(page, line.address, LAMP, part="line", chart="ewma", beside=("bath_concentration@tank",))
    zoom(page)
    page.get_by_role("button", name="Copy link").click()
    expect(page.locator("#drift-copied")).to_contain_text("Copied")
    other = open_page()
    other.goto(page.evaluate("navigator.clipboard.readText()"))
    drawn(other)
    other.locator(f"{PART} .main-svg").first.wait_for()

    assert shown(other) == shown(page)
    assert "EWMA" in other.evaluate(f"document.querySelector('{PLOT}').layout.yaxis.title.text")


def test_a_link_to_the_last_readings_stays_on_them(open_page, line):
    page = open_page(permissions=["clipboard-read", "clipboard-write"])
    room(page, line.address, LAMP, part="baseline")
    page.get_by_role("button", name="Copy link").click()
    expect(page.locator("#drift-copied")).to_contain_text("Copied")
    link = page.evaluate("navigator.clipboard.readText()")

    assert link.startswith(line.address + "/stream?")
    assert {"from", "to", "part"} <= set(parse_qs(urlsplit(link).query))


PARTS = ("signals", "baseline", "line", "splits", "rule-sets", "questions", "readings")


def test_axe_finds_nothing_in_any_part(kept, open_page, axe):
    page = open_page(width=820, color_scheme="dark")
    for part in PARTS:
        beside = ("bath_concentration@tank",) if part == "line" else ()
        chart, row = ("", "30") if part in ("signals", "readings") else ("ewma", "")
        room(page, kept.address, LAMP, part=part, chart=chart, row=row, beside=beside)
        page.locator("details summary").first.click()
        axe(page)


@pytest.mark.parametrize("width", [360, 1440, 3840])
def test_nothing_is_wider_than_the_screen(kept, open_page, width):
    page = open_page(width=width)
    room(page, kept.address, LAMP, beside=("bath_concentration@tank",))
    for name in ("Baseline", "Same line", "Splits", "Rule sets", "Readings and notes"):
        page.locator(".tabs").get_by_role("link", name=name).click()
        expect(page.locator(".tabs .button-on")).to_have_text(name)

        assert page.evaluate("document.documentElement.scrollWidth") <= width, name


@BOTH
def test_numbers_of_a_chart_are_changed_and_a_link_carries_them(open_page, line, axe, screen):
    page = open_page(**screen)
    room(page, line.address, LAMP, chart="ewma")
    expect(page.locator("#stream-settings")).to_contain_text("one in about 370 readings")
    before = page.evaluate(f"document.querySelector('{PLOT}').data[0].y.at(-1)")
    page.get_by_label("Weight of the newest reading").fill("0.05")
    page.get_by_label("Width of the limits").fill("2.5")
    page.get_by_role("button", name="Draw it so").click()
    page.wait_for_url("**lam=0.05&width=2.5**")
    drawn(page)
    assert page.evaluate(f"document.querySelector('{PLOT}').data[0].y.at(-1)") != before
    axe(page)

    again = open_page(**screen)
    again.goto(page.url)
    drawn(again)
    expect(again.get_by_label("Weight of the newest reading")).to_have_value("0.05")
    again.get_by_label("Weight of the newest reading").fill("7")
    again.keyboard.press("Enter")
    expect(again.locator("#stream-settings .notice")).to_contain_text("cannot be “7”: give 0.02 to 1")
    axe(again)
    again.get_by_role("link", name="Usual numbers").click()
    expect(again.get_by_label("Weight of the newest reading")).to_have_value("0.2")
    assert "lam=" not in again.url


@BOTH
def test_closer_and_wider_are_buttons_too(open_page, line, screen):
    page = open_page(**screen)
    room(page, line.address, LAMP)
    first, last = shown(page)
    page.get_by_role("link", name="Closer", exact=True).click()
    page.wait_for_url("**from=**")
    drawn(page)
    nearer = shown(page)
    page.get_by_role("link", name="Wider", exact=True).click()
    wait_until(page, lambda page: shown(page)[0] < nearer[0], True)

    assert first < nearer[0] < nearer[1] < last


def test_a_form_comes_with_its_part(open_page, kept):
    """In one answer: a form that came first would be pushed down by its part under the finger."""
    page = open_page(**DESK)
    room(page, kept.address, LAMP)
    page.evaluate(
        """() => {
          window.moments = [];
          const has = (id, words) => document.getElementById(id).textContent.includes(words);
          const now = () => [has("drift-part", "Readings"), has("drift-forms", "Write a note")];
          new MutationObserver(() => window.moments.push(now()))
            .observe(document.querySelector(".stream-parts"), { childList: true, subtree: true, characterData: true });
        }"""
    )
    page.get_by_role("navigation", name="More about this stream").get_by_role("link", name="Readings and notes").click()
    expect(page.locator("#drift-part .readings")).to_be_visible()
    expect(page.locator("#drift-forms")).to_contain_text("Write a note")

    assert set(map(tuple, page.evaluate("window.moments"))) <= {(False, False), (True, True)}
