"""A file of TOML to its values, within limits: catalogue, layout, calendar and instruments are all read so."""

import errno
import re
import stat
import tomllib
from pathlib import Path
from typing import Any

LARGEST_TOML = 1_000_000
"""Characters of the largest file of TOML that is read; the starter catalogue has 30,000."""

MOST_PARTS = 32
"""Parts of the longest dotted key that is read: the time that one takes grows with their square."""

PART = re.compile(r"[ \t]*[\w\"'-]+[ \t]*")


def toml_bytes(path: Path | str) -> bytes:
    """Return what is in a file.

    Raises:
        OSError: it cannot be read, or is a device or a pipe, which might never end.
    """
    place = Path(path)
    if not stat.S_ISREG(mode := place.stat().st_mode) and not stat.S_ISDIR(mode):
        raise OSError(errno.EINVAL, "a device or a pipe, not a file")
    with place.open("rb") as file:
        return file.read(LARGEST_TOML * 4 + 1)


def toml_values(text: str) -> dict[str, Any]:
    """Return the values that a text of TOML holds.

    Raises:
        tomllib.TOMLDecodeError: it is no TOML, or goes beyond the limits above.
        ValueError, RecursionError: it holds a number of too many digits, or nests too deep.
    """
    if len(text) > LARGEST_TOML:
        raise tomllib.TOMLDecodeError(f"more than {LARGEST_TOML:,} characters, which no such file needs")
    for number, line in enumerate(text.split("\n"), 1):
        if line.count(".") >= MOST_PARTS and _longest_key(line) > MOST_PARTS:
            raise tomllib.TOMLDecodeError(f"line {number} has a key of more than {MOST_PARTS} parts")
    return tomllib.loads(text)


def _longest_key(line: str) -> int:
    """Return the most parts that follow on one another in a line, a point between them."""
    longest = run = 1
    for part in line.split("."):
        run = run + 1 if PART.fullmatch(part) else 1
        longest = max(longest, run)
    return longest
