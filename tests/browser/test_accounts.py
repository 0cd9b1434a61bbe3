"""Signing in, changing person, what happens when a session ends: as people do it."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Page, expect

from spc.store.accounts import accounts_of, add_account, set_password, set_role
from tests.browser.made_site import Site, running_site

GOOD = "four plain words here"
NEXT = "five other words by far"
NOW = datetime(2026, 4, 10, 14, 0, tzinfo=UTC)
HEIGHTS = "fields => fields.map(field => field.clientHeight)"
LEAST_TO_TOUCH = 44
"""Pixels a touch target is high at least: success criterion 2.5.5 of WCAG 2.2, level AAA."""
SCREENS = [{"width": 820, "height": 1180, "has_touch": True}, {"width": 1440, "height": 900}]


@pytest.fixture
def site(tmp_path) -> Iterator[Site]:
    with running_site(tmp_path) as running:
        for name, role in (("Anna", "administrator"), ("Karl", "lead")):
            add_account(running.store, name, role, GOOD, who="setup", now=NOW)
        yield running


@pytest.fixture(autouse=True)
def refusals_are_complaints_to_a_browser(seen) -> None:
    seen.server_ends = True


def sign_in(page: Page, name: str, password: str = GOOD) -> None:
    form = page.locator(".sign-in")
    form.get_by_label("Name", exact=True).fill(name)
    form.get_by_label("Password", exact=True).fill(password)
    form.get_by_role("button", name="Sign in", exact=True).click()


def opened(open_page: Callable[..., Page], site: Site, name: str, path: str = "/", **screen) -> Page:
    page = open_page(**screen)
    page.goto(site.address + path)
    sign_in(page, name)
    expect(page.locator("#person-name")).to_contain_text(name)
    return page


@pytest.mark.parametrize("screen", SCREENS, ids=["tablet", "desktop"])
def test_somebody_signs_in_and_is_where_the_address_led(open_page, site, axe, screen):
    page = open_page(**screen)
    page.goto(site.address + "/rows")
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    axe(page)
    sign_in(page, "Karl", "a wrong password")
    expect(page.get_by_role("alert")).to_contain_text("do not fit")
    axe(page)
    sign_in(page, "karl")

    expect(page.get_by_role("heading", name="Rows read")).to_be_visible()
    expect(page.locator("#person-name")).to_have_text("Karl (lead)")
    axe(page)


@pytest.mark.parametrize("screen", SCREENS, ids=["tablet", "desktop"])
def test_a_shared_tablet_changes_person_by_name_and_password(open_page, site, axe, screen):
    page = opened(open_page, site, "Karl", **screen)
    page.locator(".tile").first.wait_for()
    page.evaluate("window.here = true")
    page.get_by_role("button", name="Change person").click()
    axe(page)
    sign_in(page, "Anna")
    expect(page.locator("#person-name")).to_have_text("Anna (administrator)")
    page.get_by_role("button", name="Change person").click()
    page.get_by_role("button", name="Karl", exact=True).click()
    expect(page.get_by_label("Password", exact=True)).to_be_focused()
    page.keyboard.type(GOOD)
    page.keyboard.press("Enter")

    expect(page.locator("#person-name")).to_have_text("Karl (lead)")
    assert page.evaluate("window.here")


def test_the_page_stays_while_its_screen_asks_again_and_what_was_asked_goes_on(open_page, site, axe):
    page = opened(open_page, site, "Karl")
    page.locator(".tile").first.wait_for()
    page.evaluate("window.here = true")
    set_password(site.store, "Karl", NEXT, who="Anna", now=NOW)
    expect(page.get_by_role("heading", name="Sign in to go on")).to_be_visible()
    axe(page)
    page.keyboard.press("Escape")
    expect(page.get_by_role("heading", name="Sign in to go on")).to_be_visible()
    expect(page.locator("#link-words")).to_contain_text("may be old")
    sign_in(page, "Karl", NEXT)

    expect(page.locator("#link-words")).to_have_text("Live")
    expect(page.locator(".tile").first).to_be_visible()
    page.get_by_role("link", name="Write down").click()
    expect(page.locator("h1")).to_be_visible()
    assert page.evaluate("window.here")


def test_signing_out_leaves_nothing_of_the_line_on_the_screen(open_page, site):
    page = opened(open_page, site, "Karl")
    page.get_by_role("button", name="Sign out").click()

    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    assert "Line 1" not in page.content()
    page.go_back()
    expect(page.locator(".tile")).to_have_count(0)


def test_an_administrator_makes_an_account_that_signs_in(open_page, site, axe):
    page = opened(open_page, site, "Anna", "/accounts")
    form = page.locator("section", has_text="New account")
    form.get_by_label("Name").fill("Eva")
    form.get_by_label("Role").fill("engineer")
    form.get_by_label("Password").fill("short")
    form.get_by_role("button").click()
    expect(page.locator("#accounts-said")).to_contain_text("take 12 or more")
    form.get_by_label("Password").fill(GOOD)
    form.get_by_role("button").click()

    expect(page.locator("#accounts-said")).to_have_text("Eva (engineer) may sign in now.")
    expect(page.locator("#accounts-table")).to_contain_text("Eva")
    axe(page)
    other = opened(open_page, site, "Eva")
    expect(other.locator("#person-name")).to_have_text("Eva (engineer)")


@pytest.mark.parametrize("look", ["dark", "light"])
@pytest.mark.parametrize("width", [360, 1440])
def test_the_page_of_accounts_as_a_lead_and_as_an_administrator(open_page, site, axe, width, look):
    for name, sees in (("Karl", "Accounts are managed by whoever is administrator."), ("Anna", "New account")):
        page = opened(open_page, site, name, "/accounts", width=width, color_scheme=look)
        expect(page.get_by_text(sees)).to_be_visible()
        axe(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert min(page.locator(".account-form .dash-input-container").evaluate_all(HEIGHTS)) >= LEAST_TO_TOUCH


def test_a_lost_right_is_said_and_nothing_is_changed(open_page, site):
    page = opened(open_page, site, "Anna", "/accounts")
    add_account(site.store, "Otto", "administrator", GOOD, who="Anna", now=NOW)
    set_role(site.store, "Anna", "lead", who="Otto", now=NOW)
    sign_in(page, "Anna")
    page.locator("section", has_text="New account").get_by_label("Name").fill("Eva")
    page.get_by_role("button", name="Make the account").click()

    expect(page.locator(".no-right-said")).to_contain_text("Anna (lead) may not manage accounts; administrator may")
    assert "eva" not in accounts_of(site.store)


def test_one_changes_ones_own_password(open_page, site):
    page = opened(open_page, site, "Karl", "/accounts")
    page.get_by_label("Password so far").fill(GOOD)
    page.get_by_label("New one, 12 characters or more").fill(NEXT)
    page.get_by_role("button", name="Change my password").click()
    sign_in(page, "Karl", NEXT)

    expect(page.locator("#person-name")).to_have_text("Karl (lead)")
    expect(page.locator("#accounts-own-said")).to_have_text("Your password is changed. Sign in with the new one.")


def test_without_any_account_one_is_made_and_none_is_changed(open_page, tmp_path, axe):
    with running_site(tmp_path) as running:
        page = open_page()
        page.goto(running.address + "/accounts")

        expect(page.get_by_role("heading", name="New account")).to_be_visible()
        expect(page.get_by_text("Change an account")).to_be_hidden()
        axe(page)
