"""The program as it is called: with arguments, to its end."""

import sys

import pytest

from spc.cli import main


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    """Return exit code, output and error output of `spc` with these arguments."""
    before = sys.argv
    sys.argv = ["spc", *map(str, arguments)]
    try:
        with pytest.raises(SystemExit) as ended:
            main()
    finally:
        sys.argv = before
    out, err = capsys.readouterr()
    return int(ended.value.code or 0), out, err
