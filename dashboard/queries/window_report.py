"""The evidence of one failed check as a file: what failed, what is in doubt, what was done about it, by whom."""

from dashboard.queries.audited import audited
from dashboard.queries.known import Known
from dashboard.queries.record_windows import window_named
from dashboard.queries.remembered import Remembered
from dashboard.queries.review_report import FORMS, ONE_AT_A_TIME
from dashboard.urls import WindowView
from spc.shown import shown_in

WINDOW_FORMS = {ending: FORMS[ending] for ending in ("html", "pdf")}
"""Endings of the files, each with its kind."""

NO_RECORD = (
    "A log, not a store: it keeps no word of who was told or what was decided, and nothing proves that its rows are as "
    "they were written."
)


def window_report(known: Known, memory: Remembered, view: WindowView, form: str) -> tuple[str, bytes] | None:
    """Return name and content of the evidence of a failed check; None where the address names none.

    Args:
        known: what the board knows.
        memory: of the board.
        view: the failed check.
        form: one of `WINDOW_FORMS`.

    Raises:
        SetupError: a library that this form takes is missing; says how to get it.
    """
    from spc.report.document import Words, file_name
    from spc.report.evidence_pages import record_blocks
    from spc.report.html import document_html
    from spc.report.pdf import pdf_of
    from spc.report.window_pages import window_document

    found, zone, store = audited(known, memory), known.zone, known.store
    window = window_named(found.shown, view, zone)
    if window is None:
        return None
    result = next(each for each in found.results if each.key == window.key)
    document = window_document(
        window,
        shown_in(result, known.formats),
        found.audit.ledger.operations[window.key.line],
        found.book.records.get((window.key, window.failed_at)),
        zone=zone,
        now=known.now(),
        site=known.settings.title,
        kept=(Words(NO_RECORD),) if store is None else tuple(record_blocks(store.name, store.verify())),
    )
    at = f"{window.failed_at.astimezone(zone):%Y-%m-%d-%H%M%S}"
    name = file_name("failed", window.key.line, window.key.check, window.key.position, at)
    with ONE_AT_A_TIME:
        html = document_html(document)
        return f"{name}.{form}", pdf_of(html) if form == "pdf" else html.encode("utf-8")
