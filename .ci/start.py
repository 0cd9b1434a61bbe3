"""Set up the project and run it: `python3 .ci/start.py TASK`; without TASK it lists them.

Needs Python 3.11 or later and, the first time, a network. Everything goes into `.venv` beside this folder: the
packages of requirements.lock, checked against their hashes, and the project itself, editable. A stamp in `.venv`
tells that the set-up is whole and of this lock, project table, interpreter and place; with it the next run starts
at once and asks no network. Without it (first run, an interrupted one, a moved folder) `.venv` is made anew.

This file imports the standard library alone, and keeps to what Python 3.6 can read, so that it can say that the
Python is too old.
"""
# ruff: noqa: UP006, UP021, UP035, UP045 - newer forms are not read by an old Python

import contextlib
import ctypes.util
import glob
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from typing import Iterator, List, NoReturn, Optional, Sequence

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
LOCK = os.path.join(ROOT, "requirements.lock")
PROJECT = os.path.join(ROOT, "pyproject.toml")
VENV = os.path.join(ROOT, ".venv")
STAMP = os.path.join(VENV, "set-up-is-whole")
WINDOWS = os.name == "nt"
PYTHON = os.path.join(VENV, "Scripts", "python.exe") if WINDOWS else os.path.join(VENV, "bin", "python")

OLDEST = (3, 11)
NEWER_NAMES = [f"python3.{minor}" for minor in range(19, OLDEST[1] - 1, -1)]

GET_PYTHON = """\
  Debian, Ubuntu:  sudo apt-get install python3 python3-venv
  Fedora:          sudo dnf install python3
  macOS:           the installer of the Python project's own download page, or your package manager's python
  Windows:         the installer of the Python project's own download page; then `py .ci\\start.py demo`
then run the same line again."""

GET_BROWSER = """\
  Debian:          sudo apt-get install chromium
  Fedora:          sudo dnf install chromium
  macOS, Windows:  any of Chromium, Chrome and Edge, installed the usual way
  elsewhere:       set SPC_BROWSER to the path of the program
then run the same line again."""

GET_DATABASE = """\
  Debian, Ubuntu:  sudo apt-get install postgresql
  Fedora:          sudo dnf install postgresql-server
  macOS:           your package manager's postgresql
then run the same line again."""

GET_PANGO = """\
  Debian, Ubuntu:  sudo apt-get install libpangoft2-1.0-0
  Fedora:          sudo dnf install pango
  macOS:           your package manager's pango
then run the same line again."""

PLACES_OF_BROWSERS = [
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    r"%ProgramFiles%\Google\Chrome\Application\chrome.exe",
    r"%ProgramFiles(x86)%\Google\Chrome\Application\chrome.exe",
    r"%LocalAppData%\Google\Chrome\Application\chrome.exe",
    r"%ProgramFiles(x86)%\Microsoft\Edge\Application\msedge.exe",
    r"%ProgramFiles%\Microsoft\Edge\Application\msedge.exe",
]
NAMES_OF_BROWSERS = [
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "microsoft-edge",
    "msedge",
]


class CannotGoOn(Exception):
    """Something is missing; the text says what and how to get it."""


def say(text: str) -> None:
    """Print one line at once, so that it stands before what a command started next prints."""
    print(text, flush=True)


@contextlib.contextmanager
def step(what: str) -> Iterator[None]:
    """Print what is being done, and how long it took."""
    say("-> " + what)
    started = time.monotonic()
    yield
    say(f"   done in {time.monotonic() - started:.0f} s")


def run(*command: str, **settings: str) -> int:
    """Run a command in the project's folder, `settings` added to its environment; return its exit code."""
    return subprocess.call(command, cwd=ROOT, stdin=subprocess.DEVNULL, env=dict(os.environ, **settings))


