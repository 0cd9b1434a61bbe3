"""`spc review`, `spc evidence`, `spc study`: files, JSON, and refusals in one line."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pypdfium2  # type: ignore[import-untyped,unused-ignore]
import pytest
from typer.testing import CliRunner

from spc.catalogue.load import load_catalogue
from spc.cli import app, main
from spc.demo import DEMO_ZONE
from spc.errors import SetupError
from spc.store.files import import_events, import_log
from spc.store.store import Store
from tests.report.conftest import COMMON

NOW = datetime(2026, 11, 20, 15, tzinfo=UTC)


def run(*words: str):
    return CliRunner().invoke(app, list(words), catch_exceptions=False)


def refusal(monkeypatch, capsys, *words: str) -> str:
    monkeypatch.setattr("sys.argv", ["spc", *words])
    with pytest.raises(SystemExit) as ended:
        main()
    said: str = capsys.readouterr().err
    assert ended.value.code == 2
    assert said.count("\n") == 1
    return said


def test_json_holds_the_numbers_of_the_review(demo_slice, reviewed):
    done = run("review", *demo_slice.words, "--json")

    told = json.loads(done.stdout)["streams"]
    assert [(each["line"], each["check"], each["position"]) for each in told] == [
        (stream.key.line, stream.key.check, stream.key.position) for stream in reviewed.streams
    ]
    for each, stream in zip(told, reviewed.streams, strict=True):
        indices = stream.indices.indices if stream.indices is not None else ()
        shown = each["capability"]["indices"] if each["capability"] else []
        assert [(index["name"], index["value"]) for index in shown] == [(index.name, index.value) for index in indices]


def test_the_terminal_tells_what_to_do_first(demo_slice, reviewed):
    done = run("review", *demo_slice.words)

    assert "What to do first" in done.stdout
    assert reviewed.findings[0].words[:40] in done.stdout


def test_a_review_of_a_store_is_that_of_its_log(demo_slice, reviewed, tmp_path: Path):
    from zoneinfo import ZoneInfo

    checks, zone = load_catalogue(demo_slice.catalogue), ZoneInfo(DEMO_ZONE)
    with Store.open(tmp_path / "s.db") as store:
        import_log(store, demo_slice.log, checks, zone=zone, dates=None, who="t", now=NOW)
        import_events(store, demo_slice.events, checks, zone=zone, dates=None, who="t", now=NOW)
        head = store.verify().digest
    files = ["--catalogue", str(demo_slice.catalogue), "--calendar", str(demo_slice.calendar), *COMMON]
    at = ["--store", str(tmp_path / "s.db")]

    told = json.loads(run("review", *at, *files, "--json").stdout)
    few = ["--check", "ammeter", "--from", "2026-10-01"]
    packed = run("evidence", *at, *files, *few, "--out", str(tmp_path / "e.pdf"), "--tables", str(tmp_path / "t"))

    assert [each["movement"] for each in told["streams"]] == [stream.movement for stream in reviewed.streams]
    assert packed.exit_code == 0
    pages = pypdfium2.PdfDocument(tmp_path / "e.pdf")
    text = "".join(pages[i].get_textpage().get_text_range() for i in range(len(pages)))
    assert head in "".join(text.split())
    pages.close()
    rows = (tmp_path / "t" / "readings-line-a-ammeter-head.csv").read_text(encoding="utf-8-sig").splitlines()
    lines = [line for line in demo_slice.log.read_text().splitlines() if ",ammeter,head," in line]
    assert len(rows) - 1 == sum(line >= "2026-10-01" for line in lines)


def test_without_a_pdf_library_the_html_is_written_all_the_same(demo_slice, tmp_path, monkeypatch, capsys):
    def missing(html: str) -> bytes:
        raise SetupError("a PDF cannot be made here; install it")

    monkeypatch.setattr("spc.report.pdf.pdf_of", missing)
    out = tmp_path / "review.pdf"

    said = refusal(monkeypatch, capsys, "review", *demo_slice.words, "--check", "ammeter", "--out", str(out))

    assert "a PDF cannot be made here" in said
    assert out.with_suffix(".html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert not out.exists()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--out", "review.docx"], "HTML or PDF"),
        (["--out", "nowhere/review.pdf"], "there is no folder"),
        (["--from", "yesterday"], "is no day"),
        (["--from", "2026-10-02", "--to", "2026-10-01"], "before its first day"),
        (["--line", "Line Q"], "no stream to review"),
        (["--mark", "0"], "no index"),
        (["--json", "--tables", "t"], "without it"),
    ],
)
def test_bad_requests_are_refused_in_one_line(demo_slice, monkeypatch, capsys, words, says):
    assert says in refusal(monkeypatch, capsys, "review", *demo_slice.words, *words)


def test_a_place_that_cannot_be_written_is_refused_in_one_line(demo_slice, tmp_path, monkeypatch, capsys):
    (tmp_path / "file").write_text("not a folder")
    (tmp_path / "review.html").mkdir()
    folder = refusal(monkeypatch, capsys, "review", *demo_slice.words, "--tables", str(tmp_path / "file"))
    report = refusal(
        monkeypatch, capsys, "review", *demo_slice.words, "--check", "ammeter", "--out", str(tmp_path / "review.html")
    )

    assert "is a file; name a folder" in folder
    assert "cannot be written" in report
    assert "name another file" in report


def test_evidence_that_goes_nowhere_is_refused(monkeypatch, capsys):
    assert "nothing to write; give --out" in refusal(monkeypatch, capsys, "evidence")


def test_evidence_without_a_store_is_refused(tmp_path, monkeypatch, capsys):
    words = ["evidence", "--store", str(tmp_path / "none.db"), "--out", str(tmp_path / "e.html")]

    assert "there is no such store" in refusal(monkeypatch, capsys, *words)


def test_a_study_goes_from_plan_to_result(tmp_path):
    plan = run("study", "plan", "--parts", "3", "--operators", "A,B", "--rounds", "2", "--seed", "5")
    lines = plan.stdout.splitlines()
    filled = [f"{line}{int(line.split(',')[2]) + 0.01 * place}" for place, line in enumerate(lines[1:])]
    sheet = tmp_path / "light.csv"
    sheet.write_text("\n".join([lines[0], *filled]))

    told = run("study", "result", str(sheet), "--what", "Light", "--unit", "fc")
    paper = run("study", "result", str(sheet), "--out", str(tmp_path / "s.html"))

    assert "distinct categories" in told.stdout
    assert paper.exit_code == 0
    assert "Analysis of variance" in (tmp_path / "s.html").read_text(encoding="utf-8")
