"""What stands below the chart in the drift room, one part at a time: layout alone."""

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboard.ids import Drift
from dashboard.pages.choices import choices, switches
from dashboard.pages.signals_part import run_rules, signals, steps
from dashboard.parts import aria, chart_place, facts, kept, link, table
from dashboard.queries import Queries
from dashboard.urls import StreamView
from dashboard.views import Row, StreamPage
from dashboard.views.choices import Choice
from dashboard.views.drift import Asked, BaselinePart, BaselineRow, NoteRow


def part(queries: Queries, view: StreamView, page: StreamPage) -> list[Any]:
    """Return the part that the address asks for."""
    room = queries.room(view)
    if room is None:
        return []
    match page.part:
        case "baseline":
            return baseline(room.baseline())
        case "line":
            return same_line(room.line().choices)
        case "splits":
            found = room.splits()
            return split(found.ways, found.heading, found.groups, found.question)
        case "rule-sets":
            return [*rule_sets(room.rule_sets()), *run_rules(page)]
        case "questions":
            found_questions = room.asked()
            return [*questions(found_questions.asked), *asked_elsewhere(found_questions.elsewhere)]
        case "readings":
            return [*notes(room.note_rows()), *readings(page), *corrections(room.correction_rows())]
    return signals(page)


def baseline(found: BaselinePart) -> list[Any]:
    """Return the baseline in use, what speaks against it, and other versions."""
    doubts = [*found.review, *found.concerns]
    return kept(
        html.H2("What sets the control limits now"),
        facts(found.facts),
        html.H3("What speaks against these readings"),
        html.Ul([html.Li(words) for words in doubts], className="plain")
        if doubts
        else html.P("Nothing that stands out: no reading far from its neighbours, no copied run, no step, no drift."),
        html.P(found.followed) if found.followed else None,
        switches([found.proposed], "Compare") if found.proposed else None,
        html.H3("Versions"),
        html.Ol([version(each) for each in found.versions], className="versions")
        if found.versions
        else html.P("No version has been proposed. The first readings of each segment set its limits."),
    )


def version(each: BaselineRow) -> html.Li:
    """Return one version with what it went through."""
    return html.Li(
        kept(
            html.H4(f"Version {each.version}: {each.state}{', in force' if each.in_use else ''}"),
            html.P(f"{each.readings}. Centre line {each.centre_line}, control limits {each.limits}."),
            steps(each.steps),
            switches([each.compare], f"Compare version {each.version}"),
        ),
        className="version version-used" if each.in_use else "version",
    )


def same_line(found: Sequence[Choice]) -> list[Any]:
    """Return which other streams stand on the time axis; their figure follows."""
    if not found:
        return [html.H2("Other streams of this line"), html.P("This line has no other stream.", className="nothing")]
    on = sum(each.on for each in found)
    says = "Causes are shared: choose what to look at beside this stream." if not on else f"{on} beside this stream."
    return [
        html.H2("Other streams of this line"),
        html.P(f"{says} A line through all panes is something that was done to the line."),
        switches(found, "Streams to look at beside this one"),
    ]


def split(ways: Sequence[Choice], heading: str, groups: Sequence[Any], question: str) -> list[Any]:
    """Return the groups of a split as a table; their figure follows."""
    if not groups:
        return [html.H2("Splits"), html.P(question, className="nothing")]
    rows = [
        html.Tr(
            [
                html.Th(each.name, scope="row"),
                html.Td(each.n, className="number"),
                html.Td(each.median, className="number"),
                html.Td(each.middle, className="number"),
            ]
        )
        for each in groups
    ]
    return kept(
        html.H2("The readings in view, split"),
        choices(ways, "Split by"),
        html.P(question, className="question") if question else None,
        table(f"By {heading.lower()}", (heading, "Readings", "Median", "Middle half"), rows, "groups"),
    )