def quietly(*command: str) -> Optional[str]:
    """Return a command's output, or None where it fails, hangs or does not exist."""
    try:
        return subprocess.run(
            list(command),
            cwd=ROOT,
            check=True,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=60,
            universal_newlines=True,
        ).stdout
    except (OSError, subprocess.SubprocessError):
        return None


# -- the environment -------------------------------------------------------------------------------------------------


def check_python(version: Sequence[int] = tuple(sys.version_info[:2])) -> None:
    """Refuse a Python that is too old, naming a newer one where this machine has it."""
    if tuple(version) >= OLDEST:
        return
    text = f"Python 3.11 or later is needed; this is {version[0]}.{version[1]} ({sys.executable})."
    newer = [
        name for name in NEWER_NAMES if shutil.which(name) and quietly(name, "-c", "import venv, ensurepip") is not None
    ]
    if newer:
        raise CannotGoOn(f"{text}\nThis machine has a newer one: make PYTHON={newer[0]} demo (or test)")
    raise CannotGoOn(f"{text}\n{GET_PYTHON}")


def check_venv() -> None:
    """Refuse a Python whose distribution keeps venv or ensurepip in a package of its own."""
    for module in ("venv", "ensurepip"):
        if quietly(sys.executable, "-c", "import " + module) is None:
            package = f"python{sys.version_info[0]}.{sys.version_info[1]}-venv"
            raise CannotGoOn(
                f"This Python ({sys.executable}) has no module {module}, which makes environments.\n"
                f"  Debian, Ubuntu:  sudo apt-get install {package}\n"
                "  elsewhere:       another Python of 3.11 or later, by make PYTHON=/path/to/python3 demo (or test)\n"
                "then run the same line again."
            )


def fingerprint() -> str:
    """Return what the environment was made of: lock, project table, interpreter and place."""
    import tomllib

    with open(PROJECT, "rb") as file:
        project = tomllib.load(file)
    with open(LOCK, "rb") as file:
        lock = file.read()
    parts = [
        hashlib.sha256(lock.replace(b"\r\n", b"\n")).hexdigest(),
        json.dumps([project["project"], project["build-system"]], sort_keys=True),
        sys.version,
        sys.base_prefix,
        ROOT,
    ]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def is_whole(stamp: str) -> bool:
    """Return whether `.venv` was set up to the end, from what `stamp` names."""
    try:
        with open(STAMP, encoding="ascii") as file:
            return file.read() == stamp and os.path.exists(PYTHON)
    except OSError:
        return False


def set_up() -> None:
    """Make `.venv` with the locked packages and the project, unless it is whole already."""
    stamp = fingerprint()
    if is_whole(stamp):
        return
    check_venv()
    say("Setting up in .venv; this needs a network, once.")
    if os.path.exists(STAMP):
        os.remove(STAMP)
    with step("making the environment with Python " + sys.version.split()[0]):
        if run(sys.executable, "-m", "venv", "--clear", VENV):
            raise CannotGoOn("Python could not make " + VENV + "; its own words stand above.")
    with step("installing the packages of requirements.lock"):
        install_locked()
    with step("installing the project itself, editable"):
        install_project()
    with open(STAMP, "w", encoding="ascii") as file:
        file.write(stamp)
    say("Set up. The next run starts at once and needs no network.")


def pip(*arguments: str) -> int:
    """Run pip of `.venv`; return its exit code."""
    settings = {"PIP_DISABLE_PIP_VERSION_CHECK": "1", "PIP_ROOT_USER_ACTION": "ignore", "PIP_NO_INPUT": "1"}
    return run(PYTHON, "-m", "pip", *arguments, **settings)


def locked(name: str) -> str:
    """Return the lines of requirements.lock that pin `name` with its hashes."""
    with open(LOCK, encoding="utf-8") as file:
        pinned = re.search(r"^" + re.escape(name) + r"==.*(?:\n[ \t]+.*)*", file.read(), re.MULTILINE)
    if pinned is None:
        raise CannotGoOn("requirements.lock has no " + name + "; get the file anew from the project's repository.")
    return pinned.group() + "\n"


