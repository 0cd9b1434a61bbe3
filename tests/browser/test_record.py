"""The record, as an auditor, a manager and a line lead use it."""

from collections.abc import Callable
from datetime import UTC, datetime

from playwright.sync_api import Locator, Page, Route, expect

from spc.failures import BEFORE_CLOSING, WrittenStep
from spc.store.accounts import add_account
from tests.browser.made_site import Site
from tests.browser.screens import DESK, ON_BOTH, TABLET
from tests.browser.test_accounts import GOOD, opened

LABELS = {
    "told": "Who was told",
    "held": "What was stopped and held, or why nothing was",
    "found": "What was found: the cause, parts looked at again",
    "decided": "What the responsible Level 3 and the customer decided",
    "closed": "That it is closed, and why",
}


def kinds(site: Site) -> list[str]:
    return [entry.record.step.kind for entry in site.store.records(WrittenStep)]


def shim(page: Page) -> None:
    """Open the failed check of the shim from the list."""
    page.locator(".record-table").get_by_role("link", name="Notched shim, hub").click()
    page.locator(".record-window").wait_for()


def step(page: Page, words: str) -> Locator:
    """Return the button that says what is written down."""
    return page.get_by_role("group", name="What it is").get_by_role("button", name=words, exact=True)


def keep(page: Page, kind: str, words: str) -> None:
    step(page, LABELS[kind]).click()
    page.get_by_label("In words").fill(words)
    page.get_by_role("button", name="Keep it in the record").click()


@ON_BOTH
def test_a_failed_check_is_written_up_and_closed_from_the_screen(site, open_page, axe, screen):
    page = open_page(**screen)
    page.goto(site.address + "/record")
    expect(page.locator(".record-notice")).to_contain_text("2 failed checks in 2 exposure windows")
    shim(page)
    expect(page.locator("#window-body")).to_contain_text("Nothing is written down yet")
    expect(page.locator("#window-body")).to_contain_text("may be affected")
    expect(page.locator("#window-course .main-svg").first).to_be_visible()
    expect(page.locator("#ways a[aria-current=page]")).to_have_text("Record")
    axe(page)
    keep(page, "closed", "in a hurry")
    expect(page.locator("#window-said")).to_contain_text("Write your name")
    page.get_by_label("Your name").fill("kim")
    page.get_by_role("button", name="Keep it in the record").click()
    expect(page.locator("#window-said")).to_contain_text("still missing: who was told")
    for kind in BEFORE_CLOSING:
        keep(page, kind, f"words of {kind}")
        expect(page.locator("#window-body tbody tr", has_text=f"words of {kind}")).to_have_count(1)
    keep(page, "closed", "all of it is there")
    expect(page.locator("#window-body .state")).to_have_text("Closed")
    expect(step(page, "That it is open again, and why")).to_be_visible()
    axe(page)

    assert kinds(site) == [*BEFORE_CLOSING, "closed"]
    page.get_by_role("link", name="All failed checks").click()
    expect(page.locator(".record-table tr", has_text="Notched shim, hub")).to_contain_text("Closed")


def test_a_failed_check_goes_to_paper_without_what_can_be_tapped(site, open_page):
    page = open_page(**DESK)
    page.goto(site.address + "/record")
    shim(page)
    form, way = page.get_by_role("heading", name="Write down what was done"), page.locator(".record-back")
    expect(form).to_be_visible()
    expect(page.get_by_role("link", name="Evidence as PDF")).to_be_visible()
    page.emulate_media(media="print")

    expect(form).to_be_hidden()
    expect(way).to_be_hidden()
    expect(page.get_by_role("heading", name="What is in doubt")).to_be_visible()


def test_a_double_tap_keeps_one_step(site, open_page):
    page = open_page(**TABLET)
    page.goto(site.address + "/record")
    shim(page)
    page.get_by_label("In words").fill("the Level 3, by telephone")
    page.get_by_label("Your name").fill("kim")
    page.get_by_role("button", name="Keep it in the record").dblclick()
    expect(page.locator("#window-body tbody tr", has_text="the Level 3, by telephone")).to_have_count(1)
    expect(page.locator("#window-said")).to_contain_text("Kept")

    page.wait_for_timeout(500)
    assert kinds(site) == ["told"]


@ON_BOTH
def test_each_question_of_an_audit_is_one_click(site, open_page, axe, screen):
    page = open_page(**screen)
    page.goto(site.address + "/record")
    page.locator(".record-table").wait_for()
    for name, says in (
        ("Due now and next", "OVERDUE"),
        ("Made on time?", "gaps"),
        ("Instruments", "rad-1"),
        ("Limits in force", "Procedure 12"),
        ("Who changed this?", "The record is as it was written"),
        ("Failed checks", "exposure windows"),
    ):
        page.get_by_role("navigation", name="Questions").get_by_text(name, exact=True).click()
        expect(page.locator("h2").first).to_have_text(name)
        expect(page.locator("#record-page")).to_contain_text(says)
        axe(page)


def test_an_instrument_out_of_tolerance_is_judged_again(site, open_page, axe):
    page = open_page(**DESK)
    page.goto(site.address + "/record?part=instruments")
    page.get_by_label("Instrument", exact=True).fill("rad-1")
    page.get_by_role("button", name="Judge its readings again").click()
    expect(page.get_by_role("alert")).to_contain_text("Write the error")
    axe(page)
    page.get_by_label("Error found, % of true").fill("150")
    page.get_by_label("When it was found").fill("2026-04-10T07:00")
    page.get_by_role("button", name="Judge its readings again").click()
    expect(page.locator(".record-table").nth(1)).to_contain_text("UV-A irradiance")
    expect(page.get_by_label("Error found, % of true")).to_have_value("150")
    axe(page)


