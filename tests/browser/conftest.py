"""A real browser on a real server. There is no skipping: without a browser these tests fail and say what is missing."""

import os
import shutil
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Request, expect, sync_playwright

from dashboard import server
from dashboard.app import create_app
from dashboard.settings import Settings
from spc.watch import Watch
from tests.browser.made_site import Site, running_site
from tests.dashboard.made_line import asked, watched, write_line

FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge", "microsoft-edge")
WAIT = 90_000
"""Milliseconds anything may take on a busy machine."""

AXE = files("axe_playwright_python") / "axe.min.js"
AXE_TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")
"""WCAG 2.2, levels A and AA, and what axe-core's authors advise beside it."""


def browser_path() -> str:
    """Return the browser named by SPC_BROWSER, or the first Chromium there is."""
    named = os.environ.get("SPC_BROWSER")
    found = named or next(filter(None, map(shutil.which, NAMES)), None)
    if not found or not Path(found).exists():
        where = f"SPC_BROWSER names {named}, which is not there" if named else "no Chromium was found"
        pytest.fail(f"{where}; install Chromium, or set SPC_BROWSER to the path of a Chromium, Chrome or Edge")
    return found


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = browser_path()
    expect.set_options(timeout=WAIT)
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield running
        running.close()


@dataclass(slots=True)
class Line:
    """A dashboard that follows its own made line."""

    settings: Settings
    address: str
    source: Watch
    stop: Callable[[], None]


@pytest.fixture
def line(tmp_path: Path) -> Iterator[Line]:
    settings = write_line(tmp_path)
    source = watched(settings)
    running = server.create_server(
        server.bound(Settings(log=settings.log, port=0)), create_app(asked(settings, source)).server
    )
    end = threading.Event()
    threads = [
        threading.Thread(target=running.run, daemon=True),
        threading.Thread(target=server.follow, args=(source, end), daemon=True),
    ]
    for thread in threads:
        thread.start()

    def stop() -> None:
        end.set()
        running.task_dispatcher.shutdown(timeout=1)
        for channel in list(running.active_channels.values()):
            channel.handle_close()
        running.close()

    yield Line(settings, f"http://127.0.0.1:{running.effective_port}", source, stop)
    stop()


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    """A board that can be written into."""
    with running_site(tmp_path) as made:
        yield made


@dataclass(slots=True)
class Seen:
    """What a page asked for and complained about."""

    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)
    server_ends: bool = False  # whether the test takes the server away, which browsers complain about
    contexts: list[BrowserContext] = field(default_factory=list)  # what holds the pages

    def watch(self, page: Page) -> None:
        page.on("request", lambda request: self.requests.append(request.url))
        page.on("requestfailed", lambda request: self.failed(request))
        page.on("pageerror", lambda error: self.complaints.append(f"error: {error}"))
        page.on(
            "console",
            lambda message: self.complaints.append(message.text) if message.type in ("error", "warning") else None,
        )

    def failed(self, request: Request) -> None:
        """Note a request that failed; one that a page gave up on leaving it did not."""
        if request.failure != "net::ERR_ABORTED":
            self.complaints.append(f"failed: {request.url} {request.failure}")


@pytest.fixture
def seen() -> Seen:
    return Seen()


@pytest.fixture
def open_page(browser: Browser, seen: Seen, line: Line) -> Callable[..., Page]:
    def open_one(width: int = 1440, height: int = 900, **more: Any) -> Page:
        context = browser.new_context(viewport={"width": width, "height": height}, **more)
        context.set_default_timeout(WAIT)
        seen.contexts.append(context)
        page = context.new_page()
        seen.watch(page)
        return page

    return open_one


@pytest.fixture
def open_at(site: Site, open_page: Callable[..., Page]) -> Callable[[dict[str, Any], str, str], Page]:
    """Open a page of the site on a screen, and wait for what says that it is there."""

    def open_one(screen: dict[str, Any], path: str, ready: str) -> Page:
        page = open_page(**screen)
        page.goto(f"{site.address}{path}")
        page.locator(ready).first.wait_for()
        return page

    return open_one


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_teardown(item: pytest.Item) -> None:
    """Close the pages before any server ends: a question on its way would be cut off, and complained about."""
    seen = getattr(item, "funcargs", {}).get("seen")
    while seen is not None and seen.contexts:
        seen.contexts.pop().close()


@pytest.fixture
def page(open_page: Callable[..., Page]) -> Page:
    return open_page()


@pytest.fixture(autouse=True)
def quiet(seen: Seen) -> Iterator[None]:
    """No page complains and none asks another host."""
    yield
    if not seen.server_ends:
        assert seen.complaints == []
    hosts = {url.split("/")[2].split(":")[0] for url in seen.requests if not url.startswith(("data:", "blob:"))}
    assert hosts <= {"127.0.0.1"}


@pytest.fixture(scope="session")
def axe() -> Callable[[Page], None]:
    """Return what asserts that axe-core finds nothing on a page as it stands: `axe(page)`.

    What it finds is said rule by rule, with the parts of the page and what to do.
    """
    script = AXE.read_text(encoding="utf-8")

    def check(page: Page) -> None:
        if not page.evaluate("'axe' in window"):
            page.evaluate(script)  # by the browser's tools, which the page's own policy does not bind
        options = {"runOnly": {"type": "tag", "values": list(AXE_TAGS)}, "resultTypes": ["violations"]}
        found = page.evaluate("(options) => axe.run(document, options)", options)
        assert found["passes"], "axe-core looked at nothing"
        told = [
            f"{violation['id']} ({violation['impact']}): {violation['help']}\n    "
            + "\n    ".join(
                f"{' '.join(map(str, node['target']))}: {node['failureSummary']}" for node in violation["nodes"]
            )
            for violation in found["violations"]
        ]
        assert not told, f"{page.url}: {len(told)} rules broken\n" + "\n".join(told)

    return check
