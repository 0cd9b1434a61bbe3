"""The lock file: it meets the project, every package has its hashes, and it names no place of one machine."""

import re
import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parent.parent
LOCK = (ROOT / "requirements.lock").read_text(encoding="utf-8")


def test_the_lock_meets_the_project():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    pinned = locked_versions()
    asked = [Requirement(text) for text in [*project["dependencies"], *project["optional-dependencies"]["dev"]]]

    missed = [str(need) for need in asked if not meets(pinned.get(canonicalize_name(need.name), []), need)]

    assert asked
    assert missed == [], "run `make lock`"


def test_every_locked_package_has_a_hash():
    blocks = re.split(r"\n(?=\S)", LOCK)

    assert len(blocks) > 50
    assert [block.splitlines()[0] for block in blocks if not re.search(r"--hash=sha256:[0-9a-f]{64}", block)] == []


def locked_versions() -> dict[str, list[str]]:
    """Return every pinned package with its versions, one or one for each range of Pythons."""
    pinned: dict[str, list[str]] = {}
    for name, version in re.findall(r"^([A-Za-z0-9._-]+)==([^\s;\\]+)", LOCK, re.MULTILINE):
        pinned.setdefault(canonicalize_name(name), []).append(version)
    return pinned


def meets(versions: list[str], need: Requirement) -> bool:
    return bool(versions) and all(need.specifier.contains(version) for version in versions)


def test_the_lock_names_no_place_to_get_packages_from():
    assert re.search(r"://|--index|--find-links|@ ", LOCK) is None
