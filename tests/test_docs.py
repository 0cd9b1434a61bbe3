"""`docs/`: pages made from the program are of this program, every picture is there, and the site builds by itself."""

import importlib.util
import os
import re
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from spc.catalogue.load import starter

ROOT = Path(__file__).parent.parent
DOCS = ROOT / "docs"
PAGES = sorted(DOCS.glob("*.md"))


def script(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, DOCS / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", ["catalogue.md", "reference.md"])
def test_a_page_made_from_the_program_is_of_this_program(name):
    made = script("make").PAGES[name]()

    assert (DOCS / name).read_text(encoding="utf-8") == made, "python docs/make.py writes it anew"


def test_the_catalogue_page_tells_every_source_and_conflict():
    page = (DOCS / "catalogue.md").read_text(encoding="utf-8")

    for check in starter().checks.values():
        told = page.partition(f"\n## {check.title}\n")[2].partition("\n## ")[0]
        wanted = (check.key, check.acceptance.document or "", check.acceptance.conflict, check.interval.document)
        assert [words for words in wanted if words not in told] == []
        if check.acceptance.mark == "memory":
            assert "from memory" in told


def test_every_picture_is_shown_and_every_shown_one_is_taken():
    shown = {name for page in PAGES for name in re.findall(r"\]\(pictures/([\w-]+)\.png\)", page.read_text("utf-8"))}
    taken = {shot.name for shot in script("pictures").SHOTS}

    assert shown <= taken
    assert {path.stem for path in (DOCS / "pictures").glob("*.png")} == taken


def test_every_picture_says_in_words_what_it_shows():
    bare = [page.name for page in PAGES if re.search(r"!\[\s*\]\(", page.read_text("utf-8"))]

    assert bare == []


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("site")
    done = subprocess.run(
        [sys.executable, "-m", "mkdocs", "build", "--strict", "--quiet", "--site-dir", str(folder)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        env=dict(os.environ, PYTHONUTF8="1"),
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return Path(folder)


def test_the_site_has_every_page(site):
    assert {page.stem for page in PAGES} <= {page.stem for page in site.glob("*.html")}


def test_the_site_loads_nothing_from_another_host(site):
    loads = re.compile(r"<(?:script|img|link|iframe)\b[^>]*\b(?:src|href)=\"(?:https?:)?//[^\"]*\"")
    found = {found for page in site.glob("*.html") for found in loads.findall(page.read_text(encoding="utf-8"))}

    assert {tag for tag in found if 'rel="canonical"' not in tag} == set()
