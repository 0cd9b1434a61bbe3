"""Take the pictures of `docs/pictures/`: `python docs/pictures.py [NAME ...]`, with Chromium; look at each afterwards.

They show the demo line, on a board of its own, in daylight and at the widths people use.
"""

import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

FOLDER = Path(__file__).parent / "pictures"
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
DRAWN = 4000
"""Milliseconds after which a page stands, its chart too."""

STANDS = "html[data-link='live']:not(:has([aria-busy='true']))"
"""A page that is current and works nothing out any more."""

LONGEST_WAIT = 120_000

TABLET = (820, 1180)
DESKTOP = (1440, 900)
WALL = (2560, 1440)


@dataclass(frozen=True, slots=True)
class Shot:
    """A page, how large it is shown, and what is tapped before the picture."""

    name: str
    path: str
    size: tuple[int, int]
    look: str = "light"
    tap: str = ""  # the text of the first thing to tap
    whole: bool = False  # the whole page, not the first screen alone


SHOTS = (
    Shot("board", "/", DESKTOP),
    Shot("board-tablet", "/", TABLET),
    Shot("board-wall", "/", WALL, look="dark"),
    Shot("write", "/write", TABLET),
    Shot("set-up", "/setup", TABLET),
    Shot("streams", "/streams", DESKTOP),
    Shot("drift-room", "", DESKTOP),
    Shot("record", "/record", DESKTOP),
    Shot("review", "/review", DESKTOP),
    Shot("study", "/study", DESKTOP),
    Shot("rows", "/rows", DESKTOP),
    Shot("accounts", "/accounts", DESKTOP),
)


@contextmanager
def demo() -> Iterator[str]:
    """Run the demo line on a free port; give its address."""
    program = Path(sys.executable).with_name("spc")
    running = subprocess.Popen([program, "demo", "--port", "0"], stdout=subprocess.PIPE, text=True)
    try:
        assert running.stdout is not None
        for line in running.stdout:
            if found := re.search(r"http://[\d.]+:\d+", line):
                yield found.group()
                return
        raise RuntimeError("the demo line ended before it told its address; its own words stand above")
    finally:
        running.terminate()
        running.wait(30)


def take(browser: Browser, address: str, shot: Shot) -> None:
    """Take one picture."""
    width, height = shot.size
    page = browser.new_page(
        viewport={"width": width, "height": height}, color_scheme="dark" if shot.look == "dark" else "light"
    )
    page.goto(address + (shot.path or worst_stream(page, address)))
    page.wait_for_timeout(DRAWN)
    page.locator(STANDS).wait_for(timeout=LONGEST_WAIT)
    page.wait_for_timeout(DRAWN)
    if shot.tap:
        page.get_by_text(shot.tap).first.click()
        page.wait_for_timeout(DRAWN)
    page.screenshot(path=FOLDER / f"{shot.name}.png", full_page=shot.whole)
    page.close()


def worst_stream(page: Page, address: str) -> str:
    """Return the path of the stream that needs a person first."""
    page.goto(address + "/streams")
    first = page.locator("a[href^='/stream?']").first
    first.wait_for()
    return first.get_attribute("href") or "/streams"


def main(names: list[str]) -> None:
    """Take them all, or those that are named."""
    FOLDER.mkdir(exist_ok=True)
    with demo() as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        for shot in SHOTS:
            if not names or shot.name in names:
                take(browser, address, shot)
        browser.close()


if __name__ == "__main__":
    main(sys.argv[1:])
