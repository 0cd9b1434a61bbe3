"""The manager's review: from the first decision to its evidence, another period, the table as a file."""

import pytest
from playwright.sync_api import expect

from dashboard.queries.audited import audited
from spc.failure_book import window_at, write_step
from spc.failures import FailureStep
from tests.browser.screens import DESK, ON_BOTH, TABLET
from tests.dashboard.made_entry import TODAY
from tests.dashboard.made_line import AMMETER

WORKED_OUT = '"output":"..review-page.children...review-shown.data.."'
"""In what the page sends when it asks for a review."""


@pytest.fixture
def opened(open_at):
    return lambda screen, search="": open_at(screen, f"/review{search}", ".review-first")


@ON_BOTH
def test_the_first_decision_leads_to_the_failed_reading(opened, axe, screen):
    page = opened(screen)
    first = page.locator(".review-decide .review-group").first
    expect(first).to_contain_text("Fails now")
    expect(first).to_contain_text("Line 2, Ammeter deviation, head read")
    axe(page)

    first.get_by_role("link").click()
    expect(page.locator("h1")).to_contain_text("Ammeter deviation, head")


def test_another_period_is_chosen_by_days_by_length_and_by_line(opened, axe):
    page = opened(DESK)
    page.get_by_label("First day").fill("2026-03-20")
    page.get_by_label("Last day").fill("2026-03-31")
    page.get_by_role("button", name="Review these days").click()
    expect(page.locator(".review-period")).to_contain_text("20 Mar 2026 to 31 Mar 2026, beside 8 Mar 2026")
    assert "from=2026-03-20&to=2026-03-31" in page.url
    expect(page.locator("#review-page")).to_contain_text("No check failed in this period.")

    page.get_by_role("link", name="Line 2", exact=True).click()
    expect(page.locator("#review-page")).not_to_contain_text("Bath concentration")
    page.get_by_role("link", name="A year", exact=True).click()
    expect(page.locator(".review-period")).to_contain_text("11 Apr 2025 to 10 Apr 2026")
    page.go_back()
    expect(page.locator(".review-period")).to_contain_text("20 Mar 2026 to 31 Mar 2026")


def test_last_month_is_one_tap_and_its_address_says_the_days(opened):
    page = opened(TABLET)
    page.get_by_role("navigation", name="Months and years").get_by_role("link", name="Last month").click()

    expect(page.locator(".review-period")).to_contain_text("1 Mar 2026 to 31 Mar 2026, beside 29 Jan 2026")
    assert "from=2026-03-01&to=2026-03-31" in page.url
    expect(page.locator(".review-choose .button-on").first).to_contain_text("Last month")


def test_while_a_review_is_worked_out_the_page_says_of_what_and_about_how_long(site, open_page, axe):
    page, held = open_page(**TABLET), []

    def hold(route):
        if WORKED_OUT in (route.request.post_data or ""):
            held.append(route)
        else:
            route.continue_()

    page.route("**/_dash-update-component*", hold)
    page.goto(f"{site.address}/review?from=2026-03-20&to=2026-04-10")
    wait = page.get_by_role("status").filter(has_text="Working out 20 Mar 2026 to 10 Apr 2026")
    expect(wait).to_contain_text("a second or two here, as a guess")
    expect(page.locator("#review-page")).to_have_attribute("aria-busy", "true")
    axe(page)
    held.pop().continue_()
    page.locator(".review-first").wait_for()
    expect(wait).to_be_hidden()

    page.get_by_role("link", name="A year", exact=True).click()
    again = page.get_by_role("status").filter(has_text="Working out 11 Apr 2025 to 10 Apr 2026")
    expect(again).to_contain_text("going by the last one")
    expect(again).to_contain_text("Below, until then: the review before.")
    axe(page)
    held.pop().continue_()
    expect(page.locator(".review-period")).to_contain_text("11 Apr 2025 to 10 Apr 2026")
    expect(again).to_be_hidden()


def test_a_review_is_drawn_without_telling_the_store_of_every_part(opened):
    page = opened(DESK)
    page.evaluate("() => { window.told = 0; window.dash_stores[0].subscribe(() => { window.told += 1; }); }")
    page.get_by_role("link", name="A year", exact=True).click()
    expect(page.locator(".review-period")).to_contain_text("11 Apr 2025 to 10 Apr 2026")
    expect(page.locator("#review-page")).to_have_attribute("aria-busy", "false")

    parts, told = page.locator("#review-page *").count(), page.evaluate("window.told")
    assert 0 < told < parts / 2


def test_a_review_worked_out_before_is_there_at_once_and_marked_where_it_no_longer_holds(opened, site, axe):
    page, sent = opened(DESK), []
    page.on("request", lambda request: sent.append(request.post_data or ""))
    page.get_by_role("link", name="Record", exact=True).click()
    page.locator(".record-page table").first.wait_for()
    page.get_by_role("link", name="Review", exact=True).click()
    page.locator(".review-first").wait_for()
    expect(page.locator("#review-page")).to_have_attribute("aria-busy", "false")
    expect(page.locator("#review-wait")).to_be_hidden()
    assert not [body for body in sent if WORKED_OUT in body]

    page.get_by_role("link", name="Record", exact=True).click()
    page.locator(".record-page table").first.wait_for()
    found = audited(site.queries, site.queries.memory)
    failed = next(each for each in found.windows if each.key == AMMETER)
    step = FailureStep("held", TODAY, "q1", "lot 12 is held")
    write_step(site.store, found.book, window_at(found.book, AMMETER, failed.failed_at), step, who="q1", now=TODAY)
    site.queries.source.poll()
    held = []
    page.route(
        "**/_dash-update-component*",
        lambda route: held.append(route) if WORKED_OUT in (route.request.post_data or "") else route.continue_(),
    )
    page.get_by_role("link", name="Review", exact=True).click()
    page.locator(".review-first").wait_for()
    expect(page.locator("#review-page")).to_have_class("review review-before")
    expect(page.get_by_role("status").filter(has_text="Below, until then: the review before.")).to_be_visible()
    expect(page.locator("#review-page")).not_to_contain_text("contained")
    axe(page)
    held.pop().continue_()
    expect(page.locator("#review-page")).to_have_class("review")
    expect(page.locator("#review-page")).to_contain_text("contained")


def test_days_that_are_none_are_said_and_nothing_is_lost(opened, axe):
    page = opened(TABLET)
    page.get_by_label("First day").fill("soon")
    page.get_by_role("button", name="Review these days").click()

    expect(page.get_by_role("alert").filter(has_text="“soon” is none")).to_be_visible()
    expect(page.locator(".review-table tbody tr")).to_have_count(6)
    axe(page)


def test_the_table_comes_as_a_file(opened):
    page = opened(DESK, "?from=2026-03-20&to=2026-04-10")
    with page.expect_download() as waiting:
        page.get_by_role("link", name="This table as CSV").click()

    assert waiting.value.suggested_filename == "review-2026-03-20-2026-04-10.csv"
    assert "ammeter" in waiting.value.path().read_text(encoding="utf-8-sig")


@pytest.mark.parametrize("width", [360, 2560])
def test_nothing_is_cut_off(opened, width):
    page = opened({**DESK, "width": width})

    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
