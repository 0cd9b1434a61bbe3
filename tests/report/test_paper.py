"""Reports on paper: the same words in HTML and PDF, no other host, contents, page numbers, tables without formulas."""

import csv
import io
import re
import zlib
from html import unescape
from html.parser import HTMLParser

import openpyxl
import pypdfium2  # type: ignore[import-untyped,unused-ignore]
import pytest

from spc.errors import InputError, SetupError
from spc.figures.frame import Screen
from spc.figures.stream import stream_figure
from spc.report import pdf as pdf_module
from spc.report.document import Document, Facts, Picture, Points, Section, Signatures, Table, Words
from spc.report.html import document_html
from spc.report.pdf import pdf_of
from spc.report.review_pages import review_document
from spc.report.svg import figure_svg
from spc.report.tables import defused, table_csv, table_xlsx, write_tables
from spc.stream_facts import chance_text
from spc.wording import in_figures
from tests import made_results


class Text(HTMLParser):
    """The words of a page as a person reads them: no style, no titles of pictures."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.skipped = 0

    def handle_starttag(self, tag, attrs):
        self.skipped += tag in ("style", "title")

    def handle_endtag(self, tag):
        self.skipped -= tag in ("style", "title")

    def handle_data(self, data):
        if not self.skipped:
            self.words += data.split()


def words_of(html: str) -> list[str]:
    reader = Text()
    reader.feed(html)
    return reader.words


@pytest.fixture(scope="module")
def document(reviewed):
    return review_document(reviewed, site="Demo line (invented)")


@pytest.fixture(scope="module")
def html(document):
    return document_html(document)


@pytest.fixture(scope="module")
def pages(html):
    made = pypdfium2.PdfDocument(pdf_of(html))
    yield made
    made.close()


@pytest.fixture(scope="module")
def page_texts(pages):
    return [pages[i].get_textpage().get_text_range() for i in range(len(pages))]


def letters(text: str) -> str:
    """Letters and digits alone: a line may break anywhere, and a sign may be drawn."""
    return re.sub(r"[\W_]+", "", text)


def test_the_pdf_says_every_word_of_the_html(html, page_texts):
    paper = letters("".join(page_texts))

    missing = [word for word in set(words_of(html)) if letters(word) and letters(word) not in paper]

    assert len(words_of(html)) > 1000
    assert missing == []


def test_sentences_of_the_html_stand_whole_in_the_pdf(reviewed, page_texts):
    paper = letters("".join(page_texts))

    for finding in reviewed.findings[:3]:
        assert letters(finding.words) in paper


def test_the_numbers_on_paper_are_the_librarys(reviewed, html):
    text = unescape(" ".join(words_of(html)))

    told = 0
    for stream in reviewed.streams:
        ppk = stream.indices.ppk if stream.indices is not None else None
        if ppk is not None:
            assert f"Ppk {in_figures(ppk.value)} (95 % limits {in_figures(ppk.lower)} to" in text
            told += 1
        risk = stream.result.forecast.risk_next
        if risk is not None and stream.read:
            assert chance_text(risk) in text
    assert told


def test_the_html_asks_no_other_host(html):
    addresses = re.findall(r"""(?:src|href|url)\s*[=(]\s*['"]?([^'")\s>]+)""", html)

    assert [each for each in addresses if not each.startswith("#")] == []
    assert "@import" not in html
    assert "<script" not in html


def test_every_page_has_its_number_and_its_head(page_texts, document):
    for number, text in enumerate(page_texts, start=1):
        assert f"Page {number} of {len(page_texts)}" in text
        if number > 1:
            assert document.site in text
            assert document.period in text


def test_the_contents_give_the_page_on_which_each_part_stands(document, page_texts):
    contents = letters("".join(page_texts[:3]))
    number = 0
    for section in document.sections:
        if section.level == 1:
            number += 1
            named = [place for place, text in enumerate(page_texts, start=1) if f"{number} {section.title}" in text]
            page = named[-1]  # the contents come first
            assert letters(f"{section.title}{page}") in contents


def test_the_pdf_is_tagged_and_says_that_it_is_for_the_archive():
    content = pdf_of("<!DOCTYPE html><html lang='en'><title>t</title><h1>One</h1><p>word</p></html>")

    made = pypdfium2.PdfDocument(content)
    assert pypdfium2.raw.FPDFCatalog_IsTagged(made)
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", content, re.DOTALL)
    said = b"".join(zlib.decompressobj().decompress(each) for each in streams if each.startswith(b"x"))
    assert re.search(rb"pdfaid:part\D*2", content + said)
    made.close()


@pytest.mark.parametrize(("paper", "size"), [("a4", (595.3, 841.9)), ("letter", (612.0, 792.0))])
def test_pages_have_the_size_asked_for(paper, size):
    document = Document("T", "S", "P", "now", "2025-01-01", Section("O", (Words("word"),)), ())
    made = pypdfium2.PdfDocument(pdf_of(document_html(document, paper=paper)))

    assert made[0].get_size() == pytest.approx(size, abs=0.5)
    made.close()


def test_what_a_reader_wrote_is_never_taken_for_marks():
    evil = "<script>alert(1)</script> & <b>"
    blocks = (Words(evil), Facts(((evil, evil),)), Points(((evil, (evil,)),)), Table("t", (evil,), ((evil,),)))
    document = Document(evil, evil, evil, evil, evil, Section(evil, (*blocks, Signatures((evil,)))), ())

    page = document_html(document)

    assert "<script" not in page
    assert "&lt;script&gt;" in page


def test_a_report_asks_nothing_of_the_network():
    with pytest.raises(ValueError, match="holds all it needs"):
        pdf_module._nothing_from_elsewhere("https://example.org/a.png")


def test_without_the_library_one_line_says_how_to_get_it(monkeypatch):
    import builtins

    true_import = builtins.__import__

    def without(name, *args, **more):
        if name == "weasyprint":
            raise OSError("cannot load library 'libpango-1.0-0'\nmore lines")
        return true_import(name, *args, **more)

    monkeypatch.setattr(builtins, "__import__", without)

    with pytest.raises(SetupError, match=r"pango.*apt-get") as refused:
        pdf_of("<p>")

    assert "\n" not in str(refused.value)


# -- pictures ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(made_results.figures()))
def test_every_figure_of_a_result_can_be_drawn_on_paper(name):
    figure = made_results.figures()[name](Screen())

    svg = figure_svg(figure, name)

    assert svg.startswith("<svg")
    assert svg.count("<svg") == svg.count("</svg>")
    assert "nan" not in svg.casefold().replace("nano", "")


def test_the_chart_on_paper_has_a_mark_for_every_reading(reviewed):
    from spc.figures.window import Window

    stream = reviewed.streams[0]
    window = Window(reviewed.period.start, reviewed.period.stop)

    svg = figure_svg(stream_figure(stream.result, zone=reviewed.period.zone, window=window, rules=False), "chart")

    assert svg.count("<circle") >= stream.n


def test_a_trace_that_cannot_be_drawn_is_refused():
    import plotly.graph_objects as go  # type: ignore[import-untyped,unused-ignore]

    with pytest.raises(InputError, match="'pie' is not drawn"):
        figure_svg(go.Figure(data=[{"type": "pie", "values": [1]}], layout={"xaxis": {}, "yaxis": {}}), "t")


def test_pictures_are_written_as_svg_and_png(tmp_path):
    from spc.report.pictures import write_pictures

    draw = lambda: made_results.figures()["capability_figure"](Screen())  # noqa: E731
    section = Section("O", (Picture("a", "A", draw), Picture("a", "A", draw)))

    count = write_pictures(Document("T", "S", "P", "now", "2025-01-01", section, ()), tmp_path / "p")

    assert count == 2
    assert sorted(path.name for path in (tmp_path / "p").iterdir()) == ["a-2.png", "a-2.svg", "a.png", "a.svg"]
    assert (tmp_path / "p" / "a.png").read_bytes().startswith(b"\x89PNG")


# -- tables ------------------------------------------------------------------------------------------------------------

EVIL = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "  =1", "\uff1d1"]
TABLE = Table("t", ("words", "number"), (*((text, -1.5) for text in EVIL), ("plain", 3), (None, None)))


