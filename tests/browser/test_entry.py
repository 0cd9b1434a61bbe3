"""What a line lead does with the tablet: every way to write a check down, with gloves and without the server."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from playwright.sync_api import Locator, Page, Route, expect

from spc.store.entries import Correction, Reaction
from tests.browser.entry_steps import NAMED, choose, keep, last, opener, told, type_in
from tests.browser.made_site import Site, serving
from tests.browser.screens import TABLET, TOUCHED_DESK, TOUCHED_ON_BOTH
from tests.dashboard.made_entry import TODAY, stored_queries, stored_settings
from tests.dashboard.made_line import AMMETER, BATH, LAMP, SHIM


class Taps:
    """Counts what a person taps."""

    def __init__(self) -> None:
        self.n = 0

    def __call__(self, what: Locator) -> None:
        self.n += 1
        what.tap()


@pytest.fixture
def opened(site: Site, open_page: Callable[..., Page]) -> Callable[..., Page]:
    return opener(site, open_page)


@TOUCHED_ON_BOTH
def test_a_due_reading_takes_four_taps_at_most_and_the_next_is_offered(opened, site, screen):
    page, tap = opened(screen), Taps()
    expect(page.locator(".entry-card h2")).to_have_text("Bath concentration")
    tap(page.get_by_role("button", name="0.20 mL/100 mL", exact=True))
    tap(page.get_by_role("button", name="one step of 0.01 more"))
    tap(page.get_by_role("button", name="Keep", exact=True))

    expect(told(page)).to_contain_text("Passes")
    expect(told(page)).to_contain_text("0.21 mL/100 mL")
    expect(told(page)).to_contain_text("0.110 above the lower limit 0.1 mL/100 mL")
    expect(told(page).locator(".entry-course")).to_be_visible()
    expect(page.locator(".entry-card h2")).not_to_have_text("Bath concentration")
    assert tap.n <= 4
    assert last(site, BATH) == 0.21
    assert site.store.streams()[BATH].technician[-1] == "ktl"


def test_the_tube_is_large_enough_for_gloves_and_shows_its_upper_half(opened):
    page = opened(TABLET)
    for band in page.locator(".tube-band").all():
        assert (band.bounding_box() or {"height": 0})["height"] >= 44
    page.get_by_role("button", name="Upper half of the stem").tap()
    page.get_by_role("button", name="0.80 mL/100 mL", exact=True).tap()

    expect(page.locator(".tube-value")).to_have_text("0.80 mL/100 mL")
    for key in page.locator(".entry-card .button").all():
        assert (key.bounding_box() or {"height": 0})["height"] >= 44


@TOUCHED_ON_BOTH
def test_an_ammeter_shows_its_deviation_as_it_is_typed(opened, site, screen):
    page = opened(screen)
    choose(page, "Ammeter")
    expect(page.get_by_label("Reference")).to_have_value("1000")
    type_in(page, "1040")

    expect(page.locator("#entry-deviation")).to_have_text("deviation +4.0 %")
    keep(page)
    expect(told(page)).to_contain_text("1040 A at 1000 A")
    expect(told(page)).to_contain_text("Ammeter deviation 4.0 %")
    assert site.store.streams()[AMMETER].reference[-1] == 1000.0


@TOUCHED_ON_BOTH
def test_a_judged_check_is_two_taps(opened, site, screen):
    page, tap = opened(screen), Taps()
    choose(page, "Notched shim")
    tap(page.get_by_role("button", name="shown", exact=True))
    tap(page.get_by_role("button", name="Keep", exact=True))

    expect(told(page)).to_contain_text("Passes")
    assert (tap.n, last(site, SHIM)) == (2, "shown")


def test_not_in_operation_is_one_tap(opened, site):
    page, tap = opened(TABLET), Taps()
    tap(page.get_by_role("button", name="Line not in operation"))

    expect(told(page)).to_contain_text("Not in operation")
    assert (tap.n, last(site, BATH)) == (1, "not run")


@TOUCHED_ON_BOTH
def test_an_unlikely_value_is_asked_about_and_changed_or_kept(opened, site, axe, screen):
    page = opened(screen)
    before = len(site.store.streams()[LAMP])
    choose(page, "UV-A irradiance")
    type_in(page, "1.8")
    keep(page)

    expect(page.locator(".entry-asks")).to_contain_text("Was it read in mW/cm²? Then it is 1,800")
    axe(page)
    assert len(site.store.streams()[LAMP]) == before
    page.get_by_role("button", name="Change it").tap()
    type_in(page, "18")
    keep(page)
    page.get_by_role("button", name="Keep as typed").tap()
    expect(told(page)).to_contain_text("Outside, limits not confirmed")
    assert last(site, LAMP) == 18.0


@TOUCHED_ON_BOTH
def test_a_failed_check_stays_until_its_obligations_were_seen(opened, site, axe, screen):
    page = opened(screen)
    page.get_by_role("button", name="0.05 mL/100 mL", exact=True).tap()
    keep(page)
    page.get_by_role("button", name="Keep as typed").tap()

    expect(told(page)).to_contain_text("Fails")
    expect(told(page)).to_contain_text("Hold every part processed since the last good settling test")
    expect(told(page)).to_contain_text("Last good check: ")
    expect(page.get_by_role("link", name="What is in doubt, and where to write down what was done")).to_be_visible()
    expect(page.locator(".entry-card")).to_have_count(0)
    axe(page)
    page.get_by_role("button", name="Go on with the next check").tap()
    expect(page.locator(".entry-card")).to_be_visible()


@TOUCHED_ON_BOTH
def test_a_reaction_is_asked_for_while_something_moves(opened, site, axe, screen):
    page = opened(screen)
    choose(page, "UV-A irradiance")
    type_in(page, "1800")
    keep(page)

    expect(told(page)).to_contain_text("UV-A irradiance, lamp 1")
    expect(page.locator(".entry-card")).to_have_count(0)
    axe(page)
    page.locator(".entry-looks button").nth(2).tap()
    page.get_by_label("What was done").fill("filter cleaned, read again")
    page.get_by_role("button", name="Keep the reaction").tap()
    expect(told(page)).to_contain_text("Written down: seen, cause, action, by ktl")
    expect(page.locator(".entry-card")).to_be_visible()
    kept = [(entry.record.step, entry.record.words) for entry in site.store.records(Reaction)]
    assert kept[0] == ("acknowledged", "")
    assert kept[1][0] == "cause"
    assert kept[1][1].startswith("Filter")
    assert kept[2] == ("action", "filter cleaned, read again")


def test_a_slip_is_put_right_with_its_reason(opened, site, axe):
    page = opened(TABLET)
    page.get_by_role("button", name="0.20 mL/100 mL", exact=True).tap()
    keep(page)
    page.get_by_role("button", name="Put the last one right").tap()
    axe(page)
    page.get_by_label("It should say").fill("0.22")
    page.get_by_role("button", name="Keep the correction").tap()

    expect(told(page)).to_contain_text("0.22")
    expect(told(page)).to_contain_text("Corrected")
    assert last(site, BATH) == 0.22
    (kept,) = site.store.records(Correction)
    assert (kept.record.why, kept.who) == ("typed wrong", "ktl")


def test_a_keyboard_does_all_of_it(opened, site):
    page = opened(TOUCHED_DESK)
    choose(page, "UV-A irradiance")
    page.get_by_label("Read", exact=True).focus()
    page.keyboard.type("18x00")
    page.keyboard.press("Enter")

    expect(told(page)).to_contain_text("1800 µW/cm²")
    assert last(site, LAMP) == 1800.0


def test_what_cannot_be_is_refused_beside_the_field(opened, site):
    page = opened(TABLET)
    before = site.store.sequence()
    keep(page)
    expect(page.locator(".entry-note")).to_have_text("Put in what was read.")
    page.get_by_role("button", name="Type it instead").tap()
    type_in(page, "300")
    keep(page)

    expect(page.locator(".entry-note")).to_contain_text("cannot be above 100")
    assert site.store.sequence() == before


def test_a_reading_taken_earlier_and_one_of_the_future(opened, site):
    page = opened(TABLET)
    page.locator(".entry-more summary").tap()
    page.get_by_label("Taken earlier").fill("2026-04-11T13:20")
    page.get_by_role("button", name="0.20 mL/100 mL", exact=True).tap()
    keep(page)

    expect(told(page)).to_contain_text("Sat 11 Apr 2026 13:20")
    assert site.store.streams()[BATH].shift[-1] == "A"


@pytest.mark.parametrize(
    "screen", [TABLET, {**TOUCHED_DESK, "width": 390, "height": 844}, TOUCHED_DESK], ids=["820", "390", "1440"]
)
def test_axe_finds_nothing_and_nothing_is_cut_off(opened, axe, screen):
    page = opened(screen)
    axe(page)
    choose(page, "Ammeter")
    axe(page)
    page.locator(".entry-more summary").tap()
    page.locator(".entry-other summary").tap()
    axe(page)

    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_a_check_that_is_not_listed_can_be_written_down(opened, site):
    page = opened(TOUCHED_DESK)
    page.locator(".entry-other summary").tap()
    page.get_by_label("Check", exact=True).select_option("quick_break")
    page.get_by_label("Line", exact=True).fill("Line 2")
    page.get_by_label("Where: tank, lamp, head").fill("coil")
    page.get_by_role("button", name="Open it").tap()
    page.get_by_role("button", name="pass", exact=True).tap()
    keep(page)

    expect(told(page)).to_contain_text("Line 2 · Quick break, coil: pass")
    assert any(str(key) == "Line 2 · quick_break · coil" for key in site.store.streams())


def test_a_bare_log_says_how_to_get_a_store(open_page, line, axe):
    page = open_page(**TABLET)
    page.goto(line.address + "/write")

    expect(page.locator("#write")).to_contain_text("spc serve --store FILE --follow LOG")
    axe(page)


def test_the_board_leads_to_the_check_that_is_overdue(opened, open_page, site):
    page = open_page(**TOUCHED_DESK)
    page.add_init_script(NAMED)
    page.goto(site.address + "/")
    page.locator(".todo-item", has_text="Bath concentration").get_by_role("link", name="Write the check down").click()

    expect(page.locator(".entry-card h2")).to_have_text("Bath concentration")
    assert "check=bath_concentration" in page.url


@TOUCHED_ON_BOTH
def test_overdue_checks_of_a_line_are_one_thing_to_do_a_tap_from_writing(open_page, tmp_path, axe, seen, screen):
    with serving(stored_queries(stored_settings(tmp_path, calendar=False), TODAY + timedelta(days=40))) as site:
        page = open_page(**screen)
        page.goto(site.address + "/")
        late = page.locator(".todo-late")
        expect(late).to_have_count(1)

        rows = [row.bounding_box() for row in late.first.locator(".late a").all()]
        assert len(rows) > 1
        assert all(row["height"] >= 44 for row in rows)
        assert (page.locator(".todo-item").nth(1).bounding_box() or {})["y"] + 100 < screen["height"]
        expect(page.locator(".todo-counts")).to_contain_text("4 overdue")
        axe(page)
        late.first.get_by_role("link", name="Bath concentration").click()
        expect(page.locator(".entry-card h2")).to_have_text("Bath concentration")
        seen.server_ends = True
        page.close()


def test_what_is_due_is_offered_one_after_the_other_until_nothing_is(opened, site):
    """Nothing but taps on what is open: no list, no scrolling, no name asked again."""
    page, taps = opened(TABLET), Taps()
    expect(page.locator(".entry-card h2")).to_have_text("Bath concentration")
    taps(page.get_by_role("button", name="0.20 mL/100 mL", exact=True))
    taps(page.get_by_role("button", name="Keep", exact=True))
    expect(page.locator(".entry-card h2")).to_have_text("Water break")
    taps(page.get_by_role("button", name="pass", exact=True))
    taps(page.get_by_role("button", name="Keep", exact=True))

    expect(page.locator(".entry-card h2")).to_have_text("Nothing is due this shift")
    assert taps.n == 4
    assert last(site, BATH) == 0.2


def test_what_somebody_else_writes_down_leaves_the_list_by_itself(opened, open_page, site):
    page, other = opened(TABLET), opened(TOUCHED_DESK)
    expect(page.locator(".entry-group-overdue")).to_contain_text("Bath concentration")
    other.get_by_role("button", name="0.20 mL/100 mL", exact=True).tap()
    keep(other)

    expect(page.locator(".entry-group-overdue")).to_have_count(0)


def test_with_nothing_due_the_list_stands_open_and_says_what_comes_next(opened, axe):
    page = opened(TABLET)

    def all_later(route: Route) -> None:
        told = route.fetch().json()
        route.fulfill(json=told | {"cards": [card | {"when": "later"} for card in told["cards"]]})

    page.route("**/write/cards*", all_later)
    page.reload()

    expect(page.locator(".entry-none h2")).to_have_text("Nothing is due this shift")
    expect(page.locator(".entry-none")).to_contain_text("(Europe/Vienna).")
    expect(page.locator("details[data-group=later] .entry-row").first).to_be_visible()
    axe(page)
