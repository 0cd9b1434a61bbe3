"""Documents that cannot rot: what they name exists, what they show runs, and what exists is named."""

import contextlib
import importlib.util
import io
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import typer

from spc.catalogue.load import load_catalogue, starter
from spc.cli import app

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")

SOURCES = ("spc", "dashboard", "tests", "datasets", "docs", ".ci", ".github")
TEXT = {".py", ".css", ".js", ".toml", ".md", ".csv", ".json", ".lock", ".html", ".svg", ".txt", ".yml", ""}
LONGEST = 400

FENCE = re.compile(r"^```(?P<language>\w+)(?: (?P<file>\S+))?\n(?P<text>.*?)^```$", re.MULTILINE | re.DOTALL)
FENCES = [match.groupdict() for match in FENCE.finditer(README)]
SHELL_LINES = [
    line.split("  #")[0].strip()
    for fence in FENCES
    if fence["language"] in {"sh", "bat"}
    for line in str(fence["text"]).splitlines()
]
SPC_LINES = [line for line in SHELL_LINES if line.startswith("spc ")]

SERVERS = ("spc serve", "spc demo")  # run until they are ended; the browser's tests start them

COMMANDS = typer.main.get_command(app).commands  # type: ignore[attr-defined]  # the command is a group


def text_files() -> list[Path]:
    """Return every text file of the project: those at the top and those below its folders."""
    below = [path for folder in SOURCES for path in (ROOT / folder).rglob("*")]
    files = [path for path in [*ROOT.iterdir(), *below] if path.is_file() and "__pycache__" not in path.parts]
    return sorted(path for path in files if path.suffix in TEXT)


def read(path: Path) -> str:
    """Return a file's text; what is no text in it does not matter here."""
    return path.read_text(encoding="utf-8", errors="replace")


def section(command: str) -> str:
    """Return the README's section on a command."""
    found = re.search(rf"^### `spc {command}\b.*?(?=^##)", README, re.MULTILINE | re.DOTALL)
    return found.group() if found else ""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch) -> Path:
    """Return a folder with the files that the README shows, the demo line's beside them, as the place to run in."""
    for fence in FENCES:
        if fence["file"]:
            (tmp_path / str(fence["file"])).write_text(str(fence["text"]), encoding="utf-8")
    shutil.copytree(ROOT / "datasets", tmp_path / "datasets", ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run_spc(line: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "spc", *shlex.split(line)[1:]],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        env=dict(os.environ, PYTHONPATH=str(ROOT), PYTHONUTF8="1"),
    )


# -- the README and the command line -----------------------------------------------------------------------------------


def test_every_command_has_a_section_and_every_section_a_command():
    assert sorted(re.findall(r"^### `spc (\w+)", README, re.MULTILINE)) == sorted(COMMANDS)


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_option_is_documented_and_every_documented_option_exists(name):
    command = COMMANDS[name]
    parts = getattr(command, "commands", {"": command}).values()  # a group has commands of its own
    options = {option for part in parts for each in part.params for option in each.opts if option.startswith("--")}

    shown = {option for row in re.findall(r"^\| (`--.*?) \|", section(name), re.MULTILINE) for option in named_in(row)}

    assert shown == options - {"--help"}


def named_in(row: str) -> list[str]:
    return re.findall(r"`(--[\w-]+)`", row)


@pytest.mark.parametrize("line", SPC_LINES)
def test_every_command_line_shown_is_understood(line):
    words = shlex.split(line)[1:]
    if words == ["--help"]:
        return
    command = COMMANDS[words[0]]

    with command.make_context(words[0], words[1:]) as context:
        assert context.params


@pytest.mark.parametrize("line", [line for line in SPC_LINES if not line.startswith(SERVERS) or "--headless" in line])
def test_every_command_line_shown_runs(line, folder):
    done = run_spc(line)

    assert done.stderr == ""
    assert done.returncode == 0
    assert json.loads(done.stdout) if "--json" in line else done.stdout


def test_the_log_shown_is_read_without_a_rest(folder):
    rows = json.loads(run_spc("spc scan my-log.csv --zone UTC --events my-events.csv --json").stdout)["rows"]

    shown = (folder / "my-log.csv").read_text().strip().splitlines()[1:]
    assert rows == {"read": len(shown), "accepted": len(shown), "duplicate": 0, "quarantined": 0}


