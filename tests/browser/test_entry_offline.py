"""Writing checks down while the server is away, or does not answer: nothing is lost, nothing is kept twice."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from tests.browser.entry_steps import choose, keep, kept_since, last, opener, told, type_in
from tests.browser.made_site import Site
from tests.browser.screens import TABLET
from tests.dashboard.made_line import BATH, LAMP, SHIM


@pytest.fixture
def opened(site: Site, open_page: Callable[..., Page]) -> Callable[..., Page]:
    return opener(site, open_page)


def in_order_of_arrival(site: Site, sequence: int) -> list[str]:
    """Return the checks that readings arrived for, in the order in which the store took them."""
    named = {stream.number: stream.key.check for stream in site.store.kept_streams()}
    bodies = [json.loads(entry.record) for entry in site.store.since(sequence) if entry.kind == "readings"]
    return [named[body["streams"][0]] for body in bodies]


def test_entries_wait_while_the_server_is_away_and_arrive_once_in_order(opened, site, seen, axe):
    seen.server_ends = True
    page = opened(TABLET)
    before = site.store.sequence()
    page.context.set_offline(True)
    expect(page.locator("#link-words")).to_contain_text("No contact with the server")
    page.get_by_role("button", name="0.20 mL/100 mL", exact=True).tap()
    keep(page)
    expect(told(page)).to_contain_text("Kept here, not judged yet")
    choose(page, "Notched shim")
    page.get_by_role("button", name="partly", exact=True).tap()
    keep(page)
    choose(page, "UV-A irradiance")
    type_in(page, "1800")
    keep(page)

    expect(page.locator(".entry-waiting")).to_contain_text("3 entries wait on this tablet since ")
    axe(page)
    assert site.store.sequence() == before
    page.context.set_offline(False)
    page.reload()  # what waited outlives the page
    expect(page.locator(".entry-list")).to_be_visible()
    expect(page.locator(".entry-waiting")).to_have_count(0)
    assert kept_since(site, before) == 3
    assert [last(site, key) for key in (BATH, SHIM, LAMP)] == [0.2, "partly", 1800.0]
    assert in_order_of_arrival(site, before) == [BATH.check, SHIM.check, LAMP.check]
    page.reload()
    expect(page.locator(".entry-list")).to_be_visible()
    assert kept_since(site, before) == 3


def test_an_unlikely_value_is_asked_about_without_the_server_too(opened, site, seen):
    seen.server_ends = True
    page = opened(TABLET)
    choose(page, "UV-A irradiance")
    page.context.set_offline(True)
    expect(page.locator("#link-words")).to_contain_text("No contact with the server")
    type_in(page, "18")
    keep(page)

    expect(page.locator(".entry-asks")).to_contain_text("far outside the readings before")


def test_what_the_server_asks_of_an_entry_that_waited_is_answered_later(opened, site, seen):
    """The answer to the first try was lost: the tablet asks the person, and throws nothing away by itself."""
    seen.server_ends = True
    page = opened(TABLET)
    choose(page, "UV-A irradiance")
    page.evaluate(
        """() => writtenDown.add({line: 'Line 1', check: 'uva_irradiance', position: 'lamp 1', value: '1.8',
        technician: 'ktl', sure: []}, {stream: 'x', title: 'UV-A irradiance, lamp 1'})"""
    )
    page.evaluate("() => writtenDown.flush()")
    stuck = page.locator(".entry-stuck")
    expect(stuck).to_contain_text("Was it read in mW/cm²?")
    stuck.get_by_role("button", name="Keep it as typed").tap()

    expect(stuck).to_have_count(0)
    page.wait_for_function("() => writtenDown.all().length === 0")
    assert last(site, LAMP) == 1.8


def test_a_question_that_comes_late_takes_back_that_the_entry_only_waits(opened, site, seen):
    seen.server_ends = True
    page = opened(TABLET)
    page.route("**/write/keep", lambda route: route.abort())
    choose(page, "UV-A irradiance")
    type_in(page, "1.8")
    keep(page)
    expect(told(page)).to_contain_text("It arrives by itself when the server answers.")
    page.unroute("**/write/keep")

    expect(page.locator(".entry-stuck")).to_contain_text("Was it read in mW/cm²?")
    expect(told(page)).to_have_count(0)


def test_an_answer_that_was_lost_on_the_way_doubles_nothing(opened, site, seen):
    """The server kept the entry and the tablet never heard of it: it sends again, under the same name."""
    seen.server_ends = True
    page = opened(TABLET)
    before = site.store.sequence()
    lost: list[int] = []

    def lose(route: Any) -> None:
        answer = route.fetch()
        if len(lost) < 2:
            lost.append(answer.status)
            route.abort()
        else:
            route.fulfill(response=answer)

    page.route("**/write/keep", lose)
    page.get_by_role("button", name="0.20 mL/100 mL", exact=True).tap()
    keep(page)

    expect(told(page)).to_contain_text("Passes")
    expect(told(page)).to_contain_text("It stood there already; it was kept once.")
    assert lost == [200, 200]
    assert kept_since(site, before) == 1


def test_a_sign_in_that_ran_out_keeps_what_was_written_until_somebody_signs_in(opened, site, seen, axe):
    seen.server_ends = True
    page = opened(TABLET)
    before = site.store.sequence()
    page.route("**/write/keep", lambda route: route.fulfill(status=401, body="sign in"))
    page.get_by_role("button", name="0.20 mL/100 mL", exact=True).tap()
    keep(page)

    expect(page.locator(".entry-waiting")).to_contain_text("1 entry waits on this tablet")
    expect(page.locator(".entry-waiting")).to_contain_text("Sign in again")
    axe(page)
    assert site.store.sequence() == before
    page.unroute("**/write/keep")
    expect(page.locator(".entry-waiting")).to_have_count(0)
    assert last(site, BATH) == 0.2
