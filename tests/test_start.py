"""The set-up script: what it refuses, when it starts anew, and what it does on each road to a browser."""

import ast
import importlib.util
import re
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).parent.parent
SCRIPT = ROOT / ".ci" / "start.py"

PROJECT = """\
[build-system]
requires = ["setuptools>=77"]

[project]
name = "a-project"
version = "1"
"""
LOCK = """\
six==1.16.0 \\
    --hash=sha256:aaaa
uv==0.9.1 \\
    --hash=sha256:bbbb \\
    --hash=sha256:cccc
    # via a-project
wheel==1.0 \\
    --hash=sha256:dddd
"""


@pytest.fixture
def start(tmp_path, monkeypatch) -> ModuleType:
    """Return the script, at home in a folder of its own."""
    spec = importlib.util.spec_from_file_location("start", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    (tmp_path / "requirements.lock").write_text(LOCK)
    (tmp_path / "pyproject.toml").write_text(PROJECT)
    places = {"ROOT": ".", "LOCK": "requirements.lock", "PROJECT": "pyproject.toml", "VENV": ".venv"}
    for name, place in places.items():
        monkeypatch.setattr(module, name, str(tmp_path / place))
    monkeypatch.setattr(module, "STAMP", str(tmp_path / ".venv" / "stamp"))
    monkeypatch.setattr(module, "PYTHON", str(tmp_path / ".venv" / "python"))
    monkeypatch.setattr(module, "check_venv", lambda: None)
    monkeypatch.delenv("SPC_BROWSER", raising=False)
    return module


@pytest.fixture
def ran(start, monkeypatch) -> list[str]:
    """Return the commands that the script started; each ends well, and making the environment makes its Python."""
    commands: list[str] = []

    def run(*command: str, **settings: str) -> int:
        commands.append(" ".join(command))
        if "venv" in command:
            Path(start.VENV).mkdir(exist_ok=True)
            Path(start.PYTHON).touch()
        return 0

    monkeypatch.setattr(start, "run", run)
    return commands


# -- the Python --------------------------------------------------------------------------------------------------------


def test_an_old_python_is_refused_with_the_way_to_a_newer_one(start, monkeypatch):
    monkeypatch.setattr(start.shutil, "which", lambda name: None)

    with pytest.raises(start.CannotGoOn, match=r"3\.11 or later is needed; this is 3\.9[\s\S]*apt-get[\s\S]*Windows"):
        start.check_python((3, 9))


def test_an_old_python_is_refused_naming_a_newer_one_that_is_there(start, monkeypatch):
    monkeypatch.setattr(start.shutil, "which", lambda name: "/usr/bin/" + name if name == "python3.12" else None)
    monkeypatch.setattr(start, "quietly", lambda *command: "")

    with pytest.raises(start.CannotGoOn, match=r"make PYTHON=python3\.12 demo"):
        start.check_python((3, 10))


@pytest.mark.parametrize("version", [(3, 11), (3, 12), (4, 0)])
def test_a_python_that_is_new_enough_passes(start, version):
    assert start.check_python(version) is None


def test_the_oldest_python_is_the_projects(start):
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())

    assert project["project"]["requires-python"] == ">={}.{}".format(*start.OLDEST)


def test_the_script_is_read_by_pythons_that_it_refuses():
    source = SCRIPT.read_text(encoding="utf-8")

    ast.parse(source, feature_version=(3, 6))
    assert "from __future__ import annotations" not in source  # 3.7
    assert re.search(r"\b(list|dict|tuple)\[|\| None", source) is None  # 3.9 and 3.10, where a signature runs


