"""`spc demo` as a person runs it: the board comes up, new rows arrive on it, and it ends when asked."""

import contextlib
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from urllib.request import urlopen

import pytest

ROOT = Path(__file__).parent.parent.parent
WAITS = 60.0
EVERY = 0.05
BOARD = re.compile(r"The board is at (http://127\.0\.0\.1:[0-9]+/)")

pytestmark = pytest.mark.skipif(os.name == "nt", reason="Windows sends no Ctrl-C to one program alone")


@contextlib.contextmanager
def demo(folder: Path, errors: Path):
    command = [sys.executable, "-m", "spc", "demo", "--port", "0", "--seconds", str(EVERY), "--folder", str(folder)]
    with errors.open("w") as said, subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=said) as process:
        try:
            yield process
        finally:
            process.kill()


def rows_accepted(address: str) -> int:
    with urlopen(f"{address}metrics", timeout=WAITS) as answer:
        found = re.search(r'board_rows\{outcome="accepted"\} ([0-9]+)', answer.read().decode())
    assert found is not None
    return int(found[1])


def test_the_demo_line_works_while_it_is_looked_at_and_ends_when_asked(tmp_path):
    folder, errors = tmp_path / "demo", tmp_path / "errors"
    with demo(folder, errors) as process:
        assert process.stdout is not None
        found = BOARD.match(process.stdout.readline().decode())
        assert found is not None, errors.read_text()
        before, until = rows_accepted(found[1]), time.monotonic() + WAITS
        while (after := rows_accepted(found[1])) < before + 3 and time.monotonic() < until:
            time.sleep(EVERY)
        process.send_signal(signal.SIGINT)

        assert process.wait(WAITS) == 0
        assert after >= before + 3

    assert "a new row is written every 0.05 s" in errors.read_text()
    assert "Traceback" not in errors.read_text()
