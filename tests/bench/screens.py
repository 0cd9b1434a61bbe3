"""What a person waits for between two screens, and whether the server or the browser takes it.

Goals: a page under 300 ms from the click to the painted content. Server is the time until the answer that brings the
page begins; browser is the rest, from click to request and from answer to paint. Milliseconds hang on the machine.
`--runs N` clicks through all of it N times, after once to warm up.
"""

import argparse
import statistics
import sys
from collections.abc import Callable
from typing import Any

from playwright.sync_api import Page, sync_playwright

from tests.bench.first_load import FILLED, HEADING, SETTLES, rooms, served
from tests.browser.conftest import FLAGS, browser_path

RUNS = 10
PAUSE = 300  # milliseconds between two clicks
CHART = "#stream-figure .js-plotly-plot"
CLICKED = """([clicked, painted]) => new Promise((done) => {
  const element = () => document.querySelector(painted);
  const before = element(), search = location.search, from = performance.now();
  const drawn = () => ((element().layout || {}).meta || {}).search === location.search && location.search !== search;
  const there = () => element() && (painted.endsWith(".js-plotly-plot") ? drawn() : element() !== before);
  const answers = () => performance.getEntriesByType("resource")
    .filter((one) => one.name.includes("/_dash-update-component") && one.startTime >= from);
  const told = (whole) => {
    const first = answers().reduce((a, b) => (a && a.startTime <= b.startTime ? a : b), null);
    done([whole, first ? first.responseStart - first.requestStart : 0]);
  };
  const look = () => {
    if (!there()) return requestAnimationFrame(look);
    requestAnimationFrame(() => requestAnimationFrame(() => {
      const whole = performance.now() - from;
      setTimeout(() => told(whole), 50);
    }));
  };
  performance.clearResourceTimings();
  document.querySelector(clicked).click();
  requestAnimationFrame(look);
})"""
"""Clicks on one thing and waits until another is there anew and painted."""


def steps() -> dict[str, tuple[str, str]]:
    """Return by name what is clicked and what is then painted, in an order in which each can be clicked."""
    found = {room.name: (f'#ways a[href="{room.path}"]', FILLED.get(room.path, HEADING)) for room in rooms()[1:]}
    found["Board"] = ('#ways a[href="/"]', HEADING)
    return found | {
        "one stream, from the board": (".tile h3 a", HEADING),
        "its chart": ('a[href*="show=all"]', CHART),
        "another part of it": ('a[href*="part=readings"]', "#drift-part .readings"),
    }


def medians(page: Page, runs: int, wait: Callable[[float], Any]) -> dict[str, tuple[float, float]]:
    """Return by step the median milliseconds in all, and until the server's answer begins."""
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in steps()}
    for _ in range(runs + 1):
        for name, selectors in steps().items():
            whole, server = page.evaluate(CLICKED, list(selectors))
            found[name].append((whole, server))
            wait(PAUSE)
    return {
        name: (statistics.median(w for w, _ in times[1:]), statistics.median(s for _, s in times[1:]))
        for name, times in found.items()
    }


def main() -> int:
    """Print each figure; return 1 where a page takes more than 300 ms."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=RUNS)
    runs, slow = parser.parse_args().runs, 0
    with served() as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=browser_path(), args=FLAGS)
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        page.goto(address)
        page.locator(HEADING).first.wait_for(state="attached")
        page.wait_for_timeout(SETTLES)
        for name, (whole, server) in medians(page, runs, page.wait_for_timeout).items():
            slow += whole > 300
            sys.stdout.write(f"{name:28} {whole:5.0f} ms, of it server {server:4.0f}, browser {whole - server:4.0f}\n")
        browser.close()
    return int(slow > 0)


if __name__ == "__main__":
    sys.exit(main())
