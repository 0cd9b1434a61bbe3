"""From what moves most in the whole fleet to the signals behind it, as a quality manager goes."""

import threading
from dataclasses import replace

import pytest
from playwright.sync_api import expect

from dashboard import server
from dashboard.app import create_app
from dashboard.settings import Settings
from spc.fleet import write_fleet
from tests.browser.screens import ON_BOTH
from tests.dashboard.made_line import asked, watched, write_line
from tests.fleet.made_fleet import made_fleet


@pytest.fixture
def address(tmp_path):
    settings = replace(write_line(tmp_path), fleet=tmp_path / "out")
    running = server.create_server(
        server.bound(Settings(log=settings.log, port=0)), create_app(asked(settings, watched(settings))).server
    )
    thread = threading.Thread(target=running.run, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{running.effective_port}/fleet"
    running.task_dispatcher.shutdown(timeout=1)
    for channel in list(running.active_channels.values()):
        channel.handle_close()
    running.close()


@ON_BOTH
def test_from_what_moves_most_to_its_signals(address, open_page, axe, tmp_path, screen):
    fleet = made_fleet(330)
    write_fleet(fleet, tmp_path / "out")
    page = open_page(**screen)
    page.goto(address)
    expect(page.locator("#ways a[href='/fleet']")).to_have_text("Fleet")
    expect(page.locator(".fleet-table tbody tr")).to_have_count(100)
    axe(page)

    page.get_by_role("link", name="More rows").click()
    expect(page.locator("caption")).to_contain_text("101 to 200")
    page.get_by_role("link", name="Rows before").click()
    expect(page.locator("caption")).to_contain_text("1 to 100")
    drifts = page.locator(".fleet-table tbody tr").first.locator("td").nth(1)
    number = drifts.inner_text()
    drifts.get_by_role("link").click()

    expect(page.locator(".fleet-table tbody tr")).to_have_count(int(number))
    expect(page.locator("caption")).to_contain_text(f"{number} signals, the newest first")
    axe(page)
    page.get_by_role("link", name="Streams", exact=True).click()
    expect(page.locator("caption")).to_have_text("1 stream")
    axe(page)


@ON_BOTH
def test_a_name_is_found_and_a_column_sorted_and_the_address_keeps_both(address, open_page, tmp_path, screen):
    write_fleet(made_fleet(330), tmp_path / "out")
    page = open_page(**screen)
    page.goto(address + "?part=streams")
    page.get_by_label("Site, line, check or position").fill("line 0000")
    page.keyboard.press("Enter")
    expect(page.locator("caption")).to_have_text("30 streams")
    page.get_by_role("link", name="Failed checks").click()
    head = page.locator("th[aria-sort]")
    expect(head).to_have_attribute("aria-sort", "descending")
    counts = [int(words) for words in page.locator(".fleet-table tbody tr td:nth-child(10)").all_inner_texts()]
    assert counts == sorted(counts, reverse=True)

    page.reload()
    expect(page.locator("caption")).to_have_text("30 streams")
    expect(page.get_by_label("Site, line, check or position")).to_have_value("line 0000")
    expect(page.locator("th[aria-sort]")).to_have_attribute("aria-sort", "descending")


@ON_BOTH
def test_what_is_not_there_yet_is_said(address, open_page, axe, screen):
    page = open_page(**screen)
    page.goto(address)

    expect(page.locator(".fleet-problem")).to_contain_text("spc fleet READINGS --out")
    axe(page)
