"""Signals of a stream in words, what was done about them, its failed checks, and the run rules on its chart."""

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboard.ids import Drift
from dashboard.parts import aria, kept, link, named_list, table
from dashboard.views import Explained, StreamPage
from dashboard.views.choices import Step

OPEN = 5
"""Signals shown unfolded."""

WRITE = "Write down what was done"
"""The way from an open signal to the form, which stands below the past ones."""


def signals(page: StreamPage) -> list[Any]:
    """Return what moved, newest first; each opens the chart where it was."""
    if page.judged:
        return [html.H2("Verdicts that did not pass"), *failures(page)]
    nothing = html.P("No signal in this log.", className="nothing")
    return kept(
        html.H2("Signals, newest first"),
        html.Ol([explained(one) for one in page.explained[:OPEN]], className="signals") if page.explained else nothing,
        earlier(page),
        html.H2("Failed checks"),
        *failures(page),
    )


def earlier(page: StreamPage) -> html.Details | None:
    """Return the older signals, folded away; None when there are none."""
    older = page.explained[OPEN:]
    if not older:
        return None
    beyond = page.explained_in_all - len(page.explained)
    return html.Details(
        kept(
            html.Summary(f"{len(older)} earlier", className="button"),
            html.Ol([explained(one) for one in older], className="signals"),
            html.P(f"and {beyond} before these; “spc scan” lists every one.", className="more") if beyond else None,
        )
    )


def explained(one: Explained) -> html.Li:
    """Return one cause in plain words."""
    count = f"{one.count} signalled readings" if one.count > 1 else "1 signalled reading"
    return html.Li(
        kept(
            html.P(
                [
                    html.Span(className="shape shape-moving", **aria(hidden="true")),
                    link(f"{one.span} · {count}", one.href),
                ],
                className="when",
            ),
            html.P(one.sentence),
            named_list("Look first at", one.look_first, "first"),
            html.P("Perhaps explained by: " + "; ".join(one.events), className="events") if one.events else None,
            steps(one.life),
            html.A(WRITE, href=f"#{Drift.FORMS}", className="button") if one.open else None,
        ),
        className="signal signal-open" if one.open else "signal",
    )


def failures(page: StreamPage) -> list[Any]:
    """Return the latest readings outside the acceptance limits."""
    if not page.failures:
        return [html.P("None in this log.", className="nothing")]
    more = page.failures_in_all - len(page.failures)
    items = [
        html.Li(
            [
                html.Span(className="shape shape-failed", **aria(hidden="true")),
                link(one.words, one.href),
                f" {one.taken}",
            ]
        )
        for one in page.failures
    ]
    return kept(
        html.Ul(items, className="failures"), html.P(f"and {more} earlier.", className="more") if more > 0 else None
    )


def run_rules(page: StreamPage) -> list[Any]:
    """Return each run rule of the chart in words, with its hits and what it costs in control."""
    if not page.rule_rows:
        return []
    rows = [
        html.Tr(
            [html.Td(rule.words), html.Td(rule.hits, className="number"), html.Td(rule.per_1000, className="number")]
        )
        for rule in page.rule_rows
    ]
    return [
        html.H2("Run rules on this chart"),
        table("Run rules", ("Rule", "Hits in view", "False alarms in 1000 readings in control"), rows, "rules"),
        *[html.P(words, className="note") for words in page.rule_notes],
    ]


def steps(found: Sequence[Step]) -> html.Ol | None:
    """Return what people wrote down, in order; None where nobody did."""
    if not found:
        return None
    return html.Ol(
        [
            html.Li(
                kept(
                    html.Strong(step.what),
                    html.Span(f" {step.words}") if step.words else None,
                    html.Span(f" {step.who}, {step.at}", className="who"),
                )
            )
            for step in found
        ],
        className="steps",
    )
