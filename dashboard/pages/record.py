"""The record: what an audit asks, answered one question at a time. It is read here, not written."""

from typing import Any

from dash import Dash, html

from dashboard.pages.choices import choices
from dashboard.parts import facts, kept, link, named_list, page_name, table
from dashboard.queries import Queries
from dashboard.queries.record import record_page
from dashboard.urls import RecordView
from dashboard.views.record import FailedCheck, RecordPage, RecordTable


def at(queries: Queries, search: str | None) -> html.Div:
    """Return the part of the record that the address names."""
    return layout(record_page(queries, queries.memory, RecordView.from_search(search)))


def layout(page: RecordPage) -> html.Div:
    """Return the page."""
    return html.Div(
        kept(
            page_name("Record", title=f"Record: {page.heading}"),
            choices(page.parts, "Questions"),
            html.Details(
                [html.Summary("Choose a stream"), choices(page.streams, "Streams")], className="record-streams"
            ),
            html.H2(page.heading),
            *[html.P(f"Of {each.words} alone.") for each in page.streams[1:] if each.on],
            html.P(page.lead, className="lead"),
            html.P(page.notice, className="record-notice") if page.notice else None,
            *[failed(each) for each in page.failed],
            *[shown(each) for each in page.tables],
            html.Ul([html.Li(words) for words in page.notes]) if page.notes else None,
        ),
        className="record-page",
    )


def failed(each: FailedCheck) -> html.Section:
    """Return one failed check."""
    return html.Section(
        kept(
            html.H3(link(each.title, each.href)),
            html.P(["Record: ", html.Strong(each.state)]),
            facts(each.facts),
            named_list("What it obliges", each.obliges, "record-list", html.H4),
            named_list("Written down", each.steps, "record-list", html.H4),
            named_list("Still to be written down or done", each.lacks, "record-list", html.H4),
        ),
        className="record-failed",
    )


def shown(each: RecordTable) -> Any:
    """Return a table, or what is so where it has no row."""
    if not each.rows:
        return html.P(f"{each.caption}: {each.nothing}", className="nothing")
    rows = [html.Tr([html.Td(link(words, href) if href else words) for words, href in row]) for row in each.rows]
    return table(each.caption, each.heads, rows)


def register(app: Dash, queries: Queries) -> None:
    """Nothing here changes by itself: the page is as of when it was opened."""