def test_the_catalogue_shown_is_accepted_and_confirms_its_limits(folder):
    catalogue = load_catalogue(folder / "my-site.toml")

    confirmed = {key for key, check in catalogue.checks.items() if check.acceptance.confirmed}
    assert confirmed == {"bath_concentration", "ammeter"}
    assert "steady_trend" in {rule.key for rule in catalogue.checks["uva_irradiance"].rules}
    assert catalogue.checks["uva_irradiance"].baseline == 30


@pytest.mark.parametrize("text", [fence["text"] for fence in FENCES if fence["language"] == "python"])
def test_the_python_shown_runs(text, folder):
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        exec(compile(text, "README.md", "exec"), {})

    assert "bath_concentration" in said.getvalue()


def test_every_built_in_check_and_event_kind_is_named():
    named = set(re.findall(r"`(\w+)`", README))

    assert starter().checks.keys() <= named
    assert starter().event_kinds <= named


def test_every_task_shown_is_a_task():
    spec = importlib.util.spec_from_file_location("start", ROOT / ".ci" / "start.py")
    assert spec is not None
    assert spec.loader is not None
    start = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(start)
    made = {line.split()[1] for line in SHELL_LINES if line.startswith("make ")}
    windows = {line.split()[2] for line in SHELL_LINES if line.startswith("py .ci\\start.py ")}

    assert made == windows == {"demo", "test"}
    assert made <= start.TASKS.keys()


def test_the_readme_opens_with_the_job_then_the_picture_then_the_commands():
    paragraph, picture, commands = (README.index(mark) for mark in ("\n\nA magnetic particle line", "![", "make demo"))

    assert paragraph < picture < commands
    assert README.index("\n## ") > picture


# -- all documents -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "document", sorted(path for path in text_files() if path.suffix == ".md"), ids=lambda p: p.name
)
def test_every_file_that_a_document_names_is_there(document):
    text = document.read_text(encoding="utf-8")
    links = [link for link in re.findall(r"\]\(([^)#]+)", text) if "://" not in link]
    paths = [name for name in re.findall(r"`([\w./-]+/[\w.-]+\.\w+)`", text) if "NAME" not in name]
    folders = [document.parent, ROOT]
    gone = [name for name in links + paths if not any((folder / name).exists() for folder in folders)]

    assert gone == []


def test_the_changelog_has_a_place_for_what_comes_next():
    changelog = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")

    assert re.search(r"^## Unreleased$", changelog, re.MULTILINE)


def test_every_environment_variable_is_documented():
    used = {
        name
        for path in text_files()
        if path.suffix == ".py"
        for name in re.findall(r"[\"'](SPC_[A-Z]+)[\"']", read(path))
    }

    assert used
    assert used - set(re.findall(r"\bSPC_[A-Z]+\b", README + DEVELOPERS)) == set()


# -- all files ---------------------------------------------------------------------------------------------------------

# Written in pieces, so that this file does not name them either.
FOREIGN = {
    "a package registry": [
        "py" + "pi.org",
        "python" + "hosted",
        "npm" + "js.org",
        "deb." + "debian",
        "conda." + "anaconda",
    ],
    "a place on somebody's machine": [
        "/wo" + "rk/",
        "/ho" + "me/",
        "/ro" + "ot/",
        "/Us" + "ers/",
        "C:\\" + "Users",
        "/opt/wh" + "eels",
    ],
}


@pytest.mark.parametrize("kind", FOREIGN)
def test_no_file_names(kind):
    named = {
        f"{path.relative_to(ROOT).as_posix()}: {word}"
        for path in text_files()
        for word in FOREIGN[kind]
        if word in read(path)
    }

    assert sorted(named) == []


def test_a_long_file_has_its_reason():
    code = [path for path in text_files() if path.suffix in {".py", ".css", ".js", ".toml", ".md"}]
    long = {path.relative_to(ROOT).as_posix() for path in code if len(read(path).splitlines()) > LONGEST}

    reasons = DEVELOPERS.partition("## Long files")[2].partition("\n## ")[0]
    excused = set(re.findall(r"^\| `(\S+)` \| \w", reasons, re.MULTILINE))

    assert long - excused == set()
    assert [name for name in excused if not (ROOT / name).exists()] == []