def test_no_cell_of_a_csv_becomes_a_formula_and_numbers_stay_numbers():
    rows = list(csv.reader(io.StringIO(table_csv(TABLE), newline="")))

    assert [row[0] for row in rows[1:9]] == ["'" + text for text in EVIL]
    assert {row[1] for row in rows[1:9]} == {"-1.5"}
    assert rows[9] == ["plain", "3"]


def test_no_cell_of_a_workbook_becomes_a_formula_and_numbers_stay_numbers():
    sheet = openpyxl.load_workbook(io.BytesIO(table_xlsx(TABLE))).active
    assert sheet is not None

    words = [cell.value for cell in sheet["A"]][1:9]
    assert all(str(word).startswith("'") for word in words)
    assert {cell.data_type for cell in sheet["A"]} <= {"s", "n"}
    assert [cell.value for cell in sheet["B"]][1:9] == [-1.5] * 8


@pytest.mark.parametrize("value", [-1.5, 3, None, "plain", "a=b"])
def test_what_is_no_formula_stays_as_it_is(value):
    assert defused(value) == value


def test_every_table_of_a_review_is_written_in_both_forms(document, tmp_path):
    count = write_tables(document, tmp_path)

    assert count == len(list(document.tables())) >= 7
    assert len(list(tmp_path.glob("*.csv"))) == len(list(tmp_path.glob("*.xlsx"))) == count


def test_the_first_page_decides_and_ends_with_the_signatures(page_texts, reviewed):
    first = page_texts[0]

    assert "What to do first" in first
    assert "responsible Level 3 decide" in " ".join(first.split())
    assert "Prepared by" in first
    assert reviewed.findings[0].words[:30] in " ".join(first.split())
