"""The pages of a report as tagged PDF for the archive (PDF/A-2a), made without a browser."""

import gc
import warnings

from spc.errors import SetupError

HOW_TO_GET = (
    "install the report extra (pip install 'mt-process-control[report]') and pango (Debian, Ubuntu: sudo apt-get "
    "install libpango-1.0-0 libpangoft2-1.0-0; Fedora: sudo dnf install pango; macOS: your package manager's pango)"
)
VARIANT = "pdf/a-2a"


def pdf_of(html: str) -> bytes:
    """Return the pages of a report, made by `document_html`, as PDF: tagged, with contents in its outline.

    Raises:
        SetupError: the library or pango is missing on this machine; says how to get it.
    """
    try:
        from weasyprint import HTML  # type: ignore[import-untyped,unused-ignore]  # it comes without types
    except (ImportError, OSError) as error:
        raise SetupError(f"a PDF cannot be made here ({_first_line(error)}); {HOW_TO_GET}") from None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)  # the library leaves its colour profile open
        pages = bytes(HTML(string=html, url_fetcher=_nothing_from_elsewhere).write_pdf(pdf_variant=VARIANT))
        gc.collect()  # closes it here, where the warning is expected
    return pages


def _nothing_from_elsewhere(url: str, *args: object, **more: object) -> object:
    raise ValueError(f"a report holds all it needs; {url} was asked for")


def _first_line(error: BaseException) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0][:120]
