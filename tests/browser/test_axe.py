"""axe-core finds nothing on any page: WCAG 2.2 A and AA, both looks, tablet-narrow and desk-wide."""

from typing import Any

import pytest
from playwright.sync_api import expect

from dashboard.app import ROOMS
from dashboard.urls import RECORD, RECORD_PARTS, STREAM, WINDOW, StreamView
from spc.records import StreamKey
from tests.dashboard.made_line import AMMETER, BATH, LAMP, SHIM

SHOWN: tuple[tuple[StreamKey, dict[str, Any]], ...] = (
    (BATH, {"show": "all"}),
    (LAMP, {"rules": "on"}),
    (AMMETER, {}),
    (SHIM, {}),
    (BATH, {"start": "never"}),
)
STATES = {
    STREAM: [StreamView(key.line, key.check, key.position, **more).to_search() for key, more in SHOWN] + ["?line=none"],
    RECORD: [f"?part={part}" for part in RECORD_PARTS] + ["?line=none", "?part=instruments&instrument=rad-1"],
    WINDOW: ["?line=Line+2&check=ammeter&position=head&at=2026-04-10T14:10", "?line=none"],
}
"""What follows an address in the states that a page has; a page without a row here has one state."""

ADDRESSES = [room.path + search for room in ROOMS for search in STATES.get(room.path, [""])] + ["/no-such-page"]
SCREENS = [(390, "dark"), (1440, "light")]


@pytest.mark.parametrize(("width", "look"), SCREENS, ids=[f"{width} {look}" for width, look in SCREENS])
@pytest.mark.parametrize("address", ADDRESSES)
def test_axe_finds_nothing(open_page, line, axe, seen, address, width, look):
    page = open_page(width=width, color_scheme=look)
    seen.server_ends = address == "/no-such-page"  # its 404 is a complaint to a browser
    page.goto(line.address + address)
    expect(page.locator("h1")).to_have_count(1)
    expect(page.locator("#link-words")).to_have_text("Live")
    expect(page.get_by_text("Looking it up ...")).to_have_count(0)
    if page.locator("#stream-figure").count():
        page.locator("#stream-figure .main-svg").first.wait_for()

    axe(page)
