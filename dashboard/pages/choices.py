"""Rows of choices: one of several, or several that are each on or off. All are links: the address is the state."""

from collections.abc import Iterable
from typing import Any

from dash import html

from dashboard.parts import aria, kept, link
from dashboard.views.choices import Choice


def choices(found: Iterable[Choice], label: str, class_name: str = "buttons") -> html.Nav:
    """Return a row of choices of which one is on; that one is no link, and keeps the focus all the same."""
    return html.Nav([one_of(each) for each in found], className=class_name, **aria(label=label))


def one_of(each: Choice) -> Any:
    """Return one choice of several that exclude one another."""
    if each.on:
        return html.Span(_said(each), className="button button-on", tabIndex=0, **aria(current="true"))
    return link(_said(each), each.href, "button")


def switches(found: Iterable[Choice], label: str) -> html.Nav:
    """Return a row of choices each of which is on or off by itself."""
    return html.Nav([switch(each) for each in found], className="buttons", **aria(label=label))


def switch(each: Choice) -> Any:
    """Return one choice that is on or off; on, a mark and a word say so."""
    if not each.on:
        return link(_said(each), each.href, "button")
    on = [html.Span("\N{CHECK MARK} ", **aria(hidden="true")), *_said(each), html.Span(", shown", className="unseen")]
    return link(on, each.href, "button button-on")


def _said(each: Choice) -> list[Any]:
    return kept(each.words, html.Span(f" {each.note}", className="choice-note") if each.note else None)