def rule_sets(found: Any) -> list[Any]:
    """Return every rule set on this history as a table."""
    rows = [
        html.Tr(
            [
                html.Th(
                    kept(each.title, html.Span(f" {each.remark}", className="remark") if each.remark else None),
                    scope="row",
                ),
                html.Td(each.alarms),
                html.Td(each.caught),
                html.Td(each.lead),
                html.Td(each.stated),
            ]
        )
        for each in found.rows
    ]
    heads = ("Rules", "Alarms while quiet", "Failed checks caught ahead", "Ahead by", "False alarms stated")
    return [
        html.H2("What each rule set would have cost and caught here"),
        html.P(found.history),
        table("Rule sets on this history", heads, rows, "tried"),
        html.P(
            "One history is little to choose by: a few alarms more or less are chance. Lengths of published sets are "
            "from memory; take them from the document that governs the site.",
            className="note",
        ),
    ]


def questions(found: Sequence[Asked]) -> list[Any]:
    """Return the questions about how the readings were written down."""
    if not found:
        return [
            html.H2("Questions about how the readings were written down"),
            html.P("None: nothing looks copied, rounded, exchanged or in another unit.", className="nothing"),
        ]
    return [
        html.H2("Questions about how the readings were written down"),
        html.P("They are questions, with an innocent answer to each; nothing here moves a chart.", className="note"),
        html.Ol(
            [
                html.Li(
                    kept(
                        html.P(each.sentence),
                        html.P([link("Show it on the chart", each.href), f" {each.evidence}"], className="note"),
                        steps(each.answers),
                    )
                )
                for each in found
            ],
            className="asked",
        ),
    ]


def asked_elsewhere(found: Sequence[Choice]) -> list[Any]:
    """Return the ways to the other streams of the line that have questions."""
    if not found:
        return []
    return [html.H3("Other streams of this line with questions"), switches(found, "Other streams with questions")]


def notes(found: Sequence[NoteRow]) -> list[Any]:
    """Return the notes beside the chart, newest first."""
    return [
        html.H2("Notes"),
        note_list(found) if found else html.P("No note yet.", className="nothing"),
    ]


def corrections(found: Sequence[NoteRow]) -> list[Any]:
    """Return what was corrected, newest first."""
    return [html.H2("Corrections"), note_list(found)] if found else []


def note_list(found: Sequence[NoteRow]) -> html.Ol:
    """Return words about moments of a stream, each with the way there, and with who wrote them when."""
    return html.Ol(
        [
            html.Li(
                [
                    link(each.at, each.href),
                    html.Span(f" {each.words} "),
                    html.Span(f"{each.who}, written {each.written}", className="who"),
                ]
            )
            for each in found
        ],
        className="notes",
    )


def readings(page: StreamPage) -> list[Any]:
    """Return the latest readings in view as a table."""
    deviates = any(row.charted for row in page.rows)
    heads = ["Taken", "Reading", *(["Charted"] if deviates else []), "State", "Technician", "Instrument", "Note", "Row"]
    caption = (
        f"Readings in view, newest first: {len(page.rows)} of {page.rows_in_view}"
        if page.rows
        else "No reading in this stretch of time"
    )
    return [
        html.H2("Readings"),
        table(caption, heads, [reading_row(row, deviates) for row in page.rows], "readings"),
    ]


def reading_row(row: Row, deviates: bool) -> html.Tr:
    """Return one reading as written."""
    mark = html.Span(className=f"shape shape-{row.state}", title=row.state) if row.state else ""
    return html.Tr(
        [
            html.Td(link(row.taken, row.href)),
            html.Td(row.value, className="number"),
            *([html.Td(row.charted, className="number")] if deviates else []),
            html.Td([mark, html.Span(row.state, className="unseen")]),
            html.Td(row.technician),
            html.Td(row.instrument),
            html.Td(row.note, className="note"),
            html.Td(row.row, className="number"),
        ],
        className=f"row-{row.state}{' row-chosen' if row.chosen else ''}".strip(),
    )


def figure_box(chart: Any) -> html.Div:
    """Return where the figure of a part stands, empty where it has none."""
    return html.Div(
        chart_place(Drift.FIGURE, chart),
        id=Drift.FIGURE_BOX,
        className="chart part-chart",
        role="img",
        hidden=True,
        **aria(label="The same in a picture; the words and the table beside it say what it shows."),
    )
