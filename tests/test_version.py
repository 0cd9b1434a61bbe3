"""The version is one number: of the project table, of the program, of the citation."""

import tomllib
from pathlib import Path

from typer.testing import CliRunner

from spc.cli import app

ROOT = Path(__file__).parent.parent


def test_the_program_tells_the_version_of_the_project_table():
    told = CliRunner().invoke(app, ["--version"])
    assert told.exit_code == 0
    with open(ROOT / "pyproject.toml", "rb") as file:
        assert told.stdout.strip() == tomllib.load(file)["project"]["version"]


def test_the_citation_is_of_this_version():
    with open(ROOT / "pyproject.toml", "rb") as file:
        version = tomllib.load(file)["project"]["version"]
    assert f"\nversion: {version}\n" in (ROOT / "CITATION.cff").read_text()