def install_locked() -> None:
    """Install the locked packages, each checked against its hashes: by uv, several times faster, else by pip."""
    with tempfile.TemporaryDirectory() as folder:
        only_uv = os.path.join(folder, "uv.txt")
        with open(only_uv, "w", encoding="utf-8") as file:
            file.write(locked("uv"))
        has_uv = pip("install", "--quiet", "--only-binary", ":all:", "--require-hashes", "-r", only_uv) == 0
    if has_uv and run(PYTHON, "-m", "uv", "pip", "install", "--python", PYTHON, "--require-hashes", "-r", LOCK) == 0:
        return
    say("   trying again with pip, which is slower and knows this machine's own settings")
    if pip("install", "--require-hashes", "-r", LOCK):
        raise CannotGoOn(
            "The packages could not be installed; pip's own words stand above.\n"
            "  no network:        the first run needs one; the runs after it do not\n"
            "  behind a proxy:    set HTTPS_PROXY to its address\n"
            "  own package index: set PIP_INDEX_URL to its address\n"
            "Then run the same line again: what was downloaded is kept."
        )


def install_project() -> None:
    """Install the project editable; its build tool comes with the lock, so nothing is asked of a network."""
    if pip("install", "--quiet", "--no-index", "--no-deps", "--no-build-isolation", "--editable", ROOT):
        raise CannotGoOn("The project itself could not be installed; pip's own words stand above.")


# -- the browser that the tests drive --------------------------------------------------------------------------------


def starts(path: str) -> bool:
    """Return whether a browser is there and answers; on Windows, where asking opens a window, whether it is there."""
    return os.path.exists(path) and (WINDOWS or quietly(path, "--version") is not None)


def installed_browser() -> Optional[str]:
    """Return the path of a Chromium, Chrome or Edge of this machine, or None."""
    named = [shutil.which(name) for name in NAMES_OF_BROWSERS]
    places = [os.path.expandvars(place) for place in PLACES_OF_BROWSERS]
    own = (
        quietly(
            PYTHON,
            "-c",
            "import playwright.sync_api as p\nwith p.sync_playwright() as d: print(d.chromium.executable_path)",
        )
        if not any(named)
        else None
    )
    candidates = [path for path in [*named, *places, (own or "").strip()] if path]
    return next(filter(starts, candidates), None)


def find_browser() -> str:
    """Return the path of a browser, installing one where this machine has none.

    Asked in turn: SPC_BROWSER, the machine itself, apt-get where it needs no password, the download of the tests'
    own browser driver.
    """
    chosen = os.environ.get("SPC_BROWSER")
    if chosen:
        if starts(chosen):
            return chosen
        raise CannotGoOn("SPC_BROWSER names " + chosen + ", which does not start; correct it or unset it.")
    path = installed_browser()
    if path is None and shutil.which("apt-get"):
        path = browser_from_apt()
    if path is None:
        with step("downloading a browser for the tests"):
            run(PYTHON, "-m", "playwright", "install", "chromium")
        path = installed_browser()
    if path is None:
        raise CannotGoOn("The tests open the dashboard in a browser, and none could be had here.\n" + GET_BROWSER)
    return path


def browser_from_apt() -> Optional[str]:
    """Install Debian's Chromium where that needs no password; return its path, or None."""
    install_with_apt("a browser", "chromium")
    return installed_browser()


def install_with_apt(what: str, package: str) -> None:
    """Install a package of Debian's where that needs no password."""
    as_root = [] if hasattr(os, "geteuid") and os.geteuid() == 0 else ["sudo", "-n"]
    if as_root and quietly(*as_root, "true") is None:
        return
    settings = [*as_root, "env", "DEBIAN_FRONTEND=noninteractive", "apt-get", "-q", "-y"]
    with step("installing " + what + " for the tests with apt-get"):
        run(*settings, "update")
        run(*settings, "install", "--no-install-recommends", package)


