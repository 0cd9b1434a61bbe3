"""What people write into logs, notes, names and addresses is shown as words: no script in it runs, on any page."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from urllib.parse import urlencode

import pytest
from playwright.sync_api import Dialog, expect

from dashboard.app import ROOMS
from dashboard.queries import watch
from dashboard.settings import Settings
from dashboard.urls import PARTS, RECORD, RECORD_PARTS, REVIEW, STREAM, WINDOW, StreamView
from spc.records import Event, StreamKey
from spc.store.entries import Instrument, Note, Reaction
from tests.browser.made_site import Site, serving
from tests.dashboard.made_entry import TODAY, stored_queries, stored_settings
from tests.dashboard.made_line import BATH, LAMP, NOW, ZONE

RAN = "window.ran = (window.ran || 0) + 1"
POISON = (
    f"<script>{RAN}</script>",
    f"<img src=x onerror='{RAN}'>",
    f"\"'><svg onload='{RAN}'>",
    f'<a href="javascript:{RAN}">x</a>',
    f"</script><script>{RAN}</script>",
    f"<iframe srcdoc='<script>parent.{RAN}</script>'>",
    "{{7*7}}${7*7}<b>bold</b>",
)
LINE = f"Line <img src=x onerror='{RAN}'>"
POISONED = StreamKey(LINE, BATH.check, f"tank <script>{RAN}</script>")


def poisoned(folder: Path) -> Settings:
    """Return the made line in a store, with poison in every cell of words and every record."""
    settings = stored_settings(folder)
    rows = ["taken_at,line,check,position,value,reference,unit,instrument,technician,shift,note,<b>lot</b>"]
    for i in range(30):
        words = POISON[i % len(POISON)].replace('"', '""')
        at = (NOW - timedelta(days=30 - i)).replace(tzinfo=None).isoformat(timespec="minutes")
        value = "0.05" if i in (12, 29) else f"0.2{i % 3}" if i != 20 else words
        cells = [
            at,
            POISONED.line,
            POISONED.check,
            POISONED.position,
            value,
            "",
            "mL/100mL",
            words,
            words,
            words,
            words,
        ]
        rows.append(",".join(f'"{cell}"' for cell in (*cells, words)))
    log = folder / "poison.csv"
    log.write_text("\n".join(rows) + "\n", encoding="utf-8")
    source = watch(Settings(store=settings.store, log=log, catalogue=settings.catalogue, zone=ZONE))
    assert source.store is not None
    for i, words in enumerate(POISON):
        source.store.append(
            Note(POISONED, NOW - timedelta(days=i), words, words),
            Note(LAMP, NOW, words, words),
            Reaction(LAMP, NOW, "one_side", "acknowledged", words, words),
            Instrument(words, words, words, 30.0, True, words),
            Event(NOW - timedelta(days=i), 0, 2, LINE, "bath_changed", BATH.check, POISONED.position, note=words),
            who=words,
            now=NOW,
        )
    source.store.close()
    return settings


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Iterator[Site]:
    settings = poisoned(tmp_path_factory.mktemp("poisoned"))
    with serving(stored_queries(replace(settings, title=POISON[0]), TODAY)) as running:
        yield running


STATES = {
    STREAM: [StreamView(POISONED.line, POISONED.check, POISONED.position, part=part).to_search() for part in PARTS],
    RECORD: [f"?part={part}" for part in RECORD_PARTS] + ["?" + urlencode({"line": LINE})],
    WINDOW: ["?" + urlencode({"line": LINE, "check": BATH.check, "position": POISONED.position, "at": POISON[0]})],
    REVIEW: ["?" + urlencode({"line": LINE})],
}
WILD = "?" + urlencode(
    {key: POISON[1] for key in ("line", "check", "position", "part", "from", "to", "row", "about", "by", "at", "seed")}
)


def test_no_script_in_words_or_addresses_runs_on_any_page(site, open_page, seen):
    seen.server_ends = True  # what is refused is a complaint to a browser
    page = open_page()
    dialogs: list[str] = []

    def heard(dialog: Dialog) -> None:
        dialogs.append(dialog.message)
        dialog.dismiss()

    page.on("dialog", heard)
    for room in ROOMS:
        for search in [*STATES.get(room.path, [""]), WILD]:
            page.goto(site.address + room.path + search)
            expect(page.locator("main h1")).to_have_count(1)
            expect(page.get_by_text("Looking it up ...")).to_have_count(0)
            if page.locator("#stream-figure").count():
                page.locator("#stream-figure .main-svg").first.wait_for()
            told = page.evaluate(
                """() => ({
                    ran: window.ran || 0,
                    planted: document.querySelectorAll("main script, main iframe, main img[src='x'], main b").length,
                    handlers: [...document.querySelectorAll("*")].filter(
                        (one) => [...one.attributes].some((each) => each.name.startsWith("on"))).length,
                    ways: [...document.querySelectorAll("[href], [src], [action]")].filter(
                        (one) => /^\\s*(javascript|vbscript|data:text)/i.test(
                            one.getAttribute("href") || one.getAttribute("src") ||
                            one.getAttribute("action"))).length,
                })"""
            )
            assert told == {"ran": 0, "planted": 0, "handlers": 0, "ways": 0}, (room.path, search)
    assert dialogs == []


def test_the_poison_is_there_to_be_seen(site, open_page, seen):
    seen.server_ends = True
    page = open_page()
    page.goto(site.address + STREAM + STATES[STREAM][0])

    expect(page.locator("main")).to_contain_text("<img src=x onerror=")
