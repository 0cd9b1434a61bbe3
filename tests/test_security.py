"""The page on security: its evidence is there. No secret lies in the repository, and XML does no harm."""

import ast
import re
import subprocess
from pathlib import Path
from xml.etree import ElementTree

import pytest

from spc.stream_csv import safe
from spc.study import plan_study

ROOT = Path(__file__).parent.parent
PAGE = (ROOT / "docs" / "security.md").read_text(encoding="utf-8")
EVIDENCE = re.compile(r"`((?:tests|spc|dashboard|\.ci|datasets)/[\w./]+?|[\w.]+\.(?:md|toml|lock))(?:::(\w+))?`")
SECRETS = re.compile(
    r"-----BEGIN [A-Z ]*PRIVATE KEY|\bAKIA[0-9A-Z]{16}\b|\bgh[pousr]_[A-Za-z0-9]{36}|\bxox[abpr]-[0-9A-Za-z-]{20,}"
    r"|\bsk-[A-Za-z0-9]{32,}|://[^/\s:@'\"{}<>]+:(?!\*\*\*)[^/\s:@'\"{}<>]{8,}@|\beyJ[A-Za-z0-9_-]{20,}\.eyJ"
)
"""Private keys, tokens of the usual shapes, and addresses with a password in them."""

ROWS = [line for line in PAGE.splitlines() if re.match(r"\| \d", line)]


def functions(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {each.name for each in ast.walk(tree) if isinstance(each, ast.FunctionDef)}


def test_every_evidence_that_is_named_is_there():
    named = EVIDENCE.findall(PAGE)
    missing = [
        f"{path}::{name}"
        for path, name in named
        if not (ROOT / path).is_file() or (name and name not in functions(ROOT / path))
    ]

    assert len([name for _, name in named if name]) > 40
    assert missing == []


def test_every_row_says_whether_it_holds_and_why():
    assert len(ROWS) > 60
    for row in ROWS:
        _, number, what, state, evidence, _ = (part.strip() for part in row.split("|"))
        assert re.fullmatch(r"[\d., to]+", number), row
        assert what, row
        assert state in ("holds", "in part", "no", "n/a"), row
        assert evidence, row
        assert state != "holds" or "`" in evidence or "there is no" in evidence, row


def test_every_chapter_of_the_standard_that_has_requirements_is_answered():
    """ASVS 4.0.3 has the chapters 1 to 14."""
    assert {int(row.split("|")[1].split(".")[0]) for row in ROWS} == set(range(1, 15))


def test_no_secret_is_in_the_repository():
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False).stdout
    names = [name for name in listed.split("\0") if name]
    files = [ROOT / name for name in names] or [
        path for folder in ("spc", "dashboard", "tests", "docs", ".ci") for path in (ROOT / folder).rglob("*.*")
    ]
    found = []
    for path in files:
        if path.is_file() and path.suffix not in (".png", ".gz", ".xlsx", ".parquet"):
            text = path.read_text(encoding="utf-8", errors="replace")
            found += [f"{path.relative_to(ROOT)}: {hit.group()[:20]}" for hit in SECRETS.finditer(text)]

    assert len(files) > 300
    assert found == []


@pytest.mark.parametrize(
    "text", ["-----BEGIN RSA PRIVATE " + "KEY-----", "AKIA" + "A" * 16, "postgresql://me" + ":longsecret@host/db"]
)
def test_a_secret_would_be_seen(text):
    assert SECRETS.search(text)


def test_xml_that_multiplies_or_names_files_is_refused():
    """Workbooks are XML: entities that multiply are stopped by expat, those that name a file are not fetched."""
    entities = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 12))
    many = f'<!DOCTYPE x [<!ENTITY a0 "ha">{entities}]><x>&a11;</x>'
    named = '<!DOCTYPE x [<!ENTITY f SYSTEM "file:///etc/passwd">]><x>&f;</x>'
    for text in (many, named):
        with pytest.raises(ElementTree.ParseError):
            ElementTree.fromstring(text)


DEFUSED = {
    "spc/report/tables.py": "test_no_cell_of_a_csv_becomes_a_formula_and_numbers_stay_numbers",
    "spc/stream_csv.py": "test_no_word_becomes_a_formula",
    "spc/study.py": "test_a_plan_of_a_study_holds_no_formula",
    "dashboard/queries/review_rows.py": "by stream_csv.safe",
}
AS_IT_IS = {
    "spc/store/export.py": "read back without loss",
    "spc/ingest/xlsx_log.py": "never leaves the program",
    "spc/ingest/remarks.py": "a proposal that is read back as events",
    "spc/frames.py": "never leaves the program",
    "spc/demo/rows.py": "invented data",
}


def test_every_place_that_writes_cells_is_known():
    writing = {
        path.relative_to(ROOT).as_posix()
        for folder in ("spc", "dashboard")
        for path in (ROOT / folder).rglob("*.py")
        if re.search(r"csv\.(Dict)?[wW]riter\(|\.to_csv\(|\.to_excel\(", path.read_text(encoding="utf-8"))
    }

    assert writing - set(AS_IT_IS) <= set(DEFUSED)
    assert "safe(" in (ROOT / "dashboard/queries/review_rows.py").read_text(encoding="utf-8")


@pytest.mark.parametrize("words", ["=1+1", "+1", "-1", "@x", "\t=1", "\r=1", "\n=1", "  =1", "\uff1d1"])
def test_no_word_becomes_a_formula(words):
    assert safe(words) == "'" + words
    assert safe("plain = 1") == "plain = 1"


def test_a_plan_of_a_study_holds_no_formula():
    text = plan_study(["=1+1", "b"], ["@x", "c"], 2, seed=1).csv

    assert "'=1+1" in text
    assert not re.search(r"(^|,)[=@]", text, re.MULTILINE)
