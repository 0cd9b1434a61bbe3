"""A file of TOML to its values, within limits: catalogue, layout, calendar and instruments are all read so."""

import errno
import re
import stat
import tomllib
from pathlib import Path
from typing import Any

from spc.errors import CatalogueError

LARGEST_TOML = 1_000_000
"""Characters of the largest file of TOML that is read; the starter catalogue has 30,000."""

MOST_PARTS = 32
"""Parts of the longest dotted key that is read: the time that one takes grows with their square."""

PART = re.compile(r"[ \t]*[\w\"'-]+[ \t]*")


def toml_file(path: Path | str, what: str) -> dict[str, Any]:
    """Return the values in a file of TOML; `what` says in refusals which file it should be, such as "a calendar file".

    Raises:
        CatalogueError: as `toml_text` and `toml_table`.
    """
    return toml_table(toml_text(path, what), str(path))


def toml_text(path: Path | str, what: str) -> str:
    """Return the text of a file; `what` as `toml_file`.

    Raises:
        CatalogueError: it cannot be read, is a device or a pipe, which might never end, or is no UTF-8.
    """
    try:
        return _bytes(path).decode("utf-8-sig")
    except OSError as error:
        raise CatalogueError(f"{path}: cannot be read ({error.strerror}); give the path of {what}") from None
    except UnicodeDecodeError as error:
        raise CatalogueError(f"{path}: byte {error.start} is no UTF-8 text; save the file as UTF-8") from None


def toml_table(text: str, source: str) -> dict[str, Any]:
    """Return the values that a text of TOML holds; refusals name it as `source`.

    Raises:
        CatalogueError: it is no TOML or goes beyond the limits above, holds too long a number, or nests too deep.
    """
    problem = _beyond_limits(text)
    if problem:
        raise CatalogueError(f"{source}: {problem}; correct the TOML there")
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        problem = str(error) if isinstance(error, tomllib.TOMLDecodeError) else "a value that TOML cannot hold"
        raise CatalogueError(f"{source}: {problem}; correct the TOML there") from None


def _bytes(path: Path | str) -> bytes:
    place = Path(path)
    if not stat.S_ISREG(mode := place.stat().st_mode) and not stat.S_ISDIR(mode):
        raise OSError(errno.EINVAL, "a device or a pipe, not a file")
    with place.open("rb") as file:
        return file.read(LARGEST_TOML * 4 + 1)


def _beyond_limits(text: str) -> str:
    """Return what goes beyond the limits above, "" where nothing does."""
    if len(text) > LARGEST_TOML:
        return f"more than {LARGEST_TOML:,} characters, which no such file needs"
    for number, line in enumerate(text.split("\n"), 1):
        if line.count(".") >= MOST_PARTS and _longest_key(line) > MOST_PARTS:
            return f"line {number} has a key of more than {MOST_PARTS} parts"
    return ""


def _longest_key(line: str) -> int:
    """Return the most parts that follow on one another in a line, a point between them."""
    longest = run = 1
    for part in line.split("."):
        run = run + 1 if PART.fullmatch(part) else 1
        longest = max(longest, run)
    return longest
