"""Small words that several pages share: names of streams, readings with their units, counts."""

from dashboard.urls import LAST, OFF, StreamView
from spc.records import StreamKey
from spc.results import StreamResult


def unconfirmed(result: StreamResult) -> bool:
    """Return whether a stream is judged by limits that this site did not confirm."""
    acceptance = result.check.acceptance
    return acceptance.rule != "none" and not acceptance.confirmed


def value_and_unit(result: StreamResult, last: str) -> tuple[str, str]:
    """Return a reading and its unit."""
    if result.check.kind == "judged" or not last:
        return last or "\N{EN DASH}", ""
    value, _, unit = last.partition(" ")
    return value, unit


def key_of(view: StreamView) -> StreamKey:
    """Return the stream that an address names."""
    return StreamKey(view.line, view.check, view.position)


def view_of(
    key: StreamKey, *, show: str = LAST, start: str = "", end: str = "", row: str = "", rules: str = OFF
) -> StreamView:
    """Return the address of a stream's page."""
    return StreamView(key.line, key.check, key.position, show, start, end, row, rules)


def stream_id(key: StreamKey) -> str:
    """Return the id of a stream within a page."""
    return view_of(key).to_search()


def count(n: int) -> str:
    """Return a whole number with thin spaces between thousands."""
    return f"{n:,}".replace(",", "\N{NARROW NO-BREAK SPACE}")