@pytest.mark.parametrize("missing", ["venv", "ensurepip"])
def test_a_python_without_the_parts_that_make_environments_is_refused(missing, monkeypatch):
    spec = importlib.util.spec_from_file_location("start", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    start = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(start)
    monkeypatch.setattr(start, "quietly", lambda *command: None if command[-1] == "import " + missing else "")

    with pytest.raises(start.CannotGoOn, match=rf"no module {missing}[\s\S]*apt-get install python3\.\d+-venv"):
        start.check_venv()


# -- the environment ---------------------------------------------------------------------------------------------------


def test_the_first_run_sets_up_and_the_second_starts_at_once(start, ran):
    start.set_up()
    first = list(ran)
    start.set_up()

    assert [command.split()[2] for command in first] == ["venv", "pip", "uv", "pip"]
    assert ["--require-hashes" in command for command in first] == [False, True, True, False]
    assert ran == first


def test_the_project_is_installed_without_asking_a_network(start, ran):
    start.set_up()

    assert "--no-index --no-deps --no-build-isolation --editable" in ran[-1]


@pytest.mark.parametrize("ends", ["venv", "uv", "pip"])
def test_an_interrupted_set_up_starts_anew(start, ran, monkeypatch, ends):
    whole = start.run

    def interrupted(*command: str, **settings: str) -> int:
        whole(*command, **settings)
        if command[2] == ends:
            raise KeyboardInterrupt
        return 0

    monkeypatch.setattr(start, "run", interrupted)
    with pytest.raises(KeyboardInterrupt):
        start.set_up()
    monkeypatch.setattr(start, "run", whole)
    ran.clear()
    start.set_up()

    assert "-m venv --clear" in ran[0]
    assert "--editable" in ran[-1]


def test_an_interrupted_change_of_lock_starts_anew(start, ran, monkeypatch):
    start.set_up()
    whole = start.run
    Path(start.LOCK).write_text(LOCK + "more==1 --hash=sha256:eeee\n")

    def interrupted(*command: str, **settings: str) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(start, "run", interrupted)
    with pytest.raises(KeyboardInterrupt):
        start.set_up()
    monkeypatch.setattr(start, "run", whole)
    Path(start.LOCK).write_text(LOCK)  # and back, so that the old stamp would fit
    ran.clear()
    start.set_up()

    assert ran, "the half-made environment was taken for whole"


@pytest.mark.parametrize(
    "change",
    [
        lambda start: Path(start.LOCK).write_text(LOCK.replace("bbbb", "bbbc")),
        lambda start: Path(start.PROJECT).write_text(PROJECT.replace('"1"', '"2"')),
        lambda start: setattr(start, "ROOT", start.ROOT + "-moved"),
        lambda start: Path(start.PYTHON).unlink(),
    ],
    ids=["lock", "project table", "place", "interpreter gone"],
)
def test_the_environment_is_made_anew_when_what_it_was_made_of_changes(start, ran, change: Callable[..., object]):
    start.set_up()
    ran.clear()
    change(start)
    start.set_up()

    assert ran


def test_a_changed_lint_setting_makes_no_new_environment(start, ran):
    start.set_up()
    ran.clear()
    Path(start.PROJECT).write_text(PROJECT + "\n[tool.ruff]\nline-length = 100\n")
    start.set_up()

    assert ran == []


def test_pip_takes_over_where_uv_fails(start, ran, monkeypatch):
    whole = start.run
    monkeypatch.setattr(start, "run", lambda *command, **settings: whole(*command, **settings) or "uv" in command)
    start.set_up()

    assert any(command.endswith("-m pip install --require-hashes -r " + start.LOCK) for command in ran)


def test_without_a_network_it_says_what_is_missing_and_leaves_no_stamp(start, ran, monkeypatch, capsys):
    whole = start.run
    monkeypatch.setattr(
        start, "run", lambda *command, **settings: whole(*command, **settings) or "--require-hashes" in command
    )
    code = start.main(["check"])

    assert code == 2
    assert "the first run needs one" in capsys.readouterr().out
    assert not Path(start.STAMP).exists()


def test_uv_is_taken_from_the_lock_with_its_hashes_alone(start):
    taken = start.locked("uv")

    assert taken.startswith("uv==0.9.1")
    assert "bbbb" in taken
    assert "cccc" in taken
    assert "dddd" not in taken
    assert "six" not in taken


def test_a_lock_without_uv_is_refused(start):
    Path(start.LOCK).write_text("six==1.16.0\n")

    with pytest.raises(start.CannotGoOn, match=r"requirements.lock has no uv"):
        start.locked("uv")


# -- the browser -------------------------------------------------------------------------------------------------------


def test_a_chosen_browser_that_does_not_start_is_refused(start, monkeypatch):
    monkeypatch.setenv("SPC_BROWSER", "/nowhere/browser")

    with pytest.raises(start.CannotGoOn, match=r"SPC_BROWSER names /nowhere/browser"):
        start.find_browser()


def test_a_chosen_browser_comes_before_all_others(start, monkeypatch):
    monkeypatch.setenv("SPC_BROWSER", sys.executable)
    monkeypatch.setattr(start, "installed_browser", lambda: "/another")

    assert start.find_browser() == sys.executable


def test_a_browser_of_the_machine_is_used_as_it_is(start, ran, monkeypatch):
    monkeypatch.setattr(start.shutil, "which", lambda name: sys.executable if name == "chromium" else None)

    assert start.find_browser() == sys.executable
    assert ran == []


def test_a_program_that_only_says_how_to_install_a_browser_is_passed_over(start, monkeypatch, tmp_path):
    stub = tmp_path / "chromium-browser"
    stub.write_text("#!/bin/sh\nexit 1\n")
    stub.chmod(0o755)
    monkeypatch.setattr(start.shutil, "which", lambda name: str(stub) if name == stub.name else None)
    monkeypatch.setattr(start, "PLACES_OF_BROWSERS", [])
    monkeypatch.setattr(start, "WINDOWS", False)

    assert start.installed_browser() is None


def test_apt_installs_a_browser_where_it_needs_no_password(start, ran, monkeypatch):
    monkeypatch.setattr(start, "installed_browser", lambda: "/usr/bin/chromium" if ran else None)
    monkeypatch.setattr(start.shutil, "which", lambda name: "/usr/bin/" + name)
    monkeypatch.setattr(start, "quietly", lambda *command: "")

    assert start.find_browser() == "/usr/bin/chromium"
    assert [command.split("apt-get -q -y ")[1] for command in ran] == [
        "update",
        "install --no-install-recommends chromium",
    ]


def test_where_apt_needs_a_password_the_driver_downloads_its_own_browser(start, ran, monkeypatch):
    monkeypatch.setattr(start, "installed_browser", lambda: "/downloaded/chrome" if ran else None)
    monkeypatch.setattr(start.shutil, "which", lambda name: "/usr/bin/" + name)
    monkeypatch.setattr(start.os, "geteuid", lambda: 1000, raising=False)
    monkeypatch.setattr(start, "quietly", lambda *command: None)

    assert start.find_browser() == "/downloaded/chrome"
    assert ran == [start.PYTHON + " -m playwright install chromium"]


def test_without_any_browser_it_says_how_to_get_one(start, ran, monkeypatch):
    monkeypatch.setattr(start, "installed_browser", lambda: None)
    monkeypatch.setattr(start.shutil, "which", lambda name: None)

    with pytest.raises(
        start.CannotGoOn, match=r"none could be had here[\s\S]*apt-get install chromium[\s\S]*SPC_BROWSER"
    ):
        start.find_browser()


# -- the gate ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("fails", ["ruff check", "ruff format", "mypy", "bandit", "pytest"])
def test_the_gate_fails_when_one_part_does_and_runs_the_others(start, monkeypatch, fails):
    ran = []

    def run(*command: str, **settings: str) -> int:
        ran.append(" ".join(command))
        return int(fails in ran[-1])

    monkeypatch.setattr(start, "run", run)
    monkeypatch.setattr(start, "set_up", lambda: None)
    monkeypatch.setattr(start, "find_browser", lambda: "/usr/bin/chromium")

    assert start.test(["-k", "rules"]) == 1
    assert len(ran) == 5
    assert ran[-1].endswith("-k rules")


def test_the_gate_tells_the_tests_which_browser(start, monkeypatch):
    told = []

    def run(*command: str, **settings: str) -> int:
        told.append(settings)
        return 0

    monkeypatch.setattr(start, "run", run)
    monkeypatch.setattr(start, "set_up", lambda: None)
    monkeypatch.setattr(start, "find_browser", lambda: "/usr/bin/chromium")

    assert start.test([]) == 0
    assert told[-1] == {"SPC_BROWSER": "/usr/bin/chromium"}


def test_an_unknown_task_lists_the_tasks():
    result = subprocess.run([sys.executable, str(SCRIPT), "dance"], capture_output=True, text=True, check=False)

    assert result.returncode == 2
    assert all(task in result.stdout for task in ("demo", "test", "check", "bench", "lock"))


def test_make_alone_prints_every_target():
    makefile = (ROOT / "Makefile").read_text()
    declared = re.search(r"^\.PHONY: (.*)$", makefile, re.MULTILINE)
    assert declared is not None
    targets = set(declared.group(1).split()) - {"help"}
    shown = set(re.findall(r'@echo "make (\w+)', makefile))

    assert ".DEFAULT_GOAL := help" in makefile
    assert shown == targets


# -- the database ------------------------------------------------------------------------------------------------------


def test_a_database_of_the_machine_is_used_as_it_is(start, ran, monkeypatch):
    monkeypatch.setattr(start, "has_database", lambda: True)

    start.find_database()

    assert ran == []


def test_apt_installs_the_database_where_it_needs_no_password(start, ran, monkeypatch):
    monkeypatch.setattr(start, "has_database", lambda: bool(ran))
    monkeypatch.setattr(start.shutil, "which", lambda name: f"/usr/bin/{name}")
    monkeypatch.setattr(start, "quietly", lambda *command: "")

    start.find_database()

    assert ran[-1].endswith("install --no-install-recommends postgresql")


def test_without_a_database_the_tests_say_how_to_get_one(start, monkeypatch):
    monkeypatch.setattr(start, "has_database", lambda: False)
    monkeypatch.setattr(start.shutil, "which", lambda name: None)

    with pytest.raises(start.CannotGoOn, match="sudo apt-get install postgresql"):
        start.find_database()


# -- what lays out the pages of a report -------------------------------------------------------------------------------


def test_apt_installs_pango_where_it_is_missing(start, ran, monkeypatch):
    monkeypatch.setattr(start, "has_pango", lambda: bool(ran))
    monkeypatch.setattr(start.shutil, "which", lambda name: f"/usr/bin/{name}")
    monkeypatch.setattr(start, "quietly", lambda *command: "")

    start.find_pango()

    assert ran[-1].endswith("install --no-install-recommends libpangoft2-1.0-0")


def test_without_pango_the_tests_say_how_to_get_it(start, monkeypatch):
    monkeypatch.setattr(start, "has_pango", lambda: False)
    monkeypatch.setattr(start.shutil, "which", lambda name: None)

    with pytest.raises(start.CannotGoOn, match="sudo apt-get install libpangoft2"):
        start.find_pango()