# -- the database that the tests start -------------------------------------------------------------------------------


def has_database() -> bool:
    """Return whether PostgreSQL's programs are on this machine."""
    places = [*glob.glob("/usr/lib/postgresql/*/bin/initdb"), *glob.glob("/usr/pgsql-*/bin/initdb")]
    return bool(places or shutil.which("initdb"))


def find_database() -> None:
    """See that PostgreSQL is here, installing it where it is not; the tests start a server of their own."""
    if not has_database() and shutil.which("apt-get"):
        install_with_apt("PostgreSQL", "postgresql")
    if not has_database() and not WINDOWS:
        raise CannotGoOn("The tests start a PostgreSQL, and none could be had here.\n" + GET_DATABASE)


# -- what lays out the pages of a report -----------------------------------------------------------------------------


def has_pango() -> bool:
    """Return whether the library that sets the words of a PDF is on this machine."""
    return bool(ctypes.util.find_library("pangoft2-1.0") or glob.glob("/opt/homebrew/lib/libpangoft2-1.0*"))


def find_pango() -> None:
    """See that pango is here, installing it where it is not; the tests make PDFs."""
    if not has_pango() and shutil.which("apt-get"):
        install_with_apt("pango", "libpangoft2-1.0-0")
    if not has_pango() and not WINDOWS:
        raise CannotGoOn("The tests make PDFs with pango, and it could not be had here.\n" + GET_PANGO)


# -- what can be asked for -------------------------------------------------------------------------------------------


def become(*command: str) -> NoReturn:
    """Turn into `command`, so that Ctrl-C and the exit code are its own."""
    sys.stdout.flush()
    if WINDOWS:  # where exec returns to the prompt at once
        with contextlib.suppress(KeyboardInterrupt):
            sys.exit(subprocess.call(command, cwd=ROOT))
        sys.exit(130)
    os.chdir(ROOT)
    os.execv(command[0], command)


def demo(arguments: List[str]) -> NoReturn:
    """Run the demo line: its log, the dashboard, new readings arriving."""
    set_up()
    become(os.path.join(os.path.dirname(PYTHON), "spc"), "demo", *arguments)


def check(arguments: List[str]) -> int:
    """Read the code without running it: lint, format, types."""
    set_up()
    return 1 if read_code() else 0


def read_code() -> List[str]:
    """Run the checks that only read; return the names of those that found something."""
    found = []
    for name, command in (
        ("lint", ("ruff", "check", ".")),
        ("format", ("ruff", "format", "--check", ".")),
        ("types", ("mypy",)),
        ("security", ("bandit", "--quiet", "--configfile", "pyproject.toml", "--recursive", "spc", "dashboard", ".ci")),
    ):
        with step(name + ": " + " ".join(command)):
            if run(PYTHON, "-m", *command):
                found.append(name)
    return found


def test(arguments: List[str]) -> int:
    """Run the gate: lint, format, types, then every test; further words go to pytest."""
    set_up()
    find_database()
    find_pango()
    browser = find_browser()
    say("The tests open the dashboard in " + browser)
    found = read_code()
    workers = ["-n", str(min(os.cpu_count() or 1, 4)), "--dist", "loadfile"]
    say("-> tests: pytest")
    failed = run(PYTHON, "-m", "pytest", *workers, *arguments, SPC_BROWSER=browser)
    if found:
        say("Not passed before the tests: " + ", ".join(found) + "; their own words stand above.")
    return 1 if found or failed else 0


def audit(arguments: List[str]) -> int:
    """Ask whether a weakness of a package in requirements.lock is known; further words go to pip-audit."""
    set_up()
    words = ["--requirement", "requirements.lock", "--disable-pip", "--require-hashes", "--strict"]
    return run(PYTHON, "-m", "pip_audit", *words, "--progress-spinner", "off", *arguments)


