"""The review as files: the report to sign as HTML and PDF, its tables as workbooks."""

import threading
import zipfile
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from dashboard.queries.known import Known
from dashboard.queries.remembered import Remembered
from dashboard.queries.review import review_asked
from dashboard.urls import ReviewView
from spc.formats import AS_IT_CAME, formats_of

if TYPE_CHECKING:
    from spc.report.document import Document

FORMS = {"html": "text/html", "pdf": "application/pdf", "zip": "application/zip"}
"""Endings of the files, each with its kind."""

ONE_AT_A_TIME = threading.Lock()
"""Pages are laid out by one thread, so that many who ask do not slow the board down."""


def review_report(known: Known, memory: Remembered, view: ReviewView, form: str) -> tuple[str, bytes] | None:
    """Return name and content of a file; None where there is nothing to review.

    Args:
        known: what the board knows.
        memory: of the board.
        view: the period and line.
        form: one of `FORMS`.

    Raises:
        InputError: the address names no period.
        SetupError: a library that this form takes is missing; says how to get it.
    """
    from spc.report.html import document_html
    from spc.report.pdf import pdf_of
    from spc.report.review_pages import review_document

    seen = review_asked(known, memory, view)
    if seen is None:
        return None
    name = f"review-{seen.period.first}-{seen.period.last}.{form}"
    with formats_of(AS_IT_CAME) if form == "zip" else known.in_formats():  # other programs read the tables
        document = review_document(seen, site=known.settings.title)
    with ONE_AT_A_TIME:
        if form == "zip":
            return name, _tables(document)
        html = document_html(document)
        return name, pdf_of(html) if form == "pdf" else html.encode("utf-8")


def _tables(document: "Document") -> bytes:
    from spc.report.tables import write_tables

    whole = BytesIO()
    with TemporaryDirectory() as folder, zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED) as files:
        write_tables(document, Path(folder))
        for path in sorted(Path(folder).iterdir()):
            files.write(path, path.name)
    return whole.getvalue()
