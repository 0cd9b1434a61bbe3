"""Every chart of a report as SVG and PNG."""

import io
import re
from pathlib import Path

from spc.errors import SetupError, StoreError
from spc.report.document import Document, names_apart
from spc.report.pdf import HOW_TO_GET, pdf_of
from spc.report.svg import figure_svg

DOTS = 200
"""Dots to the inch of a PNG, an inch being 96 pixels of the figure."""


def svg_png(svg: str) -> bytes:
    """Return an SVG element as PNG, on white.

    Raises:
        SetupError: a library is missing on this machine; says how to get it.
    """
    try:
        import pypdfium2  # type: ignore[import-untyped,unused-ignore]  # it comes without types
    except ImportError:
        raise SetupError(f"a PNG cannot be made here; {HOW_TO_GET}") from None
    size = re.search(r'width="([0-9.]+)" height="([0-9.]+)"', svg)
    width, height = size.groups() if size else ("900", "500")
    page = (
        f"<!DOCTYPE html><html lang='en'><title>chart</title><style>@page {{ size: {width}px {height}px; margin: 0 }} "
    )
    page += f"body {{ margin: 0 }} svg {{ display: block }}</style>{svg}</html>"
    document = pypdfium2.PdfDocument(pdf_of(page))
    picture = document[0].render(scale=DOTS / 72).to_pil()
    file = io.BytesIO()
    picture.save(file, "PNG", optimize=True)
    document.close()
    return file.getvalue()


def write_pictures(document: Document, folder: Path) -> int:
    """Write every chart of a report into a folder, as NAME.svg and NAME.png; return how many charts.

    Raises:
        StoreError: the folder cannot be written.
        SetupError: a library is missing; the SVG files are written all the same.
    """
    pictures = list(document.pictures())
    names = names_apart([picture.name for picture in pictures])
    drawn = [figure_svg(picture.draw(), picture.title) for picture in pictures]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, svg in zip(names, drawn, strict=True):
            (folder / f"{name}.svg").write_text(svg, encoding="utf-8")
        for name, svg in zip(names, drawn, strict=True):
            (folder / f"{name}.png").write_bytes(svg_png(svg))
    except OSError as error:
        raise StoreError(f"{folder}: cannot be written ({error.strerror}); name another folder") from None
    return len(pictures)
