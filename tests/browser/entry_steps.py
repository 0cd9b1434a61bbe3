"""What a person does on the page for writing checks down, step by step."""

from collections.abc import Callable
from typing import Any

from playwright.sync_api import Locator, Page, expect

from spc.records import StreamKey
from tests.browser.made_site import Site

NAMED = "localStorage.setItem('write-technician', 'ktl')"


def opener(site: Site, open_page: Callable[..., Page]) -> Callable[..., Page]:
    """Return what opens the page on a screen, the name remembered on it."""

    def open_one(screen: dict[str, Any], search: str = "") -> Page:
        page = open_page(**screen)
        page.add_init_script(NAMED)
        page.goto(f"{site.address}/write{search}")
        page.locator(".entry-card").wait_for()
        return page

    return open_one


def choose(page: Page, title: str, line: str = "") -> None:
    """Open a check from the list."""
    row = page.locator(".entry-row", has_text=title).filter(has_text=line).first
    if not row.is_visible():
        page.locator("details.entry-group").filter(has=row).first.locator("summary").tap()
    row.tap()
    expect(page.locator(".entry-card h2")).to_have_text(title)


def type_in(page: Page, keys: str) -> None:
    """Tap keys of the number pad."""
    for key in keys:
        name = "decimal point" if key == "." else key
        page.locator(".entry-pad").get_by_role("button", name=name, exact=True).tap()


def keep(page: Page) -> None:
    """Keep what is put in."""
    page.get_by_role("button", name="Keep", exact=True).tap()


def told(page: Page) -> Locator:
    """Return what is said of the last reading."""
    return page.locator(".entry-told")


def last(site: Site, key: StreamKey) -> Any:
    """Return what the store's last reading of a stream says."""
    readings = site.store.streams()[key]
    return readings.word[-1] or readings.value[-1]


def kept_since(site: Site, sequence: int) -> int:
    """Return how many readings were kept one by one since an entry of the trail."""
    return len([entry for entry in site.store.since(sequence) if entry.kind == "readings"])
