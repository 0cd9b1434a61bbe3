"""What a browser waits for: bytes of a first load, the board painted from a warm server, changes of page.

Goals: under 1 MB in all, the board under 1.5 s, a page under 300 ms. Seconds hang on the machine; the bytes do not.
"""

import statistics
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from dashboard import server
from dashboard.app import ROOMS, Room, create_app
from dashboard.queries import Queries, watch
from dashboard.settings import Settings
from dashboard.urls import FLEET
from spc.demo import lay_out
from tests.browser.conftest import FLAGS, browser_path

RUNS = 5
HEADING = "main h1"
FILLED = {"/record": ".record-page table", "/review": ".review-first"}
"""What is painted when a page is whole, where its heading comes before that."""

SETTLES = 3_000  # milliseconds in which what is fetched after painting has come


def first_load(browser: Browser, address: str) -> tuple[float, float]:
    """Return the bytes that a browser without anything kept takes, and the seconds until the page is painted."""
    context = browser.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    network, sizes = context.new_cdp_session(page), list[float]()
    network.send("Network.enable")
    network.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
    page.goto(address)
    page.locator(HEADING).first.wait_for(state="attached")
    seconds = float(page.evaluate("performance.now()")) / 1000
    page.wait_for_timeout(SETTLES)
    context.close()
    return sum(sizes), seconds


def change(page: Page, path: str) -> float:
    """Return the milliseconds from a click on the way to a page until all of it is painted."""
    return float(
        page.evaluate(
            """([path, painted]) => new Promise((done, gone) => {
                setTimeout(() => gone(new Error(`${painted} of ${path} is not painted`)), 60000);
                const before = document.querySelector(painted), from = performance.now();
                const seen = new MutationObserver(() => {
                    const now = document.querySelector(painted);
                    if (!now || now === before) return;
                    seen.disconnect();
                    requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() - from)));
                });
                seen.observe(document.querySelector("main"), { childList: true, subtree: true });
                document.querySelector(`#ways a[href="${path}"]`).click();
            })""",
            [path, FILLED.get(path, HEADING)],
        )
    )


def rooms() -> list[Room]:
    """Return the rooms that the way leads to: no results of many lines are shown here."""
    return [room for room in ROOMS if room.name and room.path != FLEET]


@contextmanager
def served() -> Iterator[str]:
    """Serve a board on the demo line's log; give its address."""
    with tempfile.TemporaryDirectory() as folder:
        files = lay_out(Path(folder) / "demo")
        settings = Settings(
            log=files.log, events=files.events, catalogue=files.catalogue, calendar=files.calendar, clock="log", port=0
        )
        application = create_app(Queries(watch(settings), settings)).server
        running = server.create_server(server.bound(settings), application)
        threading.Thread(target=running.run, daemon=True).start()
        yield f"http://127.0.0.1:{running.effective_port}"
        running.task_dispatcher.shutdown(timeout=1)


def main() -> int:
    """Print each figure; return 1 if more than a megabyte is loaded."""
    named = [room.path for room in rooms()]
    most = 0.0
    with served() as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=browser_path(), args=FLAGS)
        first_load(browser, address + "/")  # warms the server
        for path in named:
            loaded, seconds = first_load(browser, address + path)
            most = max(most, loaded)
            sys.stdout.write(f"first load of {path:10} {loaded / 1000:6.0f} kB, painted after {seconds:.2f} s\n")
        painted = [first_load(browser, address + "/")[1] for _ in range(RUNS)]
        sys.stdout.write(f"the board, median of {RUNS}: painted after {statistics.median(painted):.2f} s\n")
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        page.goto(address)
        page.locator(HEADING).first.wait_for(state="attached")
        page.wait_for_timeout(SETTLES)
        times: dict[str, list[float]] = {path: [] for path in named}
        for _ in range(RUNS):
            for path in [*named[1:], named[0]]:
                times[path].append(change(page, path))
                page.wait_for_timeout(300)
        for path, found in times.items():
            sys.stdout.write(f"change to {path:10} median {statistics.median(found):4.0f} ms of {RUNS}\n")
        browser.close()
    return int(most > 1_000_000)


if __name__ == "__main__":
    sys.exit(main())