def test_the_board_and_the_review_lead_to_what_is_in_doubt(site, open_page):
    page = open_page(**DESK)
    page.goto(site.address)
    page.get_by_role("link", name="What is in doubt").first.click()
    expect(page.locator("h1")).to_contain_text("Failed: ")
    page.goto(site.address + "/review")
    page.locator("#review-windows").locator("..").get_by_role("link", name="Notched shim").first.click()
    expect(page.locator("h1")).to_contain_text("Failed: Notched shim hub")


def test_a_role_writes_what_it_may_and_the_rest_is_said(site, open_page: Callable[..., Page], seen, axe):
    seen.server_ends = True  # what is refused is a complaint to a browser
    for name, role in (("Anna", "administrator"), ("Karl", "lead")):
        add_account(site.store, name, role, GOOD, who="setup", now=datetime(2026, 4, 10, 14, 0, tzinfo=UTC))
    page = opened(open_page, site, "Karl", "/record", **TABLET)
    shim(page)
    expect(step(page, LABELS["told"])).to_be_visible()
    expect(step(page, LABELS["closed"])).to_have_count(0)
    expect(page.locator("#window-form")).to_contain_text("take the right to decide")
    expect(page.get_by_label("Your name")).to_be_hidden()
    axe(page)
    keep(page, "told", "the Level 3")
    expect(page.locator("#window-said")).to_have_text("Kept: who was told, by Karl.")
    assert kinds(site) == ["told"]


def held(page: Page) -> list[Route]:
    """Let no step reach the server until its route is continued."""
    waiting: list[Route] = []

    def hold(route: Route) -> None:
        if '"output":"window-reply.data"' in (route.request.post_data or ""):
            waiting.append(route)
        else:
            route.continue_()

    page.route("**/_dash-update-component*", hold)
    return waiting


def a_step_on_its_way(site: Site, page: Page) -> list[Route]:
    """Write down who was told of the failed shim, and hold the reply; give what holds it."""
    page.goto(site.address + "/record")
    shim(page)
    waiting = held(page)
    page.get_by_label("Your name").fill("kim")
    keep(page, "told", "Level 3 by phone")
    expect(page.locator("#window-said")).to_have_text("Keeping ...")
    return waiting


def test_a_step_on_its_way_says_so_and_what_is_typed_meanwhile_stays(site, open_page, axe):
    page = open_page(**TABLET)
    waiting = a_step_on_its_way(site, page)
    axe(page)
    page.get_by_label("In words").fill("Lots 7 and 8 stand in the cage")
    waiting.pop().continue_()

    expect(page.locator("#window-said")).to_contain_text("Kept: who was told, by kim. What you typed meanwhile stands")
    expect(page.locator("#window-body")).to_contain_text("Level 3 by phone")
    expect(page.get_by_label("In words")).to_have_value("Lots 7 and 8 stand in the cage")
    step(page, LABELS["held"]).click()
    page.get_by_role("button", name="Keep it in the record").click()
    expect(page.locator("#window-said")).to_have_text("Keeping ...")
    waiting.pop().continue_()
    expect(page.locator("#window-said")).to_contain_text("Kept: what was stopped and held")
    expect(page.get_by_label("In words")).to_have_value("")
    assert kinds(site) == ["told", "held"]


def test_a_late_reply_leaves_the_page_alone_that_was_opened_meanwhile(site, open_page):
    page = open_page(**DESK)
    waiting = a_step_on_its_way(site, page)
    page.get_by_role("link", name="All failed checks").click()
    page.locator(".record-table").get_by_role("link", name="Ammeter").click()
    expect(page.locator("h1")).to_contain_text("Ammeter")
    page.get_by_label("In words").fill("Shunt looked at")
    with page.expect_response(lambda answer: "window-reply" in (answer.request.post_data or "")):
        waiting.pop().continue_()
    for _ in range(2):  # a page that asks this often is never idle; by its next question it has dealt with the reply
        with page.expect_response("**/live*"):
            pass

    expect(page.get_by_label("In words")).to_have_value("Shunt looked at")
    expect(page.locator("#window-body")).not_to_contain_text("Level 3 by phone")
    assert kinds(site) == ["told"]


def test_a_step_without_an_answer_is_said_and_its_words_stay(site, open_page, seen):
    seen.server_ends = True
    page = open_page(**TABLET)
    waiting = a_step_on_its_way(site, page)
    waiting.pop().abort()

    expect(page.locator("#window-said")).to_contain_text("No answer: whether it was kept is not known.")
    expect(page.get_by_label("In words")).to_have_value("Level 3 by phone")


def test_a_name_said_once_stands_in_every_form_and_is_changed_in_all(site, open_page):
    page = open_page(**TABLET)
    page.goto(site.address + "/write")
    page.locator("#entry-technician").fill("Ines")
    page.get_by_role("link", name="Record", exact=True).click()
    shim(page)
    expect(page.get_by_label("Your name")).to_have_value("Ines")
    page.get_by_label("Your name").fill("Jonas")
    page.get_by_role("link", name="Set-up sample", exact=True).click()
    expect(page.get_by_label("Your name")).to_have_value("Jonas")
    page.get_by_role("link", name="Write down", exact=True).click()

    expect(page.locator("#entry-technician")).to_have_value("Jonas")
