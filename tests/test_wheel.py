"""The wheel: it carries what it needs and nothing else, and does its job where the project's folder is out of sight."""

import json
import os
import re
import shutil
import subprocess
import sys
import sysconfig
import tomllib
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_string
from pathlib import Path
from urllib.request import urlopen

import pytest

ROOT = Path(__file__).parent.parent
PACKAGES = ("spc", "dashboard")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
NEEDED = (
    "import alembic, cattrs, dash, numpy, pandas, pint, plotly, rich, scipy, sqlalchemy, statsmodels, typer, waitress"
)
OTHERS = [f"python3.{minor}" for minor in range(11, 20) if minor != sys.version_info.minor]


def run(*command: str | Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run a command that knows nothing of this folder."""
    return subprocess.run(
        [str(part) for part in command], cwd=cwd, env=hidden(), capture_output=True, encoding="utf-8", check=False
    )


def hidden() -> dict[str, str]:
    """Return the environment without what leads to this folder."""
    out = {"PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV", "SPC_STORE"}
    kept = {name: text for name, text in os.environ.items() if name not in out and not name.startswith("COV")}
    return kept | {"PYTHONUTF8": "1", "PYTHONUNBUFFERED": "1"}


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    """Return the wheel, built from a copy of what it is made of: building leaves traces."""
    source, out = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("out")
    for name in PACKAGES:
        shutil.copytree(ROOT / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source)
    code = "import sys; from setuptools import build_meta; build_meta.build_wheel(sys.argv[1])"
    built = run(sys.executable, "-c", code, out, cwd=source)
    assert built.returncode == 0, built.stderr
    return Path(next(out.glob("*.whl")))


@pytest.fixture(scope="module")
def names(wheel) -> list[str]:
    with zipfile.ZipFile(wheel) as archive:
        return archive.namelist()


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory) -> Path:
    """Return an environment with the wheel, and the packages of this one without this project."""
    return install(wheel, tmp_path_factory.mktemp("installed"), sys.executable, sysconfig.get_path("purelib"))


def install(wheel: Path, folder: Path, python: str, packages: str) -> Path:
    made = run(
        sys.executable, "-m", "uv", "venv", "--offline", "--no-project", "--python", python, folder / "env", cwd=folder
    )
    assert made.returncode == 0, made.stderr
    bin_folder = folder / "env" / ("Scripts" if os.name == "nt" else "bin")
    asked = run(bin_folder / "python", "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=folder)
    Path(asked.stdout.strip(), "packages.pth").write_text(
        packages + "\n", encoding="utf-8"
    )  # its own .pth are not read
    settings = ("--offline", "--no-deps", "--no-cache", "--python", bin_folder / "python")
    done = run(sys.executable, "-m", "uv", "pip", "install", *settings, wheel, cwd=folder)
    assert done.returncode == 0, done.stderr
    return bin_folder


def test_every_file_of_the_packages_is_in_it(names):
    there = [
        path.relative_to(ROOT).as_posix()
        for package in PACKAGES
        for path in (ROOT / package).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    ]
    wanted = set(there)

    assert wanted - set(names) == set()
    assert {"spc/py.typed", "spc/catalogue/starter.toml", "spc/demo/line.toml", "spc/report/paper.css"} <= wanted
    assert any(name.startswith("dashboard/vendor/plotly") for name in wanted)
    assert any(name.startswith("spc/store/migrations/versions/m0001") for name in wanted)


def test_nothing_else_is_in_it(names):
    tops = {name.partition("/")[0] for name in names}

    assert tops == {*PACKAGES, f"mt_process_control-{PROJECT['version']}.dist-info"}


def test_its_label_says_what_it_is(wheel, names):
    with zipfile.ZipFile(wheel) as archive:
        folder = f"mt_process_control-{PROJECT['version']}.dist-info"
        label = message_from_string(archive.read(f"{folder}/METADATA").decode("utf-8"))
        commands = archive.read(f"{folder}/entry_points.txt").decode("utf-8")

    assert label["Name"] == PROJECT["name"]
    assert label["Version"] == PROJECT["version"]
    assert label["License-Expression"] == "MIT"
    assert label["Requires-Python"] == PROJECT["requires-python"]
    assert set(label.get_all("Provides-Extra", [])) == set(PROJECT["optional-dependencies"])
    asked = [text for text in label.get_all("Requires-Dist", []) if "extra ==" not in text]
    assert sorted(asked) == sorted(PROJECT["dependencies"])
    assert label["Description-Content-Type"] == "text/markdown"
    assert str(label.get_payload()).strip() == (ROOT / "README.md").read_text(encoding="utf-8").strip()
    assert f"{folder}/licenses/LICENSE" in names
    assert "spc = spc.cli:main" in commands


def does_its_job(bin_folder: Path, folder: Path) -> None:
    """Assert that the commands of an environment work in a folder of their own."""
    shutil.copy(ROOT / "datasets" / "demo-log.csv", folder)
    spc, python = bin_folder / "spc", bin_folder / "python"

    where = run(python, "-c", "import spc, dashboard; print(spc.__file__, dashboard.__file__)", cwd=folder)
    assert where.stderr == ""
    assert str(ROOT) not in where.stdout
    assert where.stdout.count(str(bin_folder.parent)) == 2

    assert run(spc, "--version", cwd=folder).stdout.strip() == PROJECT["version"]

    scan = run(spc, "scan", "demo-log.csv", "--zone", "Europe/Vienna", "--json", cwd=folder)
    assert scan.stderr == ""
    assert json.loads(scan.stdout)["rows"] == {"read": 13756, "accepted": 13740, "duplicate": 5, "quarantined": 11}

    lines = (folder / "demo-log.csv").read_text(encoding="utf-8").splitlines()[:200]
    (folder / "short.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    kept = run(spc, "import", "short.csv", "--store", "sqlite:///kept.db", "--zone", "Europe/Vienna", cwd=folder)
    assert (kept.returncode, kept.stderr) == (0, "")

    with served(spc, folder) as address:
        page = answer(address + "/")
        files = re.findall(r'(?:src|href)="(/[^"]+)"', page)
        assert json.loads(answer(address + "/healthz"))["board"] == "ok"
        assert len(files) > 20
        assert [name for name in files if not answer(address + name)] == []


@contextmanager
def served(spc: Path, folder: Path) -> Iterator[str]:
    """Give the address of a board of the store, ended afterwards."""
    command = [str(spc), "serve", "--store", "sqlite:///kept.db", "--zone", "Europe/Vienna", "--port", "0"]
    process = subprocess.Popen(command, cwd=folder, env=hidden(), stdout=subprocess.PIPE, encoding="utf-8")
    assert process.stdout is not None
    try:
        told = next((found for line in process.stdout if (found := re.search(r"http://[^\s/]+", line))), None)
        assert told is not None
        yield told.group()
    finally:
        process.terminate()
        process.wait(30)
        process.stdout.close()


def answer(address: str) -> str:
    """Return what stands at an address of this machine."""
    with urlopen(address, timeout=60) as found:
        text: bytes = found.read()
    return text.decode("utf-8", "replace")


def test_it_does_its_job_where_it_is_installed(installed, tmp_path):
    does_its_job(installed, tmp_path)


@pytest.mark.parametrize("python", OTHERS)
def test_it_does_its_job_on_every_other_python_that_has_its_dependencies(python, wheel, tmp_path):
    found = shutil.which(python)
    if found is None or run(found, "-c", NEEDED, cwd=tmp_path).returncode:
        pytest.skip(f"no {python} with the dependencies on this machine")
    packages = run(found, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=tmp_path).stdout.strip()

    does_its_job(install(wheel, tmp_path, found, packages), tmp_path)
