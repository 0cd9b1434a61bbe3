import subprocess
import sys

import pytest

from datasets.make import NAMES, main
from tests.datasets.truth import DATASETS


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("made")
    assert main(["--folder", str(folder)]) == 0
    return folder


@pytest.mark.parametrize("name", NAMES)
def test_the_committed_files_come_from_the_seed_byte_for_byte(made, name):
    assert (made / name).read_bytes() == (DATASETS / name).read_bytes()


@pytest.mark.parametrize("name", NAMES)
def test_lines_end_alike_on_every_platform(name):
    text = (DATASETS / name).read_bytes()

    assert b"\r" not in text
    assert text.endswith(b"\n")


def test_check_says_which_file_differs(made, tmp_path, capsys):
    for name in NAMES:
        (tmp_path / name).write_bytes((made / name).read_bytes())

    same = main(["--check", "--folder", str(tmp_path)])
    (tmp_path / NAMES[0]).write_bytes(b"something else\n")
    (tmp_path / NAMES[2]).unlink()
    other = main(["--check", "--folder", str(tmp_path)])

    told = capsys.readouterr().err
    assert (same, other) == (0, 1)
    assert NAMES[0] in told
    assert NAMES[1] not in told
    assert NAMES[2] in told


def test_it_runs_as_the_readme_says():
    done = subprocess.run(
        [sys.executable, DATASETS / "make.py", "--check"], capture_output=True, text=True, check=False
    )

    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