def fuzz(arguments: List[str]) -> NoReturn:
    """Feed every reader and page with bad input; --executions, --target and --keep go to tests.fuzz."""
    set_up()
    become(PYTHON, "-m", "tests.fuzz", *arguments)


def bench(arguments: List[str]) -> NoReturn:
    """Measure speed; DEVELOPERS.md says how to read the figures."""
    set_up()
    become(PYTHON, "-m", "tests.bench", *arguments)


def soak(arguments: List[str]) -> NoReturn:
    """Put the board under load for 18 minutes and account for every entry; --minutes and more go to tests.soak."""
    set_up()
    become(PYTHON, "-m", "tests.soak", *arguments)


def coverage(arguments: List[str]) -> int:
    """Run every test and tell which lines and branches none of them takes; further words go to pytest."""
    set_up()
    find_database()
    find_pango()
    workers = ["-n", str(min(os.cpu_count() or 1, 4)), "--dist", "loadfile"]
    words = ["-m", "pytest", "--cov", "--cov-branch", "--cov-report=term:skip-covered", *workers, *arguments]
    return run(PYTHON, *words, SPC_BROWSER=find_browser())


def lowest(arguments: List[str]) -> int:
    """Run the tests without a browser on the lowest versions that pyproject.toml allows; further words go to pytest."""
    set_up()
    find_database()
    find_pango()
    environment = os.path.join(ROOT, ".venv-lowest")
    python = os.path.join(environment, *(("Scripts", "python.exe") if WINDOWS else ("bin", "python")))
    with step("making the environment of the lowest versions in .venv-lowest"):
        uv = [PYTHON, "-m", "uv"]
        made = run(*uv, "venv", "--clear", "--quiet", "--python", PYTHON, environment)
        settings = ["--python", python, "--resolution", "lowest-direct"]
        if made or run(*uv, "pip", "install", *settings, "--editable", ROOT + "[dev]"):
            raise CannotGoOn("The lowest versions could not be installed; the words of uv stand above.")
    workers = ["-n", str(min(os.cpu_count() or 1, 4)), "--dist", "loadfile"]
    return run(python, "-m", "pytest", *workers, "--ignore=tests/browser", *arguments)


def docs(arguments: List[str]) -> int:
    """Build the site of docs/ into build/site."""
    set_up()
    return run(PYTHON, "-m", "mkdocs", "build", "--strict", "--clean", *arguments)


def lock(arguments: List[str]) -> int:
    """Write requirements.lock anew from pyproject.toml; `lock --upgrade` takes the newest versions."""
    set_up()
    return run(
        PYTHON,
        "-m",
        "uv",
        "pip",
        "compile",
        PROJECT,
        "--output-file",
        LOCK,
        "--extra",
        "dev",
        "--universal",
        "--python-version",
        f"{OLDEST[0]}.{OLDEST[1]}",
        "--generate-hashes",
        "--no-emit-index-url",
        "--no-header",
        "--quiet",
        *arguments,
    )


TASKS = {
    "demo": demo,
    "test": test,
    "fuzz": fuzz,
    "check": check,
    "audit": audit,
    "bench": bench,
    "soak": soak,
    "coverage": coverage,
    "lowest": lowest,
    "docs": docs,
    "lock": lock,
}


def main(words: List[str]) -> int:
    """Do the task that the first word names; return the exit code."""
    task = TASKS.get(words[0]) if words else None
    if task is None:
        say("usage: start.py " + " | ".join(TASKS))
        for name in TASKS:
            say("  " + name.ljust(9) + (TASKS[name].__doc__ or "").splitlines()[0])
        return 2
    try:
        check_python()
        return task(words[1:])
    except CannotGoOn as reason:
        say("\nCannot go on: " + str(reason))
        return 2
    except KeyboardInterrupt:
        say("\nStopped. The next run takes it up again.")
        return 130


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
