"""The set-up sample before a run, as a person makes it."""

import pytest
from playwright.sync_api import Page, expect

from spc.run_start import RingHoles, SetupSample
from tests.browser.screens import TABLET, TOUCHED_DESK, TOUCHED_ON_BOTH


@pytest.fixture
def opened(open_at):
    return lambda screen, line="Line 1": open_at(screen, f"/setup?line={line}", ".setup-form")


def technique(page: Page) -> None:
    page.get_by_label("Shape of the part").fill("bracket")
    page.get_by_label("Circuit", exact=True).fill("head")
    page.get_by_label("Amperes", exact=True).fill("1500")
    page.get_by_label("Your name").fill("ktl")


def keep(page: Page) -> None:
    page.get_by_role("button", name="Keep this sample").tap()


@TOUCHED_ON_BOTH
def test_a_weak_shim_leads_to_the_factors_in_order(opened, site, axe, screen):
    page = opened(screen)
    axe(page)
    technique(page)
    page.get_by_label("Type of the shim").fill("CX4-230")
    page.get_by_label("Where on the part it sits").fill("web, inside")
    page.get_by_role("button", name="partly", exact=True).tap()
    keep(page)
    done = page.locator(".setup-done")

    expect(done).to_contain_text("Weak: that is no proof. Do not start the run")
    heads = [head.inner_text() for head in done.locator(".setup-factor h3").all()]
    assert [head.partition(":")[0] for head in heads] == [
        "Bath application",
        "Concentration",
        "Magnetizing, and the balance of the circuits",
        "UV-A and white light",
        "Continuous technique",
        "The reference itself",
    ]
    expect(done.locator(".setup-factor-first")).to_contain_text("UV-A irradiance, lamp 1")
    axe(page)
    (entry,) = site.store.records(SetupSample)
    assert (entry.record.result, entry.record.line, entry.who) == ("weak", "Line 1", "ktl")
    expect(page.locator(".setup-past")).to_contain_text("1 of 1 samples of Line 1 showed too little")


def test_a_ring_is_held_against_the_minimum_of_its_current(opened, site, axe):
    page = opened(TOUCHED_DESK, "Line 2")
    technique(page)
    page.get_by_role("button", name="Ring", exact=True).tap()
    page.get_by_label("Type of the ring").fill("AS5282")
    page.get_by_label("Current through the ring").fill("1000")
    page.get_by_label("Holes seen").fill("5")
    axe(page)
    keep(page)

    expect(page.locator(".setup-done")).to_contain_text("Shown: the set-up shows what it should")
    expect(page.locator(".setup-factors")).to_have_count(0)
    (entry,) = site.store.records(SetupSample)
    assert entry.record.reference == RingHoles("AS5282", 1000.0, 5, 5)


@pytest.mark.parametrize(
    ("leave_out", "says"),
    [
        ("Shape of the part", "Write the shape of the part"),
        ("Amperes", "amperes of head"),
        ("Your name", "Write your name"),
    ],
)
def test_what_is_missing_is_said_and_nothing_is_kept(opened, site, leave_out, says):
    page = opened(TABLET)
    technique(page)
    page.get_by_label("Type of the shim").fill("CX4-230")
    page.get_by_label("Where on the part it sits").fill("web")
    page.get_by_role("button", name="shown", exact=True).tap()
    page.get_by_label(leave_out, exact=leave_out == "Amperes").fill("")
    keep(page)

    expect(page.locator(".setup-said")).to_contain_text(says)
    assert site.store.records(SetupSample) == ()


def test_only_what_the_technique_uses_is_asked_for(opened, site, axe):
    page = opened(TABLET, "Line 2")
    circuits, amperes = page.get_by_label("Circuit"), page.get_by_label("Amperes")
    expect(circuits).to_have_count(1)
    page.get_by_role("button", name="multidirectional", exact=True).tap()

    expect(circuits).to_have_count(3)
    expect(circuits.first).to_have_value("head")
    axe(page)
    page.get_by_role("button", name="coil", exact=True).tap()
    expect(amperes).to_have_count(1)
    expect(circuits).to_have_value("")


def test_nothing_is_cut_off_on_a_narrow_screen(opened, axe):
    page = opened({**TABLET, "width": 390, "height": 844})
    axe(page)

    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
